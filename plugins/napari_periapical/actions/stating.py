"""Stating facts and answering checks."""

from __future__ import annotations

from dataclasses import replace

from napari_periapical.actions.core import Core
from napari_periapical.fields import with_fact, with_setting
from radio.errors import PeriapicalError
from radio.measure.case import REPEATED_LANDMARKS
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
        if self.session is None:
            return ""
        new, problem = with_fact(self.canal.facts, name, text)
        if problem:
            return problem
        others = [c.facts.canal for c in self.session.sheet.canals if c.uid != self.canal.uid]
        if name == "canal" and new.canal in others:
            return f"Another canal is called {new.canal!r} already; give each its own name."
        if new != self.canal.facts:
            canal = replace(self.canal, facts=new)
            after = self.session.landmark
            if after is None or (not canal.points(after) and after not in REPEATED_LANDMARKS):
                self.session.go_on(canal, None)
            self._push(f"stating {name.replace('_mm', '').replace('_', ' ')}", canal)
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
        if self.session is None:
            return ""
        settings, problem = with_setting(self.canal.settings, name, text)
        if not problem and settings != self.canal.settings:
            self.cancel_move()
            sheet = self.session.sheet
            canals = tuple(replace(one, settings=settings) for one in sheet.canals)
            self.session.push(f"setting {name.replace('_', ' ')}", replace(sheet, canals=canals))
            self.tell("note", "")
            self._after_change()
        return problem
