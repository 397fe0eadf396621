"""Inside jaws in a hole, against geometry that does not use the formula.

No published formula was found. The table was computed to 60 digits from reading² + land² = bore²;
the first test holds the code to it, the second finds the reading by moving two flats apart in a
drawn circle until their corners touch.
"""

import csv
from pathlib import Path

import pytest
import shapely

from coupons.measuring.jaws import bore_from_reading, reading_in_bore

TABLE = Path(__file__).with_name("inside_caliper_flat.csv")


def rows():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    numbers = [line for line in lines if not line.startswith(("#", "D_mm"))]
    return [tuple(map(float, row[:3])) for row in csv.reader(numbers)]


@pytest.mark.parametrize(("bore_mm", "land_mm", "reading_mm"), rows())
def test_readings_agree_with_the_table(bore_mm, land_mm, reading_mm):
    assert reading_in_bore(bore_mm, land_mm) == pytest.approx(reading_mm, abs=6e-7)
    assert bore_from_reading(reading_mm, land_mm) == pytest.approx(bore_mm, abs=2e-6)


@pytest.mark.parametrize(("bore_mm", "land_mm"), [(2, 1.0), (3, 0.5), (5, 0.3), (10, 0.8)])
def test_two_flats_moved_apart_in_a_circle_stop_at_the_reading(bore_mm, land_mm):
    circle = shapely.Point(0, 0).buffer(bore_mm / 2, quad_segs=4000)
    low, high = 0.0, float(bore_mm)
    while high - low > 1e-7:
        middle = (low + high) / 2
        jaws = shapely.box(-middle / 2, -land_mm / 2, middle / 2, land_mm / 2)
        low, high = (middle, high) if circle.contains(jaws) else (low, middle)
    assert reading_in_bore(bore_mm, land_mm) == pytest.approx(low, abs=2e-6)
