"""The lattice over scatters, on densities whose moments are known another way."""

from types import SimpleNamespace

import numpy as np
import pytest

from coupons.learning.posterior.latent import N_TERMS
from coupons.learning.posterior.lattice import Point, explored, flattening, one_scatter


class Known:
    """A log posterior given as a formula, in place of one that takes a fit at every point."""

    active = ("one", "other")

    def __init__(self, log_posterior):
        self.log_posterior = log_posterior
        self.calls = 0

    def at(self, z, _start=None):
        self.calls += 1
        mode = SimpleNamespace(latent=np.zeros(N_TERMS))
        return Point(z, None, mode, float(self.log_posterior(*z)))


def skewed(a, b):
    """Logarithms of two gamma variables: a long tail on one side."""
    return 3 * a - np.exp(a) + 5 * (b - a / 2) - np.exp(b - a / 2)


def normal(a, b):
    return -0.5 * (a**2 + (b - a) ** 2 / 0.5**2)


def bent(a, b):
    """A ridge that curves."""
    return -0.5 * (a**2 / 0.8**2 + (b - 0.5 * a**2) ** 2 / 0.4**2)


def moments_on_a_grid(log_posterior):
    a, b = np.meshgrid(np.linspace(-7, 7, 701), np.linspace(-7, 7, 701))
    weights = np.exp(log_posterior(a, b))
    weights /= weights.sum()
    mean = np.array([(weights * a).sum(), (weights * b).sum()])
    square = np.array([(weights * a**2).sum(), (weights * b**2).sum()])
    return mean, np.sqrt(square - mean**2)


@pytest.mark.parametrize(
    ("log_posterior", "mean_off", "sd_off"),
    # A ridge that curves this much is cut short at both ends.
    [(normal, 1e-6, 0.03), (skewed, 0.1, 0.1), (bent, 0.25, 0.3)],
)
def test_moments_of_a_skewed_and_of_a_bent_density(log_posterior, mean_off, sd_off):
    evidence = Known(log_posterior)
    points = explored(evidence)
    values = np.array([point.log_posterior for point in points])
    weights = np.exp(flattening(2) * (values - values.max()))
    weights /= weights.sum()
    z = np.array([point.z for point in points])
    mean, sd = moments_on_a_grid(log_posterior)
    got = weights @ z
    assert abs(got - mean) / sd == pytest.approx(0, abs=mean_off)
    assert np.sqrt(weights @ (z - got) ** 2) == pytest.approx(sd, rel=sd_off)
    assert evidence.calls < 80  # each is a fit


@pytest.mark.parametrize("height", [-2.0, 0.0, 1.0])
def test_two_hills_of_the_judgement_are_added_up(height):
    """Hills as wide as each other: the second weighs exp(height) times the first."""

    def two(a, b):
        return np.logaddexp(
            -0.5 * ((a + 0.3) ** 2 + b**2) / 0.3**2,
            height - 0.5 * ((a - 2.3) ** 2 + (b - 0.5) ** 2) / 0.3**2,
        )

    evidence = Known(two)
    evidence.active = ("omega", "other")
    points = explored(evidence)
    log_posterior = np.array([point.log_posterior for point in points])
    volume = np.exp([point.log_volume for point in points])
    weights = volume * np.exp(flattening(2) * (log_posterior - log_posterior.max()))
    weights /= weights.sum()
    z = np.array([point.z for point in points])
    share = np.exp(height) / (1 + np.exp(height))
    assert weights @ (z[:, 0] > 1) == pytest.approx(share, abs=0.04)
    assert weights @ z[:, 0] == pytest.approx(2.6 * share - 0.3, abs=0.1)


def test_one_hill_is_counted_once():
    evidence = Known(skewed)
    once = explored(evidence)
    evidence.active = ("omega", "other")
    assert len(explored(evidence)) == len(once)


def test_of_two_hills_the_higher_is_found():
    def two(a, b):
        low = -0.5 * ((a + 1.0) ** 2 + b**2) / 0.3**2
        high = 3 - 0.5 * ((a - 1.0) ** 2 + b**2) / 0.3**2
        return np.logaddexp(low - 0.05 * a**2, high - 0.05 * a**2)

    points = explored(Known(two))
    best = max(points, key=lambda point: point.log_posterior)
    assert best.z == pytest.approx([1.0, 0.0], abs=0.2)


def test_without_scatters_to_learn_there_is_one_point():
    evidence = Known(lambda: 0.0)
    evidence.active = ()
    assert len(explored(evidence)) == 1


def test_one_scatter_by_itself_has_the_product_of_prior_and_data():
    """Both log-normal: precisions add up, and the mean is weighed by them."""
    median, log_sd, said, said_sd = 0.03, 0.6, np.log(0.05), 0.5

    class OfOne:
        model = SimpleNamespace(
            table=SimpleNamespace(scatters={"tau_z": SimpleNamespace(median=median, log_sd=log_sd)})
        )

        def __init__(self, said_sd):
            self.fixed, self.said_sd = {"tau_z": 0.07}, said_sd

        def at(self, z, _start=None):
            off = (np.log(self.fixed["tau_z"]) - said) / self.said_sd
            return Point(z, None, SimpleNamespace(latent=None), -0.5 * off**2)

    top = Point(np.zeros(0), None, SimpleNamespace(latent=None), 0.0)
    evidence = OfOne(said_sd)
    found = one_scatter(evidence, "tau_z", top)
    precision = 1 / log_sd**2 + 1 / said_sd**2
    mean = (np.log(median) / log_sd**2 + said / said_sd**2) / precision
    assert found.log_mean == pytest.approx(mean, abs=1e-3)
    assert found.log_sd == pytest.approx(precision**-0.5, rel=1e-3)
    assert found.mean_square == pytest.approx(np.exp(2 * mean + 2 / precision), rel=5e-3)
    assert evidence.fixed == {"tau_z": 0.07}, "it stands again where it stood"
    # Where the data say nothing, what is left is the prior, up to three of its sds.
    silent = one_scatter(OfOne(np.inf), "tau_z", top)
    assert silent.log_mean == pytest.approx(np.log(median), abs=1e-9)
    assert silent.log_sd == pytest.approx(log_sd, rel=0.02)
