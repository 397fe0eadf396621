"""Which contacts belong together, each rule from both sides, on bodies drawn for it."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar, rounded_plate
from support.meeting_cases import dovetail, legs, turned

from coupons.answering.meet.grouping import grouped
from coupons.answering.meet.lone import lone_holes
from coupons.answering.meet.opposite_faces import contacts
from coupons.answering.meet.pairing import paired
from coupons.answering.meshes.surface import surface_of


def surfaces(*solids):
    return tuple(surface_of(drawn(solid, f"body {n}")) for n, solid in enumerate(solids))


def pairs(one: Manifold, other: Manifold):
    return paired(contacts(surfaces(one, other), (0, 1), 0.6))


def groups(one: Manifold, other: Manifold):
    both = surfaces(one, other)
    return grouped(paired(contacts(both, (0, 1), 0.6)), both)


def channel(size_mm: float, wall_mm: float = 10.0) -> Manifold:
    """A slot of a width across x, from −half to half, along y from 0 to 40."""
    half = size_mm / 2
    whole = box(size_mm + 2 * wall_mm, 40, 14, (-half - wall_mm, 0, -4))
    return whole - box(size_mm, 60, 20, (-half, -10, 0))


def tongue(size_mm: float, x=0.0, y=0.0, long_mm=40.0) -> Manifold:
    """A tongue that does not reach the floor of its slot."""
    return box(size_mm, long_mm, 12, (x - size_mm / 2, y, 1.5))


@pytest.mark.parametrize("is_turned_over", [False, True])
def test_two_faces_that_look_apart_make_a_pair(is_turned_over):
    bodies = (channel(8.0), tongue(7.6, x=0.05))
    found = pairs(*bodies[::-1] if is_turned_over else bodies)
    (pair,) = found.pairs
    assert found.left == ()
    assert pair.sizes_mm == pytest.approx((8.0, 7.6), abs=1e-5)
    assert pair.gap_mm == pytest.approx(0.4, abs=1e-5)
    assert sorted(one.gap_mm for one in pair.contacts) == pytest.approx([0.15, 0.25], abs=1e-5)
    assert pair.external == (0 if is_turned_over else 1)
    assert abs(pair.way[0]) == pytest.approx(1)
    assert (pair.slant_deg, pair.pull, pair.is_round) == (0.0, None, False)
    assert pair.area_mm2 == pytest.approx(2 * 40 * 8.5)
    assert pair.depth_mm == pytest.approx(8.5)
    assert pair.middle_mm == pytest.approx([0, 20, 1.5 + 8.5 / 2], abs=0.06)


@pytest.mark.parametrize(("thick_mm", "many"), [(0.31, 1), (0.29, 0)])
def test_a_film_is_no_tongue(thick_mm, many):
    found = pairs(channel(thick_mm + 0.1), tongue(thick_mm))
    assert len(found.pairs) == many
    assert len(found.left) == (0 if many else 2)


@pytest.mark.parametrize(("over_mm", "many"), [(2.1, 1), (1.9, 0)])
def test_faces_of_a_pair_lie_behind_one_another(over_mm, many):
    # Walls of 20 mm to either side of the tongue that overlap by a tenth of that, or less.
    left = (
        box(5, 20, 12, (-9.1, 0, 0)) + box(30, 60, 3, (-15, -10, -5)) + box(5, 20, 5, (-9.1, 0, -3))
    )
    right = box(5, 20, 14, (4.1, 20 - over_mm, -2))
    (bar,) = (box(8, 60, 10, (-4, -10, 1)),)
    found = pairs(left + right, bar)
    assert len(found.pairs) == many
    assert len(found.left) == 2 - 2 * many


def test_each_of_two_tongues_goes_with_its_own_slot():
    comb = box(60, 40, 14, (0, 0, -4)) - box(8, 60, 20, (10, -10, 0)) - box(6, 60, 20, (40, -10, 0))
    rails = tongue(7.8, x=14) + tongue(5.7, x=43) + box(40, 40, 3, (8, 0, 12))
    found = pairs(comb, rails)
    assert sorted(pair.sizes_mm for pair in found.pairs) == [
        pytest.approx((6.0, 5.7), abs=1e-4),
        pytest.approx((8.0, 7.8), abs=1e-4),
    ]


def sector(arc_deg: float) -> Manifold:
    """A bush of 6 mm bore of which a sector is left."""
    bush = round_bar(12, 10, sides=144) - round_bar(6, 40, (0, 0, -10), 144)
    angles = np.radians(np.linspace(arc_deg, 360, 60) + 1.25)
    rim = np.stack([20 * np.cos(angles), 20 * np.sin(angles)], axis=1)
    gone = CrossSection([np.concatenate([[(0.0, 0.0)], rim])])
    return bush - Manifold.extrude(gone, 30).translate((0, 0, -5))


@pytest.mark.parametrize(("arc_deg", "many"), [(200.0, 1), (180.0, 0)])
def test_a_pin_that_can_fall_out_sideways_is_not_held(arc_deg, many):
    found = pairs(sector(arc_deg), round_bar(5.8, 16, (0, 0, -3), 144))
    assert len(found.pairs) == many
    assert len(found.left) == 1 - many
    for pair in found.pairs:
        assert pair.sizes_mm == pytest.approx((6.0, 5.8), abs=1e-4)
        assert (pair.external, pair.is_round) == (1, True)
        assert abs(pair.way[2]) == pytest.approx(1)


@pytest.mark.parametrize(("places", "many"), [((0, 120, 240), 1), ((0, 60, 120), 0)])
def test_a_pin_between_arcs_is_held_where_they_stand_around_it(places, many):
    """Three jaws of 40° hold a pin from all sides, or only from one."""
    jaws = Manifold()
    for turn in places:
        angles = np.radians(turn + np.linspace(-20, 20, 17))
        inner = [(3 * np.cos(a), 3 * np.sin(a)) for a in angles]
        outer = [(6 * np.cos(a), 6 * np.sin(a)) for a in angles[::-1]]
        jaws += Manifold.extrude(CrossSection([np.array(outer + inner)[::-1]]), 10)
    ring = round_bar(14, 2, (0, 0, -2)) - round_bar(10, 4, (0, 0, -3))
    found = pairs(jaws + ring, round_bar(5.8, 16, (0, 0, -3), 144))
    assert len([one for one in found.pairs if one.is_round]) == many


def plug(half_deg: float, gap_mm: float = 0.2):
    """A cone in a cone, its middle 5 mm up and 10 mm wide; the gap is square to the wall."""
    slope, aside = np.tan(np.radians(half_deg)), gap_mm / np.cos(np.radians(half_deg)) / 2
    low, high = 5 - 3 * slope, 5 + 3 * slope
    inner = turned([(0, -5), (12, -5), (12, 15), (0, 15)]) - turned(
        [(0, 2), (low, 2), (high, 8), (0, 8)]
    )
    body = inner - turned([(0, 7.9), (high, 7.9), (high, 16), (0, 16)])
    return body, turned([(0, 2.3), (low + 0.3 * slope - aside, 2.3), (high - aside, 8), (0, 8)])


@pytest.mark.parametrize(("half_deg", "many"), [(10.0, 1), (37.0, 1), (38.0, 0)])
def test_a_steep_cone_is_a_taper_and_a_flat_one_a_seat(half_deg, many):
    found = pairs(*plug(half_deg))
    tapers = [pair for pair in found.pairs if pair.is_round and pair.slant_deg]
    assert len(tapers) == many
    for pair in tapers:
        assert pair.slant_deg == pytest.approx(half_deg, abs=0.05)
        assert pair.gap_mm == pytest.approx(0.2, abs=0.01)
        assert pair.external == 1


@pytest.mark.parametrize("lean_deg", [0.5, 15.0, 37.0])
def test_flanks_of_a_dovetail_are_a_pair_that_leans(lean_deg):
    solids = dovetail(0.2, lean_deg)
    found = pairs(solids["bed"], solids["slide"])
    (pair,) = found.pairs
    assert pair.slant_deg == pytest.approx(lean_deg, abs=0.01)
    # The gap is square to a flank on either side; sizes are level.
    assert pair.gap_mm == pytest.approx(0.2, abs=1e-4)
    internal, external = pair.sizes_mm
    assert internal - external == pytest.approx(0.2 / np.cos(np.radians(lean_deg)), abs=1e-4)
    assert pair.external == 1
    assert abs(pair.pull[2]) == pytest.approx(1, abs=1e-6)
    assert abs(pair.way[0]) == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("lean_deg", [38.0, 45.0])
def test_flanks_that_lie_flat_hold_nothing_sideways(lean_deg):
    solids = dovetail(0.2, lean_deg)
    assert pairs(solids["bed"], solids["slide"]).pairs == ()


def frame(x_mm=40.0, y_mm=25.0, through=True):
    hole = box(x_mm, y_mm, 20, (-x_mm / 2, -y_mm / 2, 0 if not through else -4))
    return (
        box(x_mm + 20, y_mm + 20, 12, (-x_mm / 2 - 10, -y_mm / 2 - 10, 0 if through else -4)) - hole
    )


def block(x_mm=39.6, y_mm=24.7, low=0.0):
    return box(x_mm, y_mm, 8, (-x_mm / 2, -y_mm / 2, low))


@pytest.mark.parametrize(
    ("through", "forms"), [(True, ("sleeve", "bar")), (False, ("pocket", "plate"))]
)
def test_two_pairs_around_one_block_are_a_pocket_if_something_stops_it(through, forms):
    made, left = groups(frame(through=through), block())
    (group,) = made
    assert (group.internal, group.external) == forms
    assert [pair.sizes_mm for pair in group.pairs] == [
        pytest.approx((40, 39.6), abs=1e-4),
        pytest.approx((25, 24.7), abs=1e-4),
    ], "the larger first"
    assert group.corners_mm == (0.0, 0.0)
    assert len(left) == (0 if through else 1)
    assert len(group.contacts) == 4
    assert group.area_mm2 == pytest.approx(2 * 8 * (39.6 + 24.7), rel=1e-3)
    assert group.external_side == 1


def test_corners_of_a_pocket_have_their_radii():
    outer = box(60, 45, 12, (-30, -22.5, 0)) - rounded_plate(40, 25, 40, 4.0).translate((0, 0, -5))
    made, left = groups(outer, rounded_plate(39.6, 24.6, 8, 3.5).translate((0, 0, 2)))
    (group,) = made
    assert group.corners_mm == pytest.approx((4.0, 3.5), abs=2e-3)
    assert left == [], "its roundings are part of it"


def two_pins(first=(4.0, 0.2), second=(4.0, 0.2), pitch=16.0):
    plate, pins = box(60, 20, 6, (-10, -10, 0)), box(60, 20, 6, (-10, -10, 8))
    for x, (size, gap) in ((0.0, first), (pitch, second)):
        plate -= round_bar(size, 20, (x, 0, -5), 64)
        pins += round_bar(size - gap, 14, (x, 0, -3), 64)
    return plate, pins


@pytest.mark.parametrize(
    ("second", "are_twins"),
    [
        ((4.0, 0.2), True),
        ((4.018, 0.2), True),
        ((4.022, 0.2), False),
        ((4.0, 0.218), True),
        ((4.0, 0.222), False),
    ],
)
def test_two_like_pins_are_one_joint(second, are_twins):
    made, _ = groups(*two_pins(second=second))
    assert [group.internal for group in made] == (["holes"] if are_twins else ["hole", "hole"])
    if are_twins:
        assert np.abs(made[0].pitch) == pytest.approx([16, 0, 0], abs=1e-3)
    else:
        assert made[0].pitch is None


def test_of_more_than_two_like_pins_the_farthest_are_one_joint():
    plate, pins = two_pins(pitch=30.0)
    plate -= round_bar(4, 20, (12, 0, -5), 64)
    pins += round_bar(3.8, 14, (12, 0, -3), 64)
    made, _ = groups(plate, pins)
    assert sorted(group.internal for group in made) == ["hole", "holes"]
    (both,) = [group for group in made if group.internal == "holes"]
    assert np.linalg.norm(both.pitch) == pytest.approx(30, abs=1e-3)


@pytest.mark.parametrize(
    ("thick_mm", "wide_mm", "are_legs"),
    [
        # 20 mm long: a leg is five times as long as thick, and at most one and a half as wide.
        (3.9, 8.0, True),
        (4.1, 8.0, False),
        (2.0, 29.5, True),
        (2.0, 30.5, False),
    ],
)
def test_what_bends_is_a_leg_and_what_does_not_is_a_wall(thick_mm, wide_mm, are_legs):
    bar, gap = 10.0, 0.2
    wide = bar + gap
    clip = box(wide + 2 * thick_mm, wide_mm, 26) - box(wide, wide_mm, 20, (thick_mm, 0, 6))
    rod = box(bar, wide_mm + 20, 20, (thick_mm + gap / 2, -10, 6.5))
    made, _ = groups(clip, rod)
    (group,) = made
    assert (group.internal, group.external) == (("legs", "bar") if are_legs else ("slot", "tongue"))
    if are_legs:
        assert group.leg_mm == pytest.approx((20, thick_mm), abs=1e-4)
        assert abs(group.leg_way[2]) == pytest.approx(1)


@pytest.mark.parametrize("turn", [(0.0, 0.0, 30.0), (31.0, 17.0, 60.0)])
def test_legs_are_legs_however_they_lie(turn):
    clip, rod = (solid.rotate(turn) for solid in legs(0.2).values())
    ((group,), _) = groups(clip, rod)
    assert (group.internal, group.external) == ("legs", "bar")
    assert group.leg_mm == pytest.approx((20, 2), abs=1e-3)
    up = drawn(box(1, 1, 1).rotate(turn)).normals @ group.leg_way
    assert np.abs(up).max() == pytest.approx(1, abs=1e-5)


def test_a_wall_held_at_both_ends_is_no_leg():
    solids = legs(0.2)
    closed = solids["clip"] + box(14.2, 8, 3, (0, 0, 26))
    made, _ = groups(closed, solids["rod"])
    assert [group.internal for group in made] == ["slot"]


@pytest.mark.parametrize("turn_deg", [0, 13, 71, 128, 200, 305])
def test_a_hole_is_through_only_if_nothing_closes_it(turn_deg):
    base = box(20, 16, 8, (-7, -9, 0))
    drill = round_bar(5, 20, sides=24).rotate((0, 0, turn_deg))
    (through,) = lone_holes(surfaces(base - drill.translate((0, 0, -5))), ())
    assert through.is_through
    assert through.depth_mm == pytest.approx(8, abs=1e-4)
    for bottom, tilt in ((3.0, 0), (-15.0, 0), (3.0, 40)):
        solid = base - drill.translate((0, 0, bottom))
        (blind,) = lone_holes(surfaces(solid.rotate((tilt, 0, 0))), ())
        assert not blind.is_through
        assert blind.depth_mm == pytest.approx(5, abs=1e-4)
        assert blind.cylinder.corner_mm == pytest.approx(5, abs=1e-4)


def test_a_small_hole_with_a_bottom_is_blind():
    base = box(20, 16, 8, (-7, -9, 0)) - round_bar(0.8, 20, (0, 0, 3), sides=24)
    (blind,) = lone_holes(surfaces(base), ())
    assert not blind.is_through
    assert blind.depth_mm == pytest.approx(5, abs=1e-4)


@pytest.mark.parametrize(("wall_deg", "many"), [(360, 1), (350, 0)])
def test_a_hole_is_whole(wall_deg, many):
    base = box(20, 16, 8, (-7, -9, 0)) - round_bar(5, 40, (0, 0, -10), 72)
    if wall_deg < 360:
        base -= box(20, 0.3, 8, (0, -0.15, 0))
    assert len(lone_holes(surfaces(base), ())) == many


def test_a_hole_that_meets_something_is_not_alone():
    both = surfaces(*two_pins())
    met = contacts(both, (0, 1), 0.6)
    assert lone_holes(both, met) == ()
    assert [hole.body for hole in lone_holes(both, ())] == [0, 0]
    assert [hole.body for hole in lone_holes(both[::-1], ())] == [1, 1]
