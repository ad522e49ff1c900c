"""Every pre-flight check: what makes it speak, what does not, and what a stop takes away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from calib.dicom_spacing import SpacingFacts
from calib.scale import Scale
from radio.errors import PeriapicalError
from radio.measure.case import CaseFacts
from radio.measure.check_rules.between import checks_between
from radio.measure.check_rules.contract import Answer
from radio.measure.check_rules.curves import chance_within
from radio.measure.check_rules.image import tip_contrast
from radio.measure.check_rules.lines import smallest_radius_mm
from radio.measure.check_rules.seen import Seen
from radio.measure.check_rules.tooth import MEAN_LENGTHS_MM, usual_lengths_mm
from radio.measure.checks import RULES, answer_given, open_questions, rule_of, run_checks, with_checks_between
from radio.measure.classes import Band
from radio.measure.length_rules import RESORPTION_RULES
from radio.measure.pipeline import measure_case
from radio.measure.result import Finding, Measurement
from radio.measure.settings import DEFAULT_SETTINGS
from radio.measure.trace_case import TracedCase, trace_case
from radio.measure.withheld import assemble_checked
from radio.trace.circle import Ball
from radio.trace.curve import without_repeats
from radio.trace.line import LandmarkFix, Line
from tests.fixtures.made_case import MM_PER_PX, canal_points_px, made_case, made_radiograph
from tests.fixtures.painted import as_radiograph, painted_tooth

LINES, CLICKS, RESULT = made_case()
FACTS = CaseFacts(tooth="13", scale_from="file", file_length_mm=20.5, file_size=15, view="straight")
IMAGE = made_radiograph(lines=LINES)
SCALE = Scale(MM_PER_PX, MM_PER_PX, 0.0004, "file", "set length")
NUMBERS = RESULT.measurements | {
    "schneider_deg": Measurement("schneider_deg", 15.0, "deg", 0.5, "m", "b"),
}
NOT_S = {"s_shaped": Finding("s_shaped", "no", 1.0, "m", "b")}


def fix(name, point, *, refined=True, sd_px=3.0):
    return LandmarkFix(name, point[0], point[1], point[0], point[1], sd_px, 1.0, "how", refined)


def seen(**changes) -> Seen:
    """A canal no check has anything to say about, with changes; `traced` and `facts` are changed in part."""
    marks = {name: fix(name, one.point_px) for name, one in RESULT.landmarks.items()}
    marks |= changes.pop("landmarks", {})
    file_line = replace(RESULT.file_line, points_px=without_repeats(RESULT.file_line.points_px))
    canal_line = replace(RESULT.canal_line, confident=np.ones(len(RESULT.canal_line.confident), bool))
    traced = TracedCase(file_line, canal_line, marks, None, 20.0, 1.0, MM_PER_PX, ())
    traced = replace(traced, **changes.pop("traced", {}))
    facts = replace(FACTS, **changes.pop("facts", {}))
    measurements = NUMBERS | changes.pop("numbers", {})
    base = Seen(IMAGE, facts, CLICKS, traced, SCALE, "", None, measurements, NOT_S)
    return replace(base, **changes)


def found(identifier, **changes):
    return list(rule_of(identifier).checks(seen(**changes)))


def one_of(identifier, **changes):
    (check,) = found(identifier, **changes)
    return check


def answered(identifier, word, note=""):
    return {"answers": (Answer(identifier, word, note),)}


def number(name, value, unit="mm", sd=0.1):
    return {name: Measurement(name, value, unit, sd, "m", "b")}


def beside(kind, away_mm):
    """A point that far to the right of the middle of a line."""
    points = getattr(RESULT, f"{kind}_line").points_px
    return points[len(points) // 2][None] + [0, away_mm / MM_PER_PX]


def header(pitch_mm):
    return replace(IMAGE, spacing=SpacingFacts(imager_mm=(pitch_mm, pitch_mm), intra_oral=True))


def test_the_catalogue_has_every_number_once_with_basis_and_standing():
    assert [rule.id for rule in RULES] == [f"P{n}" for n in range(1, 30)]
    for rule in RULES:
        assert rule.title
        assert rule.how
        assert rule.basis
        assert rule.standing
    assert {rule.id for rule in RULES if rule.where == "course"} == {"P22", "P23", "P24"}


def test_nothing_is_said_of_a_case_that_gives_no_cause():
    assert run_checks(seen()) == ()


TOOTH_36 = {"facts": {"tooth": "36"}}
NO_SCALE = "Nothing of known size was given."
KINKED = np.vstack([np.linspace([50, 200], [200, 200], 150), np.linspace([200, 201], [200, 350], 150)])
FLAT = np.where(IMAGE.grey > 0.4, np.float32(1), np.float32(0))


@pytest.mark.parametrize(
    ("identifier", "level", "words", "changes"),
    [
        ("P1", "stop", "No scale", {"scale": None, "no_scale": NO_SCALE}),
        ("P2", "note", "taken as", {"facts": {"file_length_mm": 25.0}}),
        ("P2", "warn", "31 mm of the longest", {"facts": {"file_length_mm": 31.5}}),
        ("P2", "stop", "longer than any", {"facts": {"file_length_mm": 40.5}}),
        ("P2", "note", "files are sold in", {"facts": {"file_length_mm": 25.0}}),
        ("P2", "warn", "18, 19, 21", {"facts": {"file_length_mm": 22.3, "file_start_at": "handle"}}),
        ("P2", "warn", "counted from the", {"facts": {"file_length_mm": 25.0, "file_start_at": "handle"}}),
        ("P2", "stop", "said to count from the handle", {"facts": answered("P2", "handle")}),
        ("P3", "warn", "does not fit", {"radiograph": header(MM_PER_PX * 1.05 * 25 / 21)}),
        ("P4", "warn", "1.25", {"magnification": 1.25}),
        ("P4", "warn", "leans", {"magnification": 0.9}),
        ("P6", "stop", "resized", {"facts": answered("P6", "yes"), "scale": replace(SCALE, source="dicom")}),
        ("P6", "warn", "resized", {"facts": answered("P6", "yes")}),
        ("P6", "note", "1.300", {"radiograph": replace(IMAGE, pixel_aspect=1.3)}),
        ("P6", "warn", "300", {"radiograph": replace(IMAGE, header={"resolution_dpi": "300 x 150"})}),
        ("P7", "warn", "1.20 pixels", {"facts": {"file_size": 6}}),
        ("P8", "warn", "stays as clicked", {"facts": {"file_size": 10}, "landmarks": None}),
        ("P9", "stop", "0.5 mm from the edge", {"landmarks": "unseen"}),
        ("P9", "warn", "a root end was found", {"landmarks": "near"}),
        (
            "P10",
            "note",
            "not found",
            {"landmarks": {"file_start": fix("file_start", (40, 200), refined=False)}},
        ),
        ("P10", "stop", "not to be visible", {"facts": answered("P10", "no")}),
        ("P11", "warn", "1.0 ± 0.2 mm apical", {"landmarks": {"reference": fix("reference", (60, 205))}}),
        ("P11", "stop", "not to rest", {"facts": answered("P11", "no")}),
        ("P12", "warn", "kinked", {"traced": {"file_line": Line("file", KINKED, *np.ones((2, 300)))}}),
        ("P15", "warn", "shadow", {"facts": answered("P15", "yes")}),
        ("P16", "warn", "S-shape", {"findings": {"s_shaped": Finding("s_shaped", "yes", 0.9, "m", "b")}}),
        ("P16", "warn", "more than the greatest", {"numbers": number("schneider_deg", 80.0, "deg")}),
        ("P17", "note", "moderate, or high", {"numbers": number("schneider_deg", 30.0, "deg", 1.0)}),
        # 0.8 standard deviations from an edge leave 21.2 % beyond it: normal tables
        ("P17", "note", "moderate, or high", {"numbers": number("schneider_deg", 28.4, "deg", 2.0)}),
        ("P18", "note", "low", {"numbers": number("schneider_deg", 3.0, "deg", 0.5)}),
        ("P19", "warn", "2 shades", {"radiograph": replace(IMAGE, grey=FLAT)}),
        ("P19", "warn", "enhanced", {"facts": answered("P19", "yes")}),
        ("P20", "note", "with loss", {"radiograph": replace(IMAGE, lossy=True)}),
        ("P21", "note", "31.0 mm is unusual", {"numbers": number("working_length_mm", 31.0), **TOOTH_36}),
        ("P21", "warn", "36.0 mm is a rare", {"numbers": number("working_length_mm", 36.0)}),
        ("P21", "warn", "13.0 mm is a rare", {"numbers": number("working_length_mm", 13.0)}),
        ("P21", "stop", "would be 9.9 mm", {"numbers": number("working_length_mm", 9.9)}),
        ("P21", "stop", "would be 38.1 mm", {"numbers": number("working_length_mm", 38.1)}),
        ("P25", "note", "ruler", {"facts": answered("P25", "no")}),
        ("P26", "warn", "20 degrees", {"facts": {"view": "20 degrees from mesial"}}),
        ("P26", "warn", "an angled view", {"facts": answered("P26", "yes")}),
        ("P26", "warn", "tube up", {"facts": {"view": "bisecting angle, tube up"}}),
        ("P26", "warn", "M 20", {"facts": {"view": "M 20"}}),
        ("P26", "warn", "tube raised", {"facts": {"view": "tube raised"}}),
        (
            "P12",
            "warn",
            "2.0 mm off the file",
            {"clicked": {"file_via": beside("file", 2.0)}},
        ),
        (
            "P12",
            "warn",
            "off the canal",
            {"clicked": {"canal_via": beside("canal", 2.0)}},
        ),
        ("P28", "note", "1.5 mm", {"facts": {"resorption": "bone"}}),
        ("P28", "note", "2 mm", {"facts": answered("P28", "yes")}),
        ("P29", "note", "51 %", {"facts": {"tooth": "35"}}),
        ("P29", "note", "22 %", {"facts": {"tooth": "16"}}),
        # by the 95 % interval: -0.1 + 1.96 * 0.1, 2.1 - 1.96 * 0.1
        ("P29", "note", "reaches 0 to 2", {**TOOTH_36, "numbers": number("gap_mm", -0.1)}),
        ("P29", "note", "reaches 0 to 2", {**TOOTH_36, "numbers": number("gap_mm", 2.1)}),
        ("P29", "warn", "3.1 mm short", {"numbers": number("gap_mm", 3.1)}),
        ("P29", "warn", "2.1 mm beyond", {"numbers": number("gap_mm", -2.1)}),
    ],
)
def test_each_check_speaks_when_there_is_cause(identifier, level, words, changes):
    marks = changes.get("landmarks")
    below = (IMAGE.grey.shape[0] - 10, 250)  # 9.5 px to the border: 0.475 mm
    special = {
        "unseen": {"apex": fix("apex", below, refined=False)},
        "near": {"apex": fix("apex", below)},
        None: {"file_tip": fix("file_tip", RESULT.landmarks["file_tip"].point_px, refined=False)},
    }
    if "landmarks" in changes and not isinstance(marks, dict):
        changes = {**changes, "landmarks": special[marks]}
    check = one_of(identifier, **changes)
    assert (check.id, check.level) == (identifier, level)
    assert words in check.seen
    assert check.basis
    assert check.text.startswith(f"Check {identifier[1:]}, ")


@pytest.mark.parametrize(
    ("identifier", "changes"),
    [
        ("P1", {"scale": None}),  # none was wanted
        ("P2", {"facts": {"file_length_mm": None}}),
        ("P3", {"radiograph": header(MM_PER_PX * 1.05)}),
        ("P4", {"magnification": 1.06}),
        ("P6", {"radiograph": replace(IMAGE, header={"resolution_dpi": "300 x 300"})}),
        ("P7", {"facts": {"file_size": 8}}),
        ("P8", {"facts": {"file_size": 10}}),
        ("P11", {"landmarks": {"reference": fix("reference", (46, 205))}}),
        ("P14", {}),
        # no scheme has an edge between 27 and 29 degrees
        ("P17", {"numbers": number("schneider_deg", 28.0, "deg", 0.4)}),
        ("P20", {"radiograph": replace(IMAGE, file_format="TIFF")}),
        ("P26", {"facts": {"view": "2 degrees from mesial"}}),
        ("P26", {"facts": {"view": "M 5"}}),
        ("P26", {"facts": {"view": "straight, paralleling"}}),
        ("P12", {"clicked": {"canal_via": beside("canal", 0.5)}}),
        # 0.9 standard deviations from an edge leave 18.4 % beyond it: normal tables
        ("P17", {"numbers": number("schneider_deg", 28.2, "deg", 2.0)}),
        (
            "P17",
            {
                "numbers": {
                    "schneider_deg": Measurement("schneider_deg", 28.0, "deg", 0.5, "m", "b"),
                    "two_segment_radius_mm": Measurement("two_segment_radius_mm", 4.0, "mm", 1.0, "m", "b"),
                }
            },
        ),
        # "low" is not sure where "moderate" begins half a standard deviation away
        ("P18", {"numbers": number("schneider_deg", 9.0, "deg", 2.0)}),
        ("P28", {"facts": {"resorption": "none"}}),
        ("P29", {"facts": {"tooth": "11"}}),
        ("P29", {**TOOTH_36, "numbers": number("gap_mm", -0.4)}),
        ("P29", {**TOOTH_36, "numbers": number("gap_mm", 2.4)}),
        ("P21", {"numbers": number("working_length_mm", 14.0), "facts": {"tooth": ""}}),
        ("P21", {"numbers": number("working_length_mm", 32.0), "facts": {"tooth": ""}}),
    ],
)
def test_each_check_is_silent_where_there_is_none(identifier, changes):
    assert found(identifier, **changes) == []


def test_the_chance_of_a_class_is_that_of_a_normal_distribution():
    # by an independent library
    low, high = Band("a", 0, 10), Band("b", 30, float("inf"))
    for value, sd in ((4.0, 3.0), (9.0, 6.0), (28.0, 4.0)):
        assert chance_within(low, value, sd) == pytest.approx(norm.cdf(10, value, sd))
        assert chance_within(high, value, sd) == pytest.approx(norm.sf(30, value, sd))
    assert [chance_within(low, value, 0.0) for value in (10.0, 10.1)] == [1, 0]


def test_a_mistyped_length_is_named_by_any_evidence_there_is():
    # from 21 to 25 mm is 19 %, from 25 to 31 mm 24 %: arithmetic
    text = one_of("P3", facts={"file_length_mm": 21.0}, radiograph=header(MM_PER_PX * 1.05 * 25 / 21)).seen
    assert "21 mm entered for 25 mm" in text
    ball = Ball(0.0, 0.0, 100.0 * 31 / 25, 0.3, 1.0)
    by_ball = one_of("P3", facts={"file_length_mm": 31.0, "ball_diameter_mm": 5.0}, traced={"ball": ball})
    assert "scale 0.04032 mm/px" in by_ball.seen  # 5 mm over 124 px


def test_a_second_scale_judges_the_stated_length():
    given = replace(SCALE, source="given")
    # the file of 420 px is 21 mm by the given scale
    assert found("P14", scale=given, facts={"file_length_mm": 21.0}) == []
    wrong = one_of("P14", scale=given, facts={"file_length_mm": 25.0})
    assert "measures 21.0 mm" in wrong.seen
    assert found("P3", scale=given, facts={"file_length_mm": 25.0}) == []


@pytest.mark.parametrize(
    ("size", "dpi", "width_px", "level"),
    # width = size in 1/100 mm x dpi / 25.4, arithmetic; 1.2, 0.6 and 0.9 px as in the catalogue
    [(10, 300, 1.18, "warn"), (10, 150, 0.59, "stop"), (15, 150, 0.89, "warn")],
)
def test_the_width_of_a_tip_in_pixels(size, dpi, width_px, level):
    mm = 25.4 / dpi
    check = one_of("P7", facts={"file_size": size}, scale=Scale(mm, mm, 0.001, "file", "b"))
    assert check.level == level
    assert f"{width_px:.2f} pixels" in check.seen
    assert bool(check.withholds) == (level == "stop")
    assert found("P7", facts={"file_size": 15}, scale=Scale(25.4 / 300, 25.4 / 300, 0.001, "file", "b")) == []


def test_the_contrast_of_a_tip_is_that_over_the_spread_beside_it():
    strong, weak = tip_contrast(seen()), tip_contrast(seen(radiograph=made_radiograph()))
    assert strong > 5
    assert weak < 2
    assert one_of("P8", facts={"file_size": 8}, radiograph=made_radiograph()).level == "warn"


def test_the_edge_of_the_film_counts_as_that_of_the_image():
    film = np.ones(IMAGE.grey.shape, bool)
    film[372:] = False
    assert one_of("P9", radiograph=replace(IMAGE, film=film)).level == "warn"
    film[:] = True
    film[420:] = False
    assert found("P9", radiograph=replace(IMAGE, film=film)) == []


@pytest.mark.parametrize("radius", [0.6, 1.5, 4.0])
def test_the_radius_of_an_arc_is_found(radius):
    angle = np.linspace(0, np.pi / 2, 400)
    arc = radius * np.column_stack([np.sin(angle), 1 - np.cos(angle)])
    line = np.vstack([np.linspace([-4, 0], [-0.01, 0], 200), arc])
    assert smallest_radius_mm(line) == pytest.approx(radius, rel=0.3)
    assert smallest_radius_mm(line) >= radius * 0.97  # three points on a circle give its radius


def test_a_straight_line_over_a_curve_is_told_where_the_image_does_not_support_it():
    canal = canal_points_px()
    half = np.arange(len(canal)) < len(canal) // 2
    line = Line("canal", canal, np.ones(len(canal)), half)
    ends = {name: points for name, points in CLICKS.items() if name != "canal_via"}
    check = one_of("P13", traced={"canal_line": line}, clicked=ends)
    # chord of the whole line, by Pythagoras: 8 + 5 sin 60 down, 5 (1 - cos 60) aside
    chord = np.hypot(8 + 5 * np.sin(np.pi / 3), 2.5)
    assert f"{8 + 5 * np.pi / 3 - chord:.1f} mm shorter" in check.seen
    assert found("P13", traced={"canal_line": line}) == []
    assert found("P13", clicked=ends) == []


@pytest.mark.parametrize("tooth", [q + position for q in "1234" for position in "1234567"])
def test_published_mean_lengths_are_usual(tooth):
    # Wheeler's table, verified on web pages but for lower molars
    wheeler = {
        "1": (23.5, 22.0, 27.0, 22.5, 22.5, 20.5, 19.0),
        "3": (21.5, 23.5, 27.0, 22.5, 22.5, 21.5, 20.0),
    }
    jaw = "1" if tooth[0] in "12" else "3"
    low, high = usual_lengths_mm(tooth)
    mean = wheeler[jaw][int(tooth[1]) - 1]
    assert low < mean - 3
    assert high > mean + 3
    assert MEAN_LENGTHS_MM[jaw + tooth[1]][0] <= mean <= MEAN_LENGTHS_MM[jaw + tooth[1]][1]


def test_the_rule_by_resorption_is_the_one_of_the_length_rules():
    for state in ("bone", "bone+root"):
        check = one_of("P28", facts={"resorption": state})
        assert RESORPTION_RULES[state].told in check.seen


def two_canals(names=("MB", "ML"), ratio=1.0, view="straight", sd=0.0003):
    out = []
    for name, factor in zip(names, (1.0, ratio), strict=True):
        scale = Scale(MM_PER_PX * factor, MM_PER_PX * factor, sd, "file", "b")
        facts = replace(FACTS, canal=name, view=view, tooth="36")
        out.append(replace(made_case()[2], facts=facts, scale=scale))
    return out


@pytest.mark.parametrize(
    ("ratio", "sd", "level"),
    # a lean of 10 degrees makes 1.5 %, of 25 degrees 10 %: 1 / cos
    [
        (1 / np.cos(np.radians(10)), 0.0003, None),
        (1 / np.cos(np.radians(25)), 0.0003, "warn"),
        (1.06, 0.003, "note"),
    ],
)
def test_two_files_of_one_image_are_compared(ratio, sd, level):
    for checks in checks_between(two_canals(("M", "D"), ratio, sd=sd)):
        assert [one.level for one in checks if one.id == "P5"] == ([level] if level else [])


@pytest.mark.parametrize(
    ("names", "view", "told"),
    [
        (("MB", "ML"), "straight", True),
        (("MB", "ML"), "20 degrees from mesial", False),
        (("B", "P"), "", True),
        (("M", "D"), "", False),
        (("MB", "DB"), "", False),
        (("MB1", "MB2"), "", False),
        (("DL", "MB"), "", True),
        (("DB", "P"), "", True),
        (("buccal", "lingual"), "", True),
        (("mesiobuccal", "palatal"), "20 degrees", True),
        (("MB", "ML"), "D 20", False),
        (("MB", "ML"), "bisecting angle, tube up", True),
        (("1", "2"), "", False),
    ],
)
def test_names_by_side_need_the_direction_of_the_shift(names, view, told):
    for result in with_checks_between(two_canals(names, view=view)):
        assert ("P27" in {one.id for one in result.checks}) == told


def test_an_answer_settles_a_finding_and_is_kept_with_it():
    facts = {"resorption": "bone", **answered("P28", "no", "old image")}
    check = one_of("P28", facts=facts)
    assert check.settled
    assert (check.answer, check.note) == ("no", "old image")
    assert check.text.endswith("Answered: no: old image.")
    assert check.short == "P28 note (no: old image)"
    result = replace(RESULT, checks=(check, one_of("P4", magnification=1.3)))
    assert [remark.level for remark in result.told[:2]] == ["note", "warn"]


def test_questions_stay_open_until_they_are_answered():
    asked = {rule.id for rule in open_questions(RESULT)}
    assert asked == {"P2", "P6", "P10", "P11", "P15", "P19", "P25", "P26", "P28"}
    facts = replace(RESULT.facts, answers=(answer_given("10", "Yes"), answer_given("P6", "no")))
    assert {rule.id for rule in open_questions(replace(RESULT, facts=facts))} == asked - {"P6", "P10"}


@pytest.mark.parametrize(
    ("check", "word", "told"),
    [
        ("P30", "yes", "numbered 1 to 29"),
        ("nine", "yes", "numbered 1 to 29"),
        ("10", "perhaps", "allowed is yes or no"),
        ("P9", "yes", "allowed is accepted"),
        ("1", "accepted", "must be put right"),
    ],
)
def test_a_wrong_answer_is_named(check, word, told):
    with pytest.raises(PeriapicalError, match=told):
        answer_given(check, word)


TOOTH = painted_tooth()
PAINTED = as_radiograph(TOOTH.grey)
STATED = CaseFacts(file_length_mm=TOOTH.file_length_mm, file_size=20)


@pytest.fixture(scope="module")
def traced() -> TracedCase:
    return trace_case(PAINTED, TOOTH.clicks, STATED, TOOTH.mm_per_px)


def assembled(traced, radiograph=PAINTED, facts=STATED):
    return assemble_checked(radiograph, traced, TOOTH.clicks, facts, DEFAULT_SETTINGS)


LENGTHS = {"gap_mm", "working_length_mm"}


def test_a_root_end_that_is_not_in_the_image_takes_its_lengths_away_until_answered(traced):
    film = PAINTED.film.copy()
    row, _ = np.round(traced.landmarks["apex"].point_px).astype(int)
    film[row + 4 :] = False
    cut = replace(PAINTED, film=film)
    apex = replace(traced.landmarks["apex"], refined=False)
    unseen = replace(traced, landmarks={**traced.landmarks, "apex": apex})
    whole, stopped = assembled(traced), assembled(unseen, cut)
    assert set(whole.assembly.measurements) >= LENGTHS
    assert not LENGTHS & set(stopped.assembly.measurements)
    assert set(stopped.withheld) >= LENGTHS
    assert "check 9" in stopped.withheld["working_length_mm"]
    assert {"schneider_deg", "file_length_px"} <= set(stopped.assembly.measurements)
    assert stopped.assembly.scale is not None
    answered_facts = replace(STATED, answers=(Answer("P9", "accepted"),))
    answered_one = assembled(unseen, cut, answered_facts)
    assert set(answered_one.assembly.measurements) >= LENGTHS
    assert next(one for one in answered_one.checks if one.id == "P9").settled
    # where the root end was found, it is no more than a warning
    shown = replace(traced, landmarks={**traced.landmarks, "apex": replace(apex, refined=True)})
    warned = assembled(shown, cut)
    assert set(warned.assembly.measurements) >= LENGTHS
    assert [one.level for one in warned.checks if one.id == "P9"] == ["warn"]


def test_a_length_from_elsewhere_takes_the_scale_away_and_leaves_the_angles():
    facts = replace(STATED, answers=(Answer("P2", "handle"),))
    result = measure_case(PAINTED, TOOTH.clicks, facts)
    assert result.scale is None
    assert result.facts == facts
    assert not {one.unit for one in result.measurements.values()} & {"mm", "mm/px"}
    assert "schneider_deg" in result.measurements
    assert result.absent["scale_mm_per_px"].startswith("withheld by check 2")
    assert [one.level for one in result.checks if one.id == "P2"] == ["stop"]
