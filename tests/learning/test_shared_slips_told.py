"""What is reported of slips that many entries share, where their odds are given."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from support.small_coupon import small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.errors import FitError
from coupons.learning.checking import shared_slips
from coupons.learning.checking.caliper_off import OffStretch
from coupons.learning.checking.misplaced import Misplaced
from coupons.learning.checking.shared_slips import find_shared_slips, shared_slips_of
from coupons.learning.fit import fit_runs

ROWS = (7, 3, 5)


def gauge(log_odds, mate="G1", typed="A2", meant="A3", run=0):
    return Misplaced(run, log_odds, "gauge", ROWS, (mate, typed, meant))


def rows_exchanged(log_odds, names=("B", "C", "F", "G"), run=0):
    return Misplaced(run, log_odds, "rows", ROWS, names)


def stretch(log_odds, off_mm=0.15):
    return OffStretch(0, log_odds, off_mm, ROWS)


def sheet(parts=None, note=""):
    return SimpleNamespace(parts=parts, note=note)


ONE = (sheet(),)


@pytest.fixture
def told(monkeypatch):
    """Report what is found in some runs, where the computation found this."""

    def report(gauges=(), rows=(), prints=(), off=None, alike=None, sheets=ONE):
        for name, found in {
            "slipped_gauges": gauges,
            "exchanged_rows": rows,
            "turned_prints": prints,
            "off_alike_mm": alike,
            "BayesFactors": None,
        }.items():
            monkeypatch.setattr(shared_slips, name, lambda *_, found=found: found)
        monkeypatch.setattr(shared_slips, "off_stretch", lambda _, n: None if n else off)
        monkeypatch.setattr(shared_slips, "may_share_slips", lambda run: run.note != "long")
        by_run = find_shared_slips(SimpleNamespace(mixture=None), sheets)
        assert len(by_run) == len(sheets)
        return by_run

    return report


def test_a_gauge_is_reported_from_odds_of_245_to_1_with_what_to_try_again(told):
    # Log odds of 5.5.
    assert told([gauge(5.49)]) == ((),)
    ((found,),) = told([gauge(5.5)])
    assert found.severity == "look"
    assert found.where == "entries.csv rows 3 to 7"
    assert found.what == (
        "the trials of G1 agree better with the others if moved one place in their row:"
        " A2 becomes A3 and so on (245 to 1)"
    )
    assert found.todo == "Try G1 in A2 and A3 again; if all are one place off, move them"


def test_of_two_ways_of_one_gauge_the_likelier_is_reported_and_every_gauge_by_itself(told):
    ways = [gauge(6.0), gauge(6.5, meant="A1"), gauge(5.6), gauge(5.8, mate="G2"), gauge(5.0, "H1")]
    ((first, second),) = told(ways)
    assert "A2 becomes A1 and so on (665 to 1)" in first.what
    assert "the trials of G2" in second.what


@pytest.mark.parametrize(
    ("log_odds", "said"), [(6.9, "(992 to 1)"), (6.92, "(more than 1000 to 1)")]
)
def test_odds_beyond_a_thousand_are_said_as_such(told, log_odds, said):
    ((found,),) = told([gauge(log_odds)])
    assert said in found.what


def test_rows_exchanged_are_reported_from_odds_of_7_to_1_in_pairs(told):
    assert told(rows=[rows_exchanged(1.99)]) == ((),)
    ((found,),) = told(rows=[rows_exchanged(2.0)])
    assert found.where == "entries.csv rows 3 to 7"
    assert found.what == (
        "the entries agree better with one another if rows B and C, F and G are exchanged (7 to 1)"
    )
    assert found.todo.startswith(
        "Check by the letters and arrows on the part whether it was turned"
    )
    ((best,),) = told(rows=[rows_exchanged(2.5), rows_exchanged(3.0, ("B", "C"))])
    assert "rows B and C are exchanged (20 to 1)" in best.what


@pytest.mark.parametrize(("runs", "others"), [(2, "the other run"), (3, "the other runs")])
def test_a_print_that_was_turned_is_reported_in_its_own_run(told, runs, others):
    by_run = told(prints=[Misplaced(1, 3.0, "print", ROWS)], sheets=[sheet()] * runs)
    assert [len(each) for each in by_run] == [0, 1, 0][:runs]
    assert by_run[1][0].what == (
        f"this print agrees better with {others} if x and y are exchanged (20 to 1)"
    )
    assert by_run[1][0].todo.startswith("Check by the arrows on the coupons")


def test_a_stretch_is_reported_from_odds_of_403_to_1_with_its_offset(told):
    assert told(off=stretch(5.99)) == ((),)
    ((found,),) = told(off=stretch(6.0))
    assert found.where == "entries.csv rows 3 to 7"
    assert found.what == ("these 3 readings are 0.15 mm above what all others predict (403 to 1)")
    assert found.todo.startswith("Close the jaws: does it read 0.00? Measure the first of them")
    ((low,),) = told(off=stretch(6.0, -0.15))
    assert "0.15 mm below what" in low.what


def test_of_a_stretch_and_a_turned_coupon_only_the_likelier_is_reported(told):
    for turned, off, word in (
        (8.0, 8.0, "readings are"),
        (8.1, 8.0, "exchanged"),
        (2.5, 5.9, "exc"),
    ):
        ((found,),) = told(rows=[rows_exchanged(turned)], off=stretch(off))
        assert word in found.what


@pytest.mark.parametrize(
    ("range_mm", "said", "way"),
    [((0.05, 0.21), "0.05 to 0.21 mm", "large"), ((-0.23, -0.07), "0.07 to 0.23 mm", "small")],
)
def test_sizes_that_are_off_alike_are_reported_in_every_run(told, range_mm, said, way):
    for (found,) in told(alike=range_mm, sheets=[sheet()] * 2):
        assert found.where == "entries.csv"
        assert found.what.startswith(f"outer and inner sizes alike read {said} too {way};")
        assert found.todo.startswith("Close the jaws: does it read 0.00? Type what it reads")


def test_lists_of_parts_have_no_rows_of_gauges_and_are_left_out(told):
    found = [gauge(9.0), gauge(9.0, run=1)]
    mixed = told(found, alike=(0.05, 0.21), sheets=[sheet(), sheet("parts.csv")])
    assert [len(each) for each in mixed] == [2, 0]
    assert told(found[:1], sheets=[sheet("parts.csv")]) == ((),)


def test_nothing_is_said_where_one_sheet_is_longer_than_a_person_types(told):
    assert told([gauge(9.0)], sheets=[sheet(), sheet(note="long")]) == ((), ())
    assert told([gauge(9.0)], sheets=[sheet(), sheet("parts.csv", "long")])[0]


def test_a_run_that_cannot_be_fitted_has_none():
    blank = replace(as_if_done(small_coupon()), sizes=(), fits=())
    with pytest.raises(FitError):
        fit_runs([blank])
    assert shared_slips_of(blank) == ()


def test_a_run_by_itself_has_the_slips_of_the_fit_of_it_alone(monkeypatch):
    run = as_if_done(small_coupon())
    fitted = SimpleNamespace()
    monkeypatch.setattr(shared_slips, "fit_runs", lambda runs: (fitted, runs))
    monkeypatch.setattr(shared_slips, "find_shared_slips", lambda fit, runs: ((fit, runs),))
    assert shared_slips_of(run) == ((fitted, [run]), [run])
