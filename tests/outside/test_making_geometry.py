"""Shapes against geometry that is older than any kernel.

Sources: regular polygons, n sides, circumradius R, inradius r: r = R cos(π/n), area = n r² tan(π/n)
(any handbook of mathematics; the ratios in polygon_circle.csv were computed to 12 digits from
them). Frustums: V = h/3 (A₁ + A₂ + √(A₁A₂)). Built-in beam with a central load: F L³/(192 E I)
in bending (handbooks of mechanics, from memory); the shear part is checked by integration.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from coupons.making.bodies.shapes import Loft, Prism, Turned, circle_sides, rectangle
from coupons.making.bodies.stiffness import (
    FORCE_N,
    MODULUS_MPA,
    POISSON,
    SHEAR_SHARE,
    window_deflection_mm,
)
from coupons.making.output.solids import solid_of

TABLE = Path(__file__).parent / "polygon_circle.csv"


def published() -> list[tuple[int, float, float, float]]:
    with TABLE.open(encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    return [(int(n), float(a), float(b), float(c)) for n, a, b, c in rows]


def cylinder(radius: float, *, outside: bool) -> Turned:
    profile = ((0.0, 0.0), (radius, 0.0), (radius, 4.0), (0.0, 4.0))
    return Turned("z", (10.0, 20.0), profile, outside)


@pytest.mark.parametrize("radius", [1.5, 2.5, 4.0, 11.0, 40.0])
def test_the_chord_error_of_a_round_stays_under_two_micrometres(radius):
    sides = circle_sides(radius)
    assert sides % 4 == 0
    assert radius * (1 - math.cos(math.pi / sides)) < 0.002


@pytest.mark.parametrize(("sides", "inradius", "inscribed", "circumscribed"), published())
def test_turned_solids_are_the_polygons_of_the_table(
    sides, inradius, inscribed, circumscribed, monkeypatch
):
    monkeypatch.setattr(Turned, "sides", lambda _: sides)
    radius = 5.0
    circle = math.pi * radius**2 * 4.0
    pin = solid_of(cylinder(radius, outside=False))
    hole = solid_of(cylinder(radius, outside=True))
    assert pin.volume() / circle == pytest.approx(inscribed, rel=1e-8)
    assert hole.volume() / circle == pytest.approx(circumscribed, rel=1e-8)
    corners = hole.to_mesh64().vert_properties[:, :2] - (10.0, 20.0)
    far = np.hypot(*corners.T).max()
    assert far * inradius == pytest.approx(radius, rel=1e-8)


def test_a_loft_of_rectangles_is_a_frustum():
    loft = Loft("z", ((1.0, rectangle((0, 0), (8, 6))), (4.0, rectangle((2, 1.5), (6, 4.5)))))
    handbook = 3 / 3 * (48 + 12 + math.sqrt(48 * 12))
    assert loft.volume_mm3() == pytest.approx(handbook, rel=1e-12)
    assert solid_of(loft).volume() == pytest.approx(handbook, rel=1e-8)


def test_a_turned_cone_is_a_cone():
    cone = Turned("z", (0.0, 0.0), ((0.0, 0.0), (3.0, 0.0), (1.0, 5.0), (0.0, 5.0)), True)
    handbook = math.pi * 5 / 3 * (9 + 3 + 1)
    assert cone.volume_mm3() == pytest.approx(handbook, rel=1e-12)
    assert solid_of(cone).volume() == pytest.approx(handbook, rel=1e-3)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
def test_a_shape_lies_along_its_axis_whichever_that_is(axis):
    place = "xyz".index(axis)
    prism = Prism(axis, rectangle((1, 2), (3, 5)), 10.0, 14.0)
    low, high = np.reshape(solid_of(prism).bounding_box(), (2, 3))
    assert (low[place], high[place]) == pytest.approx((10, 14))
    assert solid_of(prism).volume() == pytest.approx(24.0)
    others = [k for k in range(3) if k != place]
    assert tuple(low[others]) == pytest.approx((1, 2))
    assert tuple(high[others]) == pytest.approx((3, 5))


@pytest.mark.parametrize("axis", ["y", "z"])
def test_a_turned_shape_keeps_its_centre_on_any_axis(axis):
    shape = Turned(axis, (3.0, 7.0), ((0.0, 1.0), (2.0, 1.0), (2.0, 6.0), (0.0, 6.0)), False)
    low, high = np.reshape(solid_of(shape).bounding_box(), (2, 3))
    place = "xyz".index(axis)
    others = [k for k in range(3) if k != place]
    assert (low[place], high[place]) == pytest.approx((1, 6))
    assert tuple((low + high)[others] / 2) == pytest.approx((3, 7))


@pytest.mark.parametrize(("length", "wall", "depth"), [(7, 3, 3.6), (12, 4, 5), (8, 3, 20)])
def test_wall_deflection_is_that_of_a_built_in_beam(length, wall, depth):
    """Unit-load method by quadrature; a central load F leaves F L/8 at both ends."""
    rigidity = MODULUS_MPA * depth * wall**3 / 12
    shear_rigidity = SHEAR_SHARE * MODULUS_MPA / (2 * (1 + POISSON)) * depth * wall
    x = (np.arange(20000) + 0.5) / 20000 * length / 2
    moment = FORCE_N * (x / 2 - length / 8)
    # By symmetry both halves count alike; the unit load's moment is the load's over F.
    bending = 2 * np.mean(moment * moment / FORCE_N / rigidity) * length / 2
    shear = 2 * (FORCE_N / 2) * 0.5 / shear_rigidity * length / 2
    assert window_deflection_mm(length, wall, depth) == pytest.approx(bending + shear, rel=1e-6)
    assert bending == pytest.approx(FORCE_N * length**3 / (192 * rigidity), rel=1e-6)
