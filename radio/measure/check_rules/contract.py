"""What a check is made of: the rule, what it found, what a person answered."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from radio.measure.check_rules.seen import Seen

Level = Literal["stop", "warn", "note"]
Withheld = Literal["scale", "tip", "apex", "canal", "working", "reference", "estimate"]
"""What a stop puts in doubt: what a number may rest on, or one of the lengths itself."""
ACCEPTED = "accepted"


@dataclass(frozen=True)
class Answer:
    """What a person answered to a check.

    Parameters
    ----------
    check : str
        Id of the check, e.g. ``"P9"``.
    answer : str
        One of the words its rule allows.
    note : str
        In the person's own words.
    """

    check: str
    answer: str
    note: str = ""

    @property
    def words(self) -> str:
        """Answer and note in words."""
        return f"{self.answer}: {self.note}" if self.note else self.answer


@dataclass(frozen=True)
class Check:
    """One finding of a check.

    Parameters
    ----------
    id, title : str
        Of the rule, e.g. ``"P9"``, "apex in the image".
    level : {"stop", "warn", "note"}
    seen, do : str
        What was seen; what to do.
    basis : str
        What the rule rests on, and how well that is known.
    answer, note : str
        What a person answered; empty where nothing.
    withholds : tuple of str
        Numbers that rest on these are not given until it is settled.
    stands : bool
        The answer, if there is one, does not settle it.
    """

    id: str
    title: str
    level: Level
    seen: str
    do: str
    basis: str
    answer: str = ""
    note: str = ""
    withholds: tuple[Withheld, ...] = ()
    stands: bool = False

    @property
    def settled(self) -> bool:
        """Whether a person's answer has put it right."""
        return bool(self.answer) and not self.stands

    @property
    def answered(self) -> str:
        """Answer and note in words; empty where nothing was answered."""
        return Answer(self.id, self.answer, self.note).words if self.answer else ""

    @property
    def short(self) -> str:
        """Id, level and answer, for a cell of a table."""
        return f"{self.id} {self.level}" + (f" ({self.answered})" if self.answer else "")

    @property
    def text(self) -> str:
        """All of it in words."""
        answered = f" Answered: {self.answered.rstrip('.')}." if self.answer else ""
        do = "" if self.settled else f" {self.do}"
        return f"Check {self.id[1:]}, {self.title}: {self.seen}{do}{answered}"


@dataclass(frozen=True)
class Found:
    """What the look of a rule found.

    Parameters
    ----------
    level, seen, do, withholds
        As of a :class:`Check`.
    final : bool
        No answer settles it; what is wrong must be put right.
    """

    level: Level
    seen: str
    do: str
    withholds: tuple[Withheld, ...] = ()
    final: bool = False


def not_here(seen: Seen) -> Iterator[Found]:
    """Look of a rule that one canal on one image cannot be judged by."""
    del seen
    return iter(())


@dataclass(frozen=True)
class CheckRule:
    """One check of the catalogue.

    Parameters
    ----------
    id : str
        ``"P1"`` to ``"P29"``.
    title : str
    level : {"stop", "warn", "note"}
        The gravest it can give.
    how : str
        What is looked at.
    basis, standing : str
        What it rests on; how well that is known.
    look : callable
        From what is there to see to what was found.
    question : str
        What only a person can answer; empty where nothing is asked.
    settles, doubts : tuple of str
        Answers that settle a finding, and those that make one.
    where : {"canal", "image", "course"}
        Whether one canal, all canals of an image, or a treatment is looked at.
    """

    id: str
    title: str
    level: Level
    how: str
    basis: str
    standing: str
    look: Callable[[Seen], Iterable[Found]] = not_here
    question: str = ""
    settles: tuple[str, ...] = (ACCEPTED,)
    doubts: tuple[str, ...] = ()
    where: Literal["canal", "image", "course"] = "canal"

    @property
    def answers(self) -> tuple[str, ...]:
        """Every word that may be answered."""
        return (*self.settles, *self.doubts)

    def checks(self, seen: Seen) -> Iterator[Check]:
        """Findings on one canal, each with its answer where it has one."""
        yield from self.made(self.look(seen), seen.facts.answers)

    def made(self, found: Iterable[Found], answers: Sequence[Answer]) -> Iterator[Check]:
        """Checks from what was found, each with its answer where it has one."""
        given = answer_to(self.id, answers)
        for one in found:
            settled = given is not None and given.answer in self.settles and not one.final
            yield Check(
                self.id,
                self.title,
                one.level,
                one.seen,
                one.do,
                f"{self.basis} ({self.standing})",
                "" if given is None else given.answer,
                "" if given is None else given.note,
                one.withholds,
                given is not None and not settled,
            )


def answer_to(check: str, answers: Sequence[Answer]) -> Answer | None:
    """Find the answer to a check; the last one counts."""
    return next((one for one in reversed(answers) if one.check == check), None)
