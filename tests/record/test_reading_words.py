"""The state of an electronic reading as one line: written, read again, and refused with what is allowed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radio.errors import TableError
from radio.measure.reading import CANAL_STATES, RESORPTIONS, YES_NO_FLAGS, ReadingFacts
from radio.record.cells import FILE_SIZES
from radio.record.fact_cells import facts_from_cells
from radio.record.reading_words import EXAMPLE, cells_of_words, reading_words

STATED = st.builds(
    ReadingFacts,
    repeats_mm=st.lists(st.integers(50, 400).map(lambda tenths: tenths / 10), max_size=4).map(tuple),
    file_size=st.none() | st.sampled_from(FILE_SIZES),
    canal_state=st.none() | st.sampled_from(CANAL_STATES),
    resorption=st.none() | st.sampled_from(RESORPTIONS),
    time=st.just("") | st.datetimes().map(lambda when: when.isoformat()),
    **{name: st.none() | st.booleans() for name in YES_NO_FLAGS},
)


@given(STATED)
def test_what_is_written_reads_as_it_was(stated: ReadingFacts) -> None:
    facts, problems = facts_from_cells(cells_of_words(reading_words(stated)))
    assert (facts.electronic, problems) == (stated, ())


def test_what_is_left_out_is_taken_back() -> None:
    cells = cells_of_words(EXAMPLE)
    assert {name: text for name, text in cells.items() if text} == {
        "electronic_canal_state": "dry",
        "electronic_patency": "no",
    }
    assert set(cells_of_words(" ; ").values()) == {""}


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("wet", "given 'wet'; allowed is"),
        ("bleedings", "given 'bleedings'; allowed is"),
        ("bleeding, dry", "given ', dry'; allowed is one of yes, no"),
        ("file size", "given 'file size' without a value"),
        ("dry; moist", "given 'canal state' twice"),
    ],
)
def test_what_is_not_understood_is_named(words: str, told: str) -> None:
    try:
        _, problems = facts_from_cells(cells_of_words(words))
    except TableError as problem:
        problems = (str(problem),)
    assert told in problems[0]
