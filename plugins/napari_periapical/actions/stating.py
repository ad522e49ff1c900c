"""Stating facts and answering checks."""

from __future__ import annotations

from dataclasses import replace

from napari_periapical.actions.core import Core
from napari_periapical.fields import with_fact, with_setting
from napari_periapical.session import Session
from napari_periapical.sheet import Canal
from radio.errors import PeriapicalError, echoed
from radio.measure.case import REPEATED_LANDMARKS, CaseFacts
from radio.measure.checks import answer_given


class Stating(Core):
    """Actions on what is known about a canal."""

    def state_fact(self, name: str, text: str) -> str:
        """State one fact as text; empty takes it back.

        Returns
        -------
        str
            What is wrong with the text, or empty when it was taken.
        """
        return "" if self.session is None else self.state_fact_of(self.session, self.canal.uid, name, text)

    def state_fact_of(self, session: Session, uid: int, name: str, text: str) -> str:
        """State one fact of a canal, whichever image and canal are worked on.

        Parameters
        ----------
        session : Session
            The image of the canal; the statement is one step of its history.
        uid : int
            The canal.
        name, text : str
            As for :meth:`state_fact`.

        Returns
        -------
        str
            What is wrong with the text, or that there is no such canal; empty when it was taken.
        """
        worked_on = session.canal
        canal = next((one for one in (worked_on, *session.sheet.canals) if one.uid == uid), None)
        if canal is None:
            return "Its canal is not there any more."
        facts, problem = _stated(session, canal, name, text)
        if problem or facts == canal.facts:
            return problem
        new = replace(canal, facts=facts)
        if canal is worked_on:
            after = session.landmark
            if after is None or (not new.points(after) and after not in REPEATED_LANDMARKS):
                session.go_on(new, None)
        what = f"stating {name.replace('_mm', '').replace('_', ' ')}"
        if session is self.session and canal is worked_on:
            self._push(what, new)
            return ""
        session.push(what, session.sheet.with_canal(new))
        self._after_stating(session)
        return ""

    def answer_check(self, check: str, word: str, note: str = "") -> str:
        """Answer a pre-flight check; an empty word takes the answer back.

        Returns
        -------
        str
            What is wrong with the answer, or empty when it was taken.
        """
        if self.session is None:
            return ""
        facts = self.canal.facts
        kept = tuple(one for one in facts.answers if one.check != check)
        try:
            answers = (*kept, answer_given(check, word, note)) if word else kept
        except PeriapicalError as problem:
            return str(problem)
        if answers != facts.answers:
            self._push(
                f"answering check {check[1:]}", replace(self.canal, facts=replace(facts, answers=answers))
            )
        return ""

    def state_setting(self, name: str, text: str) -> str:
        """State how curvature is measured on all canals of the image; empty takes the usual value.

        Returns
        -------
        str
            What is wrong with the text, or empty when it was taken.
        """
        return "" if self.session is None else self.state_setting_of(self.session, name, text)

    def state_setting_of(self, session: Session, name: str, text: str) -> str:
        """State a setting of an image, whichever is worked on; as :meth:`state_setting`."""
        settings, problem = with_setting(session.canal.settings, name, text)
        if problem or settings == session.canal.settings:
            return problem
        if session is self.session:
            self.cancel_move()
            self.tell("note", "")
        canals = tuple(replace(one, settings=settings) for one in session.sheet.canals)
        session.push(f"setting {name.replace('_', ' ')}", replace(session.sheet, canals=canals))
        self._after_stating(session)
        return ""

    def _after_stating(self, session: Session) -> None:
        if session is self.session:
            self._after_change()
        else:
            self.autosave.note(session)


def _stated(session: Session, canal: Canal, name: str, text: str) -> tuple[CaseFacts, str]:
    """Give the facts of a canal with one stated anew, and what is wrong with the text."""
    facts, problem = with_fact(canal.facts, name, text)
    others = [one.facts.canal for one in session.sheet.canals if one.uid != canal.uid]
    if not problem and name == "canal" and facts.canal in others:
        problem = f"Another canal is called {echoed(facts.canal)} already; give each its own name."
    return facts, problem
