"""Pieces to choose from, against values by hand and a search through all sets."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons.answering import choices as module
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import piece_chances
from coupons.answering.choices import answer_with_choices, least_step_mm, one_of, stated_chance
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.learning.effects import TERMS
from coupons.learning.profile import MeasuredRange
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

X, Z = Direction.X, Direction.Z
NOTHING = {name: 0.0 for name in TERMS if not name.startswith("from_")}
EDGES = {"from_force": -0.1, "from_push": 0.0, "from_slide": 0.1, "from_loose": 0.3}
PERFECT = known_profile(NOTHING | EDGES, sd_share=1e-6)
VAGUE = known_profile(sd_share=FROM_ONE_PRINT)
DRAWER = Joint(Form.SLOT, Form.TONGUE, 12.0, X)
PAIR = Question(DRAWER, Grade.SLIDE, choices=2)


def bounds(case):
    return [(one.lower[0], one.upper[0]) for one in case]


def test_each_piece_has_its_margins_and_all_have_the_body_that_stays():
    found = one_of(PERFECT, PAIR, (0.2, 0.35))
    (case,) = found.cases
    # Over 0.1 mm, where it begins to slide, and over 0.3, where it is loose.
    assert np.array(bounds(case)) == pytest.approx(np.array([[0.1, -0.1], [0.25, 0.05]]), abs=1e-5)
    assert [one.own_sd_mm for one in case] == [0.0, 0.0]
    # Of its own a tongue has its size and how it is judged, the slot its size.
    assert [one.counts for one in case] == [(1, 0, 1)] * 2
    assert found.common_counts == (1, 0, 0)
    assert found.common_mm2 == pytest.approx(0, abs=1e-9)
    push = one_of(PERFECT, replace(PAIR, fit=Grade.PUSH), (0.2,))
    assert bounds(push.cases[0]) == [pytest.approx((0.2, 0.1), abs=1e-5)]


def test_across_layers_the_bed_has_two_cases_and_heights_scatter():
    upright = replace(PAIR, joint=replace(DRAWER, direction=Z))
    found = one_of(PERFECT, upright, (0.2, 0.4))
    assert len(found.cases) == 2
    assert found.common_counts == (0, 1, 0)
    assert {one.counts for case in found.cases for one in case} == {(0, 1, 1)}
    unlike = replace(PAIR, joint=replace(DRAWER, external_direction=Z), bed=Bed.NONE)
    found = one_of(PERFECT, unlike, (0.2,))
    assert (found.common_counts, found.cases[0][0].counts) == ((1, 0, 0), (0, 1, 1))


def test_what_is_not_known_of_hardware_is_common_to_all_pieces():
    dowel = hardware("pin 8 m6")
    hole = Joint(Form.HOLE, Form.PIN, 8.0, Z)
    asked = Question(hole, Grade.SLIDE, MovingBody.INTERNAL, hardware=dowel, choices=2)
    found = one_of(PERFECT, asked, (0.2, 0.3))
    # Even between limits 0.009 mm apart.
    assert found.common_mm2 == pytest.approx(0.009**2 / 12, rel=1e-3)
    assert found.common_counts == (0, 0, 0)
    assert {one.counts for one in found.cases[0]} == {(1, 0, 1)}


def test_what_is_not_known_beyond_the_measured_sizes_is_common_to_all_pieces():
    short = tuple(MeasuredRange(form=form, direction=X, low_mm=3, high_mm=20) for form in Form)
    profile = known_profile(measured=short)
    common = []
    for size_mm in (20.0, 60.0):
        asked = replace(PAIR, joint=replace(DRAWER, size_mm=size_mm))
        found = one_of(profile, asked, (0.3, 0.4))
        # As of one joint alone: what is not known of its length, and of how long it bears.
        alone = fit_demand(profile, asked, 0.3).own_sd_mm ** 2
        assert found.common_mm2 == pytest.approx(alone, rel=1e-9)
        common.append(alone)
    assert common[1] > 2 * common[0] > 0


def test_the_body_that_stays_may_come_from_another_printer():
    there = known_profile(NOTHING | EDGES, sd_share=1e-6, machine="attic-1")
    found = one_of(PERFECT, replace(PAIR, internal_profile=there), (0.2,))
    # Three scatters of the one that is asked, then three of the other, which prints the slot.
    assert found.common_counts == (0, 0, 0, 1, 0, 0)
    assert found.cases[0][0].counts == (1, 0, 1, 0, 0, 0)


@pytest.mark.parametrize(
    ("omega_mm", "step_mm"),
    [(0.005, 0.02), (0.02, 0.02), (0.021, 0.04), (0.04, 0.04), (0.05, 0.06)],
)
def test_pieces_differ_by_steps_that_a_hand_can_tell(omega_mm, step_mm):
    profile = known_profile(scatters={"omega": omega_mm})
    assert least_step_mm(profile, answer(profile, PAIR)) == pytest.approx(step_mm, abs=1e-9)


@pytest.mark.parametrize(("omega_mm", "step_mm"), [(0.05, 0.2), (0.21, 0.4)])
def test_across_layers_pieces_differ_by_whole_layers(omega_mm, step_mm):
    profile = known_profile(scatters={"omega": omega_mm})
    upright = replace(PAIR, joint=replace(DRAWER, direction=Z), bed=Bed.NONE)
    assert least_step_mm(profile, answer(profile, upright)) == pytest.approx(step_mm)


def cost_of(profile, question, gaps_mm):
    """Return what each pair of gaps costs on average, by place: 1 for a miss, or more if loose."""
    here = piece_chances(one_of(profile, question, gaps_mm), shared_of(profile))
    misses = here.too_tight + here.too_loose
    both_miss, both_loose = (
        np.einsum("k,kn,km->nm", here.weights, each, each) for each in (misses, here.too_loose)
    )
    return both_miss + (question.loose_costs - 1) * both_loose


@pytest.mark.slow
@pytest.mark.parametrize("fit", [Grade.SLIDE, Grade.PUSH])
@pytest.mark.parametrize("costs", [1.0, 2.0, 10.0])
def test_no_pair_costs_less_than_the_one_that_is_drawn(fit, costs):
    asked = replace(PAIR, fit=fit, loose_costs=costs)
    found = answer_with_choices(VAGUE, asked)
    gaps = np.round(found.gap_mm + 0.02 * np.arange(-30, 31), 6)
    every = cost_of(VAGUE, asked, gaps)
    np.fill_diagonal(every, np.inf)
    drawn = [int(np.argmin(abs(gaps - piece.gap_mm))) for piece in found.choices.pieces]
    assert gaps[drawn] == pytest.approx([piece.gap_mm for piece in found.choices.pieces])
    # Moved one at a time, a pair may stop a step beside the best one.
    assert every[drawn[0], drawn[1]] == pytest.approx(every.min(), abs=0.0005)


@pytest.mark.parametrize("count", [3, 6])
def test_no_piece_would_be_better_elsewhere_while_the_others_stay(count):
    asked = replace(PAIR, choices=count)
    found = answer_with_choices(VAGUE, asked)
    gaps = np.round(found.gap_mm + 0.02 * np.arange(-30, 31), 6)
    here = piece_chances(one_of(VAGUE, asked, gaps), shared_of(VAGUE))
    misses = here.too_tight + here.too_loose
    drawn = [int(np.argmin(abs(gaps - piece.gap_mm))) for piece in found.choices.pieces]
    missed = here.weights @ misses[:, drawn].prod(axis=1)
    for n in range(count):
        others = drawn[:n] + drawn[n + 1 :]
        elsewhere = (here.weights * misses[:, others].prod(axis=1)) @ misses
        elsewhere[others] = np.inf
        assert missed <= elsewhere.min() + 1e-12


def test_pieces_that_a_hand_can_hardly_tell_are_further_apart():
    rough = known_profile(sd_share=FROM_ONE_PRINT, scatters={"omega": 0.17, "tau": 0.01})
    found = answer_with_choices(rough, replace(PAIR, fit=Grade.PUSH, choices=3)).choices
    assert found.least_step_mm == pytest.approx(0.18)
    gaps = [piece.gap_mm for piece in found.pieces]
    assert np.diff(gaps) == pytest.approx([0.18, 0.18]), "so far and no further"


def test_each_piece_is_told_with_its_own_chance():
    asked = replace(PAIR, loose_costs=3.0)
    found = answer_with_choices(VAGUE, asked)
    for count, piece in enumerate(found.choices.pieces, 1):
        alone = answer(VAGUE, Question(DRAWER, Grade.SLIDE, drawn_gap_mm=piece.gap_mm))
        assert (piece.notches, piece.chance, piece.moves) == (count, alone.chance, alone.moves)
    assert found.choices.from_one_print
    twice = known_profile(sd_share=FROM_ONE_PRINT, runs=2)
    assert not answer_with_choices(twice, asked).choices.from_one_print
    assert answer_with_choices(VAGUE, replace(asked, choices=1)).choices is None


def test_the_stated_chances_are_means_of_four_lattices():
    gaps = np.array([0.2, 0.3])
    chance, error, tight, loose = stated_chance(VAGUE, PAIR, gaps)
    each = []
    for seed in range(4):
        here = piece_chances(one_of(VAGUE, PAIR, gaps), shared_of(VAGUE), seed)
        every = [here.too_tight + here.too_loose, here.too_tight, here.too_loose]
        each.append([here.weights @ (one[:, 0] * one[:, 1]) for one in every])
    means = np.mean(each, axis=0)
    assert (chance, tight, loose) == pytest.approx((1 - means[0], means[1], means[2]))
    # The standard error of a mean of four: their sd, by n − 1, over √4.
    missed = np.array(each)[:, 0]
    assert error == pytest.approx(math.sqrt(np.sum((missed - missed.mean()) ** 2) / 3 / 4))
    assert 0 < error < 0.01


@pytest.mark.parametrize(
    ("joint", "count", "ends"),
    [
        # 0.6 mm to either side in steps of 0.02 mm; in layers of 0.2 mm at least twice as many
        # steps as pieces; and never half of the size.
        (DRAWER, 2, (-0.6, 0.6)),
        (replace(DRAWER, direction=Z), 2, (-0.8, 0.8)),
        (replace(DRAWER, direction=Z), 5, (-2.0, 2.0)),
    ],
)
def test_pieces_are_looked_for_around_the_best_single_one(monkeypatch, joint, count, ends):
    seen = []

    def noted(profile, question, gaps_mm, made=None):
        seen.append(np.asarray(gaps_mm))
        return one_of(profile, question, gaps_mm, made)

    monkeypatch.setattr(module, "one_of", noted)
    found = answer_with_choices(PERFECT, Question(joint, Grade.SLIDE, bed=None, choices=count))
    gaps = seen[0]
    assert (gaps[0] - found.gap_mm, gaps[-1] - found.gap_mm) == pytest.approx(ends)
    assert np.all(np.diff(gaps) > 0)


def test_no_piece_is_drawn_with_half_of_its_size(monkeypatch):
    seen = []

    def noted(profile, question, gaps_mm, made=None):
        seen.append(np.asarray(gaps_mm))
        return one_of(profile, question, gaps_mm, made)

    monkeypatch.setattr(module, "one_of", noted)
    small = replace(DRAWER, size_mm=1.0)
    found = answer_with_choices(PERFECT, Question(small, Grade.SLIDE, choices=2))
    # Under 0.5 mm, and 0.6 mm below what is drawn.
    assert seen[0][-1] == pytest.approx(0.48)
    assert seen[0][0] == pytest.approx(found.gap_mm - 0.6)


@pytest.mark.parametrize("loose_costs", [1.0, 3.0])
def test_two_pieces_as_close_as_they_may_stand_move_together(loose_costs):
    # The gap that fits is normal about 0 with an sd of 0.05 mm and ± 0.1 mm wide, so both pieces
    # want to be near 0. They must stand 0.2 mm apart: one at 0 keeps the other from its place, and
    # moved one by one neither gives way. All sets of two are tried to find the best one.
    gaps_mm = np.round(np.arange(-30, 31) * 0.02, 6)
    middle = 0.05 * ndtri((np.arange(999) + 0.5) / 999)
    low, high = middle - 0.1, middle + 0.1
    here = module.PieceChances(
        np.full(999, 1 / 999),
        ndtr((low[:, None] - gaps_mm) / 0.05),
        ndtr((gaps_mm - high[:, None]) / 0.05),
    )

    def cost(*places):
        tight, loose = here.too_tight[:, places], here.too_loose[:, places]
        misses = np.prod(tight + loose, axis=1) + (loose_costs - 1) * np.prod(loose, axis=1)
        return float(np.mean(misses))

    apart = [(a, b) for a in range(61) for b in range(a + 10, 61)]
    found = module._best_set(module._Judged(here, loose_costs), gaps_mm, 0.2, 2)
    assert cost(*found) == pytest.approx(min(cost(*pair) for pair in apart), abs=1e-9)
