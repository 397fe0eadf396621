"""Leaving entries out is a person's decision: by row, kept on record, or a clear error."""

from dataclasses import replace
from pathlib import Path

import pytest
from support.small_coupon import small_coupon

from coupons.errors import EntriesError
from coupons.learning.without import leave_out, row_name
from coupons.measuring.run.conditions import Conditions
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.measuring.run.folder import Run
from coupons.terms import Grade, Jaws

CONDITIONS = Conditions(machine="bench-1", material="grey", nozzle_mm=0.4, layer_height_mm=0.2)
RUN = Run(
    Path("results/spring"),
    small_coupon(),
    CONDITIONS,
    (SizeEntry(12, "A1", 11.7, Jaws.INSIDE), SizeEntry(14, "D1", 79.8, Jaws.OUTSIDE)),
    (FitEntry(2, "A1", "G1", Grade.PUSH, Grade.PUSH),),
)
OTHER = replace(RUN, folder=Path("results/autumn"))


def rows(run):
    return [entry.row for entry in (*run.sizes, *run.fits)]


def test_of_one_run_a_row_is_enough():
    (kept,), left_out = leave_out([RUN], ["14", " 2 "])
    assert rows(kept) == [12]
    assert left_out == ("14", "2")


def test_of_several_runs_the_name_says_which():
    kept, left_out = leave_out([RUN, OTHER], ["autumn:12", "spring:2", "autumn:12"])
    assert [rows(run) for run in kept] == [[12, 14], [14, 2]]
    assert left_out == ("autumn:12", "spring:2")


def test_folders_called_the_same_go_by_their_paths():
    runs = [replace(RUN, folder=Path("a/spring")), replace(RUN, folder=Path("b/spring"))]
    assert row_name(runs, 1, 14) == f"{Path('b/spring')}:14"
    kept, _ = leave_out(runs, [row_name(runs, 1, 14)])
    assert [rows(run) for run in kept] == [[12, 14, 2], [12, 2]]


def test_nothing_asked_for_is_nothing_done():
    kept, left_out = leave_out([RUN], [])
    assert kept == (RUN,)
    assert left_out == ()


@pytest.mark.parametrize(
    ("runs", "text", "message"),
    [
        ([RUN], "13", "expected a row with a result, from 2 to 14"),
        ([RUN], "999999999999", "expected a row with a result"),
        ([RUN], "A1", "expected the number of a row, such as 14, got 'A1'"),
        ([RUN], "-2", "expected the number of a row"),
        ([RUN], "", "expected the number of a row"),
        ([RUN], "winter:12", "expected one of the runs (spring), got 'winter'"),
        ([RUN, OTHER], "12", "expected run and row, such as spring:12"),
    ],
)
def test_rows_that_are_not_there(runs, text, message):
    with pytest.raises(EntriesError) as error:
        leave_out(runs, [text])
    assert message in str(error.value)


def test_every_problem_is_told_at_once():
    with pytest.raises(EntriesError) as error:
        leave_out([RUN], ["13", "x", "12"])
    assert len(error.value.problems) == 2
