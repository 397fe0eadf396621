"""What is drawn and told of joints of several pairs, against plain arithmetic and plain search."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.chances.extrapolation import size_variance
from coupons.answering.chances.together import Together
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.several import drawn_pairs as answers
from coupons.answering.several.drawn_pairs import answer_several
from coupons.answering.several.faces import bent_own, whole_demand
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several, check_several
from coupons.answering.several.typed_kinds import (
    kind_of,
    read_corners,
    read_legs,
    read_sides,
    read_sizes,
    several_of,
)
from coupons.answering.standards.hardware import hardware
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS
from coupons.learning.profile import LogSpread, MeasuredRange
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

X, Y, Z = Direction.X, Direction.Y, Direction.Z
LID = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)))
COVER = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), pitch_mm=60.0)
CLIP = Several(JointKind.LEGS, (8.0,), ((X,), (X,)), legs=Legs(20.0, 2.0, 7.6, 0.02))
NOTHING = {name: 0.0 for name in TERMS if not name.startswith("from_")}
EDGES = {"from_force": -0.1, "from_push": 0.0, "from_slide": 0.1, "from_loose": 0.3}
USUAL = known_profile()


def perfect(**scatters):
    """A printer without errors, whose sizes scatter by nothing but what is given."""
    profile = known_profile(NOTHING | EDGES, sd_share=1e-6)
    spreads = {
        name: LogSpread(median_mm=scatters.get(name, 1e-9), log_sd=1e-9)
        for name in profile.scatters
    }
    return profile.model_copy(update={"scatters": spreads})


def not_too_tight(asked, gap_mm):
    """Chance that every pair, drawn with the gap, is not tighter than wanted."""
    at = replace(asked, at_least=None, drawn_gap_mm=gap_mm)
    return 1 - answer_several(USUAL, at).too_tight


LEGS = replace(CLIP, legs=Legs(20.0, 2.0))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("asked", "least"),
    [
        # A loose fit has no upper end: 95 % is enough.
        (replace(LEGS, fit=Grade.LOOSE), 0.95),
        (replace(LEGS, at_least=0.8), 0.8),
    ],
)
def test_the_least_gap_that_is_sure_enough_is_drawn(asked, least):
    found = answer_several(USUAL, asked)
    assert found.chance >= least
    gap_mm = found.gaps_mm[0]
    assert not_too_tight(asked, gap_mm) == pytest.approx(found.chance, abs=1e-9)
    assert not_too_tight(asked, gap_mm) >= least
    # Gaps are tried in steps of 0.02 mm.
    assert not_too_tight(asked, round(gap_mm - 0.02, 6)) < least


@pytest.fixture
def picked(monkeypatch):
    """Return by how many steps another gap is picked than the least, if these are the chances."""
    monkeypatch.setattr(answers, "chance_together", lambda *_: Together(0.5, 0.01))

    def pick(chances, **changes):
        tried = []

        def given(demands, _):
            tried.append(len(demands))
            return np.array([*chances, *[chances[-1]] * (len(demands) - len(chances))])

        monkeypatch.setattr(answers, "chances_of_each", given)
        found = answer_several(USUAL, replace(LEGS, **changes))
        # From two steps less than the pair alone wants to thirty more.
        assert tried == [33]
        return round((found.gaps_mm[0] - found.pairs[0].alone.gap_mm) / 0.02) + 2

    return pick


@pytest.mark.parametrize(
    ("chances", "changes", "steps"),
    [
        ([0.1, 0.3, 0.5, 0.4, 0.3], {}, 2),
        ([0.9, 0.3, 0.5, 0.4, 0.3], {"fit": Grade.PUSH}, 0),
        ([0.1, 0.3, 0.5, 0.7, 0.8], {"at_least": 0.5}, 2),
        ([0.1, 0.3, 0.49, 0.7, 0.8], {"at_least": 0.5}, 3),
        ([0.1, 0.3, 0.94, 0.95, 0.99], {"fit": Grade.LOOSE}, 3),
        ([0.1, 0.3, 0.94, 0.95, 0.99], {"fit": Grade.LOOSE, "at_least": 0.9}, 2),
    ],
)
def test_a_gap_is_picked_by_the_wish(picked, chances, changes, steps):
    assert picked(chances, **changes) == steps


def test_no_gap_is_picked_where_none_is_sure_enough(picked):
    with pytest.raises(AnswerError, match=r"is slide or looser as a whole with a chance of 60\s%"):
        picked([0.1, 0.3, 0.5, 0.59], at_least=0.6)
    assert picked([0.1, 0.3, 0.5, 0.6], at_least=0.6) == 3


def test_a_refusal_names_the_gap_of_the_first_pair(monkeypatch):
    # Openings print 0.5 % too small: the first pair of faces, 40 mm, wants 0.075 mm more gap than
    # the second, 25 mm.
    profile = known_profile({"scale_int": -0.005})
    monkeypatch.setattr(answers, "chances_of_each", lambda demands, _: np.zeros(len(demands)))
    asked = replace(LID, at_least=0.6)
    with pytest.raises(AnswerError) as caught:
        answer_several(profile, asked)
    widest = float(caught.value.message.split("No gap up to ")[1].split(" mm")[0])
    first, second = (answer(profile, pair).best_gap_mm for pair in asked.pairs)
    assert first - second == pytest.approx(0.075, abs=0.02)
    assert 0 <= widest - (first + 0.6) + 1e-6 < 0.02


@pytest.mark.slow
def test_the_gap_with_the_best_chance_of_the_whole_is_drawn():
    asked = replace(COVER, sides=((Z, X), (Z, Y)))
    found = answer_several(USUAL, asked)
    alone = found.pairs[0].alone
    tried = [round(found.gaps_mm[0] + step, 6) for step in (-0.04, -0.02, 0.0, 0.02, 0.04)]
    chances = [answer_several(USUAL, replace(asked, drawn_gap_mm=mm)).chance for mm in tried]
    assert max(chances) == chances[2] == found.chance
    # So much wider than a pin alone wants, to the nearest step.
    assert found.gaps_mm[0] > alone.gap_mm
    wider = (found.gaps_mm[0] - alone.best_gap_mm) / 0.02
    assert abs(wider - round(wider)) * 0.02 <= 0.01 + 1e-9


@pytest.mark.slow
def test_a_wish_that_no_gap_meets_is_refused_with_the_widest_one():
    # A bar that slides in a gap of 8 mm is thinner than 7.9 mm: no such lips hold it.
    asked = replace(CLIP, legs=Legs(20.0, 2.0, 7.9), at_least=0.9)
    # The pair itself wants such a gap; the widest that is tried is 30 steps of 0.02 mm more.
    alone = answer(USUAL, asked.pairs[0]).best_gap_mm
    with pytest.raises(AnswerError) as caught:
        answer_several(USUAL, asked)
    said = caught.value.message.replace("\N{NO-BREAK SPACE}", " ")
    assert "mm is slide or looser as a whole with a chance of 90 %." in said
    widest = float(said.split("No gap up to ")[1].split(" mm")[0])
    # Rounded up as it is drawn, to 0.02 mm.
    assert 0 <= widest - (alone + 0.6) + 1e-6 < 0.02


def test_a_drawn_gap_is_taken_as_it_is():
    found = answer_several(USUAL, replace(LID, drawn_gap_mm=0.34))
    assert found.gaps_mm == (0.34, 0.34)
    # 40 − 0.34 and 25 − 0.34 mm.
    assert [pair.moves[0].drawn_mm for pair in found.pairs] == [39.66, 24.66]
    assert found.chance + found.too_tight + found.too_loose == pytest.approx(1)
    assert (found.pitch, found.corner_mm, found.rounded_chance, found.legs) == (None,) * 4
    assert not found.extrapolated
    assert not found.rehearsed
    assert min(found.chance, found.too_tight, found.too_loose) >= 0
    assert found.sampling_error > 0


@pytest.mark.slow
def test_one_pair_out_of_what_was_measured_makes_the_whole_extrapolated():
    def ranges(most_mm):
        return tuple(
            MeasuredRange(form=form, direction=lies, low_mm=3, high_mm=most_mm)
            for form in Form
            for lies in (X, Y)
        )

    asked = replace(LID, drawn_gap_mm=0.34)
    for most_mm, is_beyond in ((30.0, True), (45.0, False)):
        found = answer_several(known_profile(measured=ranges(most_mm)), asked)
        assert found.extrapolated is is_beyond
    made_up = known_profile(rehearsed=True, machine="bench-2")
    other = answer_several(USUAL, replace(asked, external_profile=made_up))
    assert other.rehearsed
    assert [(form, origin.machine) for form, origin in other.makers] == [(Form.TONGUE, "bench-2")]


def corners_told(corners, gap_mm):
    asked = replace(LID, corners=corners, drawn_gap_mm=gap_mm)
    found = answer_several(perfect(), asked)
    return found.corner_mm, found.rounded_chance


def test_the_radius_that_keeps_corners_off_is_told():
    # The inner radius less half of the gap keeps corners as far off as faces.
    radius_mm, chance = corners_told(Corners(2.0, 0.5), 0.4)
    assert radius_mm == pytest.approx(1.8)
    assert corners_told(Corners(2.0, 1.81), 0.4) == (None, None)
    # With faces alone 0.4 mm is loose, on a printer without errors.
    assert chance == pytest.approx(0, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("corners", "gap_mm", "corner_mm"),
    [
        (Corners(2.0, 1.79), 0.4, 1.8),
        (Corners(2.0, 0.5), 0.2, 1.9),
        (Corners(2.0, 0.5), -0.2, 2.0),
        (Corners(0.5, 0.5), 0.4, None),
        (Corners(None, 0.5), 0.4, None),
        (Corners(), 0.4, None),
    ],
)
def test_other_radii_keep_off_corners_too(corners, gap_mm, corner_mm):
    told = corners_told(corners, gap_mm)
    if corner_mm is None:
        assert told == (None, None)
        return
    sharp = answer_several(perfect(), replace(LID, drawn_gap_mm=gap_mm))
    assert told == (pytest.approx(corner_mm), pytest.approx(sharp.chance, abs=1e-9))


def legs_told(gap_mm, legs=CLIP.legs, **scatters):
    return answer_several(perfect(**scatters), replace(CLIP, legs=legs, drawn_gap_mm=gap_mm)).legs


def test_legs_are_bent_by_half_of_what_the_bar_exceeds_the_mouth(monkeypatch):
    monkeypatch.setattr(answers, "chance_together", lambda *_: Together(0.5, 0.01))
    # A bar of 7.75 mm in a mouth of 7.6 mm: 0.075 mm a leg; 1.5 × 2 × 0.075 / 20² = 0.00056.
    found = legs_told(0.25)
    assert found.deflection_mm == pytest.approx(0.075, abs=1e-6)
    assert found.expected == pytest.approx(1.5 * 2 * 0.075 / 400, rel=1e-4)
    assert found.tight == pytest.approx(found.expected, rel=1e-3)
    assert found.limit == 0.02
    # Bar and mouth scatter by 0.02 mm each: one print in twenty is 1.645 · √2 · 0.02 mm beyond.
    wide = legs_told(0.25, tau=0.02)
    more = 1.645 * math.sqrt(2) * 0.02 / 2
    assert wide.tight == pytest.approx(1.5 * 2 * (0.075 + more) / 400, rel=1e-4)
    # A bar thinner than the mouth strains nothing, unless it prints wide.
    thin = legs_told(0.45, tau=0.05)
    assert (thin.deflection_mm, thin.expected) == (0.0, 0.0)
    more = 1.645 * math.sqrt(2) * 0.05
    assert thin.tight == pytest.approx(1.5 * 2 * (more - 0.05) / 2 / 400, rel=1e-3)
    assert legs_told(0.45).tight == 0.0
    assert legs_told(0.25, Legs(20.0, 2.0, 7.6)).limit is None
    assert legs_told(0.25, Legs(20.0, 2.0)) is None


def test_two_pins_tell_how_far_their_pitches_differ():
    found = answer_several(perfect(tau=0.03), replace(COVER, drawn_gap_mm=0.5))
    assert found.pitch.mean_mm == pytest.approx(0, abs=1e-9)
    # Four places, each the mean of two faces: half of a size's variance a body; and the drift.
    expected = math.sqrt(0.03**2 + 2 * (0.0002 * 60) ** 2)
    assert found.pitch.sd_mm == pytest.approx(expected, rel=1e-4)


def test_a_body_of_another_printer_has_that_printer_s_deviations():
    there = known_profile(machine="attic-1")
    apart = whole_demand(USUAL, replace(LID, external_profile=there), (0.4, 0.4)).whole
    # In the plane, along z and judged, of the printer that is asked and then of the other one.
    assert apart.own.counts.tolist() == [[1, 0, 0, 1, 0, 0]] * 2
    assert apart.judged.counts.tolist() == [[0, 0, 1, 0, 0, 0]]
    bent = replace(CLIP, external_profile=there)
    found = whole_demand(USUAL, bent, (0.25,)).whole
    # The gap and the mouth are one printer's, the bar is the other's.
    assert found.own.counts.tolist() == [[1, 0, 0, 0, 0, 0], [0, 0, 0, 1, 0, 0]]
    assert found.others_own.counts.tolist() == [[1, 0, 0, 0, 0, 0]] * 2
    assert bent_own(bent, bent.made(USUAL)).others == ((1, 0, 0),)
    turned = replace(COVER, sides=((Z, X), (Z, Z)), external_profile=there)
    pitch = whole_demand(USUAL, turned, (0.5,)).whole.own.counts[2].tolist()
    assert pitch == [0.5, 0, 0, 0, 0.5, 0]


def test_what_is_not_known_beyond_the_measured_sizes_is_that_of_each_pair_alone():
    short = tuple(
        MeasuredRange(form=form, direction=lies, low_mm=3, high_mm=20)
        for form in Form
        for lies in (X, Y, Z)
    )
    profile = known_profile(measured=short)
    for asked in (LID, replace(LEGS, sizes_mm=(40.0,))):
        found = whole_demand(profile, asked, (0.4,) * len(asked.pairs)).whole
        alone = [fit_demand(profile, pair, 0.4).own_sd_mm ** 2 for pair in asked.pairs]
        felt = float(found.judged.known_mm2[0])
        assert felt > 0, "how long a contact is"
        own = found.own.known_mm2[: len(alone)] + felt
        assert own == pytest.approx(alone, rel=1e-9)
        assert min(alone) > 2 * felt
    cover = whole_demand(profile, COVER, (0.4,)).whole.own.known_mm2
    beyond = size_variance(profile, Form.TONGUE, X, 60.0)
    assert beyond > 0
    # Of each of two bodies: the drift over the pitch, and a length out of those measured.
    assert cover[2] == pytest.approx(2 * (0.0002 * 60) ** 2 + 2 * beyond)
    assert cover[0] == cover[1] < cover[2]


def test_cases_of_the_bed_are_those_of_the_pair_across_layers():
    profile = known_profile({"bed_height": 0.05})
    sleeve = Several(JointKind.SLEEVE, (12.0, 8.0), ((X, Z), (X, Z)))
    first = whole_demand(profile, sleeve, (0.4, 0.4))
    (other,) = first.or_else
    across, upright = (fit_demand(profile, pair, 0.4) for pair in sleeve.pairs)
    assert (across.or_else, len(upright.or_else)) == ((), 1)
    step = upright.or_else[0].lower[0] - upright.lower[0]
    assert abs(step) > 0.01, "a bar that stands on the bed prints otherwise"
    constants = [one.whole.clearances.constants for one in (first, other)]
    assert constants[1] - constants[0] == pytest.approx([0, step])


def test_pairs_are_questions_of_their_own():
    first, second = replace(LID, at_least=0.6, two_prints=True).pairs
    assert first == Question(
        Joint(Form.SLOT, Form.TONGUE, 40.0, X), Grade.SLIDE, at_least=0.6, two_prints=True
    )
    assert second.joint == Joint(Form.SLOT, Form.TONGUE, 25.0, Y)
    turned = replace(LID, sides=((X, Y), (X, Z)), bed=Bed.EXTERNAL, drawn_gap_mm=0.2)
    along, upright = turned.pairs
    assert (along.joint, along.bed) == (Joint(Form.SLOT, Form.TONGUE, 40.0, X), None)
    assert upright.joint == Joint(Form.SLOT, Form.TONGUE, 25.0, Y, Z)
    assert (upright.bed, upright.drawn_gap_mm) == (Bed.EXTERNAL, 0.2)
    (pin,) = replace(COVER, fit=Grade.PUSH, move=MovingBody.BOTH).pairs
    hole = Joint(Form.HOLE, Form.PIN, 5.0, Z)
    assert pin == Question(hole, Grade.PUSH, MovingBody.BOTH)
    dowel, white = hardware("pin 5 m6"), known_profile(machine="attic-1")
    (held,) = replace(
        COVER,
        sides=((Z, X), (X, Y)),
        hardware=dowel,
        move=MovingBody.INTERNAL,
        internal_profile=white,
        external_profile=USUAL,
        two_prints=True,
    ).pairs
    assert held == Question(
        hole, Grade.SLIDE, MovingBody.INTERNAL, hardware=dowel, internal_profile=white
    )


def wrong_with(asked):
    with pytest.raises(AnswerError) as caught:
        check_several(asked)
    return caught.value.message.split("\n")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            replace(LID, sizes_mm=(40.0,)),
            "A pocket/plate joint has two sizes, such as 40x25, not 1.",
        ),
        (
            replace(LEGS, sizes_mm=(8.0, 9.0)),
            "A legs/bar joint has one size, such as 8, not 2.",
        ),
        (
            replace(LID, hardware=hardware("pin 8 m6"), move=MovingBody.INTERNAL),
            "Hardware goes into holes/pins, not into pocket/plate.",
        ),
        (
            replace(COVER, hardware=hardware("bearing bore 5")),
            "bearing bore 5 does not go into a hole.",
        ),
        (replace(LID, pitch_mm=60.0), "A pitch belongs to holes/pins, not to pocket/plate."),
        (
            replace(COVER, pitch_mm=None),
            "Give the pitch of the two holes: the distance of their axes in mm.",
        ),
        (
            replace(COVER, pitch_mm=4.9),
            "The pitch must be larger than the diameter, 5 mm, and at most 500 mm, not 4.9: else "
            "the holes run into one another.",
        ),
        (
            replace(CLIP, corners=Corners(1.0, 0.5)),
            "Corner radii belong to pocket/plate and sleeve/bar, not to legs/bar.",
        ),
        (
            replace(LID, corners=Corners(2.0, 12.5)),
            "A corner radius must be at least 0 and under half of the smaller size, 12.5 mm, not "
            "12.5.",
        ),
        (
            replace(COVER, legs=CLIP.legs),
            "Leg, mouth and strain limit belong to legs/bar, not to holes/pins.",
        ),
        (replace(CLIP, legs=None), "Give free length and thickness of a leg, such as 20x2."),
        (
            replace(CLIP, legs=Legs(4.0, 2.0)),
            "A leg must be longer than twice its thickness, and at most 500 mm, not 4 x 2: else it "
            "does not bend like a beam.",
        ),
        (
            replace(CLIP, legs=Legs(20.0, 2.0, 8.0)),
            "The mouth must be narrower than the bar, 8 mm, and wider than half of it, not 8. "
            "Without lips leave it out.",
        ),
        (
            replace(CLIP, legs=Legs(20.0, 2.0, 7.6, 1.5)),
            "A strain limit is a number such as 0.02 or 2 %, not 1.5.",
        ),
        (
            replace(CLIP, legs=Legs(20.0, 2.0, None, 0.02)),
            "A strain limit needs the mouth that bends the legs.",
        ),
        (
            replace(LID, bed=Bed.NONE),
            "What stands on the bed matters across z and for lying rounds alone.",
        ),
    ],
)
def test_one_thing_that_makes_no_sense_is_said_once(asked, said):
    assert wrong_with(asked) == [said]


def test_the_same_fault_of_both_pairs_is_said_once():
    (said,) = wrong_with(replace(LID, at_least=1.5))
    assert "between 0 and 1" in said
    check_several(replace(LID, sides=((X, Z), (X, Z)), bed=Bed.NONE))


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        (LID, "slide pocket/plate 40x25 mm xy"),
        (replace(LID, sides=((X, Y), (X, Z)), fit=Grade.PUSH), "push pocket/plate 40x25 mm xy/xz"),
        (COVER, "slide holes/pins 5 mm at 60 mm zx"),
        (replace(COVER, hardware=hardware("pin 5 m6")), "slide pin 5 m6 twice at 60 mm zx"),
        (CLIP, "slide legs/bar 8 mm x"),
    ],
)
def test_a_question_is_named_in_a_few_words(asked, name):
    assert asked.name == name


@pytest.mark.parametrize(
    ("internal_mm", "external_mm", "excess_mm"), [(2.0, 0.5, 1.5), (None, 0.5, 0.0), (0.0, 1.0, -1)]
)
def test_an_inner_corner_exceeds_an_outer_one(internal_mm, external_mm, excess_mm):
    assert Corners(internal_mm, external_mm).excess_mm == excess_mm


@pytest.mark.parametrize(
    ("text", "sizes_mm"),
    [
        ("40x25", (40.0, 25.0)),
        ("40 X 25 mm", (40.0, 25.0)),
        ("40×25", (40.0, 25.0)),
        ("8,5", (8.5,)),
        ("1x2x3", None),
        ("40x", None),
        ("x", None),
        ("", None),
    ],
)
def test_one_size_or_two_are_read(text, sizes_mm):
    assert read_sizes(text) == sizes_mm


@pytest.mark.parametrize("text", ["2", "2/", "/0.5", "wide/0.5", "2/wide", "relief/relief"])
def test_corners_that_cannot_be_read_are_refused(text):
    with pytest.raises(AnswerError, match="Write corner radii in mm as internal/external"):
        read_corners(text)
    assert read_corners(" Relief/0,5 ") == Corners(None, 0.5)
    assert read_corners("2 mm/0") == Corners(2.0, 0.0)


def test_legs_are_read_with_all_that_is_wrong():
    assert read_legs(None, None, None) is None
    assert read_legs("", "", "") is None
    assert read_legs("20x2", None, None) == Legs(20.0, 2.0, None, None)
    assert read_legs("20 × 2", "7,2 mm", "0.02") == Legs(20.0, 2.0, 7.2, 0.02)
    with pytest.raises(AnswerError) as caught:
        read_legs("20", "wide", "much")
    assert caught.value.message.split("\n") == [
        "Write a leg as free length x thickness in mm, such as 20x2, not '20'.",
        "Write the mouth in mm, such as 7.2, not 'wide'.",
        "Write the strain limit as 0.02 or 2 %, not 'much'.",
    ]
    for typed in ((None, "7.2", None), (None, None, "2 %"), ("20x2x2", None, None)):
        with pytest.raises(AnswerError, match="Write a leg as free length x thickness"):
            read_legs(*typed)


def test_kinds_and_directions_are_read():
    assert kind_of(" Sleeve/BAR ") is JointKind.SLEEVE
    assert (kind_of(None), kind_of("slot/tongue")) == (None, None)
    assert read_sides(JointKind.HOLES, "zx/zy") == ((Z, X), (Z, Y))
    assert read_sides(JointKind.LEGS, "x") == ((X,), (X,))
    with pytest.raises(AnswerError, match="2 directions for each body, along the axes and along"):
        read_sides(JointKind.HOLES, "z")


def test_what_was_typed_is_told_wrong_at_once_and_nothing_that_follows():
    def said(kind, **typed):
        with pytest.raises(AnswerError) as caught:
            several_of(kind, **typed)
        return caught.value.message.split("\n")

    pocket = {"sizes_mm": (40.0, 25.0), "across": "xy"}
    found = said(JointKind.POCKET, sizes_mm=(40.0, 25.0), across="xx", corners="big", leg="20")
    assert len(found) == 3
    assert [text.split(",")[0] for text in found] == [
        "The directions of a body must differ",
        "Write corner radii in mm as internal/external",
        "Write a leg as free length x thickness in mm",
    ]
    (leg,) = said(JointKind.LEGS, sizes_mm=(8.0,), across="x", leg="20")
    assert leg.startswith("Write a leg")
    (missing,) = said(JointKind.LEGS, sizes_mm=(8.0,), across="x")
    assert missing.startswith("Give free length and thickness")
    (belongs,) = said(JointKind.POCKET, **pocket, leg="20x2")
    assert belongs.startswith("Leg, mouth and strain limit belong to legs/bar")
    # Directions that cannot be read are looked at as x and y.
    (across,) = said(JointKind.POCKET, sizes_mm=(40.0, 25.0), across="xw")
    assert across.startswith("Expected a direction")
    assert several_of(JointKind.POCKET, **pocket) == LID
    assert several_of(JointKind.POCKET, **pocket, corners="2/0.5").corners == Corners(2.0, 0.5)
