"""The picture of the end of the length: what stands where, and what is told below it."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest

from radio.errors import PeriapicalError
from radio.measure.case_lengths import case_lengths
from radio.measure.result import Measurement
from radio.record.gap_picture import gap_page
from tests.fixtures.drawn_page import axes_named
from tests.fixtures.made_case import MM_PER_PX, made_case, made_radiograph

GAP_MM, SD_MM = 1.0, 0.1


def case(gap=GAP_MM, *, rule="1", flip=False, scale=True, **more):
    """Radiograph and lengths of a canal whose file ends `gap` mm short of the apex along the canal."""
    made = made_case() if scale else made_case(scale=None)
    result = made[2]
    line = result.canal_line.points_px
    back = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line[::-1], axis=0).T))]) * MM_PER_PX
    tip = line[::-1][np.argmin(abs(back - gap))] if gap >= 0 else line[-1]
    turn = (lambda p: np.array([519.0, 0.0]) + p * [-1, 1]) if flip else (lambda p: p)
    place = {"file_tip": turn(tip), "apex": turn(line[-1])}
    landmarks = {
        name: replace(one, row=float(place[name][0]), col=float(place[name][1])) if name in place else one
        for name, one in result.landmarks.items()
    }
    numbers = dict(result.measurements)
    if scale:
        numbers["gap_mm"] = Measurement("gap_mm", gap, "mm", SD_MM, "m", "scale from file")
    result = replace(
        result,
        facts=replace(result.facts, length_rule=rule, **more),
        landmarks=landmarks,
        measurements=numbers,
        canal_line=replace(result.canal_line, points_px=turn(line)),
        file_line=replace(result.file_line, points_px=turn(result.file_line.points_px)),
    )
    return made_radiograph(), case_lengths(result)


def drawn(axes, gid):
    (found,) = [line.get_xydata()[:, ::-1] for line in axes.lines if line.get_gid() == gid]
    return found


def words(page):
    texts = (text.get_text() for axes in page.figure.axes for text in axes.texts)
    return " ".join(" ".join(texts).split())


@pytest.mark.parametrize("flip", [False, True])
def test_marks_lie_where_they_are_measured(flip) -> None:
    page = gap_page(*case(flip=flip, rule="1.5"))
    axes = axes_named(page, "image")
    tip, apex = drawn(axes, "file_tip")[0], drawn(axes, "apex")[0]
    gap = drawn(axes, "gap")
    assert gap[0] == pytest.approx(tip)
    assert gap[-1] == pytest.approx(apex)
    steps = np.hypot(*np.diff(gap, axis=0).T).sum() * MM_PER_PX
    assert steps == pytest.approx(GAP_MM, abs=0.08)
    # the mark of the rule crosses the canal 1.5 mm along it from the apex: the chord of an arc of 5 mm radius
    middle = drawn(axes, "rule").mean(axis=0)
    chord = 2 * 5 * np.sin(1.5 / 5 / 2)
    assert np.hypot(*(middle - apex)) * MM_PER_PX == pytest.approx(chord, abs=0.02)
    # 95 % of the gap are 1.96 standard uncertainties to either side
    bar = drawn(axes, "gap interval")
    length = np.hypot(*np.diff(bar, axis=0).T).sum() * MM_PER_PX
    assert length == pytest.approx(2 * 1.96 * SD_MM, rel=0.15)


def test_the_ruler_is_to_scale_and_turned_as_the_image() -> None:
    for flip in (False, True):
        axes = axes_named(gap_page(*case(flip=flip)), "ruler")
        low, high = axes.get_ylim()
        assert (low < high) is not flip
        ((bar,),) = [one.lines[2] for one in axes.containers]
        ((_, first), (_, last)) = bar.get_segments()[0]
        assert (first, last) == pytest.approx((GAP_MM - 1.96 * SD_MM, GAP_MM + 1.96 * SD_MM))
        told = " ".join(text.get_text() for text in axes.texts)
        # working length 22.01 mm of the drawn case, minus each rule
        for rule, length in (("0.5", "21.51"), ("1", "21.01"), ("1.5", "20.51"), ("2", "20.01")):
            assert f"rule −{rule}: {length} mm" in told


def test_text_has_rule_advice_and_caution() -> None:
    told = words(gap_page(*case()))
    for part in (
        "Target length by rule: 21.01 ± 0.10 mm",
        "The subtraction is a convention",
        "radiographic apex",
        "ALARA",
        "not a medical device",
        "textbook window 0 to 1 mm",
        "Values are ± standard uncertainty",
    ):
        assert part in told, part
    assert "to the foramen" not in told


def test_without_a_rule_none_is_marked() -> None:
    page = gap_page(*case(rule=""))
    assert not [line for line in axes_named(page, "image").lines if line.get_gid() == "rule"]
    assert "No rule is chosen" in words(page)


def test_a_tip_beyond_the_apex_and_a_canal_without_a_file() -> None:
    told = words(gap_page(*case(gap=-0.8)))
    assert "gap -0.80 ± 0.10 mm" in told
    radiograph, lengths = case()
    result = lengths.result
    estimate = Measurement("estimated_length_mm", 21.0, "mm", 0.5, "m; no subtraction made", "b")
    bare = replace(
        result,
        file_line=None,
        landmarks={n: one for n, one in result.landmarks.items() if not n.startswith("file")},
        measurements={estimate.name: estimate},
    )
    page = gap_page(radiograph, case_lengths(bare))
    assert "Estimated length without a file: 21.00 ± 0.50 mm" in words(page)
    assert {line.get_gid() for line in axes_named(page, "image").lines} >= {"canal", "apex", "rule"}
    assert "gap" not in {line.get_gid() for line in axes_named(page, "image").lines}


def test_what_is_in_doubt_stands_on_the_page_and_in_the_lines() -> None:
    page = gap_page(*case())
    assert "Warning: Between 8.9 and 10.1 mm the image does not support the canal line." in words(page)
    styles = [line.get_linestyle() for line in axes_named(page, "image").lines if line.get_gid() == "canal"]
    # seen, not seen, seen again, as the drawn case says
    assert styles == ["-", "--", "-"]


def test_a_length_from_the_handle_shows_that_from_the_reference() -> None:
    radiograph, lengths = case(file_start_at="handle")
    told = words(gap_page(radiograph, lengths))
    assert "Working length, COUNTED FROM THE HANDLE: 22.01" in told
    assert "Target length by rule: none. the working length is counted from the handle" in told
    assert "21.01" not in told
    reference = Measurement("reference_length_mm", 18.0, "mm", 0.4, "along file and canal", "b")
    result = lengths.result
    measured = {**result.measurements, reference.name: reference}
    page = gap_page(radiograph, case_lengths(replace(result, measurements=measured)))
    assert "Length from reference to radiographic apex: 18.00 ± 0.40" in words(page)
    assert "Target length by rule, from the coronal reference: 17.00" in words(page)
    ruler = " ".join(text.get_text() for text in axes_named(page, "ruler").texts)
    assert "rule −1: 17.00 mm" in ruler


def test_lines_that_lead_to_labels_do_not_cross() -> None:
    for gap in (1.41, -0.8, 0.1):
        axes = axes_named(gap_page(*case(gap=gap)), "image")
        axes.figure.canvas.draw()
        toward = []
        for text in axes.texts:
            if getattr(text, "arrow_patch", None) is not None:
                start = axes.transData.transform(text.xy)
                box = text.get_bbox_patch().get_window_extent()
                toward.append((start, np.array([(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2])))
        for (a, b), (c, d) in combinations(toward, 2):
            sides = [np.linalg.det([b - a, one - a]) for one in (c, d)]
            others = [np.linalg.det([d - c, one - c]) for one in (a, b)]
            assert not (np.prod(sides) < 0 and np.prod(others) < 0)


def test_labels_do_not_lie_on_each_other() -> None:
    page = gap_page(*case(gap=0.1, rule="0: none wanted"))
    axes = axes_named(page, "image")
    page.figure.canvas.draw()
    boxes = [
        text.get_bbox_patch().get_window_extent() for text in axes.texts if text.get_bbox_patch() is not None
    ]
    assert len(boxes) == 4
    tops = sorted((box.y0, box.y1) for box in boxes)
    assert all(above[0] >= below[1] - 1 for below, above in pairwise(tops))


def test_what_cannot_be_drawn_says_why(tmp_path) -> None:
    with pytest.raises(PeriapicalError, match="needs a scale, the radiographic apex"):
        gap_page(*case(scale=False))
    radiograph, lengths = case()
    lost = replace(lengths.result, landmarks={})
    with pytest.raises(PeriapicalError, match=r"made\.png, Tooth 36"):
        gap_page(radiograph, replace(lengths, result=lost))
    for kind in ("png", "svg"):
        gap_page(radiograph, lengths).save(tmp_path / f"p.{kind}")
        assert (tmp_path / f"p.{kind}").stat().st_size > 10_000
