"""Solids of a few simple shapes: where they lie, which triangle is whose, and how far apart."""

import math

import numpy as np
import pytest

from coupons.making.bodies.built_bodies import BuiltBody
from coupons.making.bodies.shapes import Loft, Part, Prism, Text, Turned, rectangle
from coupons.making.output.solids import (
    LETTER,
    PLAIN,
    build_solids,
    clearance_mm,
    common_outline,
    distance_mm,
    overlap_mm3,
    solid_of,
)
from coupons.making.output.stl import facets_bytes, stl_bytes
from coupons.making.plan import PlacedBody, Plan
from coupons.making.spec.coupon_spec import Assumed, parse_spec

SPEC = parse_spec(
    b'title = "t"\n[[row]]\nkind = "sizes"\nform = "hole"\ndirection = "z"\nsizes_mm = [8]\n',
    "t",
    "t.toml",
)
WAY = (1.0, 1.0, 1.0)


def box(low, high, **more):
    outline = rectangle(low[:2], high[:2])
    return Part(Prism("z", outline, low[2], high[2]), **more)


def solids_of(*bodies, shift=(0.0, 0.0, 0.0), plate=1):
    placed = tuple(PlacedBody(body, plate, shift) for body in bodies)
    return build_solids(Plan(SPEC, Assumed(), (), placed))


def solid(*parts, turn=0, shift=(0.0, 0.0, 0.0)):
    (made,) = solids_of(BuiltBody("A", "A", False, turn, parts, ()), shift=shift)
    return made


def extent(made, chosen=None):
    """Return the low and high corner of the triangles that are chosen, on the plate."""
    triangles = made.triangles if chosen is None else made.triangles[chosen]
    points = made.vertices_mm[triangles.ravel()].astype(float) + made.origin_mm
    return points.min(axis=0), points.max(axis=0)


@pytest.mark.parametrize(
    ("turn", "origin"),
    # The box from (2, 3, 1) on, 6 by 4 mm; turned by a quarter its low corner is at (−7, 2).
    [(0, (12.0, 23.0, 1.0)), (90, (3.0, 22.0, 1.0))],
)
def test_a_body_is_turned_moved_and_kept_with_its_low_corner_at_the_origin(turn, origin):
    made = solid(box((2, 3, 1), (8, 7, 6)), turn=turn, shift=(10.0, 20.0, 0.0))
    assert made.origin_mm == origin
    assert made.vertices_mm.min(axis=0).tolist() == [0, 0, 0]
    sides = (6, 4, 5) if turn == 0 else (4, 6, 5)
    assert made.vertices_mm.max(axis=0) == pytest.approx(sides)
    assert made.volume_mm3 == pytest.approx(120)
    assert (made.body, made.plate, made.features) == ("A", 1, ())
    assert (made.made_by == PLAIN).all()
    assert len(made.triangles) == 12


def test_the_place_of_a_body_is_kept_to_a_tenth_of_a_micrometre():
    made = solid(box((0.00004, 0.00006, 0.00012), (5, 5, 5)), shift=(1.0, 2.0, 0.0))
    assert made.origin_mm == (1.0, 2.0001, 0.0001)


def test_a_slanted_body_is_turned_against_the_clock():
    made = solid(box((0, 0, 0), (10, 2, 1)), turn=45)
    h = math.sqrt(0.5)
    assert made.vertices_mm.max(axis=0) == pytest.approx((12 * h, 12 * h, 1), rel=1e-6)
    assert made.origin_mm == pytest.approx((-2 * h, 0, 0), abs=1e-4)


def test_each_triangle_knows_what_made_it():
    made = solid(
        box((0, 0, 0), (30, 20, 4)),
        box((4, 4, -1), (8, 9, 5), cut=True, feature="A2"),
        box((20, 4, 3), (26, 9, 9), feature="A1"),
        Part(Text("-", (12.0, 14.0, 4.0))),
        box((14, 4, -1), (16, 9, 5), cut=True, feature="A2"),
        box((10, 1, 3), (12, 2, 5)),
    )
    assert made.features == ("A2", "A1")
    low, high = extent(made, made.made_by == 0)
    assert (low, high) == (pytest.approx((4, 4, 0)), pytest.approx((16, 9, 4)))
    low, high = extent(made, made.made_by == 1)
    assert (low, high) == (pytest.approx((20, 4, 4)), pytest.approx((26, 9, 9)))
    low, high = extent(made, made.made_by == LETTER)
    # A dash: half a stroke of 0.9 mm about a line four steps of 0.46 mm long, three steps up.
    assert low == pytest.approx((12, 14 + 1.38, 4), abs=1e-3)
    assert high == pytest.approx((12 + 2.74, 14 + 2.28, 4.6), abs=1e-3)
    low, high = extent(made, made.made_by == PLAIN)
    assert (low, high) == (pytest.approx((0, 0, 0)), pytest.approx((30, 20, 5)))
    assert set(made.made_by.tolist()) == {LETTER, PLAIN, 0, 1}
    blocks = 30 * 20 * 4 - (4 * 5 + 2 * 5) * 4 + 6 * 5 * 5 + 1 * 2 * 1
    dash = made.volume_mm3 - blocks
    # A bar with round ends, drawn with twelve sides around the circle.
    ends = 12 * math.tan(math.pi / 12) * 0.45**2
    assert dash == pytest.approx((1.84 * 0.9 + ends) * 0.6, rel=0.02)


def test_a_letter_starts_a_fifth_of_a_millimetre_within_its_face():
    low = np.array(solid_of(Text("A", (1.0, 2.0, 3.0))).bounding_box()[:3])
    high = np.array(solid_of(Text("A", (1.0, 2.0, 3.0))).bounding_box()[3:])
    assert low == pytest.approx((1, 2, 2.8), abs=2e-2)
    assert high == pytest.approx((1 + 2.74, 2 + 3.66, 3.6), abs=2e-2)
    large = np.array(solid_of(Text("AA", (0.0, 0.0, 0.0), 2.0, 1.0)).bounding_box())
    assert large == pytest.approx((0, 0, -0.2, 2 * (2 * 2.74 + 0.7), 2 * 3.66, 1.0), abs=4e-2)


def test_a_stroke_is_a_pen_wide_across_its_flats():
    # A level stroke has flats of a regular twelve-sided pen above and below it: 0.9 mm apart.
    box_ = np.array(solid_of(Text("-", (0.0, 0.0, 0.0))).bounding_box())
    assert box_[4] - box_[1] == pytest.approx(0.9, abs=1e-9)
    assert box_[3] - box_[0] == pytest.approx(2.74, abs=1e-9)


@pytest.mark.parametrize("outside", [False, True])
def test_a_round_is_drawn_with_its_corners_or_its_flats_on_its_radius(outside):
    profile = ((0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0))
    shape = Turned("z", (0.0, 0.0), profile, outside)
    corners = np.asarray(solid_of(shape).to_mesh().vert_properties)[:, :2]
    radii = np.hypot(*corners.T)
    n = shape.sides()
    assert radii.max() == pytest.approx(3 / math.cos(math.pi / n) if outside else 3, rel=1e-6)
    grown = 1 / math.cos(math.pi / n) ** 2 if outside else 1
    area = n / 2 * 9 * grown * math.sin(2 * math.pi / n)
    assert solid_of(shape).volume() == pytest.approx(2 * area, rel=1e-6)


def test_an_outline_may_run_either_way_round():
    outline = ((0.0, 0.0), (6.0, 0.0), (6.0, 2.0), (2.0, 2.0), (2.0, 5.0), (0.0, 5.0))
    for way in (outline, outline[::-1]):
        made = solid_of(Prism("x", way, 2.0, 5.0))
        assert made.volume() == pytest.approx(3 * 18)
        assert made.bounding_box() == pytest.approx((2, 0, 0, 5, 6, 5))
    profile = ((0.0, 1.0), (2.0, 1.0), (2.0, 4.0), (0.0, 4.0))
    for way in (profile, profile[::-1]):
        low_high = solid_of(Turned("x", (7.0, 9.0), way, False)).bounding_box()
        assert low_high == pytest.approx((1, 5, 7, 4, 9, 11))


def test_a_loft_is_the_hull_of_its_outlines():
    wide, narrow = rectangle((0, 0), (4, 4)), rectangle((1, 1), (3, 3))
    made = solid_of(Loft("y", ((-1.0, wide), (2.0, narrow))))
    assert made.volume() == pytest.approx(28)
    assert made.bounding_box() == pytest.approx((0, -1, 0, 4, 2, 4))


def test_what_two_things_share_and_how_far_they_are_apart():
    fixed = (box((0, 0, 0), (10, 10, 10)), box((4, 4, 2), (6, 6, 12), cut=True))
    mate = (box((0, 0, 0), (3, 2, 1)),)
    # Turned over about y it reaches from −3 to 0 and −1 to 0 before it is moved.
    signs = (-1.0, 1.0, -1.0)
    assert overlap_mm3(fixed, mate, signs, (2.0, 1.0, 5.0)) == pytest.approx(2 * 2 * 1)
    assert overlap_mm3(fixed, mate, WAY, (4.0, 4.0, 4.0)) == pytest.approx(1 * 2 * 1)
    assert clearance_mm(fixed, mate, WAY, (13.0, 14.0, 0.0), 9.0) == pytest.approx(5)
    assert clearance_mm(fixed, mate, signs, (-0.5, 0.0, 1.0), 9.0) == pytest.approx(0.5)
    assert clearance_mm(fixed, mate, WAY, (14.0, 0.0, 0.0), 2.5) == pytest.approx(2.5)
    assert clearance_mm(fixed, mate, WAY, (9.5, 0.0, 0.0), 2.5) == 0
    assert clearance_mm(fixed, mate, WAY, (10.0, 0.0, 0.0), 2.5) == pytest.approx(0)


def mesh(low, high):
    made = solid_of(Prism("z", rectangle(low[:2], high[:2]), low[2], high[2])).to_mesh()
    return np.asarray(made.vert_properties, float), np.asarray(made.tri_verts).astype(np.int64)


def test_the_distance_of_two_meshes_is_that_of_their_nearest_points():
    one = mesh((0.0, 0.0, 0.0), (2.0, 2.0, 2.0))
    assert distance_mm(one, mesh((5.0, 6.0, 0.0), (7.0, 7.0, 2.0)), 9.0) == pytest.approx(5)
    assert distance_mm(one, mesh((5.0, 6.0, 0.0), (7.0, 7.0, 2.0)), 3.0) == pytest.approx(3)
    assert distance_mm(one, mesh((1.0, 1.0, 1.0), (7.0, 7.0, 7.0)), 3.0) == 0


def square(low, high):
    return np.array(rectangle((low, low), (high, high)), float)


def test_outlines_share_what_both_of_them_enclose_less_their_holes():
    lines, area = common_outline([square(0, 4)], [square(2, 9)])
    assert area == pytest.approx(4)
    (line,) = lines
    assert (line.min(axis=0).tolist(), line.max(axis=0).tolist()) == ([2, 2], [4, 4])
    lines, area = common_outline([square(0, 6), square(2, 4)], [square(1, 5)[::-1]])
    assert area == pytest.approx(16 - 4)
    assert len(lines) == 2
    assert common_outline([square(0, 1)], [square(2, 3)]) == ([], 0.0)


def test_every_body_that_is_at_fault_is_told():
    apart = (box((0, 0, 0), (1, 1, 1)), box((3, 0, 0), (4, 1, 1)))
    bodies = [BuiltBody(name, name, False, 0, apart, ()) for name in ("A", "B")]
    whole = BuiltBody("C", "C", False, 0, apart[:1], ())
    with pytest.raises(Exception, match="watertight") as caught:
        solids_of(bodies[0], whole, bodies[1])
    assert [each.where for each in caught.value.problems] == ["body A", "body B"]
    assert {each.got for each in caught.value.problems} == {"2 separate pieces"}


FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])


def test_triangles_are_written_with_their_normals():
    corners = np.array(
        [
            [[0, 0, 0], [2, 0, 0], [0, 3, 0]],
            [[0, 0, 0], [0, 0, 4], [0, 4, 0]],
            [[0, 0, 1], [1, 1, 1], [2, 2, 1]],  # a line has no normal
        ],
        float,
    )
    data = facets_bytes(corners, "Prüfstück")
    assert data[:80] == b"Pr?fst?ck, units: mm".ljust(80)
    assert int.from_bytes(data[80:84], "little") == 3
    assert len(data) == 84 + 3 * 50
    facets = np.frombuffer(data[84:], FACET)
    assert facets["normal"].tolist() == [[0, 0, 1], [-1, 0, 0], [0, 0, 0]]
    assert (facets["corners"] == corners).all()
    assert (facets["rest"] == 0).all()
    small = np.frombuffer(facets_bytes(corners / 100, "small")[84:], FACET)
    assert small["normal"].tolist() == [[0, 0, 1], [-1, 0, 0], [0, 0, 0]]
    assert facets_bytes(corners, "t" * 100)[:80] == b"t" * 80


def test_a_body_is_written_by_itself_or_in_its_place():
    made = solid(box((2, 3, 1), (8, 7, 6)), shift=(10.0, 20.0, 0.0))
    for placed, low in ((True, (12, 23, 1)), (False, (0, 0, 0))):
        facets = np.frombuffer(stl_bytes((made, made), "t", placed=placed)[84:], FACET)
        assert len(facets) == 24
        assert facets["corners"].min(axis=(0, 1)) == pytest.approx(low)
