"""What lies on a round and which seams tell of one, each rule from both sides."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from manifold3d import Manifold
from support.drawn_bodies import box, drawn, round_bar

from coupons.answering.meshes import cones, rounds
from coupons.answering.meshes.cones import find_cones
from coupons.answering.meshes.patches import flat_patches, seams_of
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.meshes.rounds import _Proposals, find_rounds
from coupons.answering.meshes.strips import around, room_mm, with_pieces

UP = np.array([0.0, 0, 1])


def turned(angle):
    """The way up, leaning by a small angle."""
    return np.array([np.sin(angle), 0, np.cos(angle)])


def patches_of(solid):
    patches = flat_patches(drawn(solid))
    return patches, seams_of(patches)


def cylinder_of(solid):
    patches, seams = patches_of(solid)
    ((one, own),) = find_rounds(patches, seams).cylinders
    return patches, one, own


@pytest.mark.parametrize(
    ("change_mm", "lie_on_it"),
    [
        # Corners may lie 2 µm out of the circle; inside it as far as the strips' middles, and 2 µm.
        (0.0, True),
        (-0.0018, True),
        (-0.0023, False),
        ("sagitta", True),
        ("more", False),
    ],
)
def test_pieces_lie_between_the_corners_and_the_flats_of_a_cylinder(change_mm, lie_on_it):
    patches, one, own = cylinder_of(round_bar(10, 3, sides=24))
    change = {"sagitta": one.sagitta_mm + 0.0018, "more": one.sagitta_mm + 0.0023}
    by_mm = change.get(change_mm, change_mm)
    other = replace(one, corner_mm=one.corner_mm + 2 * by_mm)
    found = rounds._lie_on(patches, other, own)
    assert found.tolist() == [lie_on_it] * 24
    ends = np.setdiff1d(np.arange(len(patches.normals)), own)
    assert not rounds._lie_on(patches, other, ends).any()


@pytest.mark.parametrize(("lean", "lie_on_it"), [(2.9e-3, True), (3.1e-3, False)])
def test_pieces_of_a_cylinder_stand_along_its_axis(lean, lie_on_it):
    # So short that its corners hardly move as the axis leans.
    patches, one, own = cylinder_of(round_bar(10, 0.4, sides=24).rotate((0, 0, 7.5)))
    leaning = replace(one, axis=turned(lean))
    ahead = own[np.abs(patches.normals[own, 0]) > 0.999]
    aside = own[np.abs(patches.normals[own, 1]) > 0.999]
    assert len(ahead) == len(aside) == 2
    assert rounds._lie_on(patches, leaning, ahead).tolist() == [lie_on_it] * 2
    assert rounds._lie_on(patches, leaning, aside).tolist() == [True] * 2


def cone_of(solid):
    patches, seams = patches_of(solid)
    found = find_rounds(patches, seams)
    ((one, own),) = find_cones(patches, seams, np.zeros(len(patches.normals), bool))
    assert found.cylinders == ()
    return patches, one, own


@pytest.mark.parametrize("is_inner", [False, True])
@pytest.mark.parametrize(
    ("change", "lie_on_it"),
    [
        ({}, True),
        ({"by_mm": -0.0018}, True),
        ({"by_mm": -0.0023}, False),
        # It leans like the strips, within a degree, and the right way around.
        ({"lean_deg": 0.9}, True),
        ({"lean_deg": -0.9}, True),
        ({"lean_deg": 1.1}, False),
        ({"lean_deg": -1.1}, False),
        ({"is_turned": True}, False),
    ],
)
def test_pieces_lie_on_a_cone(change, lie_on_it, is_inner):
    bar = Manifold.cylinder(0.2, 4.98, 5.02, 24)
    patches, one, own = cone_of(box(20, 20, 0.2, (-10, -10, 0)) - bar if is_inner else bar)
    by_mm, lean = change.get("by_mm", 0.0), change.get("lean_deg", 0.0)
    other = replace(one, corner_mm=one.corner_mm + 2 * by_mm)
    fit = cones._fit_of(other)
    strip_deg = np.degrees(np.arcsin(np.abs(patches.normals[own] @ one.axis).max()))
    # A strip leans less than the lines through its corners; what is asked counts from the latter.
    assert one.half_angle_deg - strip_deg == pytest.approx(0.1, abs=0.05)
    asked = strip_deg + lean
    if change.get("is_turned"):
        other = replace(other, is_inner=not is_inner)
    found = cones._lie_on(patches, fit, replace(other, half_angle_deg=asked), own)
    assert found.tolist() == [lie_on_it] * 24


def seams_along(*ways):
    return SimpleNamespace(way=np.array(ways, float))


def proposals(centres, radii, inner=(False, False)):
    return _Proposals(
        np.arange(2),
        np.array(centres, float),
        np.array(radii, float),
        np.array(inner),
        np.ones((2, 2)),
    )


@pytest.mark.parametrize(
    ("ways", "centres", "radii", "inner", "agree"),
    [
        ((UP, UP), ((0, 0, 0), (0, 0, 50)), (10, 10), (False, False), True),
        ((UP, -UP), ((0, 0, 0), (0, 0, 50)), (10, 10), (True, True), True),
        ((UP, UP), ((0, 0, 0), (0, 0, 0)), (10, 10), (False, True), False),
        # Radii, and the distance of the axes, differ by up to 0.15 of the lesser radius.
        ((UP, UP), ((0, 0, 0), (0, 0, 0)), (10, 11.49), (False, False), True),
        ((UP, UP), ((0, 0, 0), (0, 0, 0)), (10, 11.51), (False, False), False),
        ((UP, UP), ((0, 0, 0), (0, 0, 0)), (11.51, 10), (False, False), False),
        ((UP, UP), ((0, 0, 0), (0, 1.49, 9)), (10, 10), (False, False), True),
        ((UP, UP), ((0, 0, 0), (0, -1.51, 9)), (10, 10), (False, False), False),
        # Seams are parallel within 3 mrad.
        ((UP, turned(2.9e-3)), ((0, 0, 0), (0, 0, 0)), (10, 10), (False, False), True),
        ((UP, turned(3.1e-3)), ((0, 0, 0), (0, 0, 0)), (10, 10), (False, False), False),
    ],
)
def test_two_seams_agree_on_an_axis_and_a_radius(ways, centres, radii, inner, agree):
    pair = np.array([(0, 1), (1, 0)])
    found = rounds._agree(seams_along(*ways), proposals(centres, radii, inner), pair)
    assert found.tolist() == [agree] * 2


def test_seams_are_followed_from_strip_to_strip():
    # Seven seams in a row over eight strips; between the fourth and the fifth they do not agree.
    sides = np.array([(n, n + 1) for n in range(7)])

    def agree(pair):
        return (pair < 4).all(axis=1) | (pair >= 4).all(axis=1)

    groups = around(sides, agree)
    assert [sorted(group.tolist()) for group in groups] == [[0, 1, 2, 3], [4, 5, 6]]
    # Of one seam alone there are but two strips: no round.
    assert around(sides[:1], agree) == []
    assert [sorted(one.tolist()) for one in around(sides[:2], agree)] == [[0, 1]]


def test_seams_of_one_strip_are_compared_three_places_apart():
    """Of a strip with four seams the first and the last agree, and two others lie between."""
    sides = np.array([(0, 1), (0, 2), (0, 3), (0, 4)])

    def ends(pair):
        return (pair.min(axis=1) == 0) & (pair.max(axis=1) == 3)

    assert [sorted(one.tolist()) for one in around(sides, ends)] == [[0, 3]]
    wider = np.array([(0, 1), (0, 2), (0, 3), (0, 4), (0, 5)])
    assert around(wider, lambda pair: (pair.min(axis=1) == 0) & (pair.max(axis=1) == 4)) == []


def test_pieces_are_added_one_after_the_other_and_taken():
    # A row of patches 0 … 6, each beside the next; 5 turns sharply, 3 lies on something else.
    seams = SimpleNamespace(
        patches=np.array([(n, n + 1) for n in range(6)]),
        angle=np.array([0.1, 0.1, 0.1, 0.1, 0.1, 1.0]),
        around=lambda fresh: np.array(
            [k for patch in fresh for k in range(6) if patch in (k, k + 1)]
        ),
    )
    taken = np.zeros(7, bool)
    taken[0] = True
    whole = with_pieces(seams, np.array([0]), taken, lambda some: some != 3)
    assert sorted(whole.tolist()) == [0, 1, 2]
    assert np.flatnonzero(taken).tolist() == [0, 1, 2]
    taken = np.zeros(7, bool)
    taken[4] = True
    whole = with_pieces(seams, np.array([4]), taken, lambda some: some > 0)
    assert sorted(whole.tolist()) == [1, 2, 3, 4, 5]
    taken = np.ones(7, bool)
    assert with_pieces(seams, np.array([2]), taken, lambda some: some > 0).tolist() == [2]


@pytest.mark.parametrize("far_mm", [0.0, 1000.0])
def test_corners_lie_on_their_round_within_two_microns_and_what_32_bits_move(far_mm):
    patches = flat_patches(drawn(box(1, 1, 1, (far_mm, 0, 0))))
    largest = max(1.0, far_mm + 1)
    assert room_mm(patches) == pytest.approx(2e-3 + 4 * largest * 2.0**-23, rel=1e-6)


def uneven_rims(low_mm, high_mm):
    """Both rims are divided in steps of 2 and 18 degrees, the upper one 5 degrees on."""
    steps = np.cumsum(np.tile([2.0, 18.0], 18))
    rims = []
    for radius, by, z in ((low_mm, 0.0, 0.0), (high_mm, 5.0, 12.0)):
        a = np.radians(steps + by)
        rims.append(np.column_stack([radius * np.cos(a), radius * np.sin(a), np.full(36, z)]))
    return Manifold.hull_points(np.concatenate(rims))


@pytest.mark.parametrize("scale", [1.0, 0.15])
@pytest.mark.parametrize("is_inner", [False, True])
def test_narrow_and_wide_facets_of_one_round_stay_together(is_inner, scale):
    for low_mm, high_mm, kind in ((5, 5, SurfaceKind.CYLINDER), (5, 6, SurfaceKind.CONE)):
        bar = uneven_rims(low_mm, high_mm)
        solid = box(20, 20, 12, (-10, -10, 0)) - bar if is_inner else bar
        regions = regions_of(drawn(solid.scale((scale,) * 3)))
        assert [region.kind for region in regions].count(kind) == 1
        assert len(regions) == (7 if is_inner else 3)
        (one,) = [each.cylinder or each.cone for each in regions if each.cylinder or each.cone]
        assert one.corner_mm == pytest.approx((low_mm + high_mm) * scale, abs=1e-3)
        assert one.is_inner is is_inner
        assert one.arc_deg == pytest.approx(360)
        assert one.half_length_mm == pytest.approx(6 * scale, abs=1e-3)


def two_slices(
    radius=10.0, long_mm=5.0, turn=0.1, beside=0.9, sharp_mm=0.0, along_mm=0.0, is_last=False
):
    """Two slices of four strips each, one going on in the other over four rims of 1 mm.

    The first has a radius of 10 mm and seams of 5 mm along z. ``beside`` is the share of the rims'
    way that is not along z; at a rim of ``sharp_mm`` the first one ends in no other slice, and of
    ``along_mm`` are edges beside it, which run along it.
    """
    chains = [(0, 1), (1, 2), (2, 3), (4, 5), (5, 6), (6, 7)]
    rims = [(0, 4), (1, 5), (2, 6), (3, 7), (0, 8), (3, 9)]
    across = np.array([np.sqrt(1 - beside**2), 0, beside])
    ways = [UP] * 6 + [across] * 4 + [np.array([1.0, 0, 0]), UP]
    lengths = [5.0] * 3 + [long_mm] * 3 + [1.0] * 4 + [sharp_mm, along_mm]
    angles = [0.1] * 6 + [turn] * 4 + [1.0, 1.0]
    sides = np.array([*chains, *rims])
    seams = SimpleNamespace(
        patches=sides[:, ::-1] if is_last else sides,
        way=np.array(ways),
        length_mm=np.array(lengths),
        angle=np.array(angles),
    )
    found = _Proposals(
        np.arange(6),
        np.zeros((6, 3)),
        np.array([10.0] * 3 + [radius] * 3),
        np.zeros(6, bool),
        np.ones((6, 2)),
    )
    alike = [np.array([0, 1, 2]), np.array([3, 4, 5])]
    return rounds._gores(seams, found, alike, 10).tolist()


@pytest.mark.parametrize("is_last", [False, True])
@pytest.mark.parametrize(
    ("change", "are_slices"),
    [
        ({"beside": 0.0}, [True, True]),
        # Radii differ by up to 0.15, seams by up to 0.6, each of its own.
        ({"beside": 0.0, "radius": 11.49}, [True, True]),
        ({"beside": 0.0, "radius": 11.51}, [False, True]),
        ({"beside": 0.0, "radius": 11.8}, [False, False]),
        ({"beside": 0.0, "radius": 8.51}, [True, False]),
        ({"beside": 0.0, "radius": 8.49}, [False, False]),
        ({"beside": 0.0, "long_mm": 7.9}, [True, True]),
        ({"beside": 0.0, "long_mm": 8.1}, [False, True]),
        ({"beside": 0.0, "long_mm": 12.6}, [False, False]),
        ({"beside": 0.0, "long_mm": 2.1}, [True, False]),
        # One goes smoothly into the other,
        ({"beside": 0.0, "turn": 0.383}, [True, True]),
        ({"beside": 0.0, "turn": 0.385}, [False, False]),
        # over a rim that does not run along it,
        ({"beside": 0.89}, [True, True]),
        ({"beside": 0.91}, [False, False]),
        # and so at more than half of its rims.
        ({"beside": 0.0, "sharp_mm": 3.9}, [True, True]),
        ({"beside": 0.0, "sharp_mm": 4.1}, [False, True]),
        ({"beside": 0.0, "along_mm": 50.0}, [True, True]),
    ],
)
def test_slices_that_go_on_in_slices_like_them_are_no_cylinders(change, are_slices, is_last):
    assert two_slices(**change, is_last=is_last) == are_slices


def test_no_groups_are_no_slices():
    assert rounds._gores(None, None, [], 3).tolist() == []
