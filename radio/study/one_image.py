"""Every canal of one image: the image is read once, and a canal that fails does not stop the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from radio.errors import PeriapicalError, TraceError
from radio.image.radiograph import Radiograph
from radio.measure.case import CaseResult, Clicks
from radio.measure.settings import DEFAULT_SETTINGS, CurvatureSettings
from radio.record.tables import CaseInput, Skip


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of one canal.

    Parameters
    ----------
    case : CaseInput
        What was asked.
    result : CaseResult or None
        What was measured; None when nothing was.
    reason : str
        Why nothing was measured; empty when something was.
    lasting : bool
        The same inputs will give the same outcome again (false after, say, a disk error).
    wrong_clicks : bool
        Nothing was measured because the points cannot be points of this image.
    """

    case: CaseInput
    result: CaseResult | None
    reason: str = ""
    lasting: bool = True
    wrong_clicks: bool = False


@dataclass(frozen=True, eq=False)
class ImageOutcome:
    """What came of one image: as read (None if it could not be), and one outcome for each canal."""

    radiograph: Radiograph | None
    outcomes: tuple[Outcome, ...]

    @property
    def pairs(self) -> list[tuple[CaseResult, Clicks]]:
        """Results, each with the clicks it came from."""
        return [(one.result, one.case.clicks) for one in self.outcomes if one.result is not None]

    @property
    def skips(self) -> list[Skip]:
        """Canals of which nothing was measured."""
        return [
            Skip(one.case.image, one.case.facts.canal, one.reason)
            for one in self.outcomes
            if one.result is None
        ]


def measure_image(
    path: Path, cases: Sequence[CaseInput], settings: CurvatureSettings = DEFAULT_SETTINGS
) -> ImageOutcome:
    """Read one image and measure each of its canals.

    Parameters
    ----------
    path : pathlib.Path
        The image.
    cases : sequence of CaseInput
        Its canals.
    settings : CurvatureSettings
        Parameters of the curvature methods.

    Returns
    -------
    ImageOutcome
        In the order of `cases`; never raises for what is wrong with an image or a canal.
    """
    from radio.image.radiograph import read_radiograph

    try:
        radiograph = read_radiograph(path)
    except Exception as problem:  # whatever a decoder throws at a damaged image
        return ImageOutcome(None, tuple(_failed(case, problem) for case in cases))
    return measure_canals(radiograph, cases, settings)


def measure_canals(
    radiograph: Radiograph, cases: Sequence[CaseInput], settings: CurvatureSettings = DEFAULT_SETTINGS
) -> ImageOutcome:
    """Measure each canal of an image that has been read.

    Parameters
    ----------
    radiograph : Radiograph
        The image.
    cases : sequence of CaseInput
        Its canals.
    settings : CurvatureSettings
        Parameters of the curvature methods.

    Returns
    -------
    ImageOutcome
        In the order of `cases`; never raises for what is wrong with a canal.
    """
    outcomes = [_measure_canal(radiograph, case, settings) for case in cases]
    return ImageOutcome(radiograph, tuple(_seen_together(outcomes)))


def _seen_together(outcomes: Sequence[Outcome]) -> Iterator[Outcome]:
    """Outcomes with what the canals of the image say about each other."""
    from radio.measure.checks import with_checks_between

    judged = iter(with_checks_between([one.result for one in outcomes if one.result is not None]))
    for one in outcomes:
        yield one if one.result is None else replace(one, result=next(judged))


def _measure_canal(radiograph: Radiograph, case: CaseInput, settings: CurvatureSettings) -> Outcome:
    from radio.measure.pipeline import check_clicks, measure_case

    try:
        check_clicks(case.clicks, radiograph.grey.shape)
    except TraceError as problem:
        return Outcome(case, None, str(problem), wrong_clicks=True)
    try:
        result = measure_case(radiograph, case.clicks, case.facts, settings)
    except Exception as problem:  # one canal must not cost the others
        return _failed(case, problem)
    return _measured(case, result)


def _measured(case: CaseInput, result: CaseResult) -> Outcome:
    if result.measurements or result.scale is not None:
        return Outcome(case, result)
    reasons = "; ".join(remark.text for remark in result.told)
    return Outcome(case, None, reasons or "no line and no scale could be made from the points given")


def _failed(case: CaseInput, problem: Exception) -> Outcome:
    if isinstance(problem, PeriapicalError):
        return Outcome(case, None, str(problem))
    if isinstance(problem, OSError):
        reason = problem.strerror or type(problem).__name__
        return Outcome(case, None, f"The image {case.image} cannot be read ({reason}).", lasting=False)
    known = isinstance(problem, ValueError) and str(problem)
    text = str(problem) if known else f"unexpected {type(problem).__name__}: {problem}"
    return Outcome(case, None, text, lasting=False)
