"""The virtual printer's small holes against a published table of printed ones.

Eight printed holes of 3 to 10 mm, values and source in hole_closing_published.csv. bench-1 is not
that machine; what is asked is that its holes close as much and in the same manner.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from support.truth import mean_size_mm

from coupons.measuring.virtual.machine import load_machine
from coupons.terms import Direction, Feature, Form

TABLE = Path(__file__).with_name("hole_closing_published.csv")
TOLERANCE_MM = 0.08  # two thirds of the smallest closing in the table


def published():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    numbers = [line for line in lines if not line.startswith(("#", "nominal"))]
    return [tuple(map(float, row)) for row in csv.reader(numbers)]


def error_mm(drawn_mm, form=Form.HOLE):
    feature = Feature(form, drawn_mm, Direction.Z)
    return mean_size_mm(load_machine("bench-1"), feature) - drawn_mm


@pytest.mark.parametrize(("drawn_mm", "published_mm"), published())
def test_each_hole_closes_by_about_as_much(drawn_mm, published_mm):
    assert error_mm(drawn_mm) == pytest.approx(published_mm, abs=TOLERANCE_MM)


def test_closing_grows_with_the_inverse_of_the_size():
    sizes, errors = np.array(published()).T
    ours = [error_mm(size) for size in sizes]
    slope_published = np.polyfit(1 / sizes, errors, 1)[0]
    slope_ours = np.polyfit(1 / sizes, ours, 1)[0]
    assert slope_published == pytest.approx(-1.23, abs=0.01)  # as the table's notes state
    assert slope_ours == pytest.approx(slope_published, rel=0.3)
