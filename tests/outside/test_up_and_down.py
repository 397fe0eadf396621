"""Published up-and-down tests, taken in one trial at a time as the entry page does.

With everything known but one threshold, the posterior that takes one trial at a time is a
sequential estimate of the level at which half of the trials go over.

Sources: Ekaputra, Dewa, Haryadi and Kim (2020), Open Engineering 10, 394-400 (fatigue of a steel,
steps of 20 MPa; mean and scatter by Dixon and Mood's rule as printed there; the order of the
specimens was rebuilt from the printed counts). Dror and Steinberg's 40 shots, as handed on in open
teaching data; mean and scatter by maximum likelihood of a probit, worked out with an independent
package.
"""

import numpy as np
import pytest

from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.posterior.latent import AT_THRESHOLDS
from coupons.learning.posterior.stepwise import Noise, NormalPosterior, after_trial
from coupons.terms import Grade

STEEL_MPA = [260, 280, 300, 280, 300, 280, 300, 280, 260, 280, 260, 280]
STEEL_FAILED = [0, 0, 1, 0, 1, 0, 1, 1, 0, 1, 0, 0]
SHOTS = [
    *(18.0, 19.0, 20.0, 21.0, 20.0, 19.0, 18.0, 19.0, 18.0, 18.0, 18.25, 18.5, 18.75, 19.0),
    *(19.25, 19.0, 18.75, 19.0, 18.75, 19.0, 19.25, 19.0, 19.25, 19.0, 18.75, 19.0, 18.75),
    *(19.0, 19.25, 19.5, 19.25, 19.0, 18.75, 18.5, 18.75, 19.0, 18.75, 18.5, 18.75, 18.5),
]
FIRED = [
    *(0, 0, 0, 1, 1, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1, 1, 0, 1, 0, 0),
    *(1, 0, 1, 1, 0, 1, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0),
]
AT = THRESHOLDS.index(Grade.SLIDE)
OVER, UNDER = (AT + 1, len(THRESHOLDS)), (0, AT)


def estimate(levels, went_over, sd, start, start_sd):
    """Return mean and standard deviation of the threshold after all trials, in their order."""
    mean, covariance = np.zeros(len(TERMS)), np.zeros((len(TERMS), len(TERMS)))
    place = AT_THRESHOLDS.start + AT
    mean[place], covariance[place, place] = start, start_sd**2
    now = NormalPosterior(mean, covariance)
    noise = Noise(sd**2, np.array([1.0]), np.array([1.0]), 1.0, lapse=0.0)
    for level, over in zip(levels, went_over, strict=True):
        now = after_trial(now, np.zeros(len(TERMS)), level, OVER if over else UNDER, noise)
    return now.mean[place], np.sqrt(now.covariance[place, place])


@pytest.mark.parametrize("start_mpa", [240, 280, 330])
def test_a_fatigue_limit_is_the_printed_one_wherever_it_starts(start_mpa):
    mean, sd = estimate(STEEL_MPA, STEEL_FAILED, 10.6, start_mpa, 100)
    assert mean == pytest.approx(282, abs=10.6 / np.sqrt(5))  # printed: mean, sd, 5 counted
    # 12 trials tell at most as much as 12 readings, and not much less than the 5 that are counted.
    assert 10.6 / np.sqrt(12) < sd < 1.3 * 10.6 / np.sqrt(5)


def test_forty_shots_give_the_mean_of_maximum_likelihood():
    mean, sd = estimate(SHOTS, FIRED, 0.5473, 20, 5)
    assert mean == pytest.approx(19.138, abs=0.145 / 2)  # half of its standard error
    assert 0.5473 / np.sqrt(40) < sd < 0.145
