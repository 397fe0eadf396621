"""Rounds of unlike strips: their circle is exact, and their areas are those of polygons."""

import math

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, rounded_plate

from coupons.answering.meshes.patches import flat_patches, seams_of
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.meshes.rounds import _proposals, find_rounds
from coupons.answering.meshes.strips import covered_deg

TURN = (31.0, 17.0, 60.0)

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def uneven(seed, whole_deg=360.0):
    """Angles in degrees around a turn, or a part of it, in steps of 6 to 18."""
    rng = np.random.default_rng(seed)
    steps = rng.uniform(6, 18, 200)
    steps = steps[np.cumsum(steps) < whole_deg - 18]
    # Two more make up what is missing, each under 22 degrees.
    missing = whole_deg - steps.sum()
    steps = np.append(steps, [missing / 2, missing / 2] if missing > 18 else [missing])
    return np.concatenate([[0.0], np.cumsum(steps)[:-1]]), steps


def ring(angles_deg, radius_mm, z=0.0):
    a = np.radians(angles_deg)
    return np.column_stack([radius_mm * np.cos(a), radius_mm * np.sin(a), np.full(len(a), z)])


def shoelace(points):
    x, y = points[:, 0], points[:, 1]
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


@pytest.mark.parametrize("is_inner", [False, True])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_cylinder_of_uneven_strips(seed, is_inner):
    angles, steps = uneven(seed)
    outline = ring(angles, 6.0)[:, :2]
    bar = Manifold.extrude(CrossSection([outline]), 9)
    solid = box(30, 30, 9, (-15, -15, 0)) - bar if is_inner else bar
    body = drawn(solid.rotate(TURN).translate((40, 5, -9)))
    (one,) = [region.cylinder for region in regions_of(body) if region.cylinder is not None]
    flats = 12 * np.cos(np.radians(steps / 2))
    assert one.corner_mm == pytest.approx(12, abs=1e-4)
    assert one.flat_mm == pytest.approx(float(np.median(flats)), abs=1e-4)
    assert one.sagitta_mm == pytest.approx(6 - flats.min() / 2, abs=1e-4)
    assert one.area_mm == pytest.approx(math.sqrt(4 * shoelace(outline) / math.pi), abs=1e-3)
    assert (one.strips, one.is_inner) == (len(steps), is_inner)
    assert one.arc_deg == pytest.approx(360, abs=1e-2)
    assert one.half_length_mm == pytest.approx(4.5, abs=1e-5)


@pytest.mark.parametrize("is_inner", [False, True])
def test_each_seam_between_uneven_strips_tells_of_the_circle_that_was_drawn(is_inner):
    angles, steps = uneven(3)
    bar = Manifold.extrude(CrossSection([ring(angles, 6.0)[:, :2]]), 9)
    solid = box(30, 30, 9, (-15, -15, 0)) - bar if is_inner else bar
    patches = flat_patches(drawn(solid))
    seams = seams_of(patches)
    upright = np.flatnonzero(
        (np.abs(seams.way[:, 2]) > 0.9) & (np.hypot(*seams.start_mm[:, :2].T) < 7)
    )
    assert len(upright) == len(steps)
    found = _proposals(patches, seams, upright)
    assert found.seams.tolist() == upright.tolist()
    assert found.radius_mm == pytest.approx(np.full(len(steps), 6.0), abs=1e-4)
    assert np.abs(found.centre_mm[:, :2]).max() < 1e-4
    assert (found.is_inner == is_inner).all()
    # The widths of the two strips beside each seam: chords 12·sin(half their step).
    at = np.degrees(np.arctan2(seams.start_mm[upright, 1], seams.start_mm[upright, 0])) % 360
    place = np.abs((at[:, None] - angles + 180) % 360 - 180).argmin(axis=1)
    chords = 12 * np.sin(np.radians(steps / 2))
    both = np.column_stack([chords[place - 1], chords[place]])
    assert np.sort(found.widths_mm, axis=1) == pytest.approx(np.sort(both, axis=1), abs=1e-4)


def test_no_seams_propose_nothing():
    patches = flat_patches(drawn(box(3, 4, 5)))
    seams = seams_of(patches)
    none = _proposals(patches, seams, np.empty(0, dtype=np.int64))
    assert (len(none.radius_mm), none.centre_mm.shape, none.widths_mm.shape) == (0, (0, 3), (0, 2))
    found = find_rounds(patches, seams)
    assert (found.cylinders, found.is_wide.tolist()) == ((), [False] * 6)


@pytest.mark.parametrize(("seed", "arc_deg"), [(4, 150.0), (5, 97.0)])
def test_an_uneven_arc_covers_what_its_strips_do(seed, arc_deg):
    angles, steps = uneven(seed, arc_deg)
    angles = np.append(angles, arc_deg) - arc_deg / 2
    outline = np.concatenate([ring(angles, 6.0)[:, :2], [(-3.0, 3.0), (-3.0, -3.0)]])
    body = drawn(Manifold.extrude(CrossSection([outline]), 9))
    (region,) = [region for region in regions_of(body) if region.cylinder is not None]
    one = region.cylinder
    assert one.arc_deg == pytest.approx(arc_deg, abs=1e-2)
    assert (one.strips, one.is_inner) == (len(steps), False)
    # Sectors of the polygon over sectors of the circle, each 36/2 mm² a radian.
    share = np.sin(np.radians(steps)).sum() / np.radians(arc_deg)
    assert one.area_mm == pytest.approx(12 * math.sqrt(share), abs=1e-3)
    assert region.area_mm2 == pytest.approx(
        (12 * np.sin(np.radians(steps / 2))).sum() * 9, rel=1e-4
    )
    chord = np.array([12 * math.sin(math.radians(arc_deg / 2)), 0])
    assert region.normal == pytest.approx([1, 0, 0], abs=1e-4)
    assert chord[0] * 9 == pytest.approx(
        np.linalg.norm(body.doubled_mm2[region.faces].sum(axis=0)) / 2, rel=1e-4
    )


@pytest.mark.parametrize("is_inner", [False, True])
@pytest.mark.parametrize("seed", [6, 7])
def test_a_cone_of_uneven_strips(seed, is_inner):
    angles, steps = uneven(seed)
    rims = np.concatenate([ring(angles, 5.0, 0.0), ring(angles, 7.0, 10.0)])
    bar = Manifold.hull_points(rims)
    solid = box(30, 30, 10, (-15, -15, 0)) - bar if is_inner else bar
    body = drawn(solid.rotate(TURN).translate((40, 5, -9)))
    (one,) = [region.cone for region in regions_of(body) if region.cone is not None]
    halves = np.radians(steps / 2)
    assert one.corner_mm == pytest.approx(12, abs=1e-3)
    assert one.half_angle_deg == pytest.approx(math.degrees(math.atan(0.2)), abs=1e-2)
    assert one.flat_mm == pytest.approx(12 * math.cos(float(np.median(halves))), abs=1e-3)
    assert one.sagitta_mm == pytest.approx(6 * (1 - math.cos(halves.max())), abs=1e-3)
    area = shoelace(ring(angles, 6.0)[:, :2])
    assert one.area_mm == pytest.approx(math.sqrt(4 * area / math.pi), abs=1e-3)
    assert (one.strips, one.is_inner) == (len(steps), is_inner)
    assert one.arc_deg == pytest.approx(360, abs=0.1)
    assert one.half_length_mm == pytest.approx(5, abs=1e-3)


@pytest.mark.parametrize(("flat_share", "is_wide"), [(3.9, False), (4.1, True)])
def test_a_face_is_wide_from_four_times_the_strips_that_run_into_it(flat_share, is_wide):
    # Quarters of 4 mm radius in 12 strips: chords of 8·sin 3.75° = 0.5232 mm.
    flat_mm = flat_share * 8 * math.sin(math.radians(3.75))
    patches = flat_patches(drawn(rounded_plate(8 + flat_mm, 28, 6, 4, 48)))
    found = find_rounds(patches, seams_of(patches))
    ends = np.abs(patches.normals[:, 1]) > 1 - 1e-6
    assert ends.sum() == 2
    assert found.is_wide[ends].tolist() == [is_wide] * 2
    assert found.is_wide.sum() == 2 + 2 * is_wide
    assert len(found.cylinders) == 4


@pytest.mark.parametrize(
    ("angles", "covered"),
    [
        # The gap from 90 over 0 to 0 counts as well; gaps up to 44 degrees are closed over.
        ((0, 30, 60, 90), 90.0),
        ((-170, 170, 150), 40.0),
        (tuple(range(0, 360, 40)), 360.0),
        ((*range(0, 316, 35), 315.0), 315.0),
        ((*range(0, 321, 40), 317.0), 360.0),
    ],
)
def test_points_around_cover_all_but_the_largest_gap(angles, covered):
    assert covered_deg(np.array(angles, float)) == pytest.approx(covered)


def test_a_bar_with_a_flat_keeps_its_round():
    """A shaft of 10 mm with a flat 4 mm from its axis: the flat covers 73.74 degrees."""
    sides = 360
    shaft = Manifold.cylinder(20, 5, 5, sides) - box(10, 20, 30, (4, -10, -5))
    regions = regions_of(drawn(shaft))
    (one,) = [region for region in regions if region.kind is SurfaceKind.CYLINDER]
    # A strip that is cut through ends on the flat; it counts by its facing as a whole one.
    flat = 2 * math.degrees(math.acos(0.8))
    assert one.cylinder.arc_deg == pytest.approx(360 - flat, abs=2.1)
    assert one.cylinder.corner_mm == pytest.approx(10, abs=1e-3)
    assert [region.kind for region in regions].count(SurfaceKind.PLANE) == 3
