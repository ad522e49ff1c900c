"""What textbooks advise about the gap between file tip and radiographic apex, told as the rule it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from radio.errors import PeriapicalError
from radio.measure.result import Measurement

GapVerdict = Literal["within", "short", "beyond", "not distinguishable"]

# The textbook window: the tip from at the radiographic apex to this much short of it, mm.
WINDOW_MM = 1.0
RULE_STANDING = (
    "textbook rule: two pages of study notes of low weight, one citing Grossman's Endodontic Practice; "
    "common practice"
)
OTHER_RULE = (
    "Another rule, from memory: with the tip 0 to 2 mm short an electronic reading is accepted; beyond the "
    "apex or more than 2 mm short the reading is repeated and a second angle considered."
)
WITHOUT_EXPOSURE = (
    "A further image is not always needed: in a trial of 151 canals, electronic readings alone ended where "
    "they ended together with file images, with 2.0 instead of 3.2 exposures (BMC Oral Health 2006;6:4, "
    "read)."
)
JUSTIFICATION = (
    "Every exposure is justified for the patient by those licensed to, kept as low as reasonably achievable "
    "(ALARA) and made under local rules; none is made only to feed the tool."
)

_OR_ELECTRONIC = "or the length is accepted together with an electronic reading"
_UNDECIDED = (
    "The interval reaches over an edge of the textbook window, so that the rule does not decide: an "
    "electronic reading can, without another exposure."
)
_DO = {
    "within": "By the textbook rule the file stands well enough: no further exposure follows from it.",
    "short": f"By the textbook rule the file is set longer and exposed again, {_OR_ELECTRONIC}.",
    "beyond": f"By the textbook rule the file is set shorter and exposed again, {_OR_ELECTRONIC}.",
    "not distinguishable": _UNDECIDED,
}


@dataclass(frozen=True)
class GapAdvice:
    """Where a gap lies in the textbook window, and what is taught for it.

    Parameters
    ----------
    verdict : {"within", "short", "beyond", "not distinguishable"}
        By the 95 % interval of the gap.
    seen, do : str
        What was measured; what the rule says.
    """

    verdict: GapVerdict
    seen: str
    do: str

    @property
    def lines(self) -> tuple[str, ...]:
        """All that is told, the caution last."""
        rule = f"{self.do} ({RULE_STANDING})"
        beside = () if self.verdict == "within" else (WITHOUT_EXPOSURE, OTHER_RULE)
        return (self.seen, rule, *beside, JUSTIFICATION)


def advice_on_gap(gap: Measurement) -> GapAdvice:
    """Judge a gap by the textbook rule: at the apex or at most 1 mm short.

    Parameters
    ----------
    gap : Measurement
        ``gap_mm``, positive = tip short.

    Raises
    ------
    PeriapicalError
        It is not in millimetres.
    """
    if gap.unit != "mm":
        raise PeriapicalError(f"The gap is {gap}; the rule needs it in millimetres: give a scale.")
    low, high = gap.interval95 or (gap.value, gap.value)
    verdict: GapVerdict = "not distinguishable"
    if high < 0:
        verdict = "beyond"
    elif low > WINDOW_MM:
        verdict = "short"
    elif low >= 0 and high <= WINDOW_MM:
        verdict = "within"
    where = "short of" if gap.value >= 0 else "beyond"
    seen = (
        f"The tip is seen {abs(gap.value):.2f} mm {where} the radiographic apex (gap, 95 %: {low:+.2f} to "
        f"{high:+.2f} mm; textbook window 0 to {WINDOW_MM:g} mm). Where the foramen is, is not seen."
    )
    return GapAdvice(verdict, seen, _DO[verdict])
