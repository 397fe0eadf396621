"""Which entries are called unexpected, and what is said of them, where predictions are given."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from support.small_coupon import small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.learning.checking import surprises
from coupons.learning.checking.predictive import PredictedReadings
from coupons.learning.checking.surprises import find_surprises, grades_text
from coupons.learning.design import design_of
from coupons.measuring.run.entries import FitEntry
from coupons.measuring.run.findings import Finding
from coupons.terms import Grade

SD_MM = 0.02


@pytest.fixture(scope="module")
def run():
    """Twelve trials in rows 2 to 13, ten readings in rows 14 to 23."""
    done = as_if_done(small_coupon())
    sizes = tuple(replace(one, row=n) for n, one in enumerate(done.sizes, start=14))
    fits = tuple(replace(one, row=n) for n, one in enumerate(done.fits, start=2))
    return replace(done, folder=Path("run-a"), sizes=sizes, fits=fits)


@pytest.fixture
def found(monkeypatch):
    """Surprises of runs whose readings lie so many sds beyond what a normal predicts."""

    def find(runs, beyond_sds=None, chances=None, findings=()):
        design = design_of(runs)
        beyond = np.zeros(len(design.readings.value)) if beyond_sds is None else beyond_sds
        one = np.ones((1, len(beyond)))
        predicted = PredictedReadings(
            one, (design.readings.value - SD_MM * beyond) * one, SD_MM**2 * one, 1e-9 * one, 4.0
        )
        if chances is None:
            chances = np.tile([0.0, 0.1, 0.8, 0.1, 0.0], (len(design.trials.row), 1))
        told = predicted, SimpleNamespace(chances=chances)
        monkeypatch.setattr(surprises, "predict_left_out", lambda *_: told)
        return find_surprises(SimpleNamespace(mixture=None, design=design), runs, findings)

    return find


def beyond(count, **sds):
    values = np.zeros(count)
    for at, sd in sds.items():
        values[int(at[1:])] = sd
    return values


def test_a_reading_is_unexpected_beyond_2_576_sds_on_either_side(found, run):
    """There a normal has 1 %, both tails together."""
    (one,) = found([run], beyond(10, _2=2.58, _3=2.57, _4=-2.57)).found
    assert (one.run, one.row, one.place) == (0, 16, "A3")
    assert one.chance == pytest.approx(0.00988, abs=1e-5)
    (one,) = found([run], beyond(10, _4=-2.58)).found
    assert one.row == 18
    assert one.chance == pytest.approx(0.00988, abs=1e-5)


def test_it_is_told_with_the_range_of_90_percent_and_what_to_do(found, run):
    # A3 was drawn 12.2 and reads 12.2: 12.14 is expected, ± 1.645 · 0.02.
    (one,) = found([run], beyond(10, _2=3.0)).found
    assert one.where == "entries.csv row 16 (A3)"
    assert (one.result, one.expected) == ("12.2 mm", "12.11 to 12.17 mm")
    assert one.todo == "Measure it again: it is a slip only if the result does not repeat"


def test_what_the_jaws_of_a_hole_should_show_is_told_as_they_show_it(found, run):
    """Jaws 1.5 mm wide show √(5.9² − 1.5²) = 5.706 mm in a bore of 5.9 mm: 0.194 mm less."""
    caliper = run.conditions.caliper.model_copy(update={"jaw_land_mm": 1.5})
    shown = tuple(replace(one, value_mm=5.706) if one.feature == "B1" else one for one in run.sizes)
    wide = run.conditions.model_copy(update={"caliper": caliper})
    (one,) = found([replace(run, conditions=wide, sizes=shown)], beyond(10, _3=3.0)).found
    # 5.9 − 0.06 ± 0.033 in the bore.
    assert (one.result, one.expected) == ("5.706 mm", "5.61 to 5.68 mm")


def with_chances(*chances, at):
    told = np.tile([0.0, 0.1, 0.8, 0.1, 0.0], (12, 1))
    told[at] = chances
    return told


def test_a_grade_is_unexpected_below_one_percent(found, run):
    # All were typed as push.
    assert found([run], chances=with_chances(0.0, 0.0, 0.0101, 0.9, 0.0899, at=3)).found == ()
    (one,) = found([run], chances=with_chances(0.0, 0.0, 0.0099, 0.85, 0.1401, at=3)).found
    assert (one.run, one.row, one.place) == (0, 5, "A2 with G2")
    assert one.where == "entries.csv row 5 (A2 with G2)"
    assert one.chance == pytest.approx(0.0099)
    assert (one.result, one.expected) == ("push", "slide or loose")
    assert one.todo == "Clear strings and burrs, then try it again"
    (one,) = found([run], chances=with_chances(0.0, 0.0, 0.0099, 0.95, 0.0401, at=3)).found
    assert one.expected == "slide"


def test_a_range_of_grades_has_the_chance_of_all_of_them(found, run):
    fits = list(run.fits)
    fits[3] = replace(fits[3], tightest=Grade.FORCE, loosest=Grade.PUSH)
    ranged = replace(run, fits=tuple(fits))
    chances = with_chances(0.9, 0.006, 0.003, 0.091, 0.0, at=3)
    (one,) = found([ranged], chances=chances).found
    assert one.chance == pytest.approx(0.009)
    assert one.result == "force..push"
    assert found([ranged], chances=with_chances(0.9, 0.006, 0.005, 0.089, 0.0, at=3)).found == ()


def test_one_is_clear_if_a_tenth_of_one_as_improbable_is_expected_in_the_sheet(found, run):
    """Of 22 entries: below 0.1 / 22 = 0.00455, from 2.84 sds."""
    told = found([run], beyond(10, _1=2.83, _2=2.85)).found
    assert [(one.place, one.clear) for one in told] == [("A3", True), ("A2", False)]


def test_one_that_the_checks_found_too_is_clear_and_has_their_advice(found, run):
    known = Finding("look", "entries.csv row 15 (A2)", "odd", "Write in")
    elsewhere = Finding("look", "entries.csv row 16 (A3)", "odd", "Not this")
    (one,) = found([run], beyond(10, _1=2.6), findings=[[known, elsewhere]]).found
    assert (one.clear, one.todo) == (True, "Write in")
    together = Finding("look", "entries.csv rows", "odd", "All", parts=(known,))
    (one,) = found([run], beyond(10, _1=2.6), findings=[[together]]).found
    assert (one.clear, one.todo) == (True, "Write in")
    (one,) = found([run], beyond(10, _1=2.6), findings=[[elsewhere]]).found
    assert not one.clear


def test_how_many_are_expected_by_chance(found, run):
    """One in a hundred readings, and the grades that are below 1 % each."""
    told = found([run], chances=with_chances(0.004, 0.003, 0.98, 0.013, 0.0, at=3))
    assert (told.found, told.entries) == ((), 22)
    assert told.by_chance == pytest.approx(0.01 * 10 + 0.004 + 0.003)
    # A grade of 1 % itself is not unexpected.
    assert found([run], chances=with_chances(0.01, 0.0, 0.99, 0.0, 0.0, at=3)).by_chance == 0.1


def test_the_least_probable_of_all_runs_comes_first(found, run):
    other = replace(run, folder=Path("run-b"))
    told = found([run, other], beyond(20, _1=2.7, _11=3.0, _12=2.6)).found
    assert [(one.run, one.place) for one in told] == [(1, "A2"), (0, "A2"), (1, "A3")]


@pytest.mark.parametrize(
    ("tightest", "loosest", "text"),
    [(Grade.PUSH, Grade.PUSH, "push"), (Grade.NO_GO, Grade.FORCE, "no-go..force")],
)
def test_one_grade_or_the_ends_of_a_range(tightest, loosest, text):
    assert grades_text(FitEntry(2, "A1", "G1", tightest, loosest)) == text
