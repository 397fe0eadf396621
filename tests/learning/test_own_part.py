"""Readings of a part that exists already: faces that sizes share, and a certified instrument."""

import dataclasses

import numpy as np
import pytest
from support.gauge_plate import SIZES, fill_in, part_text

from coupons import make_coupon
from coupons.learning.design import design_of
from coupons.learning.effects import effect_row
from coupons.learning.fit import fit_runs
from coupons.learning.observation_table import design_from_table, observation_table
from coupons.learning.posterior.latent import N_TERMS, Scatters, latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.measuring.run.folder import load_run
from coupons.terms import Direction, Feature, Form

TYPICAL = {name: one.median for name, one in EXTRUSION.scatters.items()}
SCATTERS = Scatters(**TYPICAL | {"tau": 0.03, "tau_z": 0.05, "sigma": 0.02})


def run_of(folder, *sizes, results):
    (folder / "plate.toml").write_text(part_text(*sizes))
    made = make_coupon(folder / "plate.toml", folder / "run", machine="bench-1", material="grey")
    fill_in(made.folder, results)
    return load_run(made.folder)


@pytest.fixture(scope="module")
def from_one_face(tmp_path_factory):
    """Three lengths and the slot from one face, and a length of two faces of its own."""
    left = '\ndatum = "left"'
    sizes = [*(size + left for size in (*SIZES[:3], SIZES[4]))]
    sizes.append('name = "L30"\nform = "tongue"\ndirection = "x"\ndrawn_mm = 30')
    results = ("24.1", "54.1", "94.1", "11.9", "30.1", "0")
    return run_of(tmp_path_factory.mktemp("datum"), *sizes, results=results)


def own_covariance(run):
    """Return the prior covariance of what faces add to sizes, in mm²."""
    design = design_of([run])
    model = latent_model(design, EXTRUSION)
    n_sizes, n_datums = design.shared_faces.shape
    variance = model.prior_variance(SCATTERS)
    faces = np.zeros((n_sizes, len(variance)))
    faces[:, model.n_shared :] = np.eye(n_sizes)
    assert len(design.hands) == 1, "so that the datums are the last of the shared values"
    at = slice(model.n_shared - n_datums, model.n_shared)
    faces[:, at] = model.reading_shared[:n_sizes, at]
    return (faces * variance) @ faces.T


def test_sizes_from_one_face_share_half_their_own_variance(from_one_face):
    # By hand: each face has half the variance of a size, 0.03²/2. The face of a tongue that is one
    # of a slot too opens to its other side: where it stands proud, the tongue grows and the slot
    # closes.
    sign = np.array([1, 1, 1, -1, 0])
    shared = np.outer(sign, sign) * 0.03**2 / 2
    expected = np.where(np.eye(5) == 1, 0.03**2, shared)
    assert own_covariance(from_one_face) == pytest.approx(expected, abs=1e-15)


def test_a_face_of_one_size_alone_changes_nothing(tmp_path):
    run = run_of(tmp_path, SIZES[0] + '\ndatum = "left"', results=("24.1", "0"))
    assert design_of([run]).shared_faces.shape == (1, 0)


def test_an_uncertain_instrument_weighs_like_rounding_of_the_same_variance(from_one_face):
    # A standard uncertainty of 0.004 mm beside steps of 0.001 mm: as variance 0.001²/12 + 0.004².
    model = latent_model(design_of([from_one_face]), EXTRUSION)
    expected = np.sqrt(0.02**2 + 0.001**2 / 12 + 0.004**2)
    assert model.reading_scale(SCATTERS) == pytest.approx(np.full(5, expected), rel=1e-12)


def test_the_table_for_general_tools_keeps_the_uncertainty(from_one_face):
    X, y, _ = observation_table([from_one_face])
    design = design_from_table(X, y, [0.0])
    assert design.readings.least_variance == pytest.approx(np.full(5, 0.001**2 / 12 + 0.004**2))


def test_lengths_from_one_face_tell_less_of_other_lengths(from_one_face):
    part = from_one_face.coupon.part.model_copy(update={"datums": {}})
    apart = dataclasses.replace(
        from_one_face, coupon=from_one_face.coupon.model_copy(update={"part": part})
    )
    row = effect_row(Feature(Form.TONGUE, 57.0, Direction.X))
    covariances = (
        fit_runs([run]).mixture.shared_moments(N_TERMS)[1][: len(row), : len(row)]
        for run in (from_one_face, apart)
    )
    together, alone = (float(row @ covariance @ row) for covariance in covariances)
    assert together > 1.02 * alone
