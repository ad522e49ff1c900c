"""Classes of bend: published bands and their gaps, boundaries, intervals, S-shape, own schemes."""

from __future__ import annotations

import csv
import math
from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from radio.errors import PeriapicalError, TableError
from radio.measure.classes import (
    NO_CLASS,
    SCHEMES,
    Classified,
    Scheme,
    classes_of,
    classify,
    scheme_named,
)
from radio.measure.own_scheme import SCHEME_COLUMNS, scheme_from_rows
from radio.record.rows import read_rows

SCHNEIDER, DIFFICULTY, RADIUS = (scheme_named(name) for name in ("schneider", "difficulty", "radius"))
QUANTITIES = ("schneider_deg", "weine_deg", "two_segment_radius_mm", "smallest_radius_mm")

# Schneider 1971, Oral Surg Oral Med Oral Pathol 32:271: straight to 5, moderate 10 to 20, severe 25 to 70
# degrees, nothing between (bands as a secondary page gives them; that 5 itself is straight: from memory)
PUBLISHED_SCHNEIDER = [
    *((0.0, "straight"), (3.0, "straight"), (5.0, "straight"), (5.01, None), (8.0, None), (9.99, None)),
    *((10.0, "moderate"), (15.0, "moderate"), (20.0, "moderate"), (20.01, None), (22.0, None), (24.99, None)),
    *((25.0, "severe"), (50.0, "severe"), (70.0, "severe"), (70.01, None), (75.0, None), (120.0, None)),
]
# Case difficulty form, American Association of Endodontists (revised 2022): below 10 and 10 to 30 degrees
# as pages about it give them; "above 30 or S-shaped" from memory
PUBLISHED_DIFFICULTY = [
    *((0.0, "low"), (9.99, "low"), (10.0, "moderate"), (20.0, "moderate"), (30.0, "moderate")),
    *((30.01, "high"), (75.0, "high")),
]
# Estrela 2008, Braz Dent J 19:114, from memory: radius up to 4 mm severe, 4 to 8 mm moderate, above 8 mm mild
FROM_MEMORY_RADIUS = [
    *((0.5, "severe"), (4.0, "severe"), (4.01, "moderate"), (8.0, "moderate"), (8.01, "mild")),
    *((40.0, "mild"), (math.inf, "mild")),
]


def schneider(value, interval=None, *, s_shaped: bool | None = False, views: int = 1) -> Classified:
    return classify(value, interval, SCHNEIDER, s_shaped=s_shaped, views=views)


def own(*bands: tuple[str, str, str], scheme="ours", quantity="schneider_deg") -> Scheme:
    rows = [dict(zip(SCHEME_COLUMNS, (scheme, quantity, *band), strict=True)) for band in bands]
    return scheme_from_rows(list(enumerate(rows, start=2)), QUANTITIES)


OWN = own(("much", "30", ""), ("little", "", "12,5"), ("some", "12.5", "25"))
ALL = (*SCHEMES, OWN)


@pytest.mark.parametrize(("value", "label"), PUBLISHED_SCHNEIDER)
def test_schneider_bands_and_their_gaps(value, label) -> None:
    assert schneider(value).label == label


@pytest.mark.parametrize(("value", "label"), PUBLISHED_DIFFICULTY)
def test_difficulty_bands(value, label) -> None:
    assert classify(value, None, DIFFICULTY, s_shaped=False).label == label


@pytest.mark.parametrize(("value", "label"), FROM_MEMORY_RADIUS)
def test_radius_bands(value, label) -> None:
    assert classify(value, None, RADIUS, s_shaped=False).label == label


@pytest.mark.parametrize(
    ("angle_deg", "label"),
    # plain geometry: r = 3 mm / sin(angle / 2), so 8 mm is reached at 44.049 degrees and 4 mm at 97.181
    [
        (30, "mild"),
        (44.0, "mild"),
        (44.1, "moderate"),
        (60, "moderate"),
        (97.1, "moderate"),
        (97.3, "severe"),
    ],
)
def test_radius_bands_by_the_angle_between_two_segments_of_6_mm(angle_deg, label) -> None:
    radius = 3.0 / math.sin(math.radians(angle_deg) / 2)
    assert classify(radius, None, RADIUS, s_shaped=False).label == label


def test_each_scheme_says_where_it_comes_from() -> None:
    assert [(scheme.name, scheme.standing, scheme.quantity) for scheme in SCHEMES] == [
        ("schneider", "secondary", "schneider_deg"),
        ("difficulty", "secondary", "schneider_deg"),
        ("radius", "from memory", "two_segment_radius_mm"),
    ]
    assert "1971" in SCHNEIDER.source
    assert "from memory" in RADIUS.source
    # the form's "above 30" against "30 or more" in Int Endod J 2025 (doi 10.1111/iej.70072, abstract)
    assert "disagree at 30°" in DIFFICULTY.note
    assert "30° or more" in DIFFICULTY.note


def test_bands_in_words() -> None:
    assert SCHNEIDER.told == "straight to 5°; moderate from 10° to 20°; severe from 25° to 70°"
    assert DIFFICULTY.told == "low below 10°; moderate from 10° to 30°; high above 30°; S-shaped: high"
    assert RADIUS.told == "severe to 4 mm; moderate above 4 mm to 8 mm; mild above 8 mm"
    assert OWN.told == "little below 12.5°; some from 12.5° to 25°; much from 30°"


EDGES = [0.0, *sorted({edge for scheme in ALL for band in scheme.bands for edge in (band.low, band.high)})]
VALUES = st.one_of(st.sampled_from(EDGES), st.floats(0, 100))


@given(st.sampled_from(ALL), VALUES)
def test_every_value_is_in_exactly_one_stretch(scheme, value) -> None:
    assert sum(one.touches(value, value) for one in scheme.stretches) == 1


@given(st.sampled_from(ALL), VALUES.filter(math.isfinite), VALUES, VALUES.filter(math.isfinite))
def test_interval_reaches_what_the_values_in_it_reach(scheme, a, b, c) -> None:
    low, value, high = sorted((a, b, c))
    if math.isinf(value):
        return
    made = classify(value, (low, high), scheme, s_shaped=False)
    # every value where a class can change, and one inside each stretch: an independent road to the same list
    stops = sorted({low, high, *(edge for edge in EDGES if low <= edge <= high)})
    inside = [(x + min(y, x + 1)) / 2 for x, y in pairwise(stops)]
    seen: list[str] = []
    for stop in sorted({*stops, *inside}):
        (at,) = [one for one in scheme.stretches if one.touches(stop, stop)]
        seen += [at.label] if at.label not in seen[-1:] else []
    assert list(made.touched) == seen
    assert (made.label or NO_CLASS) in made.touched


@pytest.mark.parametrize(
    ("value", "interval", "touched", "said"),
    [
        (15.0, (12.0, 18.0), ("moderate",), "moderate; one view"),
        (15.0, (10.0, 20.0), ("moderate",), "moderate; one view"),
        (
            *(18.0, (16.0, 21.0), ("moderate", NO_CLASS)),
            "moderate; its 95 % interval also reaches no class (above 20° and below 25°); one view",
        ),
        (
            *(19.0, (14.0, 25.0), ("moderate", NO_CLASS, "severe")),
            "moderate; its 95 % interval also reaches no class (above 20° and below 25°), severe; one view",
        ),
        (
            *(22.0, (19.0, 26.0), ("moderate", NO_CLASS, "severe")),
            "no class, between the bands of this scheme (above 20° and below 25°); "
            "its 95 % interval also reaches moderate, severe; one view",
        ),
        (
            *(8.0, (4.0, 12.0), ("straight", NO_CLASS, "moderate")),
            "no class, between the bands of this scheme (above 5° and below 10°); "
            "its 95 % interval also reaches straight, moderate; one view",
        ),
        (75.0, (72.0, 78.0), (NO_CLASS,), "no class, above the bands of this scheme (above 70°); one view"),
        (
            *(12.0, (2.0, 22.0), ("straight", NO_CLASS, "moderate", NO_CLASS)),
            "moderate; its 95 % interval also reaches straight, no class (above 5° and below 10°), "
            "no class (above 20° and below 25°); one view",
        ),
    ],
)
def test_interval_names_every_class_it_reaches(value, interval, touched, said) -> None:
    made = schneider(value, interval)
    assert made.touched == touched
    assert made.text.startswith(f"Schneider's classes: {said}")


def test_interval_over_a_shared_boundary_names_both_classes() -> None:
    made = classify(29.0, (26.5, 31.5), DIFFICULTY, s_shaped=False)
    assert (made.label, made.touched) == ("moderate", ("moderate", "high"))
    assert "moderate; its 95 % interval also reaches high" in made.text
    over_two = classify(6.0, (3.0, 9.0), RADIUS, s_shaped=False)
    assert over_two.touched == ("severe", "moderate", "mild")
    assert over_two.text.startswith(
        "Radius bands 4 and 8 mm (from memory): moderate; its 95 % interval also reaches severe, mild"
    )


@pytest.mark.parametrize(
    ("scheme", "interval", "touched"),
    [
        # 10 belongs to moderate, 30 to moderate, 4 to severe, 8 to moderate: an interval that ends there
        (DIFFICULTY, (5.0, 10.0), ("low", "moderate")),
        (DIFFICULTY, (30.0, 31.0), ("moderate", "high")),
        (RADIUS, (4.0, 5.0), ("severe", "moderate")),
        (RADIUS, (3.0, 4.0), ("severe",)),
        (RADIUS, (8.0, 9.0), ("moderate", "mild")),
        (RADIUS, (7.0, math.inf), ("moderate", "mild")),
    ],
)
def test_interval_that_ends_at_a_boundary(scheme, interval, touched) -> None:
    assert classify(interval[0], interval, scheme, s_shaped=False).touched == touched


@pytest.mark.parametrize("value", [2.0, 20.0, 44.0])
def test_s_shaped_is_high_whatever_the_angle(value) -> None:
    made = classify(value, (value - 1, value + 15), DIFFICULTY, s_shaped=True)
    assert (made.label, made.touched) == ("high", ("high",))
    assert "high, because the canal is S-shaped" in made.text


def test_scheme_without_a_rule_for_s_shape_says_so() -> None:
    made = schneider(15.0, (14.0, 16.0), s_shaped=True)
    assert made.label == "moderate"
    assert "the canal is S-shaped, for which this scheme has no rule" in made.text


def test_s_shape_that_nobody_judged_leaves_the_class_open() -> None:
    made = classify(15.0, (14.0, 16.0), DIFFICULTY, s_shaped=None)
    assert made.label == "moderate"
    assert "not judged whether the canal is S-shaped, which would make it high" in made.text
    for made in (
        classify(15.0, (14.0, 16.0), DIFFICULTY, s_shaped=False),
        classify(40.0, (39.0, 41.0), DIFFICULTY, s_shaped=None),
        schneider(15.0, (14.0, 16.0), s_shaped=None),
    ):
        assert "S-shaped" not in made.text


@pytest.mark.parametrize(("scheme", "s_shaped"), list(product(ALL, (True, False, None))))
@pytest.mark.parametrize("value", [2.0, 8.0, 22.0, 80.0])
def test_text_has_the_scheme_and_what_one_view_hides(scheme, s_shaped, value) -> None:
    single = classify(value, (value - 1, value + 1), scheme, s_shaped=s_shaped)
    double = classify(value, (value - 1, value + 1), scheme, s_shaped=s_shaped, views=2)
    assert single.scheme is double.scheme is scheme
    assert single.text.startswith(scheme.title)
    assert single.text == f"{double.text}; one view only: a bend toward or away from the detector is not seen"
    assert (single.label or NO_CLASS) in single.text


def test_a_class_cannot_be_made_without_its_scheme() -> None:
    with pytest.raises(TypeError, match="scheme"):
        Classified(value=15.0, interval95=None, label="moderate", touched=("moderate",), text="moderate")  # type: ignore[call-arg]


def test_without_an_interval_the_text_says_so() -> None:
    made = schneider(15.0)
    assert made.touched == ("moderate",)
    assert "no uncertainty stated" in made.text
    assert "no uncertainty stated" not in schneider(15.0, (14.0, 16.0)).text


def test_infinite_radius_is_a_straight_canal() -> None:
    made = classify(math.inf, (6.0, math.inf), RADIUS, s_shaped=False)
    assert (made.label, made.touched) == ("mild", ("moderate", "mild"))


def test_interval_is_cut_at_zero() -> None:
    made = classify(1.0, (-2.0, 5.0), RADIUS, s_shaped=False)
    assert made.interval95 == (0.0, 5.0)
    assert made.touched == ("severe", "moderate")


@pytest.mark.parametrize(
    ("value", "interval", "scheme", "views", "said"),
    [
        (-0.1, None, SCHNEIDER, 1, "given schneider_deg = -0.1; allowed is a number from 0 up"),
        (-3.0, None, RADIUS, 1, "given two_segment_radius_mm = -3; allowed is"),
        (math.inf, None, SCHNEIDER, 1, "given schneider_deg = inf; allowed is .*infinite only for a radius"),
        (-math.inf, None, RADIUS, 1, "given two_segment_radius_mm = -inf"),
        (math.nan, None, RADIUS, 1, "two_segment_radius_mm was not measured"),
        (None, None, SCHNEIDER, 1, "schneider_deg was not measured"),
        (15.0, (16.0, 18.0), SCHNEIDER, 1, "does not hold its value 15"),
        (15.0, (16.0, 14.0), SCHNEIDER, 1, "does not hold its value 15"),
        (15.0, (math.nan, 18.0), SCHNEIDER, 1, "does not hold its value 15"),
        (15.0, (14.0, 16.0), SCHNEIDER, 0, "given 0 views; a value rests on 1 or more"),
    ],
)
def test_impossible_values_are_refused(value, interval, scheme, views, said) -> None:
    with pytest.raises(ValueError, match=said):
        classify(value, interval, scheme, s_shaped=False, views=views)


def test_all_schemes_that_apply_to_what_was_measured() -> None:
    values = {"schneider_deg": (28.0, (24.0, 32.0)), "weine_deg": (35.0, None)}
    made = classes_of(values, s_shaped=False, views=2)
    assert [(one.scheme.name, one.label, one.touched) for one in made] == [
        ("schneider", "severe", (NO_CLASS, "severe")),
        ("difficulty", "moderate", ("moderate", "high")),
    ]
    with_radius = classes_of({**values, "two_segment_radius_mm": (5.0, None)}, False, schemes=ALL)
    assert [one.scheme.name for one in with_radius] == ["schneider", "difficulty", "radius", "ours"]
    assert all("one view only" in one.text for one in with_radius)
    assert not any("one view only" in one.text for one in made)


@pytest.mark.parametrize(
    "missing", [{}, {"schneider_deg": (math.nan, None)}, {"schneider_deg": (None, None)}]
)
def test_what_was_not_measured_has_no_class(missing) -> None:
    assert classes_of(missing, s_shaped=None) == ()


def test_value_below_all_bands() -> None:
    made = classify(4.0, (3.0, 12.0), own(("bent", "12", "40")), s_shaped=False)
    assert made.label is None
    assert made.text.startswith("ours: no class, below the bands of this scheme (below 12°); its 95 %")


def test_scheme_by_name() -> None:
    assert scheme_named(" Schneider ") is SCHNEIDER
    assert scheme_named("OURS", ALL) is OWN
    with pytest.raises(
        PeriapicalError, match=r"no class scheme 'weine'; allowed are schneider, difficulty, radius\."
    ):
        scheme_named("weine")


def test_edges_of_an_own_scheme() -> None:
    # a shared edge belongs to the higher band, every other edge to its band
    labels = [classify(x, None, OWN, s_shaped=False).label for x in (0, 12.4, 12.5, 25, 25.1, 29.9, 30, 900)]
    assert labels == ["little", "little", "some", "some", None, None, "much", "much"]
    assert (OWN.title, OWN.standing, OWN.quantity) == ("ours", "own", "schneider_deg")
    wide = own(("tight", "", "6"), ("wide", "6", ""), quantity="smallest_radius_mm")
    assert classify(math.inf, None, wide, s_shaped=False).label == "wide"


@pytest.mark.parametrize("mark", [",", ";"])
def test_own_scheme_from_a_table_on_disk(tmp_path, mark) -> None:
    table = tmp_path / "classes.csv"
    with table.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out, delimiter=mark).writerows(
            [
                SCHEME_COLUMNS,
                ("ours", "weine_deg", "flat", "", "15"),
                (),
                ("ours", "weine_deg", "bent", "7.5", "40"),
            ]
        )
    rows, warnings = read_rows(table, SCHEME_COLUMNS, SCHEME_COLUMNS)
    assert warnings == []
    pairs = [(row.line, row.cells) for row in rows]
    # the blank line counts: the message names the line a spreadsheet shows
    with pytest.raises(TableError, match=r"row 2, to: given '15'; .* row 4 begins at 7\.5"):
        scheme_from_rows(pairs, QUANTITIES)
    pairs[1][1]["from"] = "15"
    assert scheme_from_rows(pairs, QUANTITIES).told == "flat below 15°; bent from 15° to 40°"


@pytest.mark.parametrize(
    ("bands", "said"),
    [
        (
            [("a", "0", "12"), ("b", "10", "20")],
            "row 2, to: given '12'; .* share an edge .* row 3 begins at 10",
        ),
        ([("b", "10", "20"), ("a", "", "")], "row 3, to: given 'no limit'; .* row 2 begins at 10"),
        ([("a", "", "5"), ("b", "", "9")], "row 2, to: given '5'; .* row 3 begins at 0"),
        ([("a", "20", "10")], "row 2, to: given '10'; allowed is a number above its 'from', 20"),
        ([("a", "10", "10")], "row 2, to: given '10'; allowed is a number above its 'from', 10"),
        (
            [("a", "0", "5"), ("b", "five", "10")],
            "row 3, from: given 'five'; allowed is a number from 0 to 1000",
        ),
        ([("a", "0", "5°")], "row 2, to: given '5°'; allowed is a number .* without unit"),
        ([("a", "-5", "5")], "row 2, from: given '-5'; allowed is a number from 0"),
        ([("a", "nan", "5")], "row 2, from: given 'nan'"),
        ([("a", "0", "inf")], "row 2, to: given 'inf'; .* or nothing for no limit"),
        ([("a", "0", "1001")], "row 2, to: given '1001'; allowed is a number from 0 to 1000"),
        ([("a", "0", "5"), ("", "5", "10")], "row 3, label: given ''; allowed is any word but 'no class'"),
        ([("No class", "0", "5")], "row 2, label: given 'No class'"),
        ([("a", "0", "5"), ("a", "5", "10")], "row 3, label: given 'a'; allowed is each label once"),
    ],
)
def test_bands_of_an_own_scheme_that_are_refused(bands, said) -> None:
    with pytest.raises(TableError, match=said):
        own(*bands)


def test_own_scheme_needs_a_quantity_that_is_measured() -> None:
    with pytest.raises(
        TableError, match="row 2, quantity: given 'bend'; allowed is one of schneider_deg, weine_deg"
    ):
        own(("a", "0", "5"), quantity="bend")


@pytest.mark.parametrize("name", ["schneider", "Radius"])
def test_own_scheme_may_not_pass_for_a_published_one(name) -> None:
    with pytest.raises(
        TableError, match=f"row 2, scheme: given '{name}'; allowed is a name that no built-in"
    ):
        own(("a", "0", "5"), scheme=name)


@pytest.mark.parametrize(
    ("column", "other"), [("scheme", "theirs"), ("scheme", ""), ("quantity", "weine_deg")]
)
def test_one_table_is_one_scheme_for_one_quantity(column, other) -> None:
    row = {"scheme": "ours", "quantity": "schneider_deg", "label": "a", "from": "0", "to": "5"}
    second = {**row, "label": "b", "from": "5", "to": "9", column: other}
    with pytest.raises(
        TableError, match=f"row 3, {column}: given '{other}'; allowed is one {column}, the same"
    ):
        scheme_from_rows([(2, row), (3, second)], QUANTITIES)


@pytest.mark.parametrize("column", SCHEME_COLUMNS)
def test_missing_column(column) -> None:
    row = {"scheme": "ours", "quantity": "schneider_deg", "label": "a", "from": "0", "to": "5"}
    del row[column]
    with pytest.raises(TableError, match=f"row 2 has no column {column}; needed are scheme, quantity, label"):
        scheme_from_rows([(2, row)], QUANTITIES)


def test_table_without_rows() -> None:
    with pytest.raises(TableError, match="no rows; its columns are scheme, quantity, label, from, to"):
        scheme_from_rows([], QUANTITIES)
