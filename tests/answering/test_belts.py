"""Which belts of strips are cones, each rule from both sides, and what a fit moves."""

from types import SimpleNamespace

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import drawn

from coupons.answering.meshes import cones
from coupons.answering.meshes.cones import Cone, _Fit, _fitted, _start
from coupons.answering.meshes.regions import SurfaceKind, regions_of

UP = np.array([0.0, 0, 1])

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def turned(profile, sides=48):
    """A body of revolution about z from points (radius, height), counter-clockwise."""
    return Manifold.revolve(CrossSection([np.array(profile, float)]), sides)


def profile_of(leans_deg, lengths_mm, start_mm=12.0):
    """Belts that lean inwards by angles, one on the other, over lengths of their walls."""
    r, z = [start_mm], [0.0]
    for lean, long_mm in zip(np.radians(leans_deg), lengths_mm, strict=True):
        r.append(r[-1] - long_mm * np.sin(lean))
        z.append(z[-1] + long_mm * np.cos(lean))
    return [(0, z[0]), *zip(r, z, strict=True), (0, z[-1])]


def kinds(solid):
    found = [region.kind for region in regions_of(drawn(solid))]
    return {kind: found.count(kind) for kind in SurfaceKind if found.count(kind)}


@pytest.mark.parametrize(
    ("leans_deg", "lengths_mm", "found"),
    [
        # Two belts that turn smoothly are two cones, three alike a rounding,
        ((10, 25), (3, 3), {SurfaceKind.PLANE: 2, SurfaceKind.CONE: 2}),
        ((10, 25, 40), (3, 3, 3), {SurfaceKind.PLANE: 2, SurfaceKind.FREE: 1}),
        # unless an edge of more than 22 degrees parts them,
        ((10, 25, 48), (3, 3, 3), {SurfaceKind.PLANE: 2, SurfaceKind.CONE: 3}),
        # or one of them is far longer, which leaves two beside it on one side.
        ((10, 25, 40), (12, 3, 3), {SurfaceKind.PLANE: 2, SurfaceKind.CONE: 3}),
    ],
)
def test_three_belts_that_turn_smoothly_are_a_rounding(leans_deg, lengths_mm, found):
    assert kinds(turned(profile_of(leans_deg, lengths_mm))) == found


def test_belts_with_two_rims_of_each_are_joined_once():
    """Three cones of which the two outer ones meet the middle one along both halves of a rim."""

    def one(half):
        return Cone(UP, np.zeros(3), 20.0, 10, 10, 10, 0.1, False, 360.0, half, 24)

    found = [(one(4.0), np.array([0, 1])), (one(4.0), np.array([2, 3])), (one(4.0), np.array([4]))]
    seams = SimpleNamespace(
        patches=np.array([(0, 2), (1, 3), (2, 4), (0, 1), (4, 5)]),
        angle=np.array([0.1, 0.1, 0.1, 0.1, 0.1]),
    )
    assert cones._without_roundings(seams, found, 6).tolist() == [False] * 3
    seams.angle = np.array([0.1, 0.1, 0.5, 0.1, 0.1])
    assert cones._without_roundings(seams, found, 6).tolist() == [True] * 3
    seams.angle = np.array([0.1, 0.1, 0.1, 0.1, 0.1])
    found[1] = (one(1.0), np.array([2, 3]))
    assert cones._without_roundings(seams, found, 6).tolist() == [True] * 3
    assert cones._without_roundings(seams, found[:2], 6).tolist() == [True] * 2


def points(axis, point, radius, slope, heights):
    """Points around a cone at some heights, eleven at each."""
    u = np.cross(axis, (0.3, -0.5, 0.8))
    u /= np.linalg.norm(u)
    v = np.cross(axis, u)
    a = np.linspace(0, 2 * np.pi, 11, endpoint=False)
    round_u = np.outer(np.cos(a), u) + np.outer(np.sin(a), v)
    return np.concatenate([point + h * axis + (radius + slope * h) * round_u for h in heights])


@pytest.mark.parametrize("slope", [0.2, -0.2])
@pytest.mark.parametrize("off_deg", [0.0, 2.0])
def test_a_fit_finds_a_cone_from_an_axis_that_leans(slope, off_deg):
    axis, point = np.array([0.36, 0.48, 0.8]), np.array([5.0, -2.0, 7.0])
    at = points(axis, point, 4.0, slope, (-3, 0, 4))
    # Normals of strips: square to the wall; those of a cone whose axis leans have a lean of theirs.
    aside = np.cross(axis, (0, 0, 1.0))
    aside /= np.linalg.norm(aside)
    leaning = axis * np.cos(np.radians(off_deg)) + aside * np.sin(np.radians(off_deg))
    u = np.cross(leaning, (0.3, -0.5, 0.8))
    u /= np.linalg.norm(u)
    v = np.cross(leaning, u)
    a = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    flat = np.outer(np.cos(a), u) + np.outer(np.sin(a), v) - slope * leaning
    normals = flat / np.linalg.norm(flat, axis=1)[:, None]
    fit = _fitted(at, normals, np.ones(24))
    assert fit.slope == pytest.approx(0.2, abs=1e-8), "counted as it gets wider"
    assert fit.axis == pytest.approx(axis if slope > 0 else -axis, abs=1e-8)
    assert np.abs(fit.off(at)[0]).max() < 1e-8
    assert np.linalg.norm(fit.axis) == pytest.approx(1)


def test_what_has_no_height_or_is_a_tube_is_no_cone():
    flat = points(UP, np.zeros(3), 4.0, 0.0, (0.0,))
    assert _start(flat, UP) is None
    thin = points(UP, np.zeros(3), 4.0, 0.2, (0.0, 0.0019))
    assert _start(thin, UP) is None
    assert _start(points(UP, np.zeros(3), 4.0, 0.2, (0.0, 0.0021)), UP) is not None
    a = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    level = np.column_stack([np.cos(a), np.sin(a), 0 * a])
    assert _fitted(points(UP, np.zeros(3), 4.0, 0.0, (-3, 4)), level, np.ones(24)) is None


def test_how_far_points_lie_outside_is_square_to_the_axis():
    fit = _Fit(UP, np.array([1.0, 2, 3]), 4.0, 0.5)
    # 2 mm above the point the radius is 5; the points are 7 and 5 mm off the axis.
    off, here = fit.off(np.array([(8.0, 2, 5), (1, 7, 5), (1, 2, 1)]))
    assert off == pytest.approx([2, 0, -3])
    assert here == pytest.approx([5, 5, 3])


@pytest.mark.parametrize("sides", [17, 16])
def test_a_cone_has_seventeen_strips_or_more(sides):
    found = kinds(Manifold.cylinder(10, 5, 6, sides))
    # The turn from strip to strip is a little less than 360/16 = 22.5 degrees, for they lean.
    assert (SurfaceKind.CONE in found) is (sides == 17)
    assert found.get(SurfaceKind.PLANE, 0) == (2 if sides == 17 else 18)


@pytest.mark.parametrize(("off_mm", "is_cone"), [(1.9e-3, True), (2.2e-3, False)])
@pytest.mark.parametrize("is_alike", [True, False], ids=["strips", "facets"])
def test_corners_of_a_cone_lie_on_it_within_two_microns(off_mm, is_cone, is_alike):
    if is_alike:
        bar = Manifold.cylinder(8, 5, 6, 72)
    else:
        a = np.linspace(0, 2 * np.pi, 72, endpoint=False)
        rims = [
            np.column_stack([r * np.cos(a + by), r * np.sin(a + by), np.full(72, z)])
            for r, by, z in ((5, 0.0, 0.0), (6, np.pi / 72, 8.0))
        ]
        bar = Manifold.hull_points(np.concatenate(rims))
    # An oval whose rims are as much wider as narrower than a circle, more where they are larger:
    # at the upper rim by what is asked.
    oval = bar.scale((1 + off_mm / 6, 1 - off_mm / 6, 1))
    assert (SurfaceKind.CONE in kinds(oval)) is is_cone
