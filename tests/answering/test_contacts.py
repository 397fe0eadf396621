"""Where two bodies meet, each rule from both sides: faces drawn just within it and just beyond."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar

from coupons.answering.meet.opposite_faces import contacts
from coupons.answering.meshes.regions import SurfaceKind
from coupons.answering.meshes.surface import surface_of

LONG_MM, WIDE_MM = 20.0, 10.0


def met(
    one: Manifold, other: Manifold, reach_mm: float = 0.6, kind: SurfaceKind = SurfaceKind.PLANE
):
    surfaces = tuple(surface_of(drawn(solid, name)) for solid, name in ((one, "a"), (other, "b")))
    return [each for each in contacts(surfaces, (3, 5), reach_mm) if each.kind is kind]


def slab(at=(0.0, 0.0, 0.0), long_mm=LONG_MM, wide_mm=WIDE_MM) -> Manifold:
    return box(long_mm, wide_mm, 4, at)


def over(gap_mm: float, x: float = 0.0, y: float = 0.0, **size) -> Manifold:
    """A slab above another one, so far from its top at z = 4."""
    return slab((x, y, 4 + gap_mm), **size)


@pytest.mark.parametrize("gap_mm", [0.6, 0.25, 0.0, -0.3, -0.5])
def test_faces_within_reach_meet_over_the_area_that_both_have(gap_mm):
    (found,) = met(slab(), over(gap_mm, x=12, y=-4))
    assert found.bodies == (3, 5)
    assert found.gap_mm == pytest.approx(gap_mm, abs=1e-5)
    # From 12 to 20 along x, from 0 to 6 along y, in the plane of the lower body's top.
    assert found.area_mm2 == pytest.approx(8 * 6)
    assert found.depth_mm == pytest.approx(6)
    assert found.point_mm == pytest.approx([16, 3, 4], abs=1e-5)
    assert found.normal == pytest.approx([0, 0, 1])
    (outline,) = found.outlines_mm
    assert outline.min(axis=0) == pytest.approx([12, 0, 4], abs=1e-5)
    assert outline.max(axis=0) == pytest.approx([20, 6, 4], abs=1e-5)


@pytest.mark.parametrize("gap_mm", [0.601, -0.501])
def test_faces_beyond_reach_or_too_deep_in_each_other_do_not_meet(gap_mm):
    assert met(slab(), over(gap_mm)) == []


@pytest.mark.parametrize(("reach_mm", "gap_mm"), [(0.2, 0.2), (1.5, 1.5)])
def test_reach_is_as_asked(reach_mm, gap_mm):
    assert len(met(slab(), over(gap_mm), reach_mm)) == 1
    assert met(slab(), over(gap_mm + 0.001), reach_mm) == []


@pytest.mark.parametrize(("beside_mm", "meets"), [(0.51, True), (0.49, False)])
def test_a_contact_has_a_square_millimetre(beside_mm, meets):
    # Over a length of 2 mm.
    found = met(slab(long_mm=2), over(0.1, y=WIDE_MM - beside_mm, long_mm=2))
    assert bool(found) is meets


@pytest.mark.parametrize(("beside_mm", "meets"), [(0.153, True), (0.149, False)])
def test_a_contact_is_no_hair(beside_mm, meets):
    # Twice its area over its outline: of 20 mm by 0.153 mm it is 0.1518 mm.
    found = met(slab(), over(0.1, y=WIDE_MM - beside_mm))
    assert bool(found) is meets


def leaning(degrees: float, gap_mm: float) -> Manifold:
    """A slab that leans about y, so far above the lower one in the middle."""
    low = slab((-LONG_MM / 2, 0, 0)).rotate((0, degrees, 0))
    return low.translate((LONG_MM / 2, 0, 4 + gap_mm))


@pytest.mark.parametrize(("degrees", "meets"), [(0.28, True), (0.29, False)])
def test_faces_that_lean_by_more_than_a_two_hundredth_do_not_meet(degrees, meets):
    # Two unit normals whose sum is 0.005 long stand 0.286° off opposite.
    found = met(slab(), leaning(degrees, 0.3))
    assert bool(found) is meets
    assert [one.gap_mm for one in found] == pytest.approx([0.3] * meets, abs=2e-3)


def test_the_gap_of_faces_that_lean_is_taken_where_they_meet():
    end = box(4, WIDE_MM, 4, (16, 0, 0))  # of the lower body only the right end
    (found,) = met(end, leaning(-0.25, 0.3))
    # The middle of what meets lies 8 mm right of where the gap is 0.3 mm.
    assert found.gap_mm == pytest.approx(0.3 + 8 * np.tan(np.radians(0.25)), abs=1e-3)


@pytest.mark.parametrize(("step_mm", "pieces"), [(0.0, 1), (0.0019, 1), (0.0021, 2)])
def test_a_face_broken_by_a_groove_is_one_contact_if_both_parts_lie_in_one_plane(step_mm, pieces):
    upper = over(0.2, long_mm=6) + over(0.2 + step_mm, x=8, long_mm=12)
    upper += box(LONG_MM, WIDE_MM, 4, (0, 0, 7))
    found = met(slab(), upper)
    assert len(found) == pieces
    assert sum(one.area_mm2 for one in found) == pytest.approx(18 * WIDE_MM)
    if pieces == 1:
        (one,) = found
        assert len(one.outlines_mm) == 2
        assert [len(side) for side in one.regions] == [1, 2]
        assert one.depth_mm == pytest.approx(6), "of its narrower part"
        assert one.gap_mm == pytest.approx(0.2 + step_mm * 12 / 18, abs=1e-5)
        assert one.point_mm == pytest.approx([(6 * 3 + 12 * 14) / 18, 5, 4], abs=1e-4)


def pin_and_bush(gap_mm, pin_x=0.0, tilt_deg=0.0, sides=64, deep_mm=10.0):
    """A pin of 6 mm less the gap, ends at −3 and 15, in a bush from 0 on."""
    bush = round_bar(12, deep_mm) - round_bar(6, 40, (0, 0, -10), sides)
    pin = round_bar(6 - gap_mm, 18, (0, 0, -9), sides).rotate((0, tilt_deg, 0))
    return bush, pin.translate((pin_x, 0, 6))


@pytest.mark.parametrize("gap_mm", [1.199, 0.2, 0.0, -0.999])
def test_a_round_in_a_round_meets_over_its_wall(gap_mm):
    (found,) = met(*pin_and_bush(gap_mm), kind=SurfaceKind.CYLINDER)
    assert found.gap_mm == pytest.approx(gap_mm, abs=1e-5)
    assert found.depth_mm == pytest.approx(10, abs=1e-5)
    assert found.arc_deg == pytest.approx(360)
    assert found.area_mm2 == pytest.approx(np.pi * (6 - max(gap_mm, 0)) * 10, rel=1e-3)
    assert found.point_mm == pytest.approx([0, 0, 5], abs=1e-4)


@pytest.mark.parametrize("gap_mm", [1.201, -1.001])
def test_a_round_much_looser_or_tighter_does_not_meet(gap_mm):
    assert met(*pin_and_bush(gap_mm), kind=SurfaceKind.CYLINDER) == []


@pytest.mark.parametrize(
    ("change", "meets"),
    [
        # The axes may lie half the gap and a tenth of a millimetre apart,
        ({"pin_x": 0.199}, True),
        ({"pin_x": 0.201}, False),
        ({"gap_mm": -0.2, "pin_x": 0.099}, True),
        ({"gap_mm": -0.2, "pin_x": 0.101}, False),
        # and lean by a hundredth: by 0.573°.
        ({"tilt_deg": 0.57}, True),
        ({"tilt_deg": 0.58}, False),
    ],
)
def test_rounds_meet_on_one_axis(change, meets):
    found = met(*pin_and_bush(**{"gap_mm": 0.2, **change}), kind=SurfaceKind.CYLINDER)
    assert bool(found) is meets


def test_a_pin_in_half_a_bush_meets_over_half_a_turn():
    bush, pin = pin_and_bush(0.2)
    half = bush ^ box(20, 20, 20, (0, -10, -5))
    (found,) = met(half, pin, kind=SurfaceKind.CYLINDER)
    assert found.arc_deg == pytest.approx(180, abs=5.1)  # sectors are 5° wide
    assert found.area_mm2 == pytest.approx(np.pi * 5.8 * 10 / 2, rel=0.03)


def test_a_pin_in_two_walls_meets_once_over_both():
    plates = box(20, 20, 3, (-10, -10, 0)) + box(20, 20, 4, (-10, -10, 8))
    plates += box(2, 20, 12, (-12, -10, 0))
    fork = plates - round_bar(6, 40, (0, 0, -10))
    (found,) = met(fork, pin_and_bush(0.2)[1], kind=SurfaceKind.CYLINDER)
    assert found.depth_mm == pytest.approx(3 + 4, abs=1e-4)
    assert [len(side) for side in found.regions] == [2, 1]
    assert found.point_mm == pytest.approx([0, 0, 6], abs=1e-3)


def test_two_diameters_on_one_axis_meet_each_for_itself():
    stepped = round_bar(14, 12) - round_bar(6, 40, (0, 0, -20)) - round_bar(8, 8, (0, 0, 6))
    pin = round_bar(5.8, 7, (0, 0, -1)) + round_bar(7.7, 8, (0, 0, 6))
    found = met(stepped, pin, kind=SurfaceKind.CYLINDER)
    assert sorted(one.gap_mm for one in found) == pytest.approx([0.2, 0.3], abs=1e-4)


def wavy(low_mm: float, high_mm: float) -> Manifold:
    """A plate whose top and bottom are waves 30 mm long along x, 0.6 mm up and down."""
    x = np.linspace(0, 30, 61)
    wave = 0.6 * np.sin(2 * np.pi * x / 30)
    top, bottom = np.stack([x, high_mm + wave], axis=1), np.stack([x, low_mm + wave], axis=1)
    return Manifold.extrude(CrossSection([np.concatenate([bottom, top[::-1]])]), 10)


@pytest.mark.parametrize(
    ("gap_mm", "meets"), [(0.3, True), (-0.3, True), (0.7, False), (-0.6, False)]
)
def test_free_form_faces_meet_at_the_gap_between_them(gap_mm, meets):
    found = met(wavy(-4, 0).refine(2), wavy(gap_mm, 4).refine(2), kind=SurfaceKind.FREE)
    assert bool(found) is meets
    for one in found:
        # Upright by the gap, so that square to the wave it is a little less: at most 0.8 %.
        assert one.gap_mm == pytest.approx(gap_mm, rel=0.02)
