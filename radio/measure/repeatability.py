"""How closely a reader repeats a length, and the least change that is more than that."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, isfinite, sqrt
from typing import Literal

from calib.uncertainty import rectangular
from radio.errors import PeriapicalError

# the two-sided 95 % point of the normal distribution times the root of two: two readings differ, and each has
# the repeat error. ISO 5725-6 rounds it to 2.8 and calls the product the repeatability limit (from memory)
LSC_FACTOR = 1.959963984540054 * sqrt(2.0)
DEFAULT_SD_MM = 0.2
LEAST_REPEATS = 3
_LEVEL = 0.95
# a set of readings is named as odd where chance alone gives such a spread in one table of a hundred
_ODD = 0.01
# steps that lengths are read in, mm, the coarsest first
_STEPS_MM = (1.0, 0.5, 0.25, 0.2, 0.1, 0.05)
SD_LIMITS_MM = (0.005, 3.0)
# Repeats farther apart, or an SD above, are told as likely blunders, mm: the project's choice, no source.
FAR_APART_MM, LARGE_SD_MM = 1.0, 0.5


@dataclass(frozen=True)
class Repeatability:
    """Within-reader standard deviation of a length.

    Parameters
    ----------
    sd_mm : float
    repeats : int or None
        Degrees of freedom: readings beyond the first of each set. None where the SD was stated or is the
        default.
    interval_mm : tuple of float or None
        95 % interval of the SD; None where nothing can be said.
    source : {"repeats", "stated", "default"}
    basis : str
        Where it comes from, in words.
    warnings : tuple of str
    """

    sd_mm: float
    repeats: int | None
    interval_mm: tuple[float, float] | None
    source: Literal["repeats", "stated", "default"]
    basis: str
    warnings: tuple[str, ...] = ()

    @property
    def lsc_mm(self) -> float:
        """Least significant change: 1.96 √2 (2.77) times the SD, mm."""
        return LSC_FACTOR * self.sd_mm

    @property
    def whose(self) -> str:
        """Whether it is the reader's own, in a word."""
        return "the default" if self.source == "default" else "your"

    @property
    def told(self) -> str:
        """SD and least significant change with what they rest on."""
        interval = ""
        if self.interval_mm is not None:
            interval = " (95 %: {:.2f} to {:.2f} mm)".format(*self.interval_mm)
        sure = "" if self.repeats is None else f"; by Student's t {self.sure_lsc_mm:.2f} mm"
        return (
            f"least significant change {self.lsc_mm:.2f} mm = {LSC_FACTOR:.2f} × SD {self.sd_mm:.2f} "
            f"mm{interval}; {self.basis}{sure}"
        )

    @property
    def sure_lsc_mm(self) -> float:
        """The same with Student's t in the place of 1.96, which allows for the SD being an estimate, mm."""
        if self.repeats is None:
            return self.lsc_mm
        from scipy.stats import t

        return float(t.ppf(0.5 + _LEVEL / 2, self.repeats)) * sqrt(2.0) * self.sd_mm


def pooled_sd(sets: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Standard deviation within sets of repeated readings.

    The root of the mean square within sets of a one-way analysis of variance; for pairs this is the formula
    of Dahlberg (1940).

    Parameters
    ----------
    sets : sequence of sequence of float
        Readings of one length each; a set of one adds nothing.

    Returns
    -------
    float
        In the unit of the readings.
    int
        Degrees of freedom.

    Raises
    ------
    PeriapicalError
        No set has two readings, or a reading is not finite.
    """
    if not all(isfinite(one) for readings in sets for one in readings):
        raise PeriapicalError("A repeated reading is not a number; give lengths in millimetres.")
    freedom = sum(len(readings) - 1 for readings in sets if readings)
    if freedom < 1:
        raise PeriapicalError("No length was read twice; repeat at least one reading to have a spread.")
    return sqrt(fsum(_squares(readings) for readings in sets if readings) / freedom), freedom


def _squares(readings: Sequence[float]) -> float:
    mean = fsum(readings) / len(readings)
    return fsum((one - mean) ** 2 for one in readings)


def sd_interval(sd: float, freedom: int) -> tuple[float, float]:
    """95 % interval of a standard deviation of normal readings, by the chi-square distribution."""
    from scipy.stats import chi2

    low, high = chi2.ppf((0.5 + _LEVEL / 2, 0.5 - _LEVEL / 2), freedom)
    return float(sd * sqrt(freedom / low)), float(sd * sqrt(freedom / high))


def default_repeatability(
    why: str = "no repeated readings were given", *, unused: bool = False
) -> Repeatability:
    """The SD that stands in until a reader has repeats enough; the project's choice, no source.

    Parameters
    ----------
    why : str
        Why it is needed.
    unused : bool
        Whether repeats were given that cannot be used.
    """
    basis = f"default SD of {DEFAULT_SD_MM:g} mm, the project's choice and not your own: {why}"
    told = "The SD is a default, not your own: read some lengths again, blind to the first, and give them."
    if unused:
        told = f"The repeats you gave are not used ({why}). {told}"
    return Repeatability(DEFAULT_SD_MM, None, None, "default", basis, (told,))


def stated_repeatability(sd_mm: float) -> Repeatability:
    """An SD that the reader states.

    Parameters
    ----------
    sd_mm : float

    Raises
    ------
    PeriapicalError
        Outside 0.005 to 3 mm.
    """
    low, high = SD_LIMITS_MM
    if not low <= sd_mm <= high:
        raise PeriapicalError(
            f"The reader's SD is given as {sd_mm:g} mm; allowed is {low:g} to {high:g} mm (usual is 0.1 to "
            "0.5)."
        )
    basis = f"SD of {sd_mm:g} mm as stated by the reader"
    return Repeatability(sd_mm, None, None, "stated", basis, _large_sd(sd_mm))


def repeatability_of(sets: Mapping[str, Sequence[float]]) -> Repeatability:
    """A reader's own SD from repeated readings, or the default while there are too few.

    Parameters
    ----------
    sets : mapping of str to sequence of float
        Readings of one length each, mm, by what was read.

    Notes
    -----
    An SD smaller than rounding alone makes (step / √12, from JCGM 100:2008, 4.3.7) is raised to that:
    readings in steps of half a millimetre that agree say nothing of a spread below it.

    Raises
    ------
    PeriapicalError
        A reading is not finite.
    """
    repeats = sum(len(readings) - 1 for readings in sets.values() if readings)
    if repeats < LEAST_REPEATS:
        counted = f"{repeats} repeat{'' if repeats == 1 else 's'} given, at least {LEAST_REPEATS} are needed"
        return default_repeatability(counted, unused=True)
    raw, repeats = pooled_sd(list(sets.values()))
    step = reading_step_mm([one for readings in sets.values() for one in readings])
    floor = rectangular(step / 2)
    sd = max(raw, floor)
    used = sum(len(readings) > 1 for readings in sets.values())
    basis = f"your own SD, pooled over {used} length{'' if used == 1 else 's'} with {repeats} repeats"
    far = _far_apart(sets)
    odd = _odd_sets(sets, floor, told=far)
    warnings = (*far.values(), *odd, *_large_sd(sd))
    if raw < floor:
        warnings += (
            f"The readings agree better (SD {raw:.3f} mm) than steps of {step:g} mm can show; the SD is "
            f"taken as step / √12 = {floor:.3f} mm.",
        )
    return Repeatability(sd, repeats, sd_interval(sd, repeats), "repeats", basis, warnings)


def reading_step_mm(readings: Sequence[float]) -> float:
    """The coarsest usual step that all readings are whole numbers of; 0.01 mm where there is none."""
    for step in _STEPS_MM:
        if all(abs(one / step - round(one / step)) < 1e-6 for one in readings):
            return step
    return 0.01


def _large_sd(sd_mm: float) -> tuple[str, ...]:
    """Say of an SD that is too large to see a loss by."""
    if sd_mm <= LARGE_SD_MM:
        return ()
    return (
        f"The SD of {sd_mm:.2f} mm is unusually large (above {LARGE_SD_MM:g} mm): no change below "
        f"{LSC_FACTOR * sd_mm:.2f} mm is told, so that a true loss of length stays unseen. Look for a "
        "mistyped length, or read again.",
    )


def _far_apart(sets: Mapping[str, Sequence[float]]) -> dict[str, str]:
    """Name sets whose readings lie farther apart than readings of one length should."""
    wide = {name: (min(one), max(one)) for name, one in sets.items() if one}
    return {
        name: f"The repeats of {name} lie {high - low:.2f} mm apart ({low:g} to {high:g} mm), more than "
        f"{FAR_APART_MM:g} mm: look for a mistyped length, or for readings of two lengths under one name."
        for name, (low, high) in wide.items()
        if high - low > FAR_APART_MM + 1e-9
    }


def _odd_sets(
    sets: Mapping[str, Sequence[float]], floor_mm: float, *, told: Collection[str]
) -> tuple[str, ...]:
    """Name sets that spread far more than the rest: by an F test against the rest, shared over the sets."""
    from scipy.stats import f

    spread = {name: (_squares(one), len(one) - 1) for name, one in sets.items() if len(one) > 1}
    all_squares, all_freedom = (fsum(parts) for parts in zip(*spread.values(), strict=True))
    found = []
    for name, (squares, freedom) in spread.items():
        rest = all_freedom - freedom
        if rest < 1 or name in told:
            continue
        # readings that agree by rounding must not make an ordinary set look odd
        others = max((all_squares - squares) / rest, floor_mm**2)
        if f.sf(squares / freedom / others, freedom, rest) * len(spread) < _ODD:
            found.append(
                f"The repeats of {name} spread far more ({sqrt(squares / freedom):.2f} mm) than the others "
                f"({sqrt(others):.2f} mm); look for a mistyped length. They make every change look smaller."
            )
    return tuple(found)
