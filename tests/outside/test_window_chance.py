"""The closed forms behind a chance against plain numerical integration."""

import numpy as np
import pytest
from scipy.integrate import trapezoid
from scipy.stats import norm
from support.known_profile import covariance_at, known_profile

from coupons.answering.chances.clearance import Clearance
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.learning.effects import CONTACT_REFERENCE_MM, EFFECTS, THRESHOLDS, effect_row
from coupons.terms import Direction, Feature, Form, Grade, Joint, MovingBody

# As long as the coupon's own: a contact that is not said has a variance of its own.
CONTACT_MM = CONTACT_REFERENCE_MM
JOINT = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)


def chance_by_quadrature(profile, gap_mm, grade):
    """Integrate over this print's shift scatter, the clearance, and the threshold given it."""
    row = effect_row(Feature(Form.SLOT, 12.0, Direction.X))
    row = row - effect_row(Feature(Form.TONGUE, 12.0 - gap_mm, Direction.X))
    n, mean = len(EFFECTS), profile.mean_vector
    at = n + THRESHOLDS.index(grade)
    c_mean = gap_mm + row @ mean[:n]
    own = 2 * profile.scatters["tau"].mean_square
    omega_sq = profile.scatters["omega"].mean_square
    rho = profile.scatters["rho"]

    # Plain trapezoids: over the shift's scatter, then over the clearance.
    z = np.linspace(-6, 6, 241)
    squares = (rho.median_mm * np.exp(rho.log_sd * z)) ** 2
    given_scatter = []
    for square in squares:
        covariance = covariance_at(profile, rho=square)
        variance = row @ covariance[:n, :n] @ row + own + 4 * square
        cross = row @ covariance[:n, at]
        c = np.linspace(c_mean - 2, c_mean + 2, 4001)
        slope = cross / variance
        k_mean = mean[at] + slope * (c - c_mean)
        k_variance = covariance[at, at] - slope * cross
        above = norm.cdf((c - k_mean) / np.sqrt(k_variance + omega_sq))
        given_scatter.append(trapezoid(above * norm.pdf(c, c_mean, np.sqrt(variance)), c))
    return float(trapezoid(np.array(given_scatter) * norm.pdf(z), z))


@pytest.mark.parametrize("gap_mm", [0.1, 0.4, 0.7])
@pytest.mark.parametrize("grade", list(THRESHOLDS))
def test_the_chance_of_a_grade_or_looser(gap_mm, grade):
    profile = correlated()
    clearance = Clearance(
        profile, JOINT, MovingBody.EXTERNAL, np.array([gap_mm]), contact_mm=CONTACT_MM
    )
    assert clearance.chances_from([grade])[0, 0] == pytest.approx(
        chance_by_quadrature(profile, gap_mm, grade), abs=2e-4
    )


def test_the_chance_of_a_window_is_the_difference_of_two():
    profile = correlated()
    found = answer(profile, Question(JOINT, Grade.SLIDE, drawn_gap_mm=0.4, contact_mm=CONTACT_MM))
    both = [chance_by_quadrature(profile, 0.4, grade) for grade in (Grade.SLIDE, Grade.LOOSE)]
    assert found.chance == pytest.approx(both[0] - both[1], abs=3e-4)


def correlated():
    """A profile in which growth and thresholds are known only together, as after real trials."""
    profile = known_profile(sd_share=0.6)
    matrix = profile.covariance_matrix.copy()
    growth = EFFECTS.index("growth_int")
    for k in range(len(THRESHOLDS)):
        at = len(EFFECTS) + k
        sds = np.sqrt(matrix[growth, growth] * matrix[at, at])
        matrix[growth, at] = matrix[at, growth] = -0.4 * sds
    lower = tuple(map(float, matrix[np.tril_indices(len(matrix))]))
    return profile.model_validate(profile.model_dump() | {"covariance": lower})
