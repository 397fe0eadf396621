"""How observations depend on the latent values, against printers run forwards and by hand."""

from dataclasses import replace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.learning.design import design_of, readings_of
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.prior_table import EXTRUSION

STEPS = [(1, f"E{number}") for number in range(1, 6)]  # of the second coupon, `upright`


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
    of_print = np.sum(sizes.effects * (printed.effects - printer.effects)[sizes.run], axis=1)
    own = printed.sizes - systematic - of_print
    latent = np.concatenate(
        [
            printer.terms,
            printed.own.T.ravel(),
            printed.zeros.ravel(),
            printed.bumps,
            printed.presses,
            own,
        ]
    )
    assert latent_model(design, EXTRUSION).predicted(latent) == pytest.approx(shown, abs=1e-6)
    assert np.ptp(shown - systematic[readings.size]) > 0.1  # else there is little to agree on


def column(model, effect, run):
    return N_TERMS + effect * model.design.n_runs + run


def test_by_hand_what_a_print_has_of_its_own_moves_sizes(three_coupons):
    """A slot closes by the first shift and the second, a tongue opens by one and closes by none."""
    model = latent_model(three_coupons, EXTRUSION)
    sizes, readings = three_coupons.sizes, three_coupons.readings
    of_run = {
        effect.scatter + "2" * (effect.share < 1): np.array(
            [
                model.reading_shared[at, column(model, k, sizes.run[size])]
                for at, size in enumerate(readings.size)
            ]
        )
        for k, effect in enumerate(EXTRUSION.prints)
    }
    z = sizes.z_share[readings.size]
    growth = sizes.effects[readings.size] + readings.effects
    faces = [name.startswith("growth") and "xy" not in name for name in EXTRUSION.effects]
    side = np.sign(growth @ np.array(faces, float))
    drawn = sizes.drawn[readings.size]
    flat_in_plane, flat_along_z = z == 0, z == 1
    assert of_run["rho"][flat_in_plane] == pytest.approx(side[flat_in_plane])
    assert of_run["rho2"][flat_in_plane] == pytest.approx(1.0)
    assert of_run["rho_scale"][flat_in_plane] == pytest.approx(drawn[flat_in_plane])
    assert of_run["rho_scale_z"][flat_along_z] == pytest.approx(drawn[flat_along_z])
    for name in ("rho", "rho2", "rho_scale"):
        assert of_run[name][flat_along_z] == pytest.approx(0.0)
    step = np.array([sizes.keys[size] in STEPS for size in readings.size])
    assert step.sum() == 5
    assert of_run["rho_bed"][step] == pytest.approx(0.0)
    outer = flat_along_z & (side > 0) & ~step  # every other height of a coupon stands on the bed
    assert of_run["rho_bed"][outer] == pytest.approx(1.0)
    assert of_run["rho_roof"][outer] == pytest.approx(0.0)
    inner = flat_along_z & (side < 0)
    assert of_run["rho_bed"][inner] == pytest.approx(0.0)
    assert of_run["rho_roof"][inner] == pytest.approx(-1.0)
    assert all(part.any() for part in (outer, inner, flat_in_plane))


def test_grades_alone_need_no_reading(three_coupons):
    model = latent_model(replace(three_coupons, readings=readings_of([])), EXTRUSION)
    assert model.reading_shared.shape == (0, model.n_shared)
    assert len(model.clearance_shared) == len(three_coupons.trials.row)


@pytest.mark.parametrize(
    ("tightest", "loosest", "lower", "upper"),
    [
        # Thresholds: force 0, push 1, slide 2, loose 3. No-go has none below, loose none above.
        (0, 0, None, 0),
        (1, 1, 0, 1),
        (3, 3, 2, 3),
        (4, 4, 3, None),
        (1, 3, 0, 3),
        (0, 3, None, 3),
        (2, 4, 1, None),
    ],
)
def test_grades_lie_between_the_threshold_of_the_tightest_and_that_after_the_loosest(
    three_coupons, tightest, loosest, lower, upper
):
    trials, many = three_coupons.trials, len(three_coupons.trials.internal)
    told = replace(trials, tightest=np.full(many, tightest), loosest=np.full(many, loosest))
    model = latent_model(replace(three_coupons, trials=told), EXTRUSION)
    for has, bound, at in (
        (model.has_lower, model.below, lower),
        (model.has_upper, model.above, upper),
    ):
        assert has.tolist() == [at is not None] * many
        if at is not None:
            assert (bound == np.eye(4)[at]).all()


def test_who_asks_for_more_clearance_finds_every_pair_tighter(three_coupons):
    trials, many = three_coupons.trials, len(three_coupons.trials.internal)
    alone = latent_model(three_coupons, EXTRUSION)
    told = replace(trials, hand=np.arange(many) % 2)
    turns = replace(three_coupons, trials=told, hands=("Ada", "Bo"))
    model = latent_model(turns, EXTRUSION)
    assert model.n_shared == alone.n_shared + 2, "each of two people has a deviation"
    by_hand = np.column_stack([np.arange(many) % 2 == hand for hand in (0, 1)])
    assert (model.clearance_shared[:, -2:] == np.where(by_hand, -1.0, 0.0)).all()
    assert (model.clearance_shared[:, :-2] == alone.clearance_shared).all()
