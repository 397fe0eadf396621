"""How many mistakes of the pen the checks find in rehearsed sheets of the coupon `first`.

Sixty prints by bench-1; the standard error of a share near 0.9 is 0.04.
"""

from dataclasses import replace

import pytest
from support.rehearsed import first_coupon, rehearsed_run

from coupons.measuring.checks.mistyped import find_slips
from coupons.measuring.run.sheet import Row
from coupons.terms import Form

pytestmark = pytest.mark.slow

PRINTS = 60


@pytest.fixture(scope="module")
def runs():
    coupon = first_coupon()
    return [rehearsed_run(seed, coupon=coupon) for seed in range(PRINTS)]


def flagged(run, sizes, typed=None):
    """Return the rows that the checks point at when these readings are typed."""
    rows = {
        size.row: Row(size.row, "size", size.feature, result=f"{size.value_mm:.2f}")
        for size in sizes
    }
    rows |= {row: replace(rows[row], result=text) for row, text in (typed or {}).items()}
    found = find_slips(run.coupon, sizes, rows)
    return {int(finding.where.split()[2]) for finding in found}


def share_found(runs, plant):
    """Plant one mistake in each run; return the share of runs in which one of its rows is shown."""
    hits = 0
    for number, run in enumerate(runs):
        changed = plant(number, run)
        by_row = {size.row: size for size in run.sizes} | {size.row: size for size in changed}
        typed = {size.row: f"{size.value_mm:.2f}" for size in changed}
        hits += bool(flagged(run, list(by_row.values()), typed) & typed.keys())
    return hits / len(runs)


def fit_readings(run, form):
    """Return the readings on one axis of the fixed features in the first row of that form."""
    parts = {part.id: part for part in run.coupon.features}
    chosen = [size for size in run.sizes if parts[size.feature].form is form]
    row = parts[chosen[0].feature].row
    return [
        size for size in chosen if parts[size.feature].row == row and size.along == chosen[0].along
    ]


def any_reading(number, run):
    return run.sizes[(7 * number) % len(run.sizes)]


def test_sound_sheets_are_left_in_peace(runs):
    alarms = sum(len(flagged(run, run.sizes)) for run in runs)
    assert alarms / PRINTS < 0.15


def test_a_reading_in_inches_is_always_shown(runs):
    def plant(number, run):
        size = any_reading(number, run)
        return [replace(size, value_mm=round(size.value_mm / 25.4, 3))]

    assert share_found(runs, plant) == 1


def test_a_lost_decimal_point_is_always_shown(runs):
    def plant(number, run):
        size = any_reading(number, run)
        return [replace(size, value_mm=round(size.value_mm * 100))]

    assert share_found(runs, plant) == 1


def test_digits_swapped_across_the_point_are_shown_where_they_change_the_size_much(runs):
    def plant(number, run):
        size = any_reading(number, run)
        text = f"{size.value_mm:.2f}"
        at = text.index(".")
        swapped = f"{text[: at - 1]}{text[at + 1]}.{text[at - 1]}{text[at + 2 :]}"
        much = abs(float(swapped) - size.value_mm) > 1.0
        return [replace(size, value_mm=float(swapped))] if much else plant(number + 1, run)

    assert share_found(runs, plant) >= 0.97


@pytest.mark.parametrize("form", [Form.HOLE, Form.SLOT])
def test_two_readings_of_a_row_exchanged_are_mostly_shown(runs, form):
    def plant(_, run):
        first, *_, last = fit_readings(run, form)
        return [
            replace(first, value_mm=last.value_mm),
            replace(last, value_mm=first.value_mm),
        ]

    assert share_found(runs, plant) >= 0.8
