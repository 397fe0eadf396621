"""Priors and fit against straight lines through 690 published lengths.

Values and what is known of their source in published_lengths.csv. The scatter between prints of
one machine, 0.020 mm on a length, is of the same set.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm
from support.synthetic import Builder, with_reports

from coupons.learning.effects import EFFECTS, effect_rows, print_rows, prior_mean, prior_sd
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form

TABLE = Path(__file__).with_name("published_lengths.csv")
LENGTHS_MM = np.array([10.0, 20.0, 30.0, 40.0, 60.0, 80.0])
PRINT_SD_MM = 0.020
N = len(EFFECTS)


def published():
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    rows = csv.reader(line for line in lines if not line.startswith(("#", "axis")))
    return {row[0]: tuple(map(float, row[1:])) for row in rows}


def tongue(axis, size_mm=10.0):
    return Feature(Form.TONGUE, size_mm, Direction(axis), on_bed=axis == "z")


@pytest.mark.parametrize("axis", "xyz")
def test_the_lines_are_nothing_that_the_priors_find_unlikely(axis):
    at_zero, slope, _ = published()[axis]
    rows = effect_rows(tongue(axis), LENGTHS_MM)
    expected = rows @ prior_mean()[:N]
    sd = np.sqrt(rows**2 @ prior_sd()[:N] ** 2)
    assert (abs(at_zero + slope * LENGTHS_MM - expected) < 2 * sd).all()


def test_prints_differ_as_the_prior_of_their_scatter_says():
    """The sd between prints on a length in the plane lies in the middle half of its prior."""
    rows = print_rows(effect_rows(tongue("x"), np.array([20.0])), EXTRUSION)[0]
    share = np.sqrt(sum((r * e.share) ** 2 for r, e in zip(rows, EXTRUSION.prints, strict=True)
                        if e.scatter == "rho"))  # fmt: skip
    prior = EXTRUSION.scatters["rho"]
    place = norm.cdf(np.log(PRINT_SD_MM / (share * prior.median)) / prior.log_sd)
    assert 0.25 < place < 0.75


@pytest.fixture(scope="module")
def fitted():
    """A fit to lengths that scatter about the published lines as published, four of each."""
    build = Builder()
    errors = []
    rng = np.random.default_rng(46)
    for axis, (at_zero, slope, sd) in published().items():
        for copy in range(4):
            for mm in LENGTHS_MM:
                build.readings.append(build.size(0, f"{axis}{mm:g}-{copy}", tongue(axis, mm)))
                errors.append(at_zero + slope * mm + rng.normal(0, sd))
    design = build.design()
    drawn = design.sizes.drawn[design.readings.size]
    return fit_design(with_reports(design, value=drawn + np.array(errors)))


@pytest.mark.parametrize("axis", "xyz")
def test_a_fit_finds_the_lines_that_lengths_scatter_about(fitted, axis):
    at_zero, slope, residual_sd = published()[axis]
    rows = effect_rows(tongue(axis), LENGTHS_MM)
    found = rows @ fitted.mean[:N]
    sd = np.sqrt(np.einsum("ij,jk,ik->i", rows, fitted.covariance[:N, :N], rows))
    miss = abs(found - at_zero - slope * LENGTHS_MM)
    assert (miss < 2 * sd).all()
    assert (miss < residual_sd).all()
    assert sd.max() < 1.2 * residual_sd
