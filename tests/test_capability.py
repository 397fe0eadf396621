import numpy as np
import pytest
from known_profile import known_profile

from coupons.answering.capability import grades_reached, meet_limits
from coupons.answering.size_words import limits_sentences
from coupons.answering.standards import fit_limits
from coupons.learning.profile import MeasuredRange
from coupons.terms import Direction, Form

FINE = {"tau": 0.004, "rho": 0.003}


def meet(profile, code="12 H13/d13"):
    return meet_limits(profile, fit_limits(code), Form.SLOT, Form.TONGUE, Direction.X)


def test_both_sides_aim_at_the_middle_of_their_limits():
    found = meet(known_profile(sd_share=0.01))
    assert found.hole.expected_mm == pytest.approx(12.135, abs=0.011)
    assert found.shaft.expected_mm == pytest.approx(11.815, abs=0.011)


def test_the_chance_of_both_is_that_of_drawn_pairs():
    profile = known_profile(sd_share=0.2)
    found = meet(profile)
    rng = np.random.default_rng(7)
    n = 200_000
    terms = dict(
        zip(
            profile.means,
            rng.multivariate_normal(profile.mean_vector, profile.covariance_matrix, n).T,
            strict=True,
        )
    )
    rho = profile.scatters["rho"]
    square = (rho.median_mm * np.exp(rho.log_sd * rng.normal(size=n))) ** 2
    shift = np.sqrt(np.maximum(2 * square - rho.mean_square, 0)) * rng.normal(size=n)
    tau = np.sqrt(profile.scatters["tau"].mean_square)
    hole = found.hole.drawn_mm * (1 + terms["scale_x"]) - 2 * terms["growth_int"] - shift
    shaft = found.shaft.drawn_mm * (1 + terms["scale_x"]) + 2 * terms["growth_ext"] + shift
    hole, shaft = (size + rng.normal(0, tau, n) for size in (hole, shaft))
    fit = found.fit
    holds = (hole > fit.hole.lower_mm) & (hole < fit.hole.upper_mm)
    holds &= (shaft > fit.shaft.lower_mm) & (shaft < fit.shaft.upper_mm)
    assert found.both.chance == pytest.approx(holds.mean(), abs=0.006)
    assert found.both.chance <= min(found.hole.chance, found.shaft.chance) + found.both.error


def test_finer_limits_are_held_less_often():
    chances = [meet(known_profile(), f"12 H{n}/d{n}").both.chance for n in (8, 10, 12, 14)]
    assert chances == sorted(chances)


def test_the_grade_reached_follows_the_scatter_and_the_size():
    # Six sds of sqrt(0.004² + 0.003²) = 0.03 mm, a little more for what is not known of the two:
    # over IT8 (0.027) at 10 to 18 mm, within IT8 (0.033) at 18 to 30 mm only by a hair.
    slot = MeasuredRange(form=Form.SLOT, direction=Direction.X, low_mm=12, high_mm=25)
    profile = known_profile(scatters=FINE, measured=(slot,))
    found = {(reach.low_mm, reach.high_mm): reach.grade for reach in grades_reached(profile)}
    assert found == {(12, 18): 9, (18, 25): 8}
    (coarse, _) = grades_reached(known_profile(scatters={"tau": 0.2}, measured=(slot,)))
    assert coarse.grade is None


def test_an_answer_to_limits_tells_the_grades_of_its_own_sides_over_all_sizes():
    found = meet(known_profile())
    assert {(r.form, r.direction) for r in found.reached} == {
        (Form.SLOT, Direction.X),
        (Form.TONGUE, Direction.X),
    }
    said = " ".join(limits_sentences(found))
    assert said.count("asks for IT13") == 2, "a verdict for each side, at its own size"
    assert "slots across x: IT14 at 3 to 10 mm, IT13 at 10 to 30 mm, IT12 at 30 to 80 mm." in said


def test_no_grade_is_told_at_a_size_that_was_not_measured():
    said = limits_sentences(meet(known_profile(), "81 H14/d14"))
    verdicts = [line for line in said if "asks for" in line or "not measured" in line]
    assert [line.split(": not")[0] for line in verdicts] == [
        "Slots across x of 81 mm",
        "Tongues across x of 81 mm",
    ]
    assert all("not measured at this size" in line for line in verdicts)


def test_a_step_of_which_one_size_was_measured_is_told_by_that_size():
    pair = [
        MeasuredRange(form=form, direction=Direction.X, low_mm=3, high_mm=5)
        for form in (Form.SLOT, Form.TONGUE)
    ]
    said = " ".join(limits_sentences(meet(known_profile(measured=tuple(pair)), "3 H14/d14")))
    assert "Slots across x of 3 mm reach" in said
