"""What is said of one size, and of limits, of answers written down by hand."""

from dataclasses import replace

import pytest
from support.written_answers import (
    HOLE,
    ORIGIN_SAID,
    TODAY,
    X,
    Z,
    plain,
    written_size,
)

from coupons.answering.capability import BAND_RULE, LimitsAnswer, Reach
from coupons.answering.chances.together import Together
from coupons.answering.single import SizeQuestion
from coupons.answering.standards.hardware import hardware
from coupons.answering.standards.iso286 import fit_limits, limits
from coupons.answering.words.sizes import (
    limits_data,
    limits_headline,
    limits_sentences,
    size_data,
    size_headline,
    size_sentences,
)
from coupons.learning.profile import MeasuredRange
from coupons.terms import Bed, Form

DRAW = (
    "Move the round face of the 8 mm hole −0.12 mm, into the material (material removed, the "
    "opening widens): draw the hole 8.24 mm."
)
PRINTS = "It prints at 8.01 mm, between 7.93 and 8.09 mm (90 % prediction interval)."
HOLES = MeasuredRange(form=Form.HOLE, direction=Z, low_mm=3, high_mm=20)
WITHIN = replace(HOLE, limits=limits("8 ±0.1"))


def told(found):
    return plain(size_sentences(found, TODAY))


def test_a_size_is_told_with_what_it_prints_at():
    found = written_size(measured=HOLES)
    measured = "Measured: holes with their axis along z of 3 to 20 mm."
    assert told(found) == [DRAW, PRINTS, measured, ORIGIN_SAID]


def test_limits_are_told_with_their_chance_before_the_size():
    chance = "Chance that it is within 8 ±0.1 (7.900 to 8.100 mm): 93 %."
    assert told(written_size(WITHIN, chance=0.93)) == [DRAW, chance, PRINTS, ORIGIN_SAID]
    assert told(written_size(WITHIN)) == [DRAW, PRINTS, ORIGIN_SAID]
    assert told(written_size(chance=0.93)) == [DRAW, PRINTS, ORIGIN_SAID]


def test_layers_and_hardware_of_a_size_are_told():
    screw = hardware("screw M3 medium")
    asked = replace(HOLE, limits=screw.printed, hardware=screw)
    lines = told(written_size(asked, layer_mm=0.2, layers=41, beds=((Bed.NONE, 0.1), *BOTH)))
    assert lines[0].endswith("draw the hole 8.24 mm; the screw M3 stays as it is.")
    assert lines[2] == "That is 41 layers of 0.2 mm; only whole layers print."
    assert "with --bed none the interval would narrow from 0.16 to 0.10 mm" in lines[3]
    assert lines[4].startswith("Hardware: screw M3 medium, ")
    assert told(written_size(layer_mm=0.2, layers=1))[2].startswith("That is 1 layer of 0.2 mm")


BOTH = ((Bed.EXTERNAL, 0.2),)


@pytest.mark.parametrize(
    ("question", "what"),
    [
        (replace(HOLE, drawn_mm=8.24), "a hole with its axis along z"),
        (SizeQuestion(Form.SLOT, 8.0, X, drawn_mm=8.24), "a slot across x"),
    ],
)
def test_a_drawn_size_is_told_by_what_it_prints_as(question, what):
    found = written_size(question, layer_mm=0.2, layers=41)
    prints = (
        f"Drawn 8.24 mm, {what} prints at 8.01 mm (error −0.23 mm), between 7.93 and 8.09 mm (90 % "
        "prediction interval)."
    )
    assert told(found) == [prints, ORIGIN_SAID]
    within = replace(found, question=replace(question, limits=limits("8 ±0.1")), chance=0.93)
    chance = "Chance that it is within 8 ±0.1 (7.900 to 8.100 mm): 93 %."
    assert told(within) == [prints, chance, ORIGIN_SAID]


def test_a_size_that_was_not_measured_is_marked():
    beyond = "EXTRAPOLATED: 8 mm is outside the measured sizes;"
    assert told(written_size(measured=HOLES, extrapolated=True))[2].startswith(beyond)
    none = "EXTRAPOLATED from other features: no holes with their axis along z were measured."
    assert plain(size_headline(written_size(extrapolated=True), TODAY)) == [DRAW, PRINTS, none]
    drawn = written_size(replace(HOLE, drawn_mm=8.24), extrapolated=True)
    assert size_headline(drawn, TODAY)[1] == none
    assert size_headline(written_size(rehearsed=True), TODAY)[0].startswith("REHEARSED")


def test_a_size_stands_in_the_data():
    asked = replace(WITHIN, bed=Bed.NONE)
    found = written_size(asked, chance=0.93, measured=HOLES, beds=BOTH)
    data = size_data(found, TODAY)
    assert data.pop("origin")["age_days"] == 12
    assert data.pop("words") == size_sentences(found, TODAY)
    assert [one["high_mm"] for one in data.pop("measured")] == [20]
    assert data.pop("error_mm") == pytest.approx(-0.23)
    assert data == {
        "question": {
            "form": "hole",
            "across": "z",
            "prints_mm": 8.0,
            "drawn_mm": None,
            "limits": "8 ±0.1",
            "hardware": None,
            "bed": "none",
        },
        "form": "hole",
        "from_mm": 8.0,
        "offset_mm": -0.12,
        "faces": 2,
        "drawn_mm": 8.24,
        "printed_mm": 8.01,
        "low_mm": 7.93,
        "high_mm": 8.09,
        "limits": {"code": "8 ±0.1", "lower_mm": 7.9, "upper_mm": 8.1},
        "chance": 0.93,
        "extrapolated": False,
        "rehearsed": False,
        "layers": None,
        "layer_mm": None,
        "beds": [{"bed": "external", "interval_mm": 0.2}],
    }
    screw = hardware("screw M3 medium")
    plainer = size_data(written_size(replace(HOLE, drawn_mm=8.24, hardware=screw)), TODAY)
    asked = plainer["question"]
    assert (asked["prints_mm"], asked["drawn_mm"], asked["bed"]) == (None, 8.24, None)
    assert (asked["limits"], asked["hardware"]) == (None, "screw M3 medium")
    assert (plainer["limits"], plainer["measured"]) == (None, [])


def reach(form, low_mm, high_mm, grade, **changes):
    """Six standard deviations that may be 0.10 to 0.20 mm, each width as likely."""
    fields = {
        "form": form,
        "direction": X,
        "low_mm": low_mm,
        "high_mm": high_mm,
        "band_mm": 0.15,
        "grade": grade,
        "confidences": {12: 0.7, 13: 0.9, 14: 0.96},
        "quantiles_mm": tuple(0.1 + 0.001 * n for n in range(101)),
        "assumed": 0.0,
        "after_mm": (0.12, 0.18),
    }
    return Reach(**(fields | changes))


FIT = fit_limits("12 H12/d12")
SLOT_ASKED = SizeQuestion(Form.SLOT, 12.09, X, FIT.hole)
TONGUE_ASKED = SizeQuestion(Form.TONGUE, 11.86, X, FIT.shaft)
REACHED = (
    reach(Form.SLOT, 3.0, 6.0, 13),
    reach(Form.SLOT, 6.0, 10.0, 13),
    reach(Form.SLOT, 10.0, 18.0, 12),
    reach(Form.TONGUE, 10.0, 18.0, None),
)
SLOTS = MeasuredRange(form=Form.SLOT, direction=X, low_mm=3, high_mm=18)


def written_limits(reached=REACHED, hole=SLOT_ASKED, **changes):
    of_hole = {"drawn_mm": 12.2, "offset_mm": -0.1, "expected_mm": 12.09, "chance": 0.8}
    of_shaft = {"drawn_mm": 11.8, "offset_mm": -0.1, "expected_mm": 11.86, "chance": 0.9}
    ends = {"low_mm": 12.0, "high_mm": 12.18}
    fields = {
        "fit": FIT,
        "hole": written_size(hole, **of_hole, **ends, measured=SLOTS),
        "shaft": written_size(TONGUE_ASKED, **of_shaft),
        "both": Together(0.72, 0.001),
        "reached": reached,
    }
    return LimitsAnswer(**(fields | changes))


def test_limits_of_a_fit_are_told_side_by_side():
    lines = plain(limits_sentences(written_limits(), TODAY))
    both = "Chance that a pair from one print is within all four limits: 72 %."
    assert lines[0].endswith("draw the slot 12.20 mm and the tongue 11.80 mm.")
    assert lines[1] == both == plain(limits_headline(written_limits(), TODAY))[1]
    # ISO 286: IT12 over 10 and up to 18 mm is 0.18 mm, d lies 0.05 mm below.
    assert lines[2] == "Chance that the slot is within 12 H12 (12.000 to 12.180 mm): 80 %."
    assert lines[3].startswith("The slot prints at 12.09 mm, between 12.00 and 12.18 mm")
    assert lines[4] == "Chance that the tongue is within 12 d12 (11.770 to 11.950 mm): 90 %."
    # 0.18 mm is four fifths up from 0.10 to 0.20 mm.
    assert lines[6:10] == [
        "Slots across x of 10 to 18 mm reach IT12 (70 % confidence; six standard deviations are "
        "0.15 mm); 12 H12 requires IT12: reached (80 % confidence).",
        "Tongues across x of 10 to 18 mm reach no grade up to IT14 (4 % confidence; six standard "
        "deviations are 0.15 mm); 12 d12 requires IT12: reached (80 % confidence).",
        "Grades reached by slots across x: IT13 at 3 to 10 mm, IT12 at 10 to 18 mm.",
        "Grades reached by tongues across x: no grade up to IT14 at 10 to 18 mm.",
    ]
    assert lines[10:] == [BAND_RULE, "Measured: slots across x of 3 to 18 mm.", ORIGIN_SAID]


def test_two_prints_are_said_and_so_is_what_is_extrapolated_once():
    apart = written_limits(is_one_print=False)
    assert "a pair from two prints is within all four" in limits_headline(apart, TODAY)[1]
    far = written_limits(
        hole=SLOT_ASKED, shaft=written_size(replace(SLOT_ASKED, form=Form.SLOT), extrapolated=True)
    )
    assert len(limits_headline(far, TODAY)) == 3


@pytest.mark.parametrize(
    ("code", "verdict"),
    [
        # Six standard deviations are within 0.15 mm with even chance, within 0.12 with 20 %.
        (
            "12 ±0.06",
            "requires a tolerance of 0.12 mm: not reached (80 % confidence), so some parts will be "
            "outside.",
        ),
        ("12 ±0.075", "requires a tolerance of 0.15 mm: reached (50 % confidence)."),
        ("12 ±0.09", "requires a tolerance of 0.18 mm: reached (80 % confidence)."),
    ],
)
def test_a_tolerance_is_reached_from_even_confidence_on(code, verdict):
    asked = replace(SLOT_ASKED, limits=limits(code))
    # A hair over the middle: the width of limits as numbers carries rounding.
    over = tuple(mm - 1e-9 for mm in REACHED[2].quantiles_mm)
    reached = (replace(REACHED[2], quantiles_mm=over),)
    lines = plain(limits_sentences(written_limits(reached, asked), TODAY))
    assert lines[6].endswith(verdict)


@pytest.mark.parametrize(("size_mm", "is_known"), [(10.0, True), (18.0, True), (18.1, False)])
def test_a_grade_is_told_at_its_own_sizes(size_mm, is_known):
    asked = replace(SLOT_ASKED, limits=limits(f"{size_mm:g} ±0.1"))
    line = plain(limits_sentences(written_limits(REACHED[2:3], asked), TODAY))[6]
    unknown = f"Slots across x of {size_mm:g} mm: not measured at this size, so the grade reached"
    assert line.startswith(unknown) is not is_known
    none = plain(limits_sentences(written_limits(()), TODAY))
    assert BAND_RULE not in none
    assert not any("Grades reached" in line for line in none)


def test_what_no_print_showed_of_the_scatter_is_told_where_it_is_most():
    reached = (
        reach(Form.SLOT, 10.0, 18.0, 12, assumed=0.2),
        reach(Form.SLOT, 18.0, 20.0, 12, assumed=0.6, after_mm=(0.13, 0.17)),
    )
    lines = plain(limits_sentences(written_limits(reached), TODAY))
    (line,) = [line for line in lines if "common practice, not measured" in line]
    # The tenth and the ninetieth percentile.
    assert line == (
        "Up to 60 % of that scatter (as a variance) is common practice, not measured: that of "
        "slots across x of 18 to 20 mm may be 0.11 to 0.19 mm (four cases of five). How far prints "
        "differ shows only when several are fitted together: a second print begins to show it "
        "(0.13 to 0.17 mm then), each further one makes the grade surer."
    )


def test_limits_of_a_fit_stand_in_the_data():
    found = written_limits()
    data = limits_data(found, TODAY)
    assert data["question"] == {
        "joint": "slot/tongue",
        "across": "x",
        "limits": ["12 H12", "12 d12"],
    }
    assert (data["hole"]["drawn_mm"], data["shaft"]["drawn_mm"]) == (12.2, 11.8)
    assert data["both"] == {"chance": 0.72, "error": 0.001}
    assert data["reached"][2] == {
        "form": "slot",
        "across": "x",
        "low_mm": 10.0,
        "high_mm": 18.0,
        "band_mm": 0.15,
        "grade": "IT12",
        "confidence": 0.7,
        "assumed": 0.0,
    }
    assert data["reached"][3]["grade"] is None
    assert data["reached"][3]["confidence"] == pytest.approx(0.04)
    assert (data["rehearsed"], data["origin"]["machine"]) == (False, "bench-1")
    assert data["words"] == limits_sentences(found, TODAY)


def test_answers_about_sizes_are_told_in_one_line():
    assert repr(written_limits()).endswith("72 % chance>")
    assert REACHED[0].confidence_within(0.05) == 0
    assert REACHED[0].confidence_within(0.3) == 1
