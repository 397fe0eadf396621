"""What must hold for a joint of several pairs of faces, on a printer without errors, by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.several.faces import pitch_difference, whole_demand
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several, check_several
from coupons.errors import AnswerError
from coupons.learning.effects import LOSSES, TERMS
from coupons.terms import Direction, Grade, MovingBody

X, Y, Z = Direction.X, Direction.Y, Direction.Z
NOTHING = {name: 0.0 for name in TERMS if not name.startswith("from_")}
EDGES = {"from_force": -0.1, "from_push": 0.0, "from_slide": 0.1, "from_loose": 0.3}
PERFECT = known_profile(NOTHING | EDGES, sd_share=1e-6)
LID = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)))
COVER = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), pitch_mm=60.0)
CLIP = Several(JointKind.LEGS, (8.0,), ((X,), (X,)), legs=Legs(20.0, 2.0, 7.6, 0.02))


def demanded(asked, *gaps_mm, profile=PERFECT):
    return whole_demand(profile, asked, gaps_mm).whole


def test_each_pair_of_a_pocket_has_its_own_gap():
    whole = demanded(LID, 0.4, 0.25)
    assert whole.clearances.constants == pytest.approx([0.4, 0.25], abs=1e-5)
    assert whole.clearances.own.tolist() == [[1, 0], [0, 1]]
    assert whole.plays == ((0,), (1,))
    assert whole.own.counts[:, :3].tolist() == [[2, 0, 0], [2, 0, 0]], "two sizes in the plane"
    assert whole.judged.counts[:, :3].tolist() == [[0, 0, 1]]
    assert len(whole.others.constants) == 0


def test_pins_at_a_pitch_have_their_gap_less_how_far_the_pitches_differ():
    profile = known_profile(NOTHING | EDGES | {"scale_x": 0.002}, sd_share=1e-6)
    turned = replace(COVER, sides=((Z, X), (Z, Y)))
    whole = demanded(turned, 0.5, profile=profile)
    # A hole and its pin grow alike but for the gap; the pitch of 60 mm by 0.12 mm in one body.
    alone = whole.clearances.constants[0]
    assert alone == pytest.approx(0.5, abs=2e-3)
    assert whole.clearances.constants == pytest.approx(
        [alone, alone, alone + 0.12, alone - 0.12], abs=1e-6
    )
    assert whole.clearances.own.tolist() == [[1, 0, 0], [0, 1, 0], [0.5, 0.5, 1], [0.5, 0.5, -1]]
    assert whole.plays == ((0, 1), (2, 3))
    # Of a distance between two places the scatter has half the variance of a size, in each body.
    assert whole.own.counts[:, :3].tolist() == [[2, 0, 0], [2, 0, 0], [1, 0, 0]]
    assert whole.own.known_mm2[2] == pytest.approx(2 * (0.0002 * 60) ** 2)


def test_scatter_of_a_pitch_along_z_is_that_along_z():
    upright = replace(COVER, sides=((X, Z), (X, Z)))
    assert demanded(upright, 0.5).own.counts[2, :3].tolist() == [0, 1, 0]
    mean, sd = pitch_difference(PERFECT, upright)
    tau_z = PERFECT.scatters["tau_z"].mean_square
    assert mean == pytest.approx(0, abs=1e-9)
    assert sd**2 == pytest.approx(tau_z + 2 * (0.0002 * 60) ** 2, rel=1e-3)


@pytest.mark.parametrize(
    ("move", "bar_mm"),
    [(MovingBody.EXTERNAL, 7.75), (MovingBody.INTERNAL, 8.0), (MovingBody.BOTH, 7.875)],
)
def test_lips_hold_a_bar_that_bends_the_legs_as_far_as_they_bear(move, bar_mm):
    whole = demanded(replace(CLIP, move=move), 0.25)
    # The root of a beam that is bent by d at its end is strained by 1.5 t d / l²: 0.02 at 2.667 mm,
    # and each of two legs takes half of what the bar exceeds the mouth by.
    bent = bar_mm - 7.6
    most = 0.02 * 20**2 / (1.5 * 2)
    assert whole.others.constants == pytest.approx([bent, 2 * most - bent], abs=1e-5)
    assert whole.others.own.tolist() == [[0, 1], [0, -1]]
    assert whole.clearances.constants == pytest.approx([0.25], abs=1e-5)
    assert whole.clearances.own.tolist() == [[1, -1]], "a wider bar leaves less"
    # Slot, bar and mouth: one size each.
    assert whole.own.counts[:, :3].tolist() == [[1, 0, 0], [1, 0, 0]]
    assert whole.others_own.counts[:, :3].tolist() == [[1, 0, 0], [1, 0, 0]]


def test_legs_across_layers_scatter_as_heights_do():
    upright = replace(CLIP, sides=((Z,), (X,)))
    whole = demanded(upright, 0.25)
    assert whole.own.counts[:, :3].tolist() == [[0, 1, 0], [1, 0, 0]]
    assert whole.others_own.counts[:, :3].tolist() == [[0, 1, 0], [0, 1, 0]]


@pytest.mark.parametrize(("legs", "others"), [((7.6, None), 1), ((None, None), 0)])
def test_without_a_limit_or_lips_nothing_is_asked_of_them(legs, others):
    whole = demanded(replace(CLIP, legs=Legs(20.0, 2.0, *legs)), 0.25)
    assert len(whole.others.constants) == len(whole.others_own.known_mm2) == others


@pytest.mark.parametrize(
    ("change", "edges"),
    [
        ({"fit": Grade.SLIDE}, [0.1, 0.3]),
        ({"fit": Grade.PUSH}, [0.0, 0.1]),
        ({"fit": Grade.LOOSE}, [0.3]),
        ({"fit": Grade.SLIDE, "at_least": 0.9}, [0.1]),
    ],
)
def test_a_fit_is_open_above_if_it_is_the_loosest_or_only_to_be_reached(change, edges):
    whole = demanded(replace(LID, **change), 0.4, 0.4)
    assert whole.thresholds.constants == pytest.approx(edges, abs=1e-5)


@pytest.mark.parametrize(
    ("corners", "corner_mm"),
    [
        (Corners(2.0, 0.5), 1.5 - 0.3 / 2),  # half of the mean gap of 0.2 and 0.4 mm
        (Corners(2.0, 1.99), 0.01 - 0.3 / 2),
        (Corners(2.0, 2.0), -math.inf),
        (Corners(None, 0.5), -math.inf),
    ],
)
def test_corners_meet_where_the_inner_radius_is_larger(corners, corner_mm):
    whole = demanded(replace(LID, corners=corners), 0.2, 0.4)
    assert whole.corner_mm == pytest.approx(corner_mm)


def test_what_a_shaft_at_an_angle_loses_is_not_lost_twice():
    """Losses act on the gap of each pin, and not on the pitch."""
    profile = known_profile(NOTHING | EDGES | {"round_loss": 0.04}, sd_share=1e-6)
    constants = demanded(COVER, 0.5, profile=profile).clearances.constants
    assert constants == pytest.approx(np.full(4, constants[0]), abs=1e-9)
    without = demanded(COVER, 0.5).clearances.constants
    assert without[0] - constants[0] == pytest.approx(0.04, abs=1e-6)
    assert "round_loss" in LOSSES


LIMITS = [
    (LID, {"corners": Corners(12.49, 0.0)}, {"corners": Corners(12.5, 0.0)}),
    (LID, {"corners": Corners(2.0, 0.0)}, {"corners": Corners(2.0, -0.01)}),
    (COVER, {"pitch_mm": 5.01}, {"pitch_mm": 5.0}),
    (COVER, {"pitch_mm": 500.0}, {"pitch_mm": 500.1}),
    (CLIP, {"legs": Legs(4.01, 2.0)}, {"legs": Legs(4.0, 2.0)}),
    (CLIP, {"legs": Legs(500.0, 2.0)}, {"legs": Legs(500.1, 2.0)}),
    (CLIP, {"legs": Legs(20.0, 0.1)}, {"legs": Legs(20.0, 0.0)}),
    (CLIP, {"legs": Legs(20.0, 2.0, 4.01)}, {"legs": Legs(20.0, 2.0, 4.0)}),
    (CLIP, {"legs": Legs(20.0, 2.0, 7.99)}, {"legs": Legs(20.0, 2.0, 8.0)}),
    (CLIP, {"legs": Legs(20.0, 2.0, 7.6, 0.999)}, {"legs": Legs(20.0, 2.0, 7.6, 1.0)}),
    (CLIP, {"legs": Legs(20.0, 2.0, 7.6, 0.001)}, {"legs": Legs(20.0, 2.0, 7.6, 0.0)}),
]


@pytest.mark.parametrize(("asked", "last", "past"), LIMITS)
def test_the_first_of_two_questions_can_be_asked_and_the_second_cannot(asked, last, past):
    check_several(replace(asked, **last))
    with pytest.raises(AnswerError):
        check_several(replace(asked, **past))
