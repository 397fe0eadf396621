"""What is said of joints of several pairs whose answers are written down by hand."""

from dataclasses import replace

import pytest
from support.written_answers import (
    LID,
    ORIGIN,
    ORIGIN_SAID,
    TODAY,
    X,
    Z,
    plain,
    written_several,
)

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.offset import Feel
from coupons.answering.several.drawn_pairs import LegsTold, PitchTold
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several
from coupons.answering.standards.hardware import hardware
from coupons.answering.words.several import several_data, several_sentences, several_warnings
from coupons.terms import Bed, Form, Grade

COVER = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), pitch_mm=60.0)
CLIP = Several(JointKind.LEGS, (8.0,), ((X,), (X,)), legs=Legs(20.0, 2.0, 7.6, 0.02))
SLIM_PIN = ((FaceMove(Form.PIN, -0.17, 2, 4.66),),)
SLIM_BAR = ((FaceMove(Form.TONGUE, -0.17, 2, 7.66),),)
AS_A_WHOLE = (
    "NEVER TRIED BY HAND as a whole: trials are of single pairs. The tightest pair is taken to say "
    "how it goes together, the widest play how loose it is."
)


def told(found):
    return plain(several_sentences(found, TODAY))


def test_each_pair_of_a_pocket_is_drawn_and_then_the_whole_is_told():
    assert told(written_several()) == [
        "Across x: move each face of the 40 mm plate −0.17 mm, into the material (material "
        "removed): draw the plate 39.66 mm; the pocket stays 40.00 mm.",
        "Across y: move each face of the 25 mm plate −0.20 mm, into the material (material "
        "removed): draw the plate 24.60 mm; the pocket stays 25.00 mm.",
        "As a whole it slides with 70 % chance (too tight 18 %, too loose 12 %).",
        "By itself each pair would fit at its own best gap with: across x 90 %, across y 84 %.",
        "The drawn gap is 0.34 mm and 0.40 mm over both sides.",
        AS_A_WHOLE,
        ORIGIN_SAID,
    ]


def test_two_pins_are_told_with_their_pitch():
    found = written_several(COVER, SLIM_PIN, pitch=PitchTold(-0.03, 0.041))
    assert told(found) == [
        "Both holes and pins alike: move the round face of the 5 mm pin −0.17 mm, into the "
        "material (material removed): draw the pin 4.66 mm; the hole stays 5.00 mm.",
        "As a whole it slides with 70 % chance (too tight 18 %, too loose 12 %).",
        "By itself a hole would fit at its own best gap with: axis along z 90 %.",
        "The drawn gap is 0.34 mm over both sides.",
        "The two pitches of 60 mm print −0.03 ±0.04 mm apart (expected, one standard deviation): "
        "scale, skew and drift over the distance.",
        AS_A_WHOLE,
        ORIGIN_SAID,
    ]


LEGS = LegsTold(0.21, 0.0158, 0.0231, 0.02)
BENT = (
    "The mouth bends each leg by 0.21 mm: its root is strained by 1.58 %, 2.31 % or more in one "
    "print of twenty{}. That the lips hold{} is counted in the chance."
)
LIMIT = ("; limit 2.0 %", " and the strain is within its limit")


def test_legs_are_told_with_what_strains_them():
    lines = told(written_several(CLIP, SLIM_BAR, legs=LEGS))
    assert lines[0].endswith("draw the bar 7.66 mm; the gap between the legs stays 8.00 mm.")
    assert lines[0].startswith("Move each face of the 8 mm bar")
    assert lines[4:7] == [
        "NEVER TRIED BY HAND: legs that give way feel looser than stiff faces with the same gap.",
        BENT.format(*LIMIT),
        AS_A_WHOLE,
    ]
    beyond = "The strain is BEYOND its limit: make the legs longer or thinner."
    at_limit = replace(LEGS, expected=0.02)
    assert beyond not in told(written_several(CLIP, SLIM_BAR, legs=at_limit))
    over = replace(LEGS, expected=0.0201)
    assert beyond in told(written_several(CLIP, SLIM_BAR, legs=over))
    free = replace(LEGS, limit=None)
    assert told(written_several(CLIP, SLIM_BAR, legs=free))[5] == BENT.format("", "")
    assert told(written_several(CLIP, SLIM_BAR))[5] == AS_A_WHOLE


def test_warnings_of_a_whole_are_short():
    never = "legs/bar: NEVER TRIED BY HAND as a whole, only pair by pair."
    strained = "The mouth strains the legs by 1.58 %{}."
    found = written_several(CLIP, SLIM_BAR, legs=LEGS)
    assert plain(several_warnings(found)) == [never, strained.format(" (limit 2.0 %)")]
    free = replace(found, legs=replace(LEGS, limit=None))
    assert plain(several_warnings(free)) == [never, strained.format("")]
    beyond = "EXTRAPOLATED: a size is outside those measured in its direction."
    assert several_warnings(replace(found, legs=None, extrapolated=True)) == [never, beyond]


CORNERS = (
    "CORNERS MEET FIRST: round those of the plate by at least 1.83 mm or cut those of the pocket "
    "free; then the chance is 74 %."
)


def test_corners_that_meet_are_told_with_the_chance_once_they_do_not():
    found = written_several(corner_mm=1.83, rounded_chance=0.74)
    assert told(found)[3] == plain(several_warnings(found))[1] == CORNERS
    assert CORNERS not in told(written_several(corner_mm=1.83))
    assert CORNERS not in told(written_several(rounded_chance=0.74))


@pytest.mark.parametrize(
    ("changes", "error", "says"),
    [
        ({}, 0.0, "slides with 70 % chance (too tight 18 %, too loose 12 %)."),
        # Rounded up: the error covers what it must.
        (
            {},
            0.0061,
            "slides with 70 % chance (too tight 18 %, too loose 12 %; sampling error 0.7 %).",
        ),
        ({"fit": Grade.LOOSE}, 0.0, "is loose with 70 % chance (too tight 18 %)."),
        (
            {"at_least": 0.6},
            0.005,
            "slides or is looser with 70 % chance (too tight 18 %; sampling error 0.5 %).",
        ),
        ({"fit": Grade.LOOSE, "at_least": 0.6}, 0.0, "is loose with 70 % chance (too tight 18 %)."),
    ],
)
def test_the_chance_of_a_whole_is_told_by_the_wish(changes, error, says):
    found = written_several(replace(LID, **changes), sampling_error=error)
    assert f"As a whole it {says}" in told(found)


@pytest.mark.parametrize(("error", "says"), [(0.003001, "0.4"), (0.0029995, "0.3"), (0.6, "60.0")])
def test_a_sampling_error_of_a_whole_is_rounded_up(error, says):
    assert f"; sampling error {says} %)" in told(written_several(sampling_error=error))[2]


def test_what_else_is_to_be_known_of_a_whole():
    two = "The two bodies come from two prints: how prints differ counts for each."
    apart = written_several(replace(LID, two_prints=True))
    assert two in told(apart)
    assert two not in told(replace(apart, makers=((Form.TONGUE, ORIGIN),)))
    assert f"The plate: {ORIGIN_SAID}" in told(replace(apart, makers=((Form.TONGUE, ORIGIN),)))
    assert two not in told(written_several())
    practice = "The trials do not show this fit: common practice is used instead."
    assert practice in told(written_several(feel=Feel.UNCLEAR))
    assert practice not in told(written_several())
    beyond = "EXTRAPOLATED: a size is outside those measured in its direction."
    assert told(written_several(extrapolated=True))[3] == beyond
    caution = "Caution: pressing a part in can split it, or what it goes into, between layers."
    for fit, is_said in ((Grade.FORCE, True), (Grade.PUSH, True), (Grade.LOOSE, False)):
        assert (caution in told(written_several(replace(LID, fit=fit)))) is is_said
    assert told(written_several(rehearsed=True))[0].startswith("REHEARSED")
    crowd = written_several(origin=replace(ORIGIN, hands=2))
    assert any(line.startswith("2 people tried") for line in told(crowd))


def test_hardware_in_two_holes_is_told_with_its_limits():
    dowels = replace(COVER, hardware=hardware("pin 5 m6"))
    found = written_several(dowels, ((FaceMove(Form.HOLE, -0.12, 2, 5.24),),))
    lines = told(found)
    assert lines[0].startswith("Both holes alike: move the round face of the 5 mm hole")
    assert lines[0].endswith("draw the hole 5.24 mm; the pin 5 m6 stays as it is.")
    # ISO 286: m6 over 3 and up to 6 mm is +4 to +12 µm.
    assert "Hardware: pin 5 m6, 5.004 to 5.012 mm (ISO 286-1 m6)." in lines
    assert several_data(found, TODAY)["question"]["hardware"] == "pin 5 m6"


def test_a_whole_stands_in_the_data():
    asked = replace(LID, corners=Corners(2.0, 0.5), bed=Bed.NONE, at_least=0.6)
    found = written_several(
        asked, corner_mm=1.83, rounded_chance=0.74, makers=((Form.TONGUE, ORIGIN),)
    )
    data = several_data(found, TODAY)
    origin = data.pop("origin")
    assert (origin["machine"], origin["age_days"]) == ("bench-1", 12)
    assert data.pop("makers") == [{"form": "tongue", **origin}]
    assert data.pop("words") == several_sentences(found, TODAY)
    assert data.pop("question") == {
        "joint": "pocket/plate",
        "sizes_mm": [40.0, 25.0],
        "across": "xy",
        "axes": ["across the first size", "across the second"],
        "hardware": None,
        "fit": "slide",
        "move": "external",
        "at_least": 0.6,
        "drawn_gap_mm": None,
        "bed": "none",
        "two_prints": False,
        "pitch_mm": None,
        "corners_mm": [2.0, 0.5],
    }
    first, second = data.pop("pairs")
    assert (first["across"], first["size_mm"], first["gap_mm"]) == ("x", 40.0, 0.34)
    assert first["alone"] == {"gap_mm": 0.3, "chance": 0.9}
    assert second["alone"]["chance"] == 0.84
    assert [move["drawn_mm"] for move in (*first["moves"], *second["moves"])] == [39.66, 24.6]
    assert data == {
        "chance": 0.7,
        "too_tight": 0.18,
        "too_loose": 0.12,
        "sampling_error": 0.0,
        "pitch": None,
        "corner_mm": 1.83,
        "rounded_chance": 0.74,
        "legs": None,
        "tried_by_hand": False,
        "feel": "hand",
        "extrapolated": False,
        "rehearsed": False,
    }


def test_pitch_and_legs_stand_in_the_data():
    pins = several_data(written_several(COVER, SLIM_PIN, pitch=PitchTold(-0.03, 0.041)), TODAY)
    assert pins["pitch"] == {"mean_mm": -0.03, "sd_mm": 0.041}
    assert (pins["question"]["bed"], pins["question"]["pitch_mm"]) == (None, 60.0)
    clip = several_data(written_several(CLIP, SLIM_BAR, legs=LEGS), TODAY)
    assert clip["legs"] == {
        "deflection_mm": 0.21,
        "strain": 0.0158,
        "tight_strain": 0.0231,
        "strain_limit": 0.02,
    }


def test_a_whole_is_told_in_one_line():
    assert repr(written_several()) == (
        "<SeveralAnswer to slide pocket/plate 40x25 mm xy: gap 0.34, 0.40 mm; 70 % chance>"
    )
    dowels = replace(COVER, hardware=hardware("pin 5 m6"))
    assert dowels.name == "slide pin 5 m6 twice at 60 mm zx"
