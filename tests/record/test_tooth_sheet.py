"""The sheet of a tooth: what stands on it, its words, and that nothing given to it can run."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from radio.errors import PeriapicalError
from radio.record.casebook import Casebook
from radio.record.course import Course, CourseEntry, Stage
from radio.record.tooth_sheet import checked_paper, default_wording, read_wording, tooth_sheets
from radio.record.tracing import Tracing
from tests.fixtures.programs import printed_pages
from tests.record.books import CLICKS, RADIOGRAPH, RESULT, command, course, filled, reading, tracing

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture
def kept(tmp_path):
    with filled(tmp_path / "a.casebook") as book:
        return book.kept()


class Seen(HTMLParser):
    """Text a person sees, and every element with what it loads."""

    def __init__(self, text):
        super().__init__()
        self.words, self.tags, self.loads, self._style = [], [], [], False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.loads += [value for name, value in attributes if name in ("src", "href")]
        self._style = tag == "style"

    def handle_endtag(self, _tag):
        self._style = False

    def handle_data(self, data):
        if not self._style:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def seen(kept, **options):
    (one,) = tooth_sheets(kept, **options)
    return Seen(one.html)


def test_it_tells_numbers_with_uncertainty_and_basis_course_readings_checks_and_provenance(kept):
    page = seen(kept[:1], with_universal=True)
    one = kept[0].tracing
    working = one.measurements["working_length_mm"]
    for told in (
        f"{working.value:.2f} ± {working.sd:.2f} mm",
        working.method,
        working.basis,
        "36 (Universal 19)",
        "P-01",
        "reader A",
        "canal 1 estimate 21.00 mm",
        "21.50 mm, mark: zero",
        "not a medical device",
        "Rubber dam",
        one.image_sha256,
        str(one.uuid),
        "revision 2",
        one.software,
    ):
        assert told in page.text, told


def test_remarks_and_checks_stand_by_gravity_and_none_goes_unsaid(kept):
    page = seen(kept[:1])
    for remark in kept[0].tracing.remarks:
        assert remark.text in page.text or "not graver than these, stand in the casebook" in page.text


def test_canals_of_one_tooth_and_reader_share_a_page_and_more_than_four_have_two(kept):
    first = kept[0]
    many = [replace(first, canal=f"C{n}") for n in range(5)]
    made = tooth_sheets(many)
    assert [len(re.findall("<td>Working length</td>", one.html)) for one in made] == [4, 1]
    other = replace(first, tracing=first.tracing.model_copy(update={"reader": "reader Z"}))
    assert len(tooth_sheets([first, other])) == 2
    assert len({one.name for one in tooth_sheets([first, other, *many])}) == 3


def test_it_needs_nothing_else_and_runs_nothing(kept):
    hostile = '<script>alert(1)</script><img src="http://example.org/x">{{ words }}'
    facts = replace(kept[0].tracing.facts, view=hostile)
    changed = kept[0].tracing.model_copy(update={"facts": facts, "image_name": hostile, "reader": hostile})
    page = seen([replace(kept[0], subject=hostile, canal=hostile, tracing=changed)])
    assert "script" not in page.tags
    assert "<script>alert(1)</script>" in page.text
    assert all(load.startswith("data:image/png;base64,") for load in page.loads)
    assert (
        'http-equiv="Content-Security-Policy" content="default-src \'none\'' in tooth_sheets(kept[:1])[0].html
    )


def test_the_picture_is_of_the_very_image_or_the_page_says_why_there_is_none(tmp_path, kept):
    assert "'periapical casebook find' looks for it" in seen(kept[:1]).text
    other = replace(kept[0], image_path=SAMPLES / "s01_straight_file30.png")
    assert "is not the image that was traced any more" in seen([other]).text
    gone = replace(kept[0], image_path=tmp_path / "gone.png")
    assert "gone.png" in seen([gone]).text


def test_a_kept_tracing_is_drawn_as_it_was_measured():
    again = Tracing.from_case(RADIOGRAPH, CLICKS, RESULT).as_result()
    assert np.array_equal(again.canal_line.points_px, RESULT.canal_line.points_px)
    assert np.array_equal(again.construction.departure_px, RESULT.construction.departure_px)
    assert again.scale == RESULT.scale
    assert set(again.landmarks) == set(RESULT.landmarks)


def test_words_are_the_users_own(tmp_path, kept):
    own = tmp_path / "own.toml"
    own.write_text('title = "Messblatt"\n', encoding="utf-8")
    assert "Messblatt" in seen(kept[:1], wording=own).text
    assert set(read_wording(own)) == set(tomllib.loads(default_wording()))
    for text, told in (
        ('titel = "x"', "'titel'; the keys are title"),
        ("title = 3", "must be a text"),
        ("title", "is no TOML"),
    ):
        own.write_text(text)
        with pytest.raises(PeriapicalError, match=re.escape(told)):
            read_wording(own)
    with pytest.raises(PeriapicalError, match="cannot be read"):
        read_wording(tmp_path / "gone.toml")


def test_paper_sets_the_size_of_the_page(kept):
    """A4: ISO 216, 210 × 297 mm; Letter: 8.5 × 11 in (ANSI/ASME Y14.1, from memory), whole millimetres."""
    assert "size: 210mm 297mm" in tooth_sheets(kept[:1])[0].html
    assert "size: 216mm 279mm" in tooth_sheets(kept[:1], paper=checked_paper("letter"))[0].html
    with pytest.raises(PeriapicalError, match="allowed is A4 or Letter"):
        checked_paper("A3")


def test_the_command_writes_a_sheet_with_the_picture_of_a_sample(tmp_path):
    path, out = tmp_path / "a.casebook", tmp_path / "sheets"
    Casebook.make(path).close()
    tables = ("--images", SAMPLES / "IMAGES.csv", "--clicks", SAMPLES / "CLICKS.csv")
    command("add", path, *tables)
    command("sheet", path, "--out", out, "--tooth", "36", "--paper", "letter")
    (page,) = out.iterdir()
    told = Seen(page.read_text(encoding="utf-8"))
    assert told.tags.count("img") == 1
    assert len(told.loads[0]) > 20_000
    assert "canal MB" in told.text
    words = tmp_path / "w.toml"
    command("sheet", path, "--write-wording", words)
    assert words.read_text(encoding="utf-8") == default_wording()
    assert "no tracing stands that fits" in command("sheet", path, "--out", out, "--tooth", "18", code=1)
    assert "--out DIR" in command("sheet", path, code=1)


def test_readings_and_courses_of_other_canals_stay_off(tmp_path):
    with filled(tmp_path / "a.casebook") as book:
        book.add_tracings([tracing(canal="5", tooth="11", subject="P-02")])
        book.add_reading(reading(mm=19.25, tooth="12", subject="P-02"))
        book.add_course(course(18.75, tooth="13", subject="P-02"))
        page = seen(book.kept(subject="P-02"))
    assert "19.25" not in page.text
    assert "18.75" not in page.text


@pytest.mark.parametrize(
    ("canals", "paper", "told"),
    # the shorter paper for each number of canals, and the fullest on the other
    [*((n, "Letter", "(letter)") for n in (1, 2, 3, 4)), (4, "A4", "(A4)")],
)
def test_a_browser_prints_the_fullest_sheet_on_one_page(tmp_path, kept, canals, paper, told):
    first = kept[0]
    entries = tuple(
        CourseEntry(stage, 21.0 - 0.1 * n, length_sd_mm=0.25, method="file length plus gap", note="cusp worn")
        for n, stage in enumerate(Stage)
    )
    told_often = first.tracing.remarks[:1] * 30
    full = first.tracing.model_copy(update={"remarks": told_often})
    readings = (reading().reading, replace(reading().reading, mark="half"))
    one = replace(
        first,
        tracing=full,
        course=Course("36", "1", entries, "P-01"),
        readings=tuple(replace(reading(), reading=r) for r in readings),
    )
    (made,) = tooth_sheets([replace(one, canal=f"C{n}") for n in range(canals)], paper=checked_paper(paper))
    page = tmp_path / "sheet.html"
    page.write_text(made.html, encoding="utf-8")
    pages, size = printed_pages(page)
    assert pages == 1
    assert told in size
