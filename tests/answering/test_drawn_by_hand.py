"""Drawn gaps and whole joints, and what one print cannot know, on plain numbers."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from support.known_profile import known_profile

from coupons.answering.chances.drawing import (
    FaceMove,
    draw_as_it_is,
    draw_gap,
    draw_layers,
    draw_off_layers,
    draw_unlike,
    gap_step_mm,
    stands_across_layers,
    whole_layers,
)
from coupons.answering.chances.one_print import one_print_only, rests_on_one_print
from coupons.answering.chances.whole import Linear, Spread, Whole, corner_room
from coupons.answering.offset import answer, clearances
from coupons.answering.question import Question
from coupons.learning.profile import LogSpread
from coupons.terms import Direction, Form, Grade, Joint, MovingBody, Slant

X, Z = Direction.X, Direction.Z
SLOT, TONGUE = Form.SLOT, Form.TONGUE
SLOT_Z = Joint(SLOT, TONGUE, 6.0, Z)
UNLIKE = Joint(SLOT, TONGUE, 6.0, Z, X)


def drawn(found):
    return {move.form: move.drawn_mm for move in found.moves}


@pytest.mark.parametrize(
    ("move", "faces", "expected"),
    [
        (MovingBody.EXTERNAL, 2, {TONGUE: (-0.15, 5.7)}),
        (MovingBody.INTERNAL, 2, {SLOT: (-0.15, 6.3)}),
        (MovingBody.BOTH, 2, {SLOT: (-0.075, 6.15), TONGUE: (-0.075, 5.85)}),
        (MovingBody.EXTERNAL, 1, {TONGUE: (-0.3, 5.7)}),
    ],
)
def test_a_gap_is_shared_over_the_faces_that_move(move, faces, expected):
    found = draw_as_it_is(SLOT_Z, move, 0.3, faces)
    assert {m.form: (m.offset_mm, m.drawn_mm) for m in found.moves} == {
        form: pytest.approx(told) for form, told in expected.items()
    }
    assert {m.faces for m in found.moves} == {faces}
    assert all(m.from_mm == pytest.approx(6.0) for m in found.moves)
    assert (found.layer_mm, found.layers, found.prints_mm, found.unlike) == (None, None, (), False)


def test_a_gap_is_drawn_in_hundredths_on_each_face():
    assert gap_step_mm(MovingBody.EXTERNAL) == gap_step_mm(MovingBody.INTERNAL) == 0.02
    assert gap_step_mm(MovingBody.BOTH) == 0.04
    # A gap of whole steps stays as it is, rounded up or not; binary fractions do not count.
    for gap_mm in (0.3, 0.06, -0.1):
        for up in (False, True):
            assert draw_gap(SLOT_Z, MovingBody.EXTERNAL, gap_mm, up=up).gap_mm == gap_mm
    assert draw_gap(SLOT_Z, MovingBody.EXTERNAL, 0.3001, up=True).gap_mm == 0.32
    assert draw_gap(SLOT_Z, MovingBody.EXTERNAL, -0.111, up=True).gap_mm == -0.1


def test_no_offset_is_written_as_minus_nothing():
    (move,) = draw_as_it_is(SLOT_Z, MovingBody.EXTERNAL, 0.0).moves
    assert math.copysign(1.0, move.offset_mm) == 1.0
    assert FaceMove(TONGUE, 0.1, 2, 6.2).from_mm == pytest.approx(6.0)
    assert FaceMove(SLOT, -0.1, 1, 6.1).from_mm == pytest.approx(6.0)
    # Of faces that lean by 60 degrees, 0.1 mm along the normal is 0.2 mm across.
    assert FaceMove(TONGUE, 0.1, 2, 6.4, slant_deg=60.0).from_mm == pytest.approx(6.0)


def test_faces_that_lean_are_moved_along_their_normals():
    leaning = Joint(SLOT, TONGUE, 12.0, X, slant=Slant(60.0, Direction.Y))
    (move,) = draw_as_it_is(leaning, MovingBody.EXTERNAL, 0.2).moves
    assert (move.offset_mm, move.drawn_mm, move.slant_deg) == (
        pytest.approx(-0.1),
        pytest.approx(11.6),
        60.0,
    )


@pytest.mark.parametrize(
    ("mm", "layers"), [(0.6, 3), (0.60001, 3), (0.6001, None), (0.0, 0), (-0.4, -2), (0.3, None)]
)
def test_whole_layers_are_within_a_ten_thousandth_of_one(mm, layers):
    assert whole_layers(mm, 0.2) == layers


def test_flat_faces_across_z_and_no_others_are_layers():
    found = [(f, d) for f in Form for d in Direction if stands_across_layers(f, d)]
    assert found == [(TONGUE, Z), (SLOT, Z)]


@pytest.mark.parametrize(
    ("gap_mm", "up", "move", "expected", "layers"),
    [
        (0.25, False, MovingBody.EXTERNAL, {TONGUE: 5.8}, 1),
        (0.25, True, MovingBody.EXTERNAL, {TONGUE: 5.6}, 2),
        (0.40, True, MovingBody.EXTERNAL, {TONGUE: 5.6}, 2),
        (0.25, True, MovingBody.INTERNAL, {SLOT: 6.4}, 2),
        (0.0, False, MovingBody.EXTERNAL, {TONGUE: 6.0}, 0),
        (-0.25, False, MovingBody.INTERNAL, {SLOT: 5.8}, -1),
        (0.5, True, MovingBody.BOTH, {SLOT: 6.4, TONGUE: 5.8}, 3),
    ],
)
def test_gaps_across_layers_are_whole_ones(gap_mm, up, move, expected, layers):
    found = draw_layers(SLOT_Z, move, gap_mm, 0.2, up=up, hardware=False)
    assert drawn(found) == pytest.approx(expected)
    assert (found.layers, found.layer_mm) == (layers, 0.2)
    assert found.gap_mm == pytest.approx(0.2 * layers)


@pytest.mark.parametrize(
    ("size_mm", "base_mm"), [(6.0, 6.0), (6.09, 6.0), (6.1, 6.2), (6.11, 6.2), (5.9, 6.0)]
)
def test_the_body_that_stays_is_rounded_to_the_nearest_layer_and_up_from_a_half(size_mm, base_mm):
    found = draw_layers(
        replace(SLOT_Z, size_mm=size_mm), MovingBody.EXTERNAL, 0.2, 0.2, up=False, hardware=False
    )
    sizes = {SLOT: size_mm} | drawn(found)
    assert sizes == pytest.approx({SLOT: base_mm, TONGUE: base_mm - 0.2})
    assert len(found.moves) == (1 if size_mm == base_mm else 2)
    assert found.moves[0].form is TONGUE


def test_a_piece_of_hardware_leaves_one_body_to_draw():
    joint = replace(SLOT_Z, size_mm=5.5)
    found = draw_layers(joint, MovingBody.INTERNAL, 0.1, 0.2, up=False, hardware=True)
    assert drawn(found) == pytest.approx({SLOT: 5.6})
    assert (found.gap_mm, found.layers) == (pytest.approx(0.1), None)
    inner = draw_layers(joint, MovingBody.EXTERNAL, 0.1, 0.2, up=False, hardware=True)
    assert drawn(inner) == pytest.approx({TONGUE: 5.4})
    assert inner.gap_mm == pytest.approx(0.1)
    whole = draw_layers(SLOT_Z, MovingBody.INTERNAL, 0.2, 0.2, up=True, hardware=True)
    assert (drawn(whole), whole.layers) == ({SLOT: pytest.approx(6.2)}, 1)


@pytest.mark.parametrize(
    ("layers_mm", "move", "gap_mm", "expected", "layer_mm", "got_mm"),
    [
        # Both in layers, of 0.2 and of 0.3 mm: what stays first, then the coarser, the other last.
        ((0.2, 0.3), MovingBody.EXTERNAL, 0.25, {TONGUE: 5.7}, 0.3, 0.3),
        ((0.2, 0.3), MovingBody.INTERNAL, 0.25, {SLOT: 6.2}, 0.2, 0.2),
        ((0.2, 0.3), MovingBody.BOTH, 0.45, {SLOT: 6.2, TONGUE: 5.7}, 0.3, 0.5),
        ((0.3, 0.2), MovingBody.BOTH, 0.45, {SLOT: 6.3, TONGUE: 5.8}, 0.3, 0.5),
        # The tongue alone is in layers: a slot that stays is as it is.
        ((None, 0.2), MovingBody.EXTERNAL, 0.25, {TONGUE: 5.8}, 0.2, 0.2),
        ((None, 0.2), MovingBody.INTERNAL, 0.253, {SLOT: 6.26}, None, 0.26),
    ],
)
def test_bodies_of_unlike_layers_are_each_drawn_in_their_own(
    layers_mm, move, gap_mm, expected, layer_mm, got_mm
):
    of = dict(zip((SLOT, TONGUE), layers_mm, strict=True))
    found = draw_unlike(UNLIKE, move, gap_mm, of, up=False)
    assert drawn(found) == pytest.approx(expected)
    assert found.gap_mm == pytest.approx(got_mm)
    assert (found.layer_mm, found.layers, found.unlike) == (layer_mm, None, True)
    for each in found.moves:
        assert (each.faces, each.layer_mm) == (1 if of[each.form] else 2, of[each.form])
    if move is not MovingBody.BOTH:
        assert found.moves[0].form is (TONGUE if move is MovingBody.EXTERNAL else SLOT)


def test_of_two_gaps_that_are_drawn_up_none_is_below_what_is_wanted():
    of = {SLOT: 0.2, TONGUE: 0.3}
    for wanted_mm in (0.21, 0.25, 0.41, 0.5):
        for move in MovingBody:
            found = draw_unlike(UNLIKE, move, wanted_mm, of, up=True)
            assert found.gap_mm >= wanted_mm - 1e-6
            assert found.gap_mm < wanted_mm + 0.3


@pytest.mark.parametrize(
    ("size_mm", "gap_mm", "prints_mm", "faces", "layers"),
    [
        (6.0, 0.4, (), 1, 2),
        (6.0, 0.3, (0.2, 0.4), 2, None),
        (6.1, 0.2, (0.0, 0.2, 0.2, 0.4), 2, None),
        (6.1, 0.1, (0.0, 0.2), 2, None),  # the tongue of 6 mm is whole, the slot is not
    ],
)
def test_a_size_between_layers_prints_as_either(size_mm, gap_mm, prints_mm, faces, layers):
    of = {SLOT: 0.2, TONGUE: 0.2}
    joint = replace(SLOT_Z, size_mm=size_mm)
    found = draw_off_layers(joint, MovingBody.EXTERNAL, gap_mm, of, hardware=None)
    assert found.prints_mm == pytest.approx(prints_mm)
    assert (found.layers, found.layer_mm, found.unlike) == (layers, 0.2, False)
    (move,) = found.moves
    assert (move.faces, move.layer_mm, found.gap_mm) == (faces, None, gap_mm)


def test_hardware_is_no_layers():
    of = {SLOT: 0.2, TONGUE: 0.2}
    joint = replace(SLOT_Z, size_mm=5.5)
    found = draw_off_layers(joint, MovingBody.INTERNAL, 0.2, of, hardware=TONGUE)
    assert found.prints_mm == pytest.approx((0.1, 0.3))  # 28.5 layers: 5.6 or 5.8 mm
    whole = draw_off_layers(joint, MovingBody.INTERNAL, 0.3, of, hardware=TONGUE)
    assert (whole.prints_mm, whole.layers) == ((), None)


# Joints of several pairs of faces, at single points of what they share.


def linear(constants, rows=None, own=None, n_own=2):
    constants = np.array(constants, float)
    rows = np.zeros((len(constants), 1)) if rows is None else np.array(rows, float)
    own = np.zeros((len(constants), n_own)) if own is None else np.array(own, float)
    return Linear(constants, rows, own)


def whole(**changes):
    """Return two clearances of 0.2 and 0.3 mm that may be from 0 to 0.4 mm; a hand of 0.05 mm."""
    parts = {
        "clearances": linear([0.2, 0.3], [[1.0], [2.0]], [[1.0, 0.0], [0.0, 1.0]]),
        "own": Spread(np.array([0.01, 0.0]), np.array([[0.0], [1.0]])),
        "plays": ((0,), (1,)),
        "thresholds": linear([0.0, 0.4], [[0.0], [0.5]]),
        "judged": Spread(np.array([0.0025]), np.zeros((1, 1))),
        "corner_mm": -np.inf,
        "others": linear([]),
        "others_own": Spread(np.zeros(0), np.zeros((0, 1))),
    }
    return Whole(**(parts | changes))


def chance_at(joint, shared=0.0, normals=(0.0, 0.0), square=0.04):
    return joint.chances(np.array([[shared]]), np.array([normals]), np.array([[square]]))[0]


def test_a_joint_fits_if_its_tightest_pair_and_its_widest_play_do():
    # Above 0 with the tighter, 0.2 mm, and below 0.4 mm with the wider, 0.3 mm.
    assert chance_at(whole()) == pytest.approx(ndtr(0.2 / 0.05) - ndtr((0.3 - 0.4) / 0.05))
    # Of a play that two pairs bound the tighter one counts.
    bound = whole(plays=((0, 1),))
    assert chance_at(bound) == pytest.approx(ndtr(0.2 / 0.05) - ndtr((0.2 - 0.4) / 0.05))


def test_what_is_shared_and_own_moves_clearances_and_thresholds():
    # 0.1 of what is shared: 0.3 and 0.5 mm, under an edge of 0.45 mm.
    tight, loose = ndtr(0.3 / 0.05), ndtr((0.5 - 0.45) / 0.05)
    assert chance_at(whole(), shared=0.1) == pytest.approx(tight - loose)
    # Own deviations of 0.1 mm, and of 0.2 mm by their scatter: 0.1 and 0.4 mm.
    tight, loose = ndtr(0.1 / 0.05), ndtr(0.0)
    assert chance_at(whole(), normals=(-1.0, 0.5)) == pytest.approx(tight - loose)
    assert whole().n_own == 2


def test_open_above_it_is_only_not_too_tight():
    opened = whole().not_too_tight
    assert chance_at(opened, shared=0.1) == pytest.approx(ndtr(0.3 / 0.05))
    assert len(opened.rows) == 2
    assert whole().rows.tolist() == [[1.0], [2.0], [0.5], [1.5]]
    assert whole().typical_sd_mm == pytest.approx((1e-4 + 0.0025) ** 0.5)


def test_a_window_that_is_passed_has_no_chance():
    passed = whole(thresholds=linear([0.4, 0.0], [[0.0], [0.0]]))
    assert chance_at(passed) == 0.0


def test_other_lengths_must_be_above_zero_besides():
    others = linear([0.05, 0.2], [[0.0], [1.0]], [[0.0, 0.0], [0.0, 1.0]])
    spread = Spread(np.array([0.01, 0.0]), np.array([[0.0], [1.0]]))
    joint = whole(others=others, others_own=spread)
    plain = chance_at(whole(), shared=0.1)
    expected = plain * ndtr(0.05 / 0.1) * ndtr((0.2 + 0.1) / 0.2)
    assert chance_at(joint, shared=0.1) == pytest.approx(expected)
    assert joint.rows[-2:].tolist() == [[0.0], [1.0]]


def test_corners_count_where_they_are_tighter_than_the_faces():
    # D = 0.5 + 0.15 mm on gaps of 0.15 mm a face: 2·(D − √2·(D − 0.15)).
    room = np.array([[0.3, 0.3]])
    apart = 2 * (0.65 - math.sqrt(2) * 0.5)
    assert corner_room(room, 0.5) == pytest.approx([apart])
    tight = whole(corner_mm=0.5, clearances=linear([0.3, 0.3]))
    thresholds = linear([0.0, 0.4])
    tight = replace(tight, thresholds=thresholds)
    expected = max(ndtr(apart / 0.05) - ndtr((0.3 - 0.4) / 0.05), 0.0)
    assert chance_at(tight) == pytest.approx(expected)
    # Where the inner radius is the smaller one they never meet.
    assert np.isinf(corner_room(room, -0.15)).all()
    assert np.isinf(corner_room(room, -np.inf)).all()
    # A gap wider than D on one side leaves the other side's.
    assert corner_room(np.array([[2.0, 0.2]]), -0.3) == pytest.approx([2 * (0.25 - 0.15)])


# What one print cannot know.

DRAWER = Question(Joint(SLOT, TONGUE, 12.0, X), Grade.LOOSE, drawn_gap_mm=0.60, contact_mm=20.0)


def quiet(runs=1, rho_log_sd=0.2, rho_mm=0.02):
    """Return a printer known outright, but for how far its prints shift."""
    profile = known_profile(dict.fromkeys(("scale_x", "scale_int"), 0.0), 1e-5, runs=runs)
    exact = {name: LogSpread(median_mm=1e-9, log_sd=0.0) for name in profile.scatters}
    own = {"tau": LogSpread(median_mm=0.03, log_sd=0.0)}
    rho = {"rho": LogSpread(median_mm=rho_mm, log_sd=rho_log_sd)}
    return profile.model_copy(update={"scatters": exact | own | rho})


def test_a_chance_rests_on_scatters_as_small_and_as_large_as_on_one_machine_in_ten():
    # The gap varies by two own deviations and twice rho; rho is 0.02·exp(∓1.2816·0.2) mm.
    found = rests_on_one_print(clearances(quiet(), DRAWER, np.array([0.60])), Grade.LOOSE)
    room = 0.60 - 0.20 - 0.30
    expected = [
        ndtr(room / (2 * 0.03**2 + (2 * 0.02 * math.exp(sds * 0.2)) ** 2) ** 0.5)
        for sds in (-1.2816, 1.2816)
    ]
    assert [found.if_alike, found.if_unlike] == pytest.approx(expected, abs=1e-4)
    # The machine is known outright already: a second print tells nothing of its shift alone.
    after = [found.after_if_alike, found.after_if_unlike]
    assert after[0] <= found.if_alike + 1e-9
    assert after[1] >= found.if_unlike - 1e-9


@pytest.mark.parametrize("fit", [Grade.SLIDE, Grade.PUSH])
def test_a_fit_that_is_closed_above_rests_on_both_of_its_ends(fit):
    gap_mm = {Grade.SLIDE: 0.40, Grade.PUSH: 0.25}[fit]
    low, high = {Grade.SLIDE: (0.10, 0.30), Grade.PUSH: (0.0, 0.10)}[fit]
    question = replace(DRAWER, fit=fit, drawn_gap_mm=gap_mm)
    found = rests_on_one_print(clearances(quiet(), question, np.array([gap_mm])), fit)
    expected = []
    for sds in (-1.2816, 1.2816):
        sd = (2 * 0.03**2 + (2 * 0.02 * math.exp(sds * 0.2)) ** 2) ** 0.5
        expected.append(ndtr((gap_mm - 0.2 - low) / sd) - ndtr((gap_mm - 0.2 - high) / sd))
    assert [found.if_alike, found.if_unlike] == pytest.approx(expected, abs=1e-4)


def test_several_prints_and_scatters_that_are_known_need_no_such_word():
    one = clearances(quiet(), DRAWER, np.array([0.60]))
    two = clearances(quiet(runs=2), DRAWER, np.array([0.60]))
    assert rests_on_one_print(one, Grade.LOOSE) is not None
    assert rests_on_one_print(two, Grade.LOOSE) is None
    assert one_print_only(quiet())
    assert not one_print_only(quiet(runs=2))
    none = quiet().counts.model_copy(update={"by_print_effect": ()})
    assert one_print_only(quiet().model_copy(update={"counts": none}))


def test_an_answer_says_so_only_above_four_in_five():
    assert answer(quiet(), DRAWER).one_print is not None
    at_80 = 0.50 + 0.8416 * (2 * 0.03**2 + (2 * 0.02) ** 2 * math.exp(0.08)) ** 0.5
    under, over = (
        answer(quiet(), replace(DRAWER, drawn_gap_mm=at_80 + off)) for off in (-0.004, 0.004)
    )
    assert under.chance < 0.8 < over.chance
    assert (under.one_print is None, over.one_print is None) == (True, False)
