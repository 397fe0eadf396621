"""Arcs, long leaning faces, pockets and flanks: rules of contacts and pairs from both sides."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar, rounded_plate

from coupons.answering.meet.grouping import _thickness_mm, grouped
from coupons.answering.meet.opposite_faces import (
    _covered,
    _fit_together,
    _lesser,
    _middle,
    _Middles,
    _sectors,
    contacts,
    is_same_round,
)
from coupons.answering.meet.pairing import (
    Pair,
    _cost,
    _cover_each_other,
    _leans_alike,
    _slanted_pair,
    paired,
)
from coupons.answering.meshes.cones import Cone
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.meshes.rounds import Cylinder
from coupons.answering.meshes.surface import surface_of

UP = np.array([0.0, 0, 1])


def touching(one, other, reach_mm=0.6, kind=None):
    surfaces = tuple(surface_of(drawn(solid, name)) for solid, name in ((one, "a"), (other, "b")))
    found = contacts(surfaces, (0, 1), reach_mm)
    return [each for each in found if kind in (None, each.kind)]


def wedge_below(gap_low, gap_high, long_mm=200.0):
    """A slab above z = 4 whose underside rises from one gap at x = 0 to another at its end."""
    low, high = 4 + gap_low, 4 + gap_high
    outline = [(0.0, low), (long_mm, high), (long_mm, 20.0), (0.0, 20.0)]
    return Manifold.extrude(CrossSection([outline]), 10).rotate((90, 0, 0)).translate((0, 10, 0))


@pytest.mark.parametrize(
    ("gap_low", "gap_high", "meets"),
    [
        # The underside leans by 0.24°; in its middle it is 0.7 mm up, over the foot 0.34 mm.
        (0.3, 1.1, True),
        (0.6, 1.4, False),
        # Or it stands 0.7 mm in the foot's plane in the middle, and 0.34 mm over the foot.
        (-0.3, -1.1, True),
        (-0.6, -1.4, False),
    ],
)
def test_faces_that_lean_meet_by_their_gap_where_both_are(gap_low, gap_high, meets):
    foot = box(20, 10, 4)
    found = touching(foot, wedge_below(gap_low, gap_high), kind=SurfaceKind.PLANE)
    assert len(found) == meets
    for one in found:
        assert one.gap_mm == pytest.approx(gap_low + (gap_high - gap_low) / 20, abs=1e-3)


def arc(start_deg, stop_deg, radius=6.0, inner=3.0, high=10.0):
    """A sector of a ring in strips of 5 degrees."""
    a = np.radians(np.arange(start_deg, stop_deg + 1, 5.0))
    out, back = (np.column_stack([r * np.cos(a), r * np.sin(a)]) for r in (radius, inner))
    return Manifold.extrude(CrossSection([np.concatenate([out, back[::-1]])]), high)


@pytest.mark.parametrize(
    ("start", "stop"), [(0, 60), (30, 150), (90, 270), (170, 190 + 30), (300, 420), (-90, 85)]
)
def test_sectors_are_those_that_an_arc_covers(start, stop):
    body = drawn(arc(start, stop))
    (outer,) = [
        one for one in regions_of(body) if one.cylinder is not None and not one.cylinder.is_inner
    ]
    whole = Cylinder(UP, np.zeros(3), 12, 12, 12, 0.0, False, 360.0, 5.0, 72)
    found = _sectors(outer, whole)
    # They are counted from the first of two directions across the axis, whichever that is.
    assert int(found.sum()) == (stop - start) // 5
    changes = int((found != np.roll(found, 1)).sum())
    assert changes == 2, "without a break"
    assert _sectors(outer, whole).tolist() == found.tolist()


@pytest.mark.parametrize(
    ("start", "stop", "shared_deg"), [(-60, 60, 60), (-60, 200, 180), (60, 100, 40), (150, 260, 30)]
)
def test_a_round_contact_covers_the_arc_that_both_have(start, stop, shared_deg):
    """Half a bush, from 0 to 180 degrees, around a part of a bar."""
    bush = arc(0, 180, 12, 6.1)
    found = touching(bush, arc(start, stop), kind=SurfaceKind.CYLINDER)
    (one,) = found
    assert one.arc_deg == pytest.approx(shared_deg)
    assert one.area_mm2 == pytest.approx(12 * np.pi * 10 * shared_deg / 360, rel=2e-3)
    assert one.gap_mm == pytest.approx(0.2, abs=1e-4)


def test_lengths_that_spans_cover_count_once():
    assert _covered([(0.0, 3.0), (2.0, 5.0), (7.0, 8.0), (7.2, 7.9)]) == pytest.approx(6)
    assert _covered([(-4.0, -1.0)]) == pytest.approx(3)
    assert _covered([]) == 0


def test_middles_and_widths_of_outlines():
    square = np.array([(0, 0), (4, 0), (4, 2), (0, 2)], float)
    far = square + np.array([10, 0])
    assert _middle([square, far]) == pytest.approx([7, 1])
    assert _lesser([square, far]) == pytest.approx(2)
    # A rhombus with diagonals of 8 and 6 mm has sides of 5 and 24 mm²: 4.8 mm between them.
    rhombus = np.array([(4, 0), (0, 3), (-4, 0), (0, -3)], float)
    assert _lesser([rhombus]) == pytest.approx(4.8)
    assert _middle([rhombus]) == pytest.approx([0, 0], abs=1e-12)


def cylinder(diameter=10.0, at=(0.0, 0, 0), axis=UP, is_inner=False):
    """A cylinder 10 mm long."""
    sizes = (diameter, diameter, diameter, 0.0, is_inner, 360.0, 5.0, 48)
    return Cylinder(np.asarray(axis, float), np.asarray(at, float), *sizes)


def cone(half_deg=10.0, diameter=10.0, at=(0.0, 0, 0)):
    """A cone 10 mm long that widens upwards."""
    sizes = (half_deg, diameter, diameter, diameter, 0.0, False, 360.0, 5.0, 48)
    return Cone(UP, np.asarray(at, float), *sizes)


@pytest.mark.parametrize(
    ("change", "is_same"),
    [
        ({}, True),
        ({"axis": -UP}, True),
        ({"diameter": 10.0019}, True),
        ({"diameter": 10.0021}, False),
        ({"diameter": 9.9979}, False),
        ({"at": (0.0049, 0, 40)}, True),
        ({"at": (0.0051, 0, 40)}, False),
        ({"axis": (0.0099, 0, 1)}, True),
        ({"axis": (0.0102, 0, 1)}, False),
    ],
)
def test_pieces_of_one_round_are_alike_on_one_axis(change, is_same):
    other = cylinder(**change)
    axis = other.axis / np.linalg.norm(other.axis)
    other = cylinder(**{**change, "axis": axis})
    assert is_same_round(cylinder(), other) is is_same


def test_pieces_of_one_taper_have_its_angle_and_its_diameter_at_their_height():
    slope = np.tan(np.radians(10))
    above = cone(diameter=10 + 2 * 30 * slope, at=(0, 0, 30))
    assert is_same_round(cone(), above) is True
    assert is_same_round(cone(), cone(at=(0, 0, 30))) is False
    assert is_same_round(cone(), cone(half_deg=10.019)) is True
    assert is_same_round(cone(), cone(half_deg=10.021)) is False


def test_only_what_is_hollow_takes_what_is_not():
    hole, pin = cylinder(10.2, is_inner=True), cylinder()
    assert _fit_together(hole, pin, 0.6) is True
    assert _fit_together(pin, hole, 0.6) is True
    assert _fit_together(hole, cylinder(is_inner=True), 0.6) is False
    assert _fit_together(pin, cylinder(10.2), 0.6) is False


def frame_and_block(middle_mm):
    """A block 40 by 25 mm whose ends are held over a part of their width, in the middle of it."""
    frame = box(60, 45, 12, (-30, -22.5, 0)) - box(40, 25, 40, (-20, -12.5, -5))
    low = -12.35 + 2 * middle_mm  # walls at the ends from there to 12.35
    frame -= box(8, low + 12.5, 40, (-26, -12.5, -5)) + box(8, low + 12.5, 40, (18, -12.5, -5))
    return frame, box(39.6, 24.7, 8, (-19.8, -12.35, 2))


@pytest.mark.parametrize(("middle_mm", "forms"), [(6.1, ["sleeve"]), (6.3, ["slot", "slot"])])
def test_two_pairs_around_one_block_have_their_middles_within_a_quarter(middle_mm, forms):
    # A quarter of 24.7 mm is 6.175.
    both = tuple(surface_of(drawn(solid, "x")) for solid in frame_and_block(middle_mm))
    made, _ = grouped(paired(contacts(both, (0, 1), 0.6)), both)
    assert [each.internal for each in made] == forms


def test_corners_that_are_no_quarters_are_none_of_a_pocket():
    """A plate whose corners are cut off is sharp; its pocket is rounded."""
    outer = box(60, 45, 12, (-30, -22.5, 0)) - rounded_plate(40, 25, 40, 4.0).translate((0, 0, -5))
    plate = box(39.6, 24.6, 8, (-19.8, -12.3, 2))
    for x in (-1, 1):
        for y in (-1, 1):  # its corners cut off, so that they clear the roundings
            plate -= (
                box(6, 6, 20, (-3, -3, -2)).rotate((0, 0, 45)).translate((x * 19.8, y * 12.3, 0))
            )
    both = tuple(surface_of(drawn(solid, "x")) for solid in (outer, plate))
    (group,), _ = grouped(paired(contacts(both, (0, 1), 0.6)), both)
    assert group.corners_mm == pytest.approx((4.0, 0.0), abs=2e-3)


@pytest.mark.parametrize("turn", [(0, 0, 0), (31, 17, 60)])
def test_a_ray_goes_through_material_as_far_as_it_is_thick(turn):
    body = drawn((box(10, 8, 6) - box(4, 20, 2, (3, -5, 2))).rotate(turn))
    axes = np.asarray(box(1, 1, 1).rotate(turn).to_mesh64().vert_properties)[:, :3]
    plain = np.asarray(box(1, 1, 1).to_mesh64().vert_properties)[:, :3]
    frame = np.array([axes[(plain == np.eye(3)[k]).all(axis=1)][0] for k in range(3)])
    for start, way, thick in (
        ((1, 4, 0), (0, 0, 1), 6),
        ((5, 4, 0), (0, 0, 1), 2),
        ((5, 4, 4), (0, 0, 1), 2),
        ((0, 4, 1), (1, 0, 0), 10),
        ((0, 4, 3), (1, 0, 0), 3),
        ((10, 4, 3), (-1, 0, 0), 3),
        ((1, 4, 6), (0, 0, 1), None),
        ((5, 4, 9), (1, 0, 0), None),
    ):
        found = _thickness_mm(body, np.array(start, float) @ frame, np.array(way, float) @ frame)
        assert found == (None if thick is None else pytest.approx(thick, abs=1e-5))


def flanks(lean_deg, wide_mm=10.0, area=(20.0, 20.0), above_mm=0.0):
    """Two faces of a block 0.2 mm inside those of its slot, each leaning by an angle to z."""
    lean = np.radians(lean_deg)
    slab = touching(box(20, 10, 4), box(20, 10, 4, (0, 0, 4.1)), kind=SurfaceKind.PLANE)[0]
    return [
        replace(
            slab,
            normal=np.array([sign * np.cos(lean), 0, np.sin(lean)]),
            point_mm=np.array([-sign * wide_mm / 2, 0, up]),
            area_mm2=mm2,
            gap_mm=0.1,
        )
        for sign, mm2, up in zip((1, -1), area, (0.0, above_mm), strict=True)
    ]


@pytest.mark.parametrize(
    ("change", "are_flanks"),
    [
        ({"lean_deg": 10}, True),
        # Between a quarter of a degree and 37.5.
        ({"lean_deg": 0.26}, True),
        ({"lean_deg": 0.24}, False),
        ({"lean_deg": 37.4}, True),
        ({"lean_deg": 37.6}, False),
        # Areas within a factor of two,
        ({"lean_deg": 10, "area": (20, 39)}, True),
        ({"lean_deg": 10, "area": (20, 41)}, False),
        ({"lean_deg": 10, "area": (39, 20)}, True),
        ({"lean_deg": 10, "area": (41, 20)}, False),
        # level within a tenth of their distance, and not a film apart.
        ({"lean_deg": 10, "above_mm": 0.99}, True),
        ({"lean_deg": 10, "above_mm": 1.01}, False),
        ({"lean_deg": 10, "above_mm": -1.01}, False),
        ({"lean_deg": 10, "wide_mm": 0.31}, True),
        ({"lean_deg": 10, "wide_mm": 0.29}, False),
    ],
)
def test_flanks_of_a_wedge_are_alike(change, are_flanks):
    one, other = flanks(**change)
    assert _leans_alike(one, other) is are_flanks
    assert _leans_alike(other, one) is are_flanks


@pytest.mark.parametrize("sign", [1, -1])
def test_a_slanted_pair_has_its_sizes_halfway_between_the_faces(sign):
    one, other = flanks(20, wide_mm=sign * 10)
    pair = _slanted_pair(one, other)
    # Each face is 5 mm out; halfway to the other body's it is 0.05·cos 20° further in or out.
    between = 10 - sign * 0.1 * np.cos(np.radians(20))
    level = 0.2 / 2 / np.cos(np.radians(20))
    assert pair.sizes_mm == pytest.approx((between + level, between - level), abs=1e-9)
    assert pair.gap_mm == pytest.approx(0.2)
    assert pair.slant_deg == pytest.approx(20)
    assert pair.external == (1 if sign > 0 else 0)
    assert abs(pair.way[0]) == pytest.approx(1)
    assert pair.pull == pytest.approx([0, 0, 1])


@pytest.mark.parametrize("aside", [(1, 0), (-1, 0), (0, 1), (0, -1)])
@pytest.mark.parametrize(("overlap_mm", "do_cover"), [(1.05, True), (0.95, False)])
def test_faces_of_a_pair_cover_each_other_by_a_tenth_of_the_lesser(aside, overlap_mm, do_cover):
    # Squares of 10 and 30 mm, beside each other but for their overlap.
    slab = touching(box(20, 10, 4), box(20, 10, 4, (0, 0, 4.1)), kind=SurfaceKind.PLANE)[0]
    square = np.array([(-1, -1, 4), (1, -1, 4), (1, 1, 4), (-1, 1, 4)], float)
    away = (20 - overlap_mm) * np.array([*aside, 0])
    one, other = (
        replace(slab, outlines_mm=(square * (half, half, 1) + by,))
        for half, by in ((5, np.zeros(3)), (15, away))
    )
    assert _cover_each_other(one, other) is do_cover
    assert _cover_each_other(other, one) is do_cover


def test_faces_are_paired_by_their_distance_and_how_far_they_lie_aside():
    one, other = flanks(0)
    pair = Pair((one, other), 1, np.array([1.0, 0, 0]), (10.2, 10.0), 0.2)
    assert _cost(pair) == pytest.approx(10)
    aside = replace(other, point_mm=other.point_mm + np.array([0.5, 3, 4]))
    assert _cost(replace(pair, contacts=(one, aside))) == pytest.approx(10 + 5)
    assert _cost(replace(pair, contacts=(aside, one))) == pytest.approx(10 + 5)
    assert _cost(None) == 1e6


def test_a_region_reaches_as_far_as_a_corner_from_the_middle_of_its_triangle():
    corners = np.array(
        [[(0, 0, 0), (9, 0, 0), (0, 9, 0)], [(0, 0, 7), (1, 0, 7), (0, 1, 7)]], float
    )
    body = SimpleNamespace(normals=np.array([(0, 0, 1.0), (0, 0, 1)]))
    found = _Middles(SimpleNamespace(corners_mm=corners, body=body, faces=np.array([0, 1])))
    assert found.at_mm[0] == pytest.approx([3, 3, 0])
    assert found.span_mm == pytest.approx(np.hypot(6, 3))
    assert (found.low_mm[2], found.high_mm[2]) == (0, 7)
    # The first one's middle stands at (3, 3, 0), the second one's at (1/3, 1/3, 7).
    other = SimpleNamespace(low_mm=np.array([4.0, 3, 0]), high_mm=np.array([9.0, 9, 1]))
    assert found.near(other, 1.0).tolist() == [0]
    assert found.near(other, 0.99).tolist() == []
    under = SimpleNamespace(low_mm=np.array([-9.0, -9, 0]), high_mm=np.array([2.0, 9, 1]))
    assert found.near(under, 1.0).tolist() == [0]
    assert found.near(under, 0.99).tolist() == []
    assert found.near(under, 6.0).tolist() == [0, 1]


def test_a_pin_in_a_bush_is_round():
    (found,) = touching(round_bar(12, 10) - round_bar(6, 40, (0, 0, -10)), round_bar(5.8, 10))
    assert found.kind is SurfaceKind.CYLINDER
