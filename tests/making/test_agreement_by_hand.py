"""What counts as out of place, for a plain block whose faces lie where everyone can see them."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.looked_at import block
from support.small_coupon import feature, small_coupon

from coupons.making.output.agreement import disagreements

# 40 × 30 × 10 mm, from (5, 6, 0) on.
AT = (5.0, 6.0, 0.0)
MIDDLE = (25.0, 21.0, 5.0)
HALF = math.sqrt(0.5)


def told(made_by, form, direction, size_mm, place_mm):
    """Return what is told of one feature that the block's triangles made, or did not (−1)."""
    one = feature("A1", form, direction, size_mm, place_mm=place_mm)
    coupon = small_coupon(features=(one.model_copy(update={"body": "A"}),))
    names = ("A1",) if made_by == 0 else ()
    solid = replace(block(at=AT, made_by=made_by), features=names)
    return [str(each) for each in disagreements(coupon, (solid,))]


def moved(axis, mm):
    place = list(MIDDLE)
    place["xyz".index(axis)] += mm
    return tuple(place)


@pytest.mark.parametrize("mm", [0.0, 0.0049, -0.0049, 0.0051, -0.0051, 0.3, -2.0])
@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize(
    ("form", "direction", "counts"),
    [
        ("slot", "x", "x"),
        ("tongue", "y", "y"),
        ("tongue", "z", "z"),
        # A round lies where both level ways across it say; along its axis anywhere.
        ("hole", "z", "xy"),
        ("pin", "x", "y"),
        ("hole", "y", "x"),
    ],
)
def test_a_surface_is_where_its_middle_is_across_its_faces(form, direction, counts, axis, mm):
    found = told(0, form, direction, 4.0, moved(axis, mm))
    if axis in counts and abs(mm) > 0.005:
        place = moved(axis, mm)
        (text,) = found
        expected = f"its surface within 0.005 mm of {place}, got {abs(mm):.3f} mm off"
        assert text.startswith(f"feature A1: expected {expected}")
    else:
        assert found == []


@pytest.mark.parametrize(("direction", "way"), [("x+y", (HALF, HALF)), ("x-y", (HALF, -HALF))])
def test_a_slanted_feature_is_looked_at_along_its_slant(direction, way):
    for mm, is_told in ((0.0049, False), (0.0051, True)):
        along = (25 + mm * way[0], 21 + mm * way[1], 5.0)
        aside = (25 + 3 * way[1], 21 - 3 * way[0], 5.0)
        assert bool(told(0, "slot", direction, 4.0, along)) is is_told
        assert told(0, "slot", direction, 4.0, aside) == []


@pytest.mark.parametrize(("direction", "size_mm"), [("x", 40.0), ("y", 30.0), ("z", 10.0)])
def test_a_length_ends_at_the_faces_on_its_line(direction, size_mm):
    assert told(-1, "tongue", direction, size_mm, MIDDLE) == []
    # Half of a longer one at either end, the whole of a shift at both.
    for more, is_told in ((0.0098, False), (0.0102, True), (-0.0098, False), (-0.0102, True)):
        found = told(-1, "tongue", direction, size_mm + more, MIDDLE)
        assert bool(found) is is_told
        assert not found or f"got {abs(more) / 2:.3f} mm off" in found[0]
    for shift, is_told in ((0.0049, False), (0.0051, True), (-0.0051, True), (-0.3, True)):
        found = told(-1, "tongue", direction, size_mm, moved(direction, shift))
        assert bool(found) is is_told
        assert not found or f"got {abs(shift):.3f} mm off" in found[0]
    # One end right and the other a millimetre short: the worse one counts.
    (worse,) = told(-1, "tongue", direction, size_mm - 1, moved(direction, 0.5))
    assert "got 1.000 mm off" in worse
    # Anywhere on the faces will do.
    for other in {"x", "y", "z"} - {direction}:
        assert told(-1, "tongue", direction, size_mm, moved(other, 4.0)) == []


@pytest.mark.parametrize("direction", ["x", "y", "z"])
def test_the_line_runs_within_a_bar_of_a_millimetre(direction):
    axis = "xyz".index(direction)
    sides = np.array([1.0, 1.0, 1.0])
    sides[axis] = 20.0
    thin = replace(block(at=AT), vertices_mm=block().vertices_mm * (sides / (40, 30, 10)))
    middle = tuple(np.add(AT, sides / 2).tolist())
    one = feature("A1", "tongue", direction, 20.0, place_mm=middle)
    coupon = small_coupon(features=(one.model_copy(update={"body": "A"}),))
    assert disagreements(coupon, (replace(thin, features=()),)) == []


@pytest.mark.parametrize(("x", "high"), [(2.0, 2.4), (10.0, 4.0), (20.0, 6.0), (33.0, 8.6)])
@pytest.mark.parametrize("y", [3.0, 26.0])
def test_a_line_meets_a_sloping_face_where_that_is(x, y, high):
    # A roof that rises from 2 mm at one end to 10 mm at the other, 40 mm further.
    corners = block().vertices_mm.copy()
    corners[(corners[:, 0] == 0) & (corners[:, 2] > 0), 2] = 2
    roof = replace(block(at=AT), vertices_mm=corners, features=())
    for off, is_told in ((0.0, False), (0.2, True)):
        place = (AT[0] + x, AT[1] + y, (high + off) / 2)
        one = feature("A1", "tongue", "z", high + off, place_mm=place)
        coupon = small_coupon(features=(one.model_copy(update={"body": "A"}),))
        assert bool(disagreements(coupon, (roof,))) is is_told


def test_a_line_beside_the_body_meets_nothing():
    (found,) = told(-1, "tongue", "x", 40.0, (25.0, 60.0, 5.0))
    assert found.rstrip(".").endswith("of (25.0, 60.0, 5.0), got none")


def test_a_feature_whose_triangles_are_gone_has_no_surface():
    one = feature("A1", "slot", "x", 4.0, place_mm=MIDDLE).model_copy(update={"body": "A"})
    two = feature("A2", "slot", "x", 4.0, place_mm=MIDDLE).model_copy(update={"body": "A"})
    solid = replace(block(at=AT, made_by=1), features=("A1", "A2"))
    found = disagreements(small_coupon(features=(two, one)), (solid,))
    assert [each.where for each in found] == ["feature A1"]
    assert found[0].got == "none"


def test_each_feature_is_looked_for_in_its_own_body():
    other = replace(block("B", at=(105.0, 6.0, 0.0), made_by=0), features=("B1",))
    one = replace(block(at=AT, made_by=0), features=("A1",))
    place = (125.0, 21.0, 5.0)
    features = [
        feature("A1", "slot", "x", 4.0, place_mm=MIDDLE).model_copy(update={"body": "A"}),
        feature("B1", "slot", "x", 4.0, place_mm=place).model_copy(update={"body": "B"}),
    ]
    assert disagreements(small_coupon(features=tuple(features)), (other, one)) == []
    assert np.allclose(np.subtract(place, MIDDLE), (100, 0, 0))
