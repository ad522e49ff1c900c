"""What has been published on how a working length changes while a canal is shaped.

Shown beside a reader's own changes. The means contradict each other, so nothing is predicted from them.
"""

from __future__ import annotations

from dataclasses import dataclass

_ABSTRACT = "verified on the abstract"
_SUMMARY = "verified on a page that sums the paper up, not in the paper"


@dataclass(frozen=True)
class Published:
    """One published finding.

    Parameters
    ----------
    what : str
        Teeth, technique and between which stages.
    change : str
        As published, mm; minus = shorter.
    source : str
    standing : str
        How far it was verified.
    """

    what: str
    change: str
    source: str
    standing: str


@dataclass(frozen=True)
class FixedFigure:
    """A fixed change that is commonly taken to matter, mm, with its standing."""

    mm: float
    what: str
    standing: str


PUBLISHED_CHANGES = (
    Published(
        "curved canals of molars, steel hand files and flaring drills, from before flaring to the end",
        "-0.48",
        "Davis 2002, J Endod 28:438",
        f"{_SUMMARY}; that all canals lost length: {_ABSTRACT}",
    ),
    Published("the same with nickel-titanium", "-0.22", "Davis 2002, J Endod 28:438", _SUMMARY),
    Published(
        "length first taken after flaring, steel / nickel-titanium",
        "-0.36 / -0.07",
        "Davis 2002, J Endod 28:438",
        _SUMMARY,
    ),
    Published(
        "straight-line access and coronal flaring, 86 teeth; curved more than straight, by little",
        "-0.17",
        "Schroeder 2002, J Endod 28:474",
        _SUMMARY,
    ),
    Published(
        "first molars, steel / nickel-titanium",
        "-0.77 ± 0.42 / -0.33 ± 0.44",
        "Kumar and Khambete 2013, ENDO 7:113",
        _ABSTRACT,
    ),
    Published(
        "43 molars by direct view, unflared to flared; flared to end: at 15° / at 40°",
        "change of 0.06; 0.37 / 0.06; 0.25",
        "conference abstract 2018 (low weight)",
        _ABSTRACT,
    ),
    Published(
        "the same, read electronically",
        "change of 0.09; 0.22 / 0.09; 0.10",
        "conference abstract 2018 (low weight)",
        _ABSTRACT,
    ),
    Published(
        "further studies",
        "some tenths of a millimetre",
        "Caldwell 1976, Farber and Bernstein 1983, Ibelli 2007, Vasconcelos 2015",
        "from memory, no figures",
    ),
)

CONTRADICTIONS = (
    "Published means run from -0.07 to -0.77 mm and contradict each other: more change in curved canals "
    "than in straight ones (Schroeder 2002), and more in straight ones than in curved ones (conference "
    "abstract 2018). Nothing is predicted from them or from curvature; they are a reason to measure again."
)

FIXED_FIGURES = (
    FixedFigure(0.5, "strict clinical tolerance", "verified in the text of reviews"),
    FixedFigure(1.0, "lenient clinical tolerance", "from memory"),
)
