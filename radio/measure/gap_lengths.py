"""Gap and working length from file tip and apex, with the budget of each.

Where the scale is from the same file, the error of its length acts twice: on the set length and, through the
scale, on the gap. The error of its tip does so, too. Both lengths are therefore made from what they have in
common (JCGM 100:2008, 5.2), not from each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib.budget import Budget, Input, budget
from calib.known_length import file_length_sd_mm
from calib.scale import Scale
from radio.measure.case import CaseFacts
from radio.measure.result import Measurement
from radio.trace.line import LandmarkFix

_FOUND = "found or clicked on the image"


@dataclass(frozen=True)
class GapInImage:
    """Where file and root end, along file and canal, in columns of a square-pixel image.

    Parameters
    ----------
    gap_px : float
        From file tip to radiographic apex; positive = tip short.
    tip_sd_px, apex_sd_px : float
        Standard uncertainties of the two places.
    file_px : float or None
        Length of the file, where it was traced from its start.
    start_sd_px : float
        Standard uncertainty of the place of that start.
    """

    gap_px: float
    tip_sd_px: float
    apex_sd_px: float
    file_px: float | None = None
    start_sd_px: float = 0.0

    @classmethod
    def of(
        cls, gap_px: float, landmarks: Mapping[str, LandmarkFix], file_px: Measurement | None
    ) -> GapInImage:
        """Gather the places from refined landmarks; `file_px` is ``file_length_px``."""
        tip, apex = (landmarks[name].sd_along_px for name in ("file_tip", "apex"))
        if file_px is None:
            return cls(gap_px, tip, apex)
        return cls(gap_px, tip, apex, file_px.value, landmarks["file_start"].sd_along_px)


def known_file_length(facts: CaseFacts) -> Input | None:
    """The stated length of the file as an input of a budget; None where it is not stated."""
    if facts.file_length_mm is None:
        return None
    start_at = facts.file_start_at
    return Input(
        "known file length", facts.file_length_mm, file_length_sd_mm(start_at), how=f"from the {start_at}"
    )


def gap_budget(image: GapInImage, scale: Scale, known: Input | None = None) -> Budget:
    """Gap in millimetres: what contributes how much.

    Parameters
    ----------
    image : GapInImage
    scale : Scale
    known : Input or None
        Length of the file, mm; needed where the scale is from it.

    Returns
    -------
    Budget
    """
    return _made(image, scale, known, add_known=False)


def working_length_budget(image: GapInImage, scale: Scale, known: Input) -> Budget:
    """Length of the file plus gap: what contributes how much.

    With the scale from the file itself the length L of the file acts by 1 + gap / length of the file in the
    image, for the gap is that share of it.

    Parameters
    ----------
    image : GapInImage
    scale : Scale
    known : Input
        Length of the file from the coronal reference to its tip, mm.

    Returns
    -------
    Budget
    """
    return _made(image, scale, known, add_known=True)


def _made(image: GapInImage, scale: Scale, known: Input | None, *, add_known: bool) -> Budget:
    gap_px, file_px = image.gap_px, image.file_px
    tip = Input("place of the tip", 0.0, image.tip_sd_px, how=f"px, {_FOUND}")
    apex = Input("place of the apex", 0.0, image.apex_sd_px, how=f"px, {_FOUND}")
    if scale.source == "file" and known is not None and file_px is not None:
        start = Input("place of the start", 0.0, image.start_sd_px, how=f"px, {_FOUND}")

        def by_own_file(length: float, start: float, tip: float, apex: float) -> float:
            gap = length * (gap_px + apex - tip) / (file_px + tip - start)
            return length + gap if add_known else gap

        return budget(by_own_file, (known, start, tip, apex))
    unit = scale.col_mm_per_px
    by = Input(f"scale from {scale.source}", unit, unit * scale.relative_sd, how=scale.basis)

    def by_scale(unit: float, tip: float, apex: float, length: float = 0.0) -> float:
        return length + unit * (gap_px + apex - tip)

    return budget(by_scale, (by, tip, apex, *([known] if add_known and known is not None else [])))


def gap_mm(made: Budget, scale: Scale) -> Measurement:
    """Signed distance along the canal from file tip to radiographic apex; positive = tip short.

    Parameters
    ----------
    made : Budget
        As :func:`gap_budget` makes it.
    scale : Scale
    """
    return Measurement(
        "gap_mm",
        made.value,
        "mm",
        made.sd,
        "along the canal, file tip to radiographic apex; positive = tip short",
        f"scale from {scale.source}",
        ("The radiographic apex is not the foramen.",),
    )


def working_length_mm(made: Budget, gap: Measurement, how: str) -> Measurement:
    """Working length to the radiographic apex: length of the file from its reference, plus the gap.

    A scale error touches only the gap.

    Parameters
    ----------
    made : Budget
        As :func:`working_length_budget` makes it.
    gap : Measurement
        ``gap_mm``.
    how : str
        Where the length of the file comes from.
    """
    return Measurement(
        "working_length_mm",
        made.value,
        "mm",
        made.sd,
        "file length plus gap, to the radiographic apex; no subtraction made",
        f"{how}; gap {gap.value:+.2f} mm, {gap.basis}",
    )
