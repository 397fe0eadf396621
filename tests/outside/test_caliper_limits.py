"""The numbers that stand for calipers, against the limits of error of DIN 862.

Limits for 0.02 and 0.01 mm dials and digital calipers from the table in DIN 862 as posted on
metav-shop.com and diesella.dk (din862_caliper_limits.csv); inside and depth readings may be off by
0.02 mm more. The split at 100 and 200 mm is a reading of merged cells.
"""

import csv
from pathlib import Path

import pytest

from coupons.measuring.checks.mistyped import REPEAT_RANGE_MM
from coupons.measuring.virtual.machine import load_machine, shipped_machines

TABLE = Path(__file__).with_name("din862_caliper_limits.csv")
INSIDE_EXTRA_MM = 0.02


def limits_mm():
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        float(row["measuring_length_mm"]): float(row["digital_or_dial_0.02_or_0.01_um"]) / 1000
        for row in rows
    }


def test_two_readings_within_the_limits_are_not_called_far_apart():
    worst_mm = limits_mm()[200] + INSIDE_EXTRA_MM
    assert pytest.approx(2 * worst_mm) == REPEAT_RANGE_MM


@pytest.mark.parametrize("name", shipped_machines())
def test_the_bench_calipers_keep_the_limits_and_the_bent_one_does_not(name):
    caliper = load_machine(name).caliper
    assert (abs(caliper.zero_mm) <= limits_mm()[100]) == (name != "attic-1")
