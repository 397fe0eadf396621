"""What is said of an answer whose numbers are written down by hand."""

from dataclasses import replace
from datetime import date

import pytest
from support.known_profile import known_profile
from support.written_answers import (
    DRAWER,
    ORIGIN,
    ORIGIN_SAID,
    SLIDE,
    SLIMMER,
    TODAY,
    X,
    Y,
    Z,
    plain,
    written,
)

from coupons.answering.chances.contact_length import ContactLength
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.one_print import OnePrint
from coupons.answering.offset import Feel
from coupons.answering.origin import Origin
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.answering.words.answer_data import as_data
from coupons.answering.words.answers import (
    NO_TRIALS,
    REHEARSED,
    draw_sentence,
    evidence,
    extrapolated,
    headline,
    interval_sentence,
    layer_sentences,
    marks,
    sentences,
    size_range,
)
from coupons.learning.profile import MeasuredRange
from coupons.terms import Bed, Form, Grade, Joint, MovingBody, Slant

DECIDES = [
    "Move each face of the 12 mm tongue −0.17 mm, into the material (material removed): draw the "
    "tongue 11.66 mm; the slot stays 12.00 mm.",
    "It slides with 81 % chance (too tight 12 %, too loose 7 %).",
]
GAP = "The drawn gap is 0.34 mm over both sides."
MIDDLE = (
    "On the next print the middle of the slide range is at a gap of 0.28 to 0.40 mm (90 % "
    "prediction interval)."
)
SHELF = replace(DRAWER, direction=Z)


def told(answer):
    return plain(sentences(answer, TODAY))


def test_an_answer_decides_first_and_then_gives_what_it_stands_on():
    slots = MeasuredRange(form=Form.SLOT, direction=X, low_mm=4, high_mm=25)
    found = written(measured=(slots,))
    measured = "Measured: slots across x of 4 to 25 mm."
    assert told(found) == [*DECIDES, GAP, MIDDLE, measured, ORIGIN_SAID]
    assert plain(headline(found, TODAY)) == DECIDES


SLOT_UP = FaceMove(Form.SLOT, -0.1, 2, 12.2)
PIN, SHELF_SLOT = FaceMove(Form.PIN, 0.025, 2, 8.05), FaceMove(Form.SLOT, -0.2, 1, 12.2)


@pytest.mark.parametrize(
    ("moves", "stays", "said"),
    [
        (
            [SLOT_UP],
            "",
            "Move each face of the 12 mm slot −0.10 mm, into the material (material removed, the "
            "opening widens): draw the slot 12.20 mm.",
        ),
        (
            [FaceMove(Form.HOLE, 0.05, 2, 7.9)],
            "",
            "Move the round face of the 8 mm hole +0.05 mm, out of the material (material added, "
            "the opening narrows): draw the hole 7.90 mm.",
        ),
        (
            [PIN],
            "the hole stays 8.00 mm",
            "Move the round face of the 8 mm pin +0.025 mm, out of the material (material added): "
            "draw the pin 8.05 mm; the hole stays 8.00 mm.",
        ),
        (
            [SHELF_SLOT, FaceMove(Form.TONGUE, 0.0, 1, 12.0)],
            "",
            "Move one face of the 12 mm slot −0.20 mm, into the material (material removed, the "
            "opening widens): draw the slot 12.20 mm; leave the tongue as it is, 12.00 mm.",
        ),
        (
            [SLOT_UP, SLIMMER],
            "",
            "Move each face of the 12 mm slot −0.10 mm, into the material (material removed, the "
            "opening widens), and each face of the 12 mm tongue −0.17 mm, into the material "
            "(material removed): draw the slot 12.20 mm and the tongue 11.66 mm.",
        ),
        (
            [FaceMove(Form.TONGUE, 0.0, 2, 12.125)],
            "the slot stays 12.00 mm",
            "Leave the tongue as it is, 12.125 mm; the slot stays 12.00 mm.",
        ),
    ],
)
def test_faces_are_moved_by_a_sign_and_in_words(moves, stays, said):
    assert draw_sentence(moves, stays) == said


@pytest.mark.parametrize(
    ("question", "moves", "stays"),
    [
        (replace(SLIDE, move=MovingBody.EXTERNAL), (SLIMMER,), "; the slot stays 12.00 mm."),
        (replace(SLIDE, move=MovingBody.INTERNAL), (SLOT_UP,), "; the tongue stays 12.00 mm."),
        (replace(SLIDE, move=MovingBody.BOTH), (SLOT_UP, SLIMMER), "draw the slot 12.20 mm and"),
        # Rounded to layers, the other one moves as well.
        (SLIDE, (SLIMMER, SLOT_UP), "draw the tongue 11.66 mm and the slot 12.20 mm."),
    ],
)
def test_the_body_that_is_not_moved_is_said_to_stay(question, moves, stays):
    line = told(written(question, moves=moves))[0]
    assert stays in line
    assert line.count("stays") == ("stays" in stays)


def test_a_wished_gap_is_told_before_the_chance_and_without_the_range_of_the_fit():
    # A drawn gap of 0.34 mm prints 0.2 mm if 0.34 is needed for it: the gap needed is known to be
    # 0.28 to 0.40 mm, so that what prints is 0.2 + 0.34 less that.
    found = written(
        replace(SLIDE, printed_gap_mm=0.2),
        contact=ContactLength(6.2, False, (3, 20), 0.01),
        origin=replace(ORIGIN, hands=3),
    )
    gap = (
        "Drawn this way, a pair on the next print has a gap of 0.14 to 0.26 mm (90 % prediction "
        "interval)."
    )
    assert plain(interval_sentence(found)) == gap
    assert told(found) == [DECIDES[0], gap, DECIDES[1], GAP, ORIGIN_SAID]
    fit = told(replace(found, question=SLIDE))
    assert any(line.startswith("For a contact about 6.2 mm long") for line in fit)
    assert any(line.startswith("3 people tried") for line in fit)


def test_a_fit_with_one_edge_says_where_its_range_begins():
    assert plain(interval_sentence(written(at_edge=True))).startswith(
        "On the next print the slide range begins at a gap of 0.28 to 0.40 mm"
    )


@pytest.mark.parametrize(
    ("changes", "lines"),
    [
        ({"at_least": 0.9}, ["It slides or is looser with 88 % chance.", DECIDES[1]]),
        (
            {"fit": Grade.LOOSE, "at_least": 0.9},
            ["It is loose with 81 % chance (too tight 12 %)."],
        ),
        ({"fit": Grade.LOOSE}, ["It is loose with 81 % chance (too tight 12 %)."]),
        ({"fit": Grade.PUSH}, ["It pushes in with 81 % chance (too tight 12 %, too loose 7 %)."]),
        (
            {"fit": Grade.FORCE},
            ["It needs force with 81 % chance (too tight 12 %, too loose 7 %)."],
        ),
    ],
)
def test_chances_are_told_by_the_wish(changes, lines):
    found = told(written(replace(SLIDE, **changes)))
    assert [line for line in found if line.startswith("It ")] == lines
    caution = "Caution: pressing a part in can split it, or what it goes into, between layers."
    assert (caution in found) is (changes.get("fit") in (Grade.FORCE, Grade.PUSH))


def test_a_cost_is_told_with_what_equal_costs_would_draw():
    even = written(gap_mm=0.38, chance=0.84, too_tight=0.05, too_loose=0.11)
    found = told(written(replace(SLIDE, loose_costs=2.5), at_equal_costs=even))
    assert found[2] == (
        "Too loose counts 2.5 times as much as too tight. If both counted alike, the drawn gap "
        "would be 0.38 mm: it slides with 84 % chance (too tight 5 %, too loose 11 %)."
    )
    assert not any("counts" in line for line in told(written()))


def test_what_a_reader_must_know_stands_first():
    old = Origin("bench-2", "grey", 0.2, date(2025, 3, 13), version=2)
    lines = marks(True, old, TODAY)
    assert lines[0] == REHEARSED
    assert len(lines) == 3
    assert lines[2].startswith("STALE: printed ")
    assert marks(False, ORIGIN, TODAY) == []
    found = told(written(rehearsed=True, makers=((Form.SLOT, old), (Form.TONGUE, ORIGIN))))
    assert found[0] == REHEARSED
    assert [line.startswith("The slot is made by another printer. ") for line in found[:4]] == [
        False,
        True,
        True,
        False,
    ]
    assert not any("REHEARSED" in line for line in found[1:])
    assert f"The tongue: {ORIGIN_SAID}" in found


def test_what_was_not_measured_is_said_with_the_chance():
    slots = MeasuredRange(form=Form.SLOT, direction=X, low_mm=4, high_mm=25)
    doubt = "EXTRAPOLATED from other features: no tongues across x were measured."
    assert told(written(extrapolated=True, measured=(slots,)))[2] == doubt
    both = "EXTRAPOLATED from other features: no slots across x and no tongues across x were"
    assert told(written(extrapolated=True))[2].startswith(both)
    tongues = slots.model_copy(update={"form": Form.TONGUE})
    beyond = told(written(extrapolated=True, measured=(slots, tongues)))[2]
    assert beyond.startswith("EXTRAPOLATED: 12 mm is outside the measured sizes;")
    assert extrapolated(12.5, ()) == beyond.replace("12 mm", "12.5 mm")
    assert not any("EXTRAPOLATED" in line for line in told(written(measured=(slots, tongues))))


def test_a_contact_far_from_those_tried_is_a_doubt_and_another_one_a_detail():
    far = written(contact=ContactLength(100, True, (2.8, 20.2), 0.041))
    near = written(contact=ContactLength(10, True, (2.8, 20.2), 0.01))
    assert told(far)[2].startswith("EXTRAPOLATED: a contact of 100 mm is far from those tried")
    assert sum("contact" in line for line in told(far)) == 1
    assert told(near)[:2] == DECIDES
    assert told(near)[-2] == "For a contact 10 mm long."


def test_an_unsaid_bed_is_told_with_how_wide_the_interval_would_be():
    lines = told(written(beds=((Bed.NONE, 0.1), (Bed.EXTERNAL, 0.15))))
    (line,) = [line for line in lines if "stands on the bed was not said" in line]
    # From 0.28 to 0.40 mm is 0.12 wide.
    assert "with --bed none the interval would narrow from 0.12 to 0.10 mm" in line
    assert "with --bed external the interval would widen from 0.12 to 0.15 mm" in line


def test_hardware_is_told_with_its_limits_and_stays():
    pin = hardware("pin 8 m6")
    joint = Joint(Form.HOLE, Form.PIN, 8.0, Z)
    asked = Question(joint, Grade.SLIDE, MovingBody.INTERNAL, hardware=pin)
    lines = told(written(asked, moves=(FaceMove(Form.HOLE, -0.12, 2, 8.24),)))
    assert lines[0].endswith("draw the hole 8.24 mm; the pin 8 m6 stays as it is.")
    # ISO 286: m6 at 8 mm is +6 to +15 µm.
    assert "Hardware: pin 8 m6, 8.006 to 8.015 mm (ISO 286-1 m6)." in lines
    nut = hardware("nut M4")
    asked = replace(asked, joint=replace(SHELF, size_mm=7.0), hardware=nut)
    assert any("from flat to flat" in line for line in told(written(asked)))


def test_bodies_that_lie_unlike_or_come_from_elsewhere_are_named():
    upright = replace(SLIDE, joint=Joint(Form.SLOT, Form.TONGUE, 12.0, Z, X))
    assert (
        "Printed with the slot across z and the tongue across x, each by the axes of its own "
        "print. Such a pair was not tried by hand: it is predicted from pairs that lie alike."
    ) in told(written(upright))
    two = "The two bodies come from two prints: how prints differ counts for each."
    assert two in told(written(replace(SLIDE, two_prints=True)))
    other = known_profile(machine="bench-2")
    lines = told(written(replace(SLIDE, two_prints=True, external_profile=other)))
    assert two not in lines
    assert any(line.startswith("The tongue comes from another printer: ") for line in lines)
    both = replace(SLIDE, internal_profile=other, external_profile=other)
    assert any(
        line.startswith("The slot and the tongue comes from another printer: ")
        for line in told(written(both))
    )
    assert not any("comes from" in line or "come from" in line for line in told(written()))


def test_a_gap_on_faces_that_lean_is_told_along_the_normal_and_along_the_pull():
    # Half of 0.34 mm along each normal; along a pull at 30 degrees 0.17 / sin 30° = 0.34 mm.
    wedge = replace(SLIDE, joint=replace(DRAWER, slant=Slant(30.0, Y)))
    lines = told(written(wedge))
    assert lines[2].startswith("NEVER TRIED BY HAND: faces that lean (30 degrees to the pull).")
    assert lines[3].endswith(
        "The gap of 0.34 mm over both sides is 0.17 mm along each normal and 0.34 mm along the "
        "pull."
    )
    assert not any("lean" in line for line in told(written()))
    data = as_data(written(wedge), TODAY)
    assert data["pull_gap_mm"] == pytest.approx(0.34)
    assert data["question"]["slant_deg"] == 30


LAYERED = {"layer_mm": 0.2, "gap_mm": 0.4, "best_gap_mm": 0.352, "layers": 2}
SHELF_DRAWN = (FaceMove(Form.TONGUE, -0.4, 1, 11.6),)


def test_sizes_across_layers_are_counted_in_layers():
    found = written(replace(SLIDE, joint=SHELF), moves=SHELF_DRAWN, **LAYERED)
    best = "before rounding to layers the best gap is 0.35 mm"
    assert layer_sentences(found) == [
        f"With 0.2 mm layers: tongue 58 layers, gap 2 layers; {best}."
    ]
    assert told(found)[2:4] == [
        "The drawn gap is 0.40 mm over both sides.",
        *layer_sentences(found),
    ]
    drawn = replace(found, question=replace(found.question, drawn_gap_mm=0.4))
    assert layer_sentences(drawn) == ["With 0.2 mm layers: tongue 58 layers, gap 2 layers."]
    one = replace(found, gap_mm=-0.2)
    assert "gap −1 layer;" in layer_sentences(one)[0]
    half = replace(found, gap_mm=0.25)
    assert "gap 1.25 layers;" in layer_sentences(half)[0]
    odd = replace(found.question, joint=replace(SHELF, size_mm=12.1))
    assert layer_sentences(replace(found, question=odd))[1:] == [
        "12.1 mm is 60.5 layers, not a whole number, so both bodies are rounded to layers."
    ]
    assert layer_sentences(written()) == []


def test_hardware_has_no_layers():
    nut = replace(SLIDE, joint=replace(SHELF, size_mm=7.1), hardware=hardware("nut M4"))
    slot = (FaceMove(Form.SLOT, -0.3, 1, 7.4),)
    (line,) = layer_sentences(written(nut, moves=slot, **LAYERED))
    assert line.startswith("With 0.2 mm layers: slot 37 layers; before rounding")


def test_a_gap_between_layers_prints_as_either():
    found = written(
        replace(SLIDE, joint=SHELF, drawn_gap_mm=0.3),
        **(LAYERED | {"gap_mm": 0.3, "layers": None}),
        moves=(FaceMove(Form.TONGUE, -0.15, 2, 11.7),),
        prints_as=((0.2, 0.4), (0.4, 0.7)),
    )
    lines = [
        "A gap of 0.30 mm is 1.5 layers of 0.2 mm (tongue 58.5 layers), and only whole layers "
        "print.",
        "It prints as 1 layer (0.20 mm), which slides with 40 % chance or as 2 layers (0.40 mm), "
        "which slides with 70 % chance. The chance above is the mean of these.",
    ]
    assert plain(layer_sentences(found)) == lines
    # They decide here, so they stand before the details and are not said again.
    assert told(found)[2:4] == lines
    assert told(found).count(lines[0]) == 1


def test_bodies_in_unlike_layers_are_each_told_by_their_own():
    moves = (
        FaceMove(Form.TONGUE, -0.2, 1, 11.7, layer_mm=0.3),
        FaceMove(Form.SLOT, -0.05, 2, 12.1),
    )
    found = written(unlike=True, moves=moves, layer_mm=0.3)
    own = "The tongue is drawn in layers of 0.3 mm: 39 layers."
    assert layer_sentences(found) == [own]
    between = replace(found, prints_as=((0.1, 0.3), (-0.2, 0.9)))
    assert plain(layer_sentences(between)) == [
        own,
        "Only whole layers print: the gap of 0.34 mm prints as 0.10 mm, which slides with 30 % "
        "chance or as −0.20 mm, which slides with 90 % chance. The chance above is the mean of "
        "these.",
    ]


def test_a_high_chance_from_one_print_is_told_with_what_a_second_would_make_of_it():
    found = written(one_print=OnePrint(0.98, 0.62, 0.83, 0.88, 0.71))
    assert (
        "One print cannot show how far prints differ: on the tenth of machines whose prints differ "
        "least this chance is 98 %, on the tenth with the most 62 %; a second print, fitted "
        "together, would make it about 83 % (88 % to 71 %)."
    ) in told(found)


def test_a_feel_that_no_trial_showed_is_said():
    assert NO_TRIALS in told(written(feel=Feel.UNTRIED))
    unclear = "The trials do not show where the {} range begins{}: common practice is used instead."
    assert unclear.format("slide", " and ends") in told(written(feel=Feel.UNCLEAR))
    loose = written(replace(SLIDE, fit=Grade.LOOSE), feel=Feel.UNCLEAR)
    assert unclear.format("loose", "") in told(loose)
    assert not any("trials" in line.lower() for line in told(written()))


def test_what_was_tried_and_what_was_read_are_told_apart():
    slots = MeasuredRange(form=Form.SLOT, direction=X, low_mm=4, high_mm=25)
    read = slots.model_copy(update={"read_mm": (4, 25)})
    tried = slots.model_copy(update={"tried_mm": (8, 8)})
    assert evidence([slots, read, tried]) == [
        "Measured: slots across x of 4 to 25 mm.",
        "Slots across x: not tried by hand, measured by caliper at 4 to 25 mm.",
        "Slots across x: tried by hand at 8 mm, not measured by caliper.",
    ]
    assert size_range(4.004, 4.004) == "4 mm"
    assert size_range(3.888, 6.126) == "3.89 to 6.13 mm"


def test_the_same_stands_in_the_data_under_its_own_name():
    even = written(gap_mm=0.38, chance=0.84, too_tight=0.05, too_loose=0.11)
    slots = MeasuredRange(form=Form.SLOT, direction=X, low_mm=4, high_mm=25)
    found = written(
        replace(SLIDE, bed=Bed.NONE, at_least=0.9, loose_costs=2.0, two_prints=True),
        at_equal_costs=even,
        measured=(slots,),
        prints_as=((0.2, 0.4),),
        beds=((Bed.NONE, 0.3),),
        contact=ContactLength(10.0, True, (3.0, 20.0), 0.01),
        one_print=OnePrint(0.9, 0.5, 0.7, 0.8, 0.6),
        makers=((Form.TONGUE, ORIGIN),),
    )
    data = as_data(found, TODAY)
    origin, words = data.pop("origin"), data.pop("words")
    assert words == sentences(found, TODAY)
    assert (origin["machine"], origin["age_days"]) == ("bench-1", 12)
    assert data.pop("makers") == [{"form": "tongue", **origin}]
    assert data.pop("measured")[0]["high_mm"] == 25
    assert data.pop("grades") == {
        "no-go": 0.01,
        "force": 0.02,
        "push": 0.09,
        "slide": 0.81,
        "loose": 0.07,
    }
    assert data.pop("question") == {
        "joint": "slot/tongue",
        "size_mm": 12.0,
        "across": "x",
        "slant_deg": None,
        "hardware": None,
        "fit": "slide",
        "move": "external",
        "at_least": 0.9,
        "drawn_gap_mm": None,
        "printed_gap_mm": None,
        "bed": "none",
        "contact_mm": None,
        "two_prints": True,
        "choices": 1,
        "loose_costs": 2.0,
    }
    assert data.pop("contact")["length_mm"] == 10.0
    assert data.pop("one_print")["after_if_unlike"] == 0.6
    # Too tight 0.12 at a cost of 1, too loose 0.07 at a cost of 2.
    assert data.pop("expected_cost") == pytest.approx(0.26)
    assert data == {
        "moves": [
            {
                "form": "tongue",
                "from_mm": 12.0,
                "offset_mm": -0.17,
                "faces": 2,
                "drawn_mm": 11.66,
            }
        ],
        "stays": "slot",
        "gap_mm": 0.34,
        "pull_gap_mm": None,
        "best_gap_mm": 0.336,
        "low_mm": 0.28,
        "high_mm": 0.4,
        "chance": 0.81,
        "too_tight": 0.12,
        "too_loose": 0.07,
        "at_equal_costs": {"gap_mm": 0.38, "chance": 0.84, "too_tight": 0.05, "too_loose": 0.11},
        "extrapolated": False,
        "rehearsed": False,
        "layers": None,
        "layer_mm": None,
        "prints_as": [{"gap_mm": 0.2, "chance": 0.4}],
        "feel": "hand",
        "beds": [{"bed": "none", "interval_mm": 0.3}],
    }


def test_what_was_not_asked_or_does_not_stay_is_none_in_the_data():
    pin = Question(
        Joint(Form.HOLE, Form.PIN, 8.0, Z),
        Grade.SLIDE,
        MovingBody.INTERNAL,
        hardware=hardware("pin 8 m6"),
    )
    data = as_data(written(pin, moves=(FaceMove(Form.HOLE, -0.12, 2, 8.24),)), TODAY)
    assert data["question"]["hardware"] == "pin 8 m6"
    assert (data["stays"], data["question"]["bed"]) == ("pin", None)
    assert (data["at_equal_costs"], data["contact"], data["one_print"]) == (None, None, None)
    # Rounded to layers, the body that was to stay is drawn anew.
    anew = as_data(written(moves=(SLIMMER, SLOT_UP)), TODAY)
    assert anew["stays"] is None
    assert as_data(written(replace(SLIDE, move=MovingBody.BOTH)), TODAY)["stays"] is None
