"""Why an electronic reading and a radiographic length may differ: causes that fit direction and canal."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from radio.measure.reading import Reading

Direction = Literal["shorter", "longer"]

_PRACTICE = "common practice, no source"
_MEMORY = "from memory"


@dataclass(frozen=True)
class Cause:
    """One reason for a difference, as data.

    Parameters
    ----------
    name : str
        Its name in tables.
    title : str
        What it is, in a few words.
    directions : tuple of {"shorter", "longer"}
        What it makes of the electronic length against the radiographic one.
    why : str
        How it does that.
    do : str
        What can be done about it.
    standing : str
        Where this comes from, and what of it is only from memory.
    flag : str
        Field of :class:`~radio.measure.reading.Reading` that decides whether it is there; empty where none
        does.
    when : tuple of str or bool
        Values of that field with which the cause is there.
    """

    name: str
    title: str
    directions: tuple[Direction, ...]
    why: str
    do: str
    standing: str
    flag: str = ""
    when: tuple[str | bool, ...] = (True,)


_BOTH: tuple[Direction, ...] = ("shorter", "longer")

# What is commonest stands first: common practice, no source.
CAUSES: tuple[Cause, ...] = (
    Cause(
        "foramen",
        "foramen short of the apex",
        ("shorter",),
        "the reading answers to the foramen, the radiograph shows the apex; the foramen lay 0.59 mm (0.46 "
        "to 0.78 by tooth) or 0.69 mm (0.39 to 0.95) short of it on average, off the tip in 60 % of roots "
        "and more; a file that looks long is longer still",
        "another view, if justified, may show the exit",
        "by a summary: Burch & Hulen 1972; abstracts: Martos 2009, Int Endod J; Williams 2006, J Endod "
        "32:624",
    ),
    Cause(
        "half_mark",
        "read at the half mark",
        ("shorter",),
        "the half mark is meant for the constriction, short of the foramen (means of 0.5 to 0.85 mm are "
        "published), and numbers between marks are not millimetres",
        "read at the zero mark and withdraw by a stated amount",
        "makers' statement as told by Jung 2011, J Endod; 0.85 and 0.71 mm: Eur J Dent 2018 (ejd_54_18); "
        "0.52 and 0.66 mm: Kuttler 1955, from memory; advice: a textbook chapter (Nekoofar)",
        "mark",
        ("half",),
    ),
    Cause(
        "stop_moved",
        "stop or reference moved",
        _BOTH,
        "both lengths count from the stop on the coronal reference; a stop that slipped or another cusp "
        "moves one of them",
        "set the stop at right angles on the named reference; measure the file again on the ruler",
        _PRACTICE,
    ),
    Cause(
        "other_canal",
        "another canal",
        _BOTH,
        "the reading belongs to a canal other than the one measured, or two files were interchanged",
        "check which file stands in which canal",
        _PRACTICE,
    ),
    Cause(
        "past_the_mark",
        "noted beyond the mark",
        ("longer",),
        "the file had passed the foramen when its length was read",
        "withdraw until the mark just goes, and read there",
        _PRACTICE,
    ),
    Cause(
        "perforation",
        "perforation or side exit",
        ("shorter",),
        "the reading closes where the file meets tissue outside the root, before the end of the canal",
        "look for pain, bleeding and a lesion beside the root; another view, if justified",
        "that readings find perforations: Iran Endod J 2010;5:23; the side exit is from memory",
        "suspected_perforation",
    ),
    Cause(
        "bleeding",
        "bleeding or exudate",
        ("shorter",),
        "fluid that conducts leads the current past the file, so that the mark comes early",
        "stop the bleeding, dry the canal to moist, read again",
        "a practitioner's page of low weight; the direction is from memory",
        "bleeding",
    ),
    Cause(
        "flooded",
        "flooded canal",
        ("shorter",),
        "irrigant that stands in the chamber leads the current past the canal",
        "dry the chamber, leave the canal moist, read again",
        _MEMORY,
        "canal_state",
        ("flooded",),
    ),
    Cause(
        "dry",
        "dry canal",
        ("longer",),
        "without moisture the circuit closes only when the tip touches living tissue, late",
        "moisten the canal, dry the chamber, read again",
        _MEMORY,
        "canal_state",
        ("dry",),
    ),
    Cause(
        "metal_contact",
        "metal or caries contact",
        ("shorter",),
        "the current finds its way through metal or saliva instead of the end of the canal",
        "keep the file off metal, remove caries, block saliva out, read again",
        "a conductive restoration as a factor: BMC Oral Health 2021 (01625), background; direction from "
        "memory",
        "metal_contact",
    ),
    Cause(
        "open_apex",
        "wide foramen",
        ("shorter",),
        "a foramen wider than about 0.6 mm makes readings inexact, most of them early",
        "read with a file that fits the canal; do not trust one reading",
        "inexact above 0.6 mm: cited in BDJ Open 2020 (s41405-020-00052-3), and disputed; direction from "
        "memory",
        "open_apex",
    ),
    Cause(
        "resorption",
        "resorption",
        _BOTH,
        "a resorbed end is wide and has no constriction, and its radiographic apex is not the old one; how "
        "the reading answers depends on the device",
        "take the reading as one opinion; look at the outline of the root end",
        "dependence on the device: López-Maekawa 2022, Iran Endod J 17:20",
        "resorption",
        ("internal", "external"),
    ),
    Cause(
        "previous_filling",
        "old filling",
        ("longer",),
        "old filling keeps the file from touching the wall and the current from passing, so that the mark "
        "comes late or not at all",
        "remove it and read again",
        _MEMORY,
        "previous_filling",
    ),
    Cause(
        "not_patent",
        "blocked canal",
        _BOTH,
        "where no file passes to the end, the reading stands at the block or does not come to rest",
        "regain the way with a small file, then read again",
        "patency as a factor: BMC Oral Health 2021 (01625), background; direction from memory",
        "patency",
        (False,),
    ),
    Cause(
        "hidden_bend",
        "bend toward the detector",
        ("longer",),
        "a gap that runs toward the detector is foreshortened, so that the radiographic length comes out too "
        "short (a gap tilted by 30 degrees by 13 %)",
        "another view, if justified",
        "projection geometry (parallel beam)",
    ),
    Cause(
        "apex_hidden",
        "apex hidden on the image",
        ("longer",),
        "where bone or another root lies over it, the outline is read short of the true apex",
        "change the display, or look at another view",
        _PRACTICE,
    ),
    Cause(
        "tip_seen_short",
        "tip not seen to its end",
        ("shorter",),
        "a thin tip fades on the image, so that the gap and with it the radiographic length come out too "
        "long; the finer the file the more",
        "look at the tip at high zoom; use size 15 or larger for the image where it fits",
        "error falls with size: Kal 2007, OOOOE 103:280; disputed by Brito-Junior 2009, J Oral Sci 51:559; "
        "size 15: from memory",
    ),
    Cause(
        "loose_file",
        "file too loose",
        _BOTH,
        "a thin file in a wide canal does not touch its wall; the reading is unstable",
        "repeat with a file near the size of the canal",
        "a practitioner's page of low weight; direction not known",
    ),
)


@dataclass(frozen=True)
class FittingCause:
    """A cause that fits one difference.

    Parameters
    ----------
    cause : Cause
    stated : bool
        Whether the reading itself states it (True) or leaves it open (False).
    why : str
        Why it fits this reading.
    """

    cause: Cause
    stated: bool
    why: str


def fitting_causes(difference_mm: float, reading: Reading) -> tuple[FittingCause, ...]:
    """Causes that fit the direction of a difference and what is known of the canal, stated ones first.

    A cause that the reading rules out (its flag is stated otherwise) is left out.

    Parameters
    ----------
    difference_mm : float
        Electronic minus radiographic length, mm; of 0 nothing needs a cause.
    reading : Reading

    Returns
    -------
    tuple of FittingCause
    """
    if difference_mm == 0.0:
        return ()
    direction: Direction = "longer" if difference_mm > 0 else "shorter"
    found = [
        FittingCause(cause, stated, _why(cause, direction, reading, stated))
        for cause in CAUSES
        if direction in cause.directions
        for stated in _there(cause, reading)
    ]
    return tuple(sorted(found, key=lambda one: not one.stated))


def _there(cause: Cause, reading: Reading) -> Iterable[bool]:
    """Nothing where the reading rules the cause out, else whether it states it."""
    given = getattr(reading, cause.flag) if cause.flag else None
    if given is None:
        return (False,)
    return (True,) if given in cause.when else ()


def _why(cause: Cause, direction: Direction, reading: Reading, stated: bool) -> str:
    told = f"makes the electronic length the {direction} one"
    if len(cause.directions) > 1:
        told = "can make either length the longer one"
    if stated:
        word = getattr(reading, cause.flag)
        answer = word if isinstance(word, str) else ("yes" if word else "no")
        known = f"stated ({cause.flag.replace('_', ' ')}: {answer})"
    elif cause.flag:
        known = f"not ruled out ({cause.flag.replace('_', ' ')} not stated)"
    else:
        known = "always possible"
    return f"{known}; {told}: {cause.why}"
