"""What textbooks advise about a gap, judged by its interval."""

from __future__ import annotations

import pytest

from radio.errors import PeriapicalError
from radio.measure.gap_advice import JUSTIFICATION, OTHER_RULE, WITHOUT_EXPOSURE, advice_on_gap
from radio.measure.result import Measurement


def gap(mm: float, sd: float | None = 0.1) -> Measurement:
    return Measurement("gap_mm", mm, "mm", sd, "m", "b")


# Accept at 0 to 1 mm short; more than 1 mm short or beyond the apex: adjust and expose again (study notes,
# one citing Grossman's Endodontic Practice, 13th ed.; common practice). 95 % are 1.96 standard uncertainties.
@pytest.mark.parametrize(
    ("mm", "sd", "verdict"),
    [
        (0.5, 0.1, "within"),
        (0.5, 0.26, "not distinguishable"),
        (1.19, 0.1, "not distinguishable"),
        (1.2, 0.1, "short"),
        (-0.19, 0.1, "not distinguishable"),
        (-0.2, 0.1, "beyond"),
        (1.0, None, "within"),
        (1.01, None, "short"),
        (-0.01, None, "beyond"),
    ],
)
def test_verdicts(mm, sd, verdict) -> None:
    assert advice_on_gap(gap(mm, sd)).verdict == verdict


@pytest.mark.parametrize("mm", [-1.5, 0.5, 1.1, 3.0])
def test_an_exposure_is_never_advised_without_its_caution(mm) -> None:
    advice = advice_on_gap(gap(mm))
    told = " ".join(advice.lines)
    assert advice.lines[-1] == JUSTIFICATION
    assert "ALARA" in told
    assert "only to feed the tool" in told
    assert "textbook rule" in told
    assert "Where the foramen is, is not seen" in told
    if "exposed again" in told:
        assert WITHOUT_EXPOSURE in advice.lines
        assert "from memory" in OTHER_RULE
        assert OTHER_RULE in advice.lines
        assert "or the length is accepted together with an electronic reading" in told


def test_direction_in_words() -> None:
    assert "1.50 mm beyond" in advice_on_gap(gap(-1.5)).seen
    assert "set shorter" in advice_on_gap(gap(-1.5)).do
    assert "1.50 mm short of" in advice_on_gap(gap(1.5)).seen
    assert "set longer" in advice_on_gap(gap(1.5)).do


def test_a_gap_in_pixels_has_no_advice() -> None:
    with pytest.raises(PeriapicalError, match="millimetres"):
        advice_on_gap(Measurement("gap_px", 20.0, "px", 1.0, "m", "b"))
