"""The picture of scales, judged by where its marks lie."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calib.dicom_spacing import SpacingFacts
from calib.known_length import scale_from_file
from calib.scale import Scale
from radio.measure.scale_checks import scale_report
from radio.measure.scales import StatedScales
from radio.record.scale_picture import scale_page
from radio.record.scale_words import input_text, scale_text, unit_of_input
from tests.fixtures.drawn_page import axes_named, words_of
from tests.fixtures.made_case import made_case, made_radiograph


def report_of(*canals, pitch_mm: float | None = 0.052, **facts):
    results = []
    for canal in canals or ("1",):
        _, _, result = made_case(canal)
        results.append(replace(result, facts=replace(result.facts, **facts)))
    spacing = SpacingFacts() if pitch_mm is None else SpacingFacts(imager_mm=(pitch_mm, pitch_mm))
    radiograph = replace(made_radiograph(), spacing=spacing)
    return scale_report(radiograph, results, StatedScales(dpi=500), diameters=False)


def marks(axes, gid):
    return [line.get_xydata() for line in axes.lines if line.get_gid() == gid]


def test_every_scale_lies_at_its_value_with_its_interval_and_the_band_of_the_pitch() -> None:
    report = report_of(mm_per_px=0.051, pitch_mm=None)
    axes = axes_named(scale_page("a.png", report), "scales")
    ((counts,),) = marks(axes, "counts")
    assert counts == pytest.approx([report.found.named("file").scale.mm_per_px, 0])
    others = [one.scale.mm_per_px for one in report.found.scales if one.name != "file"]
    assert [x for ((x, _),) in marks(axes, "scale")] == pytest.approx(others)
    # none for the given size, whose uncertainty is not stated
    measured = [one.scale for one in report.found.scales if one.scale.sd_mm_per_px]
    assert len(measured) == len(report.found.scales) - 1
    for ends, scale in zip(marks(axes, "interval"), measured, strict=True):
        half = 1.96 * scale.sd_mm_per_px
        assert ends[:, 0] == pytest.approx([scale.mm_per_px - half, scale.mm_per_px + half])
    (band,) = [one for one in axes.patches if one.get_gid() == "pitch band"]
    pitch = 25.4 / 500
    # 1.02 to 1.11: half a width of 0.045 about 1.065
    assert [band.get_x(), band.get_x() + band.get_width()] == pytest.approx([pitch / 1.11, pitch / 1.02])
    assert marks(axes, "pitch")[0][:, 0] == pytest.approx([pitch, pitch])


def test_bars_are_the_shares_and_contributions_of_the_budget() -> None:
    report = report_of()
    page = scale_page("a.png", report)
    rows = report.found.named("file").scale.budget.rows
    shares = [bar.get_width() for bar in axes_named(page, "share").patches]
    assert shares == pytest.approx([100 * row.share for row in rows])
    assert sum(shares) == pytest.approx(100)
    parts = [bar.get_width() for bar in axes_named(page, "contribution").patches]
    assert parts == pytest.approx([row.contribution for row in rows])


def test_words_standing_and_caution_are_written_and_nothing_runs_off_the_page() -> None:
    page = scale_page("a.png", report_of())
    words = " ".join(words_of(page).split())
    for part in (
        "file counts for the lengths",
        "implies a magnification of",
        "File length by detector pitch of a scan with 500 dpi",
        "common practice, no source",
        "Bounds, not an uncertainty",
        "Hatched band: detector pitch 0.0508 mm",
        "not a medical device",
    ):
        assert part in words, part
    page.figure.canvas.draw()
    sheet = page.figure.bbox
    for axes in page.figure.axes:
        for text in axes.texts:
            box = text.get_window_extent()
            assert sheet.x0 <= box.x0 <= box.x1 <= sheet.x1, text.get_text()
            assert sheet.y0 <= box.y0 <= box.y1 <= sheet.y1, text.get_text()


def test_canals_follow_each_other_and_no_budget_is_said(tmp_path) -> None:
    page = scale_page("a.png", report_of("MB", "ML"))
    labels = [axes.get_label() for axes in page.figure.axes]
    assert labels.count("share") == labels.count("contribution") == 2
    _, _, result = made_case(scale=Scale(0.05, 0.05, 0.0, "given", "stated"))
    result = replace(result, facts=replace(result.facts, mm_per_px=0.05))
    report = scale_report(made_radiograph(), [result], StatedScales(), diameters=False)
    page = scale_page("a.png", report)
    assert "there is no budget" in words_of(page)
    assert "share" not in [axes.get_label() for axes in page.figure.axes]
    for kind in ("png", "svg"):
        out = tmp_path / f"scales.{kind}"
        page.save(out)
        assert out.stat().st_size > 10_000


def test_inputs_are_written_with_their_units() -> None:
    scale = scale_from_file(420.0, {"place of the stop": 2.0, "place of the tip": 1.0}, 21.0, 0.1)
    known, image, stop, _ = scale.budget.rows
    assert [input_text(one) for one in (known, image, stop)] == ["21 ± 0.1 mm", "420 px", "0 ± 2 px"]
    units = {"magnification": "", "pitch": "mm", "10 intervals": "mm", "click on one end": "px"}
    assert {name: unit_of_input(name) for name in units} == units
    assert scale_text(Scale(0.05, 0.05, 0.0, "given", "stated")) == "0.05000, no u stated"
