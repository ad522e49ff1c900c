"""Has canals measured, one after the other and never twice, wherever the work is done."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from napari_periapical.background import Runner
from napari_periapical.session import Session, Shown
from napari_periapical.sheet import Canal
from radio.errors import PeriapicalError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseFacts, CaseResult
from radio.measure.settings import CurvatureSettings

Measure = Callable[[Radiograph, dict[str, Any], CaseFacts, CurvatureSettings], CaseResult]


def measure_with_tracer(
    radiograph: Radiograph, clicks: dict[str, Any], facts: CaseFacts, settings: CurvatureSettings
) -> CaseResult:
    """Trace and measure; what this needs is loaded at the first call."""
    from radio.measure.pipeline import measure_case

    return measure_case(radiograph, clicks, facts, settings)


class Measuring:
    """Brings the outcomes of a session up to date.

    Parameters
    ----------
    runner : Runner
        Where the work is done; may be exchanged at any time.
    measure : callable
        Radiograph, clicks, facts and settings to CaseResult.
    arrived : callable
        Called with a session when there is something new to show of it.
    """

    def __init__(self, runner: Runner, measure: Measure, arrived: Callable[[Session], None]) -> None:
        self.runner: Runner = runner
        self.measure = measure
        self._arrived = arrived

    def now(self, session: Session, canal: Canal) -> Shown:
        """Measure a state on the spot, or look it up."""
        known = session.known(canal)
        if known is None:
            known = self.outcome(session.radiograph, canal)
            session.remember(known)
        return known

    def request(self, session: Session) -> None:
        """See to it that every canal gets measured; what is known already is shown at once."""
        news = False
        while (canal := session.unmeasured()) is not None:
            known = session.known(canal)
            if known is None:
                break
            session.shown[canal.uid] = replace(known, canal=canal)
            news = True
        if news or canal is None:
            self._arrived(session)
        if canal is not None:
            radiograph, wanted = session.radiograph, canal
            self.runner(lambda: self.outcome(radiograph, wanted), lambda shown: self._take(session, shown))

    def outcome(self, radiograph: Radiograph, canal: Canal) -> Shown:
        """Measure a state; may be called from any thread."""
        try:
            return Shown(canal, self.measure(radiograph, canal.clicks_px(), canal.facts, canal.settings))
        except PeriapicalError as error:
            return Shown(canal, None, str(error))
        except Exception as error:  # a failure of one measurement must not end the work
            return Shown(canal, None, f"This could not be measured ({type(error).__name__}: {error}).")

    def _take(self, session: Session, shown: Shown) -> None:
        session.remember(shown)
        session.shown[shown.canal.uid] = shown
        self._arrived(session)
        if session.unmeasured() is not None:
            self.request(session)
