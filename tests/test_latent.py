"""How observations depend on the latent values, against printers run forwards and by hand."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic import done_coupons

from coupons.learning.design import design_of
from coupons.learning.effects import EXTRUSION
from coupons.learning.latent import N_TERMS, latent_model
from coupons.learning.prior_printer import draw_printer, observe, print_sizes


@pytest.fixture(scope="module")
def three_coupons():
    return design_of(done_coupons("first", "upright", "round"))


def test_a_printer_run_forwards_shows_what_the_model_predicts(three_coupons):
    rng = np.random.default_rng(3)
    printer = draw_printer(rng)
    scatters = replace(printer.scatters, sigma=1e-9)
    printer = replace(printer, scatters=scatters)
    readings = replace(
        three_coupons.readings, resolution=np.full_like(three_coupons.readings.value, 1e-9)
    )
    design = replace(three_coupons, readings=readings)
    printed = print_sizes(printer, design, rng)
    shown = observe(printer, design, printed, rng).readings.value
    sizes = design.sizes
    systematic = sizes.drawn + sizes.effects @ printer.effects
    in_plane, in_z = printed.shifts[sizes.run].T
    shift = sizes.side * ((1 - sizes.z_share) * in_plane + sizes.z_share * in_z)
    own = printed.sizes - systematic - shift
    latent = np.concatenate([printer.terms, printed.shifts.T.ravel(), own])
    assert latent_model(design, EXTRUSION).predicted(latent) == pytest.approx(shown, abs=1e-6)
    assert np.ptp(shown - systematic[readings.size]) > 0.1  # else there is little to agree on


def test_a_lying_round_read_across_its_layers_has_the_whole_shift_in_height(three_coupons):
    """By hand: x is in the layer plane and z across it, whatever part of a size they are."""
    model = latent_model(three_coupons, EXTRUSION)
    n, sizes, readings = three_coupons.n_runs, three_coupons.sizes, three_coupons.readings
    share = sizes.z_share[readings.size]
    in_plane, in_z = (
        np.abs(model.reading_shared[:, N_TERMS + first : N_TERMS + first + n]).sum(axis=1)
        for first in (0, n)
    )
    lying = share == 0.5
    assert set(zip(in_plane[lying], in_z[lying], strict=True)) == {(1.0, 0.0), (0.0, 1.0)}
    assert set(zip(in_plane[~lying], in_z[~lying], strict=True)) == {(1.0, 0.0), (0.0, 1.0)}
    by_trial = np.abs(model.lower_shared[:, N_TERMS:])
    pair = by_trial[:, :n].sum(axis=1), by_trial[:, n:].sum(axis=1)
    z = sizes.z_share[three_coupons.trials.internal]
    assert pair[0] == pytest.approx(2 * (1 - z))
    assert pair[1] == pytest.approx(2 * z)
