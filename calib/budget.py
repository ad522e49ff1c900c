"""An uncertainty budget as in JCGM 100:2008 (the GUM): what contributes how much to a result."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import copysign, fsum, inf, isfinite, isinf, sqrt

import numpy as np
import numpy.typing as npt

from calib.distributions import coverage_factor
from calib.errors import CalibrationError

FloatArray = npt.NDArray[np.float64]
Function = Callable[..., float]
Correlations = Mapping[tuple[str, str], float]

# Differences are taken over a tenth of a standard uncertainty, or a ten thousandth of the value where that
# is more, and extrapolated to no step at all.
_STEP_OF_SD, _STEP_OF_VALUE = 0.1, 1e-4
_SECOND_ORDER = "second-order terms"


@dataclass(frozen=True)
class Input:
    """One input of a measurement.

    Parameters
    ----------
    name : str
        What it is, in words for people.
    value, sd : float
        Estimate and standard uncertainty, both in the input's own unit.
    dof : float
        Degrees of freedom of `sd`, at least 1; infinity where it is taken as known.
    how : str
        Where value and uncertainty come from.

    Raises
    ------
    CalibrationError
        The value is not finite, the uncertainty below 0 or not finite, or `dof` below 1.
    """

    name: str
    value: float
    sd: float
    dof: float = inf
    how: str = ""

    def __post_init__(self) -> None:
        if not (isfinite(self.value) and isfinite(self.sd) and self.sd >= 0):
            raise CalibrationError(
                f"The input {self.name!r} is {self.value!r} with standard uncertainty {self.sd!r}; both must "
                "be finite and the uncertainty not below 0."
            )
        if not self.dof >= 1:
            raise CalibrationError(
                f"The input {self.name!r} has {self.dof!r} degrees of freedom; at least 1 is needed, "
                "infinity where the uncertainty is taken as known."
            )


@dataclass(frozen=True)
class BudgetRow:
    """One line of a budget.

    Parameters
    ----------
    name : str
        Input; or a pair of correlated inputs; or the second-order terms.
    value, sd, sensitivity : float or None
        Estimate and standard uncertainty of the input in its own unit, and the change of the result for a
        unit of it; None for a pair and for second-order terms, which are no inputs.
    contribution : float
        Sensitivity times standard uncertainty, in the unit of the result and with the sign of the
        sensitivity; for a pair or second-order terms the root of their part of the variance, below 0 where
        that part is.
    share : float
        Part of the variance of the result; all shares add up to 1. A pair of inputs whose errors cancel
        has a share below 0.
    dof : float
        Degrees of freedom of `sd`.
    how : str
        Where the input comes from.
    """

    name: str
    value: float | None
    sd: float | None
    sensitivity: float | None
    contribution: float
    share: float
    dof: float = inf
    how: str = ""


@dataclass(frozen=True)
class Budget:
    """A result with its combined standard uncertainty and what it is made of.

    Parameters
    ----------
    value, sd : float
        The result and its combined standard uncertainty, in the unit of the result.
    dof : float
        Effective degrees of freedom; infinity where every input's uncertainty is taken as known.
    rows : tuple of BudgetRow
        Inputs in the order given, then correlated pairs, then second-order terms.
    """

    value: float
    sd: float
    dof: float
    rows: tuple[BudgetRow, ...]

    @property
    def relative_sd(self) -> float:
        """Standard uncertainty as a fraction of the value; infinity for a value of 0."""
        return self.sd / abs(self.value) if self.value else inf

    def expanded(self, level: float = 0.95) -> float:
        """Half-width of the interval that holds the value with probability `level` (GUM G.6.4)."""
        return coverage_factor(self.dof, level) * self.sd


def budget(
    f: Function,
    inputs: Sequence[Input],
    correlations: Correlations | None = None,
    *,
    second_order: bool = False,
) -> Budget:
    """Propagate the uncertainties of inputs through a function.

    First-order propagation with sensitivities from central differences (JCGM 100:2008, 5.1.2 and 5.1.4),
    covariances (5.2.2) and effective degrees of freedom by Welch and Satterthwaite (G.4.1). That formula is
    for independent inputs; correlated inputs are taken as one with the fewest degrees of freedom among
    them, which is on the safe side (own rule).

    Parameters
    ----------
    f : callable
        Takes the values of the inputs in their order, returns the result.
    inputs : sequence of Input
        Names must differ.
    correlations : mapping of (str, str) to float, optional
        Correlation coefficients, -1 to 1, by the names of two inputs; pairs not named are independent.
    second_order : bool
        Add the terms of next order (note to 5.1.2), for functions that are far from straight within an
        uncertainty. Only for independent inputs.

    Returns
    -------
    Budget

    Raises
    ------
    CalibrationError
        No input, a name twice, a correlation of an unknown input or out of range or impossible together with
        others, second-order terms of correlated inputs, or a result that is not finite.
    """
    r = _correlation_matrix(inputs, correlations or {})
    if second_order and correlations:
        raise CalibrationError(
            "Second-order terms are only known for independent inputs: leave out either them or correlations."
        )
    values = np.array([one.value for one in inputs], dtype=np.float64)
    sds = np.array([one.sd for one in inputs], dtype=np.float64)
    result = _result(f, values)
    sensitivities = np.array(
        [_derivative(f, values, i, _step(one), one.name) for i, one in enumerate(inputs)]
    )
    parts = sensitivities * sds
    pairs = [(i, j, 2 * float(r[i, j] * parts[i] * parts[j])) for i, j in combinations(range(len(inputs)), 2)]
    first = max(fsum([*(float(part) ** 2 for part in parts), *(extra for *_, extra in pairs)]), 0.0)
    beyond = _second_order(f, values, sds, parts) if second_order else 0.0
    total = max(first + beyond, 0.0)
    rows = [_input_row(one, float(c), total) for one, c in zip(inputs, sensitivities, strict=True)]
    rows += [
        _other_row(f"{inputs[i].name} with {inputs[j].name}", extra, total, f"correlation {r[i, j]:+.2f}")
        for i, j, extra in pairs
        if r[i, j] != 0
    ]
    if second_order:
        rows.append(_other_row(_SECOND_ORDER, beyond, total, "JCGM 100:2008, note to 5.1.2"))
    dof = _effective_dof(parts, r, np.array([one.dof for one in inputs], dtype=np.float64))
    return Budget(result, sqrt(total), dof, tuple(rows))


def _input_row(one: Input, sensitivity: float, total: float) -> BudgetRow:
    part = sensitivity * one.sd
    share = part * part / total if total > 0 else 0.0
    return BudgetRow(
        one.name, float(one.value), float(one.sd), sensitivity, part, share, float(one.dof), one.how
    )


def _other_row(name: str, variance: float, total: float, how: str) -> BudgetRow:
    """Row for a part of the variance that belongs to no single input."""
    share = variance / total if total > 0 else 0.0
    return BudgetRow(name, None, None, None, copysign(sqrt(abs(variance)), variance), share, how=how)


def _correlation_matrix(inputs: Sequence[Input], correlations: Correlations) -> FloatArray:
    """Matrix of correlation coefficients, checked."""
    names = [one.name for one in inputs]
    if not names or len(set(names)) < len(names):
        raise CalibrationError(
            "A budget needs inputs with names that differ; given are "
            f"{', '.join(map(repr, names)) or 'none'}."
        )
    r = np.eye(len(names))
    for (one, other), value in correlations.items():
        unknown = [name for name in (one, other) if name not in names]
        if unknown or one == other:
            raise CalibrationError(
                f"A correlation is given for {one!r} and {other!r}; it needs two different inputs out of "
                f"{', '.join(map(repr, names))}."
            )
        if not -1 <= value <= 1:
            raise CalibrationError(
                f"The correlation of {one!r} and {other!r} is {value!r}; allowed is -1 to 1."
            )
        i, j = names.index(one), names.index(other)
        r[i, j] = r[j, i] = value
    if np.linalg.eigvalsh(r)[0] < -1e-9:
        raise CalibrationError(
            "The correlations contradict each other: no quantities can be correlated like that. Check the "
            f"signs of {', '.join(f'{one!r} with {other!r}' for one, other in correlations)}."
        )
    return r


def _result(f: Function, values: FloatArray) -> float:
    result = float(f(*values.tolist()))
    if not isfinite(result):
        raise CalibrationError(
            f"The result of the inputs {', '.join(f'{value:g}' for value in values)} is {result}; check them."
        )
    return result


def _step(one: Input) -> float:
    return max(_STEP_OF_SD * one.sd, _STEP_OF_VALUE * abs(one.value)) or _STEP_OF_VALUE


def _derivative(f: Function, values: FloatArray, i: int, step: float, name: str) -> float:
    """Partial derivative by central differences over three steps, extrapolated (Richardson)."""
    slopes = []
    for h in (step, step / 2, step / 4):
        up, down = values.copy(), values.copy()
        up[i] += h
        down[i] -= h
        slopes.append((float(f(*up.tolist())) - float(f(*down.tolist()))) / float(up[i] - down[i]))
    first, second = (4 * slopes[1] - slopes[0]) / 3, (4 * slopes[2] - slopes[1]) / 3
    slope = (16 * second - first) / 15
    if not isfinite(slope):
        raise CalibrationError(
            f"The result is not finite when {name!r} changes by {step:g} about {values[i]:g}; its "
            "uncertainty is too large for this result."
        )
    return slope


def _second_order(f: Function, values: FloatArray, sds: FloatArray, parts: FloatArray) -> float:
    """Variance of next order, as sum over all i and j in units of the standard uncertainties.

    `parts` are the first derivatives in these units.

    Half the mixed second derivative squared, plus first derivative times the third one, once by x_i and
    twice by x_j (JCGM 100:2008, note to 5.1.2).
    """
    h = 0.25

    def at(z: FloatArray) -> float:
        return _result(f, values + z * sds)

    unit = np.eye(len(values)) * h
    centre, terms = at(unit[0] * 0), []
    for i, a in enumerate(unit):
        for j, b in enumerate(unit):
            if i == j:
                mixed = (at(a) - 2 * centre + at(-a)) / h**2
                third = (at(2 * a) - 2 * at(a) + 2 * at(-a) - at(-2 * a)) / (2 * h**3)
            else:
                mixed = (at(a + b) - at(a - b) - at(b - a) + at(-a - b)) / (4 * h**2)
                up, down = at(a + b) - 2 * at(a) + at(a - b), at(b - a) - 2 * at(-a) + at(-a - b)
                third = (up - down) / (2 * h**3)
            terms.append(mixed**2 / 2 + float(parts[i]) * third)
    return fsum(terms)


def _effective_dof(parts: FloatArray, r: FloatArray, dofs: FloatArray) -> float:
    """Effective degrees of freedom over groups of inputs that are correlated with each other."""
    linked = np.linalg.matrix_power((r != 0).astype(np.float64), max(len(parts) - 1, 1)) > 0
    variance, below, seen = 0.0, 0.0, np.zeros(len(parts), dtype=bool)
    for i in range(len(parts)):
        if seen[i]:
            continue
        group = linked[i]
        seen |= group
        part = max(float(parts[group] @ r[np.ix_(group, group)] @ parts[group]), 0.0)
        variance += part
        fewest = float(dofs[group & (parts != 0)].min(initial=inf))
        below += 0.0 if isinf(fewest) else part**2 / fewest
    return variance**2 / below if below > 0 else inf
