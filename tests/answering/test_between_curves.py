"""Cylinders beside surfaces that curve both ways are found between them."""

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import drawn

from coupons.answering.meshes.patches import flat_patches, seams_of
from coupons.answering.meshes.regions import SurfaceKind, regions_of
from coupons.answering.meshes.rounds import find_rounds


def turned(profile, sides=48):
    """A body of revolution about z from points (radius, height), counter-clockwise."""
    return Manifold.revolve(CrossSection([np.array(profile, float)]), sides)


def barrel(bulge_deg, long_mm=2.0, belts=7, radius=10.0):
    """Belts around z, each of a length, that lean by so much more than the one before.

    Those of no bulge are one cylinder in several rings.
    """
    leans = np.radians(bulge_deg * (np.arange(belts) - (belts - 1) / 2))
    r, z = [radius], [0.0]
    for lean in leans:
        r.append(r[-1] - long_mm * np.sin(lean))
        z.append(z[-1] + long_mm * np.cos(lean))
    return turned([(0, z[0]), *zip(r, z, strict=True), (0, z[-1])])


def test_a_barrel_that_does_not_bulge_is_a_cylinder():
    found = regions_of(drawn(barrel(0.0)))
    (one,) = [region.cylinder for region in found if region.cylinder is not None]
    assert one.corner_mm == pytest.approx(20, abs=1e-3)
    assert one.half_length_mm == pytest.approx(7, abs=1e-3)
    assert len(found) == 3


@pytest.mark.parametrize("middle_mm", [12.0, 30.0])
def test_the_long_middle_of_a_barrel_is_a_cylinder(middle_mm):
    slope = np.radians([-20.0, -10.0, 0.0, 10.0, 20.0])
    lengths = [2.0, 2.0, middle_mm, 2.0, 2.0]
    r, z = [9.0], [0.0]
    for lean, long_mm in zip(slope, lengths, strict=True):
        r.append(r[-1] - long_mm * np.sin(lean))
        z.append(z[-1] + long_mm * np.cos(lean))
    solid = turned([(0, z[0]), *zip(r, z, strict=True), (0, z[-1])], 24)
    patches = flat_patches(drawn(solid))
    found = find_rounds(patches, seams_of(patches)).cylinders
    ((one, own),) = found
    assert one.corner_mm == pytest.approx(2 * max(r), abs=1e-3)
    assert (one.half_length_mm, len(own)) == (pytest.approx(middle_mm / 2, abs=1e-3), 24)


@pytest.mark.parametrize("sides", [24, 48])
def test_a_torus_beside_a_cylinder_leaves_the_cylinder(sides):
    """A bar whose edge is rounded: its wall is a cylinder, the rounding a free form."""
    a = np.radians(np.linspace(0, 90, 7))
    edge = [(8 + 2 * np.cos(t), 18 + 2 * np.sin(t)) for t in a]
    regions = regions_of(drawn(turned([(0, 0), (10, 0), *edge, (0, 20)], sides)))
    (one,) = [region.cylinder for region in regions if region.cylinder is not None]
    assert one.corner_mm == pytest.approx(20, abs=1e-3)
    assert 2 * one.half_length_mm == pytest.approx(18, abs=1e-3)
    assert one.strips == sides
    assert [region.kind for region in regions].count(SurfaceKind.FREE) == 1
    assert [region.kind for region in regions].count(SurfaceKind.PLANE) == 2
    assert len(regions) == 4
