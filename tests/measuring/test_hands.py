import numpy as np
import pytest

from coupons.measuring.virtual.machine import load_machine
from coupons.measuring.virtual.person import (
    asked_more_mm,
    grade_of,
    in_session,
    read_caliper,
    take_turns,
)
from coupons.terms import GRADES

BENCH = load_machine("bench-1")
SURE = BENCH.person.model_copy(update={"judgement_mm": 0.0, "lapse_chance": 0.0})
EXACT = BENCH.caliper.model_copy(
    update={"zero_mm": 0.0, "repeat_mm": 0.0, "jaw_land_mm": 0.0, "resolution_mm": 0.01}
)


def read(caliper, *sizes_mm, in_bore=False, seed=1):
    where = np.full(len(sizes_mm), in_bore)
    return read_caliper(np.array(sizes_mm), where, caliper, np.random.default_rng(seed))


def test_a_sure_hand_grades_by_its_thresholds():
    clearances = [-0.2, -0.05, 0.05, 0.2, 0.4]
    grades = grade_of(clearances, SURE, np.random.default_rng(1))
    assert [GRADES[grade] for grade in grades] == list(GRADES)


def test_half_of_the_trials_at_a_threshold_say_the_looser_grade():
    """10,000 trials: the standard error of a share of one half is 0.005."""
    unsure = SURE.model_copy(update={"judgement_mm": 0.03})
    grades = grade_of(np.full(10_000, 0.11), unsure, np.random.default_rng(2))
    assert np.mean(grades >= 3) == pytest.approx(0.5, abs=0.02)


def test_lapses_fall_on_every_grade():
    lapsing = SURE.model_copy(update={"lapse_chance": 0.5})
    grades = grade_of(np.full(10_000, 1.0), lapsing, np.random.default_rng(2))
    assert np.bincount(grades) / 10_000 == pytest.approx([0.1, 0.1, 0.1, 0.1, 0.6], abs=0.015)


@pytest.mark.parametrize(
    ("resolution_mm", "reading_mm"), [(0.01, 7.98), (0.05, 8.0), (0.1, 8.0), (0.02, 7.98)]
)
def test_a_reading_is_a_whole_number_of_steps(resolution_mm, reading_mm):
    caliper = EXACT.model_copy(update={"resolution_mm": resolution_mm})
    assert read(caliper, 7.983)[0] == pytest.approx(reading_mm)


def test_the_zero_error_is_in_every_reading():
    caliper = EXACT.model_copy(update={"zero_mm": 0.05})
    assert read(caliper, 8.0, 80.0) == pytest.approx([8.05, 80.05])


def test_the_land_of_the_jaws_matters_in_holes_alone():
    caliper = EXACT.model_copy(update={"jaw_land_mm": 0.8})
    assert read(caliper, 3.0)[0] == pytest.approx(3.0)
    assert read(caliper, 3.0, in_bore=True)[0] == pytest.approx(2.89)


def test_a_slip_swaps_two_digits_and_keeps_the_rest():
    caliper = EXACT.model_copy(update={"slip_chance": 1.0})
    found = {round(float(read(caliper, 7.98, seed=seed)[0]), 2) for seed in range(20)}
    assert found == {9.78, 7.89}


def test_slips_are_as_rare_as_stated():
    caliper = EXACT.model_copy(update={"slip_chance": 0.03})
    found = read(caliper, *[12.34] * 10_000)
    assert np.mean(np.abs(found - 12.34) > 0.001) == pytest.approx(0.03, abs=0.006)


def test_a_reading_of_one_digit_cannot_be_turned_round():
    slipping = EXACT.model_copy(update={"resolution_mm": 1.0, "slip_chance": 1.0})
    assert read(slipping, 5.0, 7.0).tolist() == [5.0, 7.0]
    two = EXACT.model_copy(update={"resolution_mm": 1.0, "slip_chance": 1.0})
    assert read(two, 21.0).tolist() == [12.0]


def test_a_session_adds_zeros_to_those_of_the_caliper():
    """4,000 sessions: the standard error of a mean is sd/63, that of an sd is 1.1 % of it."""
    caliper = EXACT.model_copy(
        update={
            "zero_mm": 0.02,
            "inside_mm": -0.03,
            "session_mm": 0.010,
            "session_inside_mm": 0.004,
        }
    )
    rng = np.random.default_rng(3)
    found = [in_session(caliper, rng) for _ in range(4000)]
    for name, mean, sd in (("zero_mm", 0.02, 0.010), ("inside_mm", -0.03, 0.004)):
        values = np.array([getattr(one, name) for one in found])
        assert values.mean() == pytest.approx(mean, abs=4 * sd / 63)
        assert values.std() == pytest.approx(sd, rel=0.05)


def test_turns_go_round_all_who_try():
    three = SURE.model_copy(update={"others_mm": (0.02, -0.01)})
    assert take_turns(three, 5).tolist() == [0, 1, 2, 0, 1]
    assert take_turns(SURE.model_copy(update={"others_mm": ()}), 3).tolist() == [0, 0, 0]
    more = three.model_copy(update={"contact_mm": 0.01})
    asked = asked_more_mm(more, np.array([6.0, 6.0, 6.0 * np.e]), np.array([0, 1, 2]))
    assert asked == pytest.approx([0.0, 0.02, 0.0])
