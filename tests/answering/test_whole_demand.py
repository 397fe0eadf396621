"""The parts of the condition for a whole joint, on a printer of which everything is known."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.several.faces import bent_own, bent_row, pitch_difference, whole_demand
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several
from coupons.learning.effects import EFFECTS, LOSSES, distance_row, effect_row, loss_row
from coupons.terms import Direction, Feature, Form, Grade

X, Y, Z = Direction.X, Direction.Y, Direction.Z
PLATE = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)))
COVER = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, Y)), pitch_mm=60.0)
CLIP = Several(
    JointKind.LEGS, (8.0,), ((X,), (X,)), fit=Grade.PUSH, legs=Legs(20.0, 2.0, 7.6, 0.0025)
)
PROFILE = known_profile({"scale_x": -0.004, "scale_y": -0.001}, sd_share=1e-6)
MEANS = np.array(list(PROFILE.means.values()))
HAND = [PROFILE.means[f"from_{grade}"] for grade in ("force", "push", "slide", "loose")]


def parts(asked, *gaps_mm):
    return whole_demand(PROFILE, asked, gaps_mm).whole


def printed(form, size_mm, lies):
    return size_mm + effect_row(Feature(form, size_mm, lies)) @ MEANS[: len(EFFECTS)]


def gap(form, size_mm, drawn_mm, lies):
    """What is left between two printed faces, the internal one drawn at its size."""
    inner, outer = form
    lost = loss_row(inner is Form.HOLE, lies, seam=True) @ MEANS[-len(LOSSES) :]
    return printed(inner, size_mm, lies) - printed(outer, size_mm - drawn_mm, lies) - lost


FLAT, ROUND = (Form.SLOT, Form.TONGUE), (Form.HOLE, Form.PIN)


def test_a_plate_has_two_clearances_and_may_play_along_either():
    found = parts(PLATE, 0.4, 0.3)
    expected = [gap(FLAT, 40, 0.4, X), gap(FLAT, 25, 0.3, Y)]
    assert found.clearances.constants == pytest.approx(expected, abs=1e-9)
    assert found.clearances.own.tolist() == [[1, 0], [0, 1]]
    assert found.plays == ((0,), (1,))
    # Each has the deviations of two printed sizes, in the plane.
    assert found.own.counts.tolist() == [[2, 0, 0], [2, 0, 0]]
    assert found.judged.counts.tolist() == [[0, 0, 1]]
    assert found.thresholds.constants == pytest.approx(HAND[2:], abs=1e-9)
    assert found.corner_mm == -math.inf
    assert len(found.others.constants) == len(found.others_own.known_mm2) == 0


def test_corners_lack_half_of_the_mean_gap():
    asked = replace(PLATE, corners=Corners(2.0, 0.5))
    assert parts(asked, 0.4, 0.2).corner_mm == pytest.approx(1.5 - 0.3 / 2)
    assert parts(replace(PLATE, corners=Corners(0.5, 0.5)), 0.4, 0.2).corner_mm == -math.inf


def test_two_pins_meet_their_holes_and_both_the_pitch_either_way():
    found = parts(COVER, 0.5)
    alone = gap(ROUND, 5, 0.5, Z)
    # 60 mm lie along x in the one body and along y in the other.
    pitch = 60 * (-0.004 + 0.001)
    expected = [alone, alone, alone + pitch, alone - pitch]
    assert found.clearances.constants == pytest.approx(expected, abs=1e-9)
    assert found.clearances.own.tolist() == [[1, 0, 0], [0, 1, 0], [0.5, 0.5, 1], [0.5, 0.5, -1]]
    assert found.plays == ((0, 1), (2, 3))
    # A place is the mean of two faces: half of a size's variance for the distance of two of them.
    assert found.own.counts.tolist() == [[2, 0, 0], [2, 0, 0], [1, 0, 0]]
    assert found.own.known_mm2[2] == pytest.approx(2 * (0.0002 * 60) ** 2, rel=1e-6)


def test_a_pitch_along_z_has_deviations_along_z():
    found = parts(replace(COVER, sides=((X, Z), (X, Z))), 0.5)
    assert found.own.counts[2].tolist() == [0, 1, 0]
    one = parts(replace(COVER, sides=((X, Z), (X, Y))), 0.5)
    assert one.own.counts[2].tolist() == [0.5, 0.5, 0]


def test_legs_hold_a_bar_that_bends_them_by_half_of_what_it_exceeds_the_mouth():
    found = parts(CLIP, 0.25)
    assert found.clearances.constants == pytest.approx([gap(FLAT, 8, 0.25, X)], abs=1e-9)
    # The bar's deviation, second, narrows the gap and widens what the legs bend.
    assert found.clearances.own.tolist() == [[1, -1]]
    assert found.own.counts.tolist() == [[1, 0, 0], [1, 0, 0]]
    assert found.plays == ((0,),)
    bent = printed(Form.TONGUE, 7.75, X) - printed(Form.SLOT, 7.6, X)
    # Strain at the root of a beam whose end goes aside by δ: 3·t·δ/(2·L²), δ = bent/2.
    most = 2 * 0.0025 * 20**2 / (1.5 * 2.0)
    assert found.others.constants == pytest.approx([bent, most - bent], abs=1e-9)
    assert found.others.own.tolist() == [[0, 1], [0, -1]]
    assert found.others_own.counts.tolist() == [[1, 0, 0], [1, 0, 0]]
    assert found.thresholds.constants == pytest.approx(HAND[1:3], abs=1e-9)
    drawn_mm, row = bent_row(CLIP, CLIP.made(PROFILE), 0.25)
    assert drawn_mm == pytest.approx(0.15)
    assert drawn_mm + row @ MEANS == pytest.approx(bent, abs=1e-9)
    assert bent_own(CLIP, CLIP.made(PROFILE)).counts == (2, 0, 0)


def test_without_a_limit_legs_must_hold_and_without_lips_nothing_more():
    held = parts(replace(CLIP, legs=Legs(20.0, 2.0, 7.6)), 0.25)
    assert held.others.own.tolist() == [[0, 1]]
    free = parts(replace(CLIP, legs=Legs(20.0, 2.0)), 0.25)
    assert free.others.own.shape == (0, 2)
    with pytest.raises(ValueError, match="legs with a mouth"):
        bent_row(replace(CLIP, legs=Legs(20.0, 2.0)), CLIP.made(PROFILE), 0.25)


@pytest.mark.parametrize(
    ("fit", "at_least", "bounds"),
    [
        (Grade.SLIDE, None, HAND[2:]),
        (Grade.FORCE, None, HAND[:2]),
        (Grade.SLIDE, 0.9, HAND[2:3]),
        (Grade.LOOSE, None, HAND[3:]),
    ],
)
def test_a_grade_lies_between_its_threshold_and_the_next_unless_it_is_open(fit, at_least, bounds):
    found = parts(replace(PLATE, fit=fit, at_least=at_least), 0.4, 0.4)
    assert found.thresholds.constants == pytest.approx(bounds, abs=1e-9)
    assert found.not_too_tight.thresholds.constants == pytest.approx(bounds[:1], abs=1e-9)
    assert not found.thresholds.own.any()


def test_bodies_of_two_prints_are_moved_by_their_own():
    apart = replace(COVER, two_prints=True)
    made = apart.made(PROFILE)
    assert (made.internal, made.external) == (0, 1)
    mean, _ = pitch_difference(PROFILE, apart)
    assert mean == pytest.approx(60 * (-0.004 + 0.001))
    one, two = parts(COVER, 0.5), parts(apart, 0.5)
    assert two.clearances.constants == pytest.approx(one.clearances.constants, abs=1e-12)
    # Both prints are of one printer, whose terms act as in one print; effects of each print apart.
    n_terms = len(MEANS)
    terms = [each.clearances.rows[:, :n_terms] for each in (one, two)]
    assert terms[0] == pytest.approx(terms[1], abs=1e-12)
    acts = [each.clearances.rows[2, n_terms:] for each in (one, two)]
    assert len(acts[1]) == 2 * len(acts[0])
    assert acts[1].reshape(2, -1).sum(axis=0) == pytest.approx(acts[0], abs=1e-12)
    moves = PROFILE.print_moves[: len(EFFECTS)]
    inner = effect_row(Feature(Form.HOLE, 5.0, Z)) + distance_row(X, 60.0)
    assert acts[1][: len(acts[0])] == pytest.approx(inner @ moves, abs=1e-9)
