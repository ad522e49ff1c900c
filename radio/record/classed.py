"""Classes of what was measured on one canal."""

from __future__ import annotations

from collections.abc import Sequence

from radio.measure.case import CaseResult
from radio.measure.classes import SCHEMES, Classified, Scheme, classes_of


def classes_of_result(result: CaseResult, schemes: Sequence[Scheme] = SCHEMES) -> tuple[Classified, ...]:
    """Class of a canal by every scheme that applies to what was measured, from its one view.

    Parameters
    ----------
    result : CaseResult
    schemes : sequence of Scheme
    """
    values = {name: (one.value, one.interval95) for name, one in result.measurements.items()}
    shaped = result.findings.get("s_shaped")
    return tuple(
        classes_of(values, None if shaped is None else shaped.word == "yes", views=1, schemes=schemes)
    )
