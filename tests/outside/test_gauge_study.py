"""A gauge study: ten parts, three people, three readings each.

Data and results: the worked example of the AIAG manual Measurement Systems Analysis, reprinted on
many public pages. With the interaction pooled (78 degrees of freedom, mean square 0.03997) the
variance components are repeatability 0.03997, reproducibility 0.05146, part 1.08645.

Here a part is a feature with its own deviation, a reading's scatter is the repeatability, and who
read it is an effect. In a balanced study the maximum of our evidence is then the analysis of
variance.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from support.synthetic import flat_table, plain_design, small_scatters

from coupons.learning.effects import EFFECTS
from coupons.learning.posterior.corrections import best_mode
from coupons.learning.posterior.latent import latent_model

# fmt: off
READINGS = np.array([  # person, part, repeat
    [  # A
        [0.29, 0.41, 0.64],
        [-0.56, -0.68, -0.58],
        [1.34, 1.17, 1.27],
        [0.47, 0.5, 0.64],
        [-0.8, -0.92, -0.84],
        [0.02, -0.11, -0.21],
        [0.59, 0.75, 0.66],
        [-0.31, -0.2, -0.17],
        [2.26, 1.99, 2.01],
        [-1.36, -1.25, -1.31],
    ],
    [  # B
        [0.08, 0.25, 0.07],
        [-0.47, -1.22, -0.68],
        [1.19, 0.94, 1.34],
        [0.01, 1.03, 0.2],
        [-0.56, -1.2, -1.28],
        [-0.2, 0.22, 0.06],
        [0.47, 0.55, 0.83],
        [-0.63, 0.08, -0.34],
        [1.8, 2.12, 2.19],
        [-1.68, -1.62, -1.5],
    ],
    [  # C
        [0.04, -0.11, -0.15],
        [-1.38, -1.13, -0.96],
        [0.88, 1.09, 0.67],
        [0.14, 0.2, 0.11],
        [-1.46, -1.07, -1.45],
        [-0.29, -0.67, -0.49],
        [0.02, 0.01, 0.21],
        [-0.46, -0.56, -0.49],
        [1.77, 1.45, 1.87],
        [-1.49, -1.77, -2.16],
    ],
])
# fmt: on


@pytest.fixture(scope="module")
def fitted():
    person, part, _ = (a.ravel() for a in np.indices(READINGS.shape))
    design = plain_design(np.zeros((READINGS.size, 1)), value=READINGS.ravel(), group=part)
    who = np.zeros((READINGS.size, len(EFFECTS)))
    who[np.arange(READINGS.size), person] = 1.0
    design = replace(design, readings=replace(design.readings, effects=who))
    model = latent_model(design, flat_table(wide=1e5))

    def at(log_sds):
        part_sd, repeat_sd = np.exp(log_sds)
        scatters = small_scatters(tau=part_sd, sigma=repeat_sd, omega=1.0)
        return best_mode(model, scatters)

    options = {"xatol": 1e-8, "fatol": 1e-11, "maxiter": 2000}
    found = minimize(lambda x: -at(x)[1], np.log([1.0, 0.3]), method="Nelder-Mead", options=options)
    return np.exp(found.x), at(found.x)[0]


def test_repeatability_and_part_variance(fitted):
    (part_sd, repeat_sd), _ = fitted
    assert repeat_sd**2 == pytest.approx(0.03997, abs=5e-6)
    assert part_sd**2 == pytest.approx(1.08645, abs=5e-5)


def test_reproducibility_from_the_peoples_effects(fitted):
    (_, repeat_sd), mode = fitted
    between_people = np.var(mode.latent[:3], ddof=1) - repeat_sd**2 / 30
    assert between_people == pytest.approx(0.05146, abs=5e-6)


def test_the_share_of_the_gauge_in_all_variation(fitted):
    (part_sd, repeat_sd), mode = fitted
    gauge = np.var(mode.latent[:3], ddof=1) - repeat_sd**2 / 30 + repeat_sd**2
    assert 100 * gauge / (gauge + part_sd**2) == pytest.approx(7.76, abs=0.005)
