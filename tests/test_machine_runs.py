"""Which runs of a machine are fitted together, and which are re-checks of them."""

from dataclasses import replace
from datetime import date

import pytest
from support.small_coupon import READINGS, TRIALS, small_coupon

from coupons.job.machine_runs import MachineRuns, by_machine
from coupons.making.record import write_coupon
from coupons.measuring.run import sheet
from coupons.measuring.run.conditions import conditions_text, set_value

FULL = small_coupon()
FEW = small_coupon("d2", trials=TRIALS[:2], readings=READINGS[:3])
FEW_ALONG_Z = small_coupon("d3", trials=TRIALS[:2], readings=READINGS[5:6])
JANUARY, MARCH = date(2026, 1, 5), date(2026, 3, 5)


def printed(folder, coupon=FULL, day=JANUARY, *, machine="bench-1", job="", nozzle_mm=0.4, rows=99):
    """Write a run whose first rows are filled in."""
    folder.mkdir(parents=True)
    write_coupon(coupon, folder / "coupon.json")
    text = conditions_text(machine, "grey", nozzle_mm, 0.2, job=job)
    if day is not None:
        text = set_value(text, "", "printed_on", day.isoformat())
    (folder / "conditions.toml").write_text(text, encoding="utf-8")
    blank = sheet.blank_rows(coupon)
    filled = [
        replace(row, result={"fit": "slide", "size": "4.1"}.get(row.kind, ""))
        for row in blank[:rows]
    ]
    sheet.write_rows(folder / sheet.FILE, [*filled, *blank[rows:]])
    return folder


def only(*runs):
    (found,), failed = by_machine(runs)
    assert failed == {}
    return found


def test_a_later_smaller_print_of_the_same_is_a_recheck(tmp_path):
    full = printed(tmp_path / "full")
    check = printed(tmp_path / "check", FEW, MARCH)
    expected = MachineRuns("bench-1", "grey", (full,), ((check,),))
    assert only(full, check) == only(check, full) == expected


@pytest.mark.parametrize(
    "later",
    [
        {"coupon": FULL},  # as large as the first
        {"day": JANUARY},  # printed with it
        {"day": date(2025, 12, 1)},  # before it
        {"coupon": FEW_ALONG_Z},  # tells what the first does not
        {"nozzle_mm": 0.6},  # another machine, so to say
        {"rows": 0},  # blank
    ],
)
def test_any_other_print_is_fitted_with_the_first(tmp_path, later):
    full = printed(tmp_path / "full", rows=len(TRIALS) + 5)
    other = printed(tmp_path / "other", **({"coupon": FEW, "day": MARCH} | later))
    assert only(full, other) == MachineRuns("bench-1", "grey", (full, other))


def test_the_jobs_of_a_set_are_one_print(tmp_path):
    jobs = [
        printed(tmp_path / f"job-{n}", coupon, date(2026, 1, n), job=f"f38bc1-{n}")
        for n, coupon in ((1, FULL), (2, FEW))
    ]
    check = printed(tmp_path / "check", FEW, MARCH)
    assert only(*jobs, check) == MachineRuns("bench-1", "grey", tuple(jobs), ((check,),))


def test_without_dates_nothing_is_told_to_be_later(tmp_path):
    full = printed(tmp_path / "full")
    check = printed(tmp_path / "check", FEW, None)
    assert only(full, check) == MachineRuns("bench-1", "grey", (full, check), (), (check,))


def test_runs_that_cannot_be_read_hide_no_other(tmp_path):
    full = printed(tmp_path / "full")
    spoiled = printed(tmp_path / "spoiled", FEW, MARCH)
    (spoiled / "entries.csv").write_text("kind;\n")
    nameless = printed(tmp_path / "nameless", machine="")
    (found,), failed = by_machine([full, spoiled, nameless])
    assert found == MachineRuns("bench-1", "grey", (full, spoiled))
    assert list(failed) == [nameless]
    assert "machine" in failed[nameless].message
