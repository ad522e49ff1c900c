"""The plot of a course: what stands where, and what is told below it."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from radio.errors import PeriapicalError
from radio.measure.repeatability import LSC_FACTOR, stated_repeatability
from radio.record.course import Course, CourseEntry, FileUsed, Stage
from radio.record.course_checks import judge_course
from radio.record.course_picture import course_page
from tests.fixtures.drawn_page import axes_named

ENTRY = CourseEntry(Stage.SCOUTING, 21.0, "gap", FileUsed(15, "steel"), "MB cusp", "radiograph", "", "", 0.25)
SHAPING = (Stage.SCOUTING, Stage.AFTER_FLARING, Stage.AFTER_MID_ROOT, Stage.FINAL)
SD_MM = 0.15


def judged(*values: float, other: int | None = None):
    entries = [
        replace(ENTRY, stage=stage, length_mm=one) for stage, one in zip(SHAPING, values, strict=False)
    ]
    if other is not None:
        entries[other] = replace(entries[other], file=FileUsed(25, "NiTi"))
    return judge_course(Course("36", "MB", tuple(entries), "T01"), lambda _: stated_repeatability(SD_MM))


def line(axes, gid):
    (found,) = [one for one in axes.lines if one.get_gid() == gid]
    return found


def words(page):
    texts = (text.get_text() for axes in page.figure.axes for text in axes.texts)
    return " ".join(" ".join(texts).split())


def test_lengths_bars_and_bands_stand_where_they_are() -> None:
    axes = axes_named(course_page(judged(21.0, 20.8, 20.7, 20.2)), "course")
    for place, length in enumerate((21.0, 20.8, 20.7, 20.2)):
        assert line(axes, f"length {place}").get_xydata().tolist() == [[place + 1, length]]
    bars = [path for one in axes.collections if not one.get_gid() for path in one.get_paths()]
    spans = sorted(np.ptp(path.vertices[:, 1]) for path in bars)
    # 95 % of the stated 0.25 mm
    assert spans == pytest.approx([2 * 1.96 * 0.25] * 4)
    for number, first in ((1, 21.0), (2, 20.8), (3, 20.7)):
        (band,) = [one for one in axes.collections if one.get_gid() == f"band {number}"]
        rows = band.get_paths()[0].vertices[:, 1]
        lsc = LSC_FACTOR * SD_MM
        assert (rows.min(), rows.max()) == pytest.approx((first - lsc, first + lsc))
    whole = [one.get_ydata()[0] for one in axes.lines if one.get_gid() == "whole 4"]
    assert whole == pytest.approx([21.0 - lsc, 21.0 + lsc])


def test_blocked_comparisons_are_broken_and_have_no_band() -> None:
    axes = axes_named(course_page(judged(21.0, 20.8, 20.7, 20.2, other=2)), "course")
    styles = {n: line(axes, f"change {n}").get_linestyle() for n in (1, 2, 3, 4)}
    assert styles == {1: "-", 2: "--", 3: "--", 4: "-"}
    bands = {one.get_gid() for one in axes.collections if one.get_gid()}
    assert bands == {"band 1", "band 4"}
    # 0.60 mm is more than 2.77 × 0.15 = 0.42 mm, but less than 1.96 × √2 × 0.25 = 0.69 mm
    assert {text.get_text() for text in axes.texts} == {"1 ≈", "2 ×", "3 ×", "4 ~", "5 ↓"}


def test_every_stage_has_its_place_even_without_a_length() -> None:
    axes = axes_named(course_page(judged(21.0)), "course")
    assert [" ".join(tick.get_text().split()) for tick in axes.get_xticklabels()] == list(Stage)
    low, high = axes.get_ylim()
    # the plot does not blow up hundredths of a millimetre
    assert high - low >= 2.0 - 1e-9


def test_everything_lies_within_the_plot() -> None:
    axes = axes_named(course_page(judged(21.0, 23.0, 20.7, 17.2)), "course")
    low, high = axes.get_ylim()
    for one in (*axes.lines, *axes.collections):
        paths = one.get_paths() if hasattr(one, "get_paths") else [one.get_path()]
        for path in paths:
            assert low <= path.vertices[:, 1].min() <= path.vertices[:, 1].max() <= high


def test_the_text_tells_verdicts_spread_and_caution() -> None:
    told = words(course_page(judged(21.0, 20.8, 20.7, 21.6)))
    for part in (
        "Tooth 36, canal MB (T01)",
        "1 ≈ scouting to after coronal flaring: -0.20 mm, not distinguishable from no change",
        "longer by 0.90 mm, more than your least significant change 0.42 mm",
        "Warning (P24)",
        "2.77 × SD 0.15 mm",
        "Nothing is predicted",
        "not a medical device",
    ):
        assert part in told
    key = axes_named(course_page(judged(21.0, 20.8, other=1)), "key").get_legend()
    assert [text.get_text() for text in key.get_texts()] == [
        "radiograph, gap, from MB cusp, file size 15, steel",
        "radiograph, gap, from MB cusp, file size 25, NiTi",
    ]


def test_lengths_of_one_stage_stand_side_by_side() -> None:
    entries = (ENTRY, replace(ENTRY, length_mm=21.4, method="electronic", basis="mark zero"))
    found = judge_course(Course("36", "MB", entries), lambda _: stated_repeatability(SD_MM))
    axes = axes_named(course_page(found), "course")
    first, second = (line(axes, f"length {n}").get_xydata()[0][0] for n in (0, 1))
    assert second - first > 0.1
    assert (first + second) / 2 == pytest.approx(1.0)


def test_long_names_and_signs_of_formulas_stay_text(tmp_path) -> None:
    entry = replace(ENTRY, reference=r"$\frac$ of the cusp " + "very " * 30, note="$x")
    found = judge_course(Course("36", "M$B", (entry,), "T " * 90), lambda _: stated_repeatability(SD_MM))
    page = course_page(found)
    page.save(tmp_path / "a.svg")
    sheet = page.figure.bbox
    renderer = page.figure.canvas.get_renderer()
    (named,) = axes_named(page, "key").get_legend().get_texts()
    assert named.get_text().count("\n") >= 1
    titles = [text for axes in page.figure.axes for text in axes.texts]
    for text in (named, *titles):
        box = text.get_window_extent(renderer)
        assert sheet.x0 <= box.x0 <= box.x1 <= sheet.x1
    assert r"$\frac$" in (tmp_path / "a.svg").read_text(encoding="utf-8")


def test_saved_as_png_and_svg(tmp_path) -> None:
    page = course_page(judged(21.0, 20.1))
    page.save(tmp_path / "a.png")
    page.save(tmp_path / "a.svg")
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    svg = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert re.search("shorter by 0.90 mm", svg)
    course_page(judged(21.0, 20.1)).save(tmp_path / "b.svg")
    assert (tmp_path / "b.svg").read_text(encoding="utf-8") == svg
    with pytest.raises(PeriapicalError, match="png or svg"):
        page.save(tmp_path / "a.gif")
