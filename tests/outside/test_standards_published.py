"""ISO limits and bought hardware against published tables, each named in its file."""

import csv
from pathlib import Path

import pytest

from coupons.answering.standards.hardware import hardware
from coupons.answering.standards.iso286 import fit_limits, tolerance_mm

HERE = Path(__file__).parent


def published(name):
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


@pytest.mark.parametrize("row", published("iso286_worked_fits.csv"), ids=lambda row: row["fit"])
def test_worked_fits_come_out_to_the_micrometre(row):
    fit = fit_limits(row["fit"])
    ours = (fit.hole.upper_mm, fit.hole.lower_mm, fit.shaft.upper_mm, fit.shaft.lower_mm)
    theirs = ("hole_max_mm", "hole_min_mm", "shaft_max_mm", "shaft_min_mm")
    assert ours == tuple(float(row[key]) for key in theirs)
    assert round(fit.gap_min_mm * 1000) == int(row["clearance_min_um"])
    assert round(fit.gap_max_mm * 1000) == int(row["clearance_max_um"])


def test_grades_follow_the_formula_that_the_table_was_rounded_from():
    # ISO 286-1 (formula from memory): i = 0.45·∛D + 0.001·D µm at the geometric mean D of a step;
    # IT6 … IT14 are 10 … 400 i. Above 6 mm the table keeps within 4 % of it.
    steps = [(6, 10), (10, 18), (18, 30), (30, 50), (50, 80), (80, 120)]
    multiples = [10, 16, 25, 40, 64, 100, 160, 250, 400]
    for over, to in steps:
        mean = (over * to) ** 0.5
        unit_um = 0.45 * mean ** (1 / 3) + 0.001 * mean
        for number, multiple in zip(range(6, 15), multiples, strict=True):
            assert tolerance_mm(number, to) * 1000 == pytest.approx(multiple * unit_um, rel=0.045)


@pytest.mark.parametrize("row", published("iso273_rows.csv"), ids=lambda row: row["thread"])
@pytest.mark.parametrize(("series", "width_grade"), [("fine", 12), ("medium", 13), ("coarse", 14)])
def test_clearance_holes(row, series, width_grade):
    hole = hardware(f"screw {row['thread']} {series}").printed
    assert hole.nominal_mm == hole.lower_mm == float(row[series])
    assert hole.width_mm == pytest.approx(tolerance_mm(width_grade, hole.nominal_mm))


@pytest.mark.parametrize("row", published("dowel_limits.csv"), ids=lambda row: row["to_incl_mm"])
def test_dowel_limits(row):
    size = float(row["to_incl_mm"])
    m6 = hardware(f"pin {size} m6")
    assert m6.lower_mm == pytest.approx(size + float(row["m6_lower_um"]) / 1000)
    assert m6.upper_mm == pytest.approx(size + float(row["m6_upper_um"]) / 1000)
    for grade in ("h6", "h8"):
        if row[f"{grade}_lower_um"]:
            pin = hardware(f"pin {size} {grade}")
            assert pin.upper_mm == size
            assert pin.lower_mm == pytest.approx(size + float(row[f"{grade}_lower_um"]) / 1000)


# Nuts: enggkatta.com/metric-nut-dimensions-chart. Major diameters, class 6g: scribd.com/document/
# 454996243. Washers: designparams.com/parts/washers/flat-washer, the lower limit from memory.
# Bearing rings 8 and 22 mm: rajkot.com/srs/tolerance.htm and gld-bearing.com/radial.htm.
@pytest.mark.parametrize(
    ("text", "lower_mm", "upper_mm"),
    [
        ("nut M3", 5.32, 5.5),
        ("nut M8", 12.73, 13),
        ("screw M3", 2.874, 2.98),
        ("screw M12", 11.701, 11.966),
        ("washer M4", 8.64, 9),
        ("washer M8", 15.57, 16),
        ("bearing outer 22", 21.991, 22),
        ("bearing bore 8", 7.992, 8),
    ],
)
def test_other_hardware(text, lower_mm, upper_mm):
    piece = hardware(text)
    assert (piece.lower_mm, piece.upper_mm) == pytest.approx((lower_mm, upper_mm))
