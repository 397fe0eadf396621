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
