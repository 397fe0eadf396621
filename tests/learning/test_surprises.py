"""Planted slips are found, named by their row, and told what to do about."""

from dataclasses import replace

import pytest
from support.rehearsed import first_coupon, rehearsed_run

from coupons.learning.checking.surprises import find_surprises
from coupons.learning.fit import fit_runs
from coupons.measuring.run.findings import Finding
from coupons.terms import GRADES, Form, Grade


def with_reading(run, index, added_mm):
    sizes = list(run.sizes)
    sizes[index] = replace(sizes[index], value_mm=sizes[index].value_mm + added_mm)
    return replace(run, sizes=tuple(sizes))


def with_grade(run, index, grade):
    fits = list(run.fits)
    fits[index] = replace(fits[index], tightest=grade, loosest=grade)
    return replace(run, fits=tuple(fits))


@pytest.fixture(scope="module")
def sound():
    return rehearsed_run(3, "bench-2")


@pytest.mark.slow
def test_a_wrong_digit_comes_first(sound):
    entry = sound.sizes[20]
    run = with_reading(sound, 20, 0.3)
    first = find_surprises(fit_runs([run]), [run]).found[0]
    assert (first.run, first.row, first.place) == (0, entry.row, entry.feature)
    assert first.chance < 0.005
    assert first.result == f"{entry.value_mm + 0.3:.6g} mm"
    low, high = (float(text) for text in first.expected.removesuffix(" mm").split(" to "))
    assert low < entry.value_mm < high < entry.value_mm + 0.3
    assert "Measure it again" in first.todo


@pytest.mark.slow
def test_what_is_expected_of_a_hole_is_what_its_jaws_would_show(sound):
    features = {feature.id: feature for feature in sound.coupon.features}
    small = min(
        (i for i, e in enumerate(sound.sizes) if features[e.feature].form is Form.HOLE),
        key=lambda i: sound.sizes[i].value_mm,
    )
    wide_jaws = sound.conditions.model_copy(
        update={"caliper": sound.conditions.caliper.model_copy(update={"jaw_land_mm": 1.5})}
    )
    run = replace(with_reading(sound, small, 0.5), conditions=wide_jaws)
    found = find_surprises(fit_runs([run]), [run]).found
    mine = next(one for one in found if one.row == sound.sizes[small].row)
    low, high = (float(text) for text in mine.expected.removesuffix(" mm").split(" to "))
    # A 1.5 mm land hides 0.4 mm of a 3 mm bore; the bore itself is far above what jaws show.
    assert low < sound.sizes[small].value_mm + 0.1
    assert high < run.sizes[small].value_mm


@pytest.mark.slow
def test_a_grade_from_the_wrong_row_is_found(sound):
    tight = next(i for i, entry in enumerate(sound.fits) if entry.tightest is Grade.NO_GO)
    run = with_grade(sound, tight, Grade.LOOSE)
    found = find_surprises(fit_runs([run]), [run]).found
    entry = run.fits[tight]
    mine = next(one for one in found if one.row == entry.row)
    assert mine.place == f"{entry.feature} with {entry.mate}"
    assert mine.result == "loose"
    assert set(mine.expected.split(" or ")) <= set(GRADES) - {"loose"}


@pytest.mark.slow
def test_a_check_that_knows_better_says_what_to_do(sound):
    run = with_reading(sound, 20, 0.3)
    entry = run.sizes[20]
    known = Finding("look", f"entries.csv row {entry.row} ({entry.feature})", "odd", "Write in")
    found = find_surprises(fit_runs([run]), [run], [[known]]).found
    assert next(one for one in found if one.row == entry.row).todo == "Write in"


@pytest.mark.slow
def test_of_two_runs_the_right_one_is_named(sound):
    coupon = first_coupon()
    runs = [sound, with_reading(rehearsed_run(4, "bench-2", coupon, "run-b"), 10, -0.4)]
    first = find_surprises(fit_runs(runs), runs).found[0]
    assert (first.run, first.row) == (1, runs[1].sizes[10].row)


@pytest.mark.slow
def test_a_sound_run_surprises_about_as_often_as_said(sound):
    found = find_surprises(fit_runs([sound]), [sound])
    assert found.entries == len(sound.sizes) + len(sound.fits)
    assert 0.5 < found.by_chance < 4
    assert len(found.found) <= 5


@pytest.mark.slow
def test_nothing_is_dropped(sound):
    run = with_reading(sound, 20, 0.3)
    fitted = fit_runs([run])
    find_surprises(fitted, [run])
    assert len(fitted.design.readings.value) == len(run.sizes)
