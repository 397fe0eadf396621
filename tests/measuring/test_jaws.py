import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coupons.measuring.jaws import bore_from_reading, reading_in_bore


@pytest.mark.slow
@given(st.floats(0.5, 200), st.floats(0, 0.4))
def test_the_correction_undoes_the_jaws(bore_mm, land_mm):
    assert bore_from_reading(reading_in_bore(bore_mm, land_mm), land_mm) == pytest.approx(bore_mm)


def test_a_land_as_wide_as_the_hole_does_not_enter():
    assert reading_in_bore(0.5, 0.5) == 0
    assert list(reading_in_bore(np.array([0.4, 5.0]), 0.5)) == [0, pytest.approx(4.974937)]


@pytest.mark.parametrize(
    ("bore_mm", "land_mm", "reading_mm"),
    [(1.0, 0.6, 0.8), (1.3, 0.5, 1.2), (5.0, 3.0, 4.0), (0.5, 0.3, 0.4), (7.0, 0.0, 7.0)],
)
def test_reading_land_and_bore_are_sides_of_a_right_triangle(bore_mm, land_mm, reading_mm):
    """Pythagorean triples, some smaller than 1 mm."""
    assert reading_in_bore(bore_mm, land_mm) == pytest.approx(reading_mm)
    assert bore_from_reading(reading_mm, land_mm) == pytest.approx(bore_mm)


def test_jaws_do_not_enter_a_bore_that_is_narrower_than_their_flat():
    assert reading_in_bore(0.5, 3.0) == 0
