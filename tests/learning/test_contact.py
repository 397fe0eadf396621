"""How long pairs bear on each other, from the record to what a fit learns of it."""

from dataclasses import replace

import numpy as np
import pytest
from support.rehearsed import rehearsed_run
from support.synthetic import TYPICAL, done_coupons

from coupons.learning.design import design_of
from coupons.learning.effects import CONTACT_REFERENCE_MM, LOSSES, TERMS
from coupons.learning.observation_table import design_from_table, observation_table
from coupons.learning.pair_contact import contacts_tried_mm
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.terms import Seam

CONTACT, SEAM = LOSSES.index("contact_loss"), LOSSES.index("seam_loss")


def sliding():
    return rehearsed_run(3, coupon=record(plan_coupon(load_spec("sliding"))))


def test_a_trial_counts_the_logarithm_of_its_contact():
    run = sliding()
    folds = design_of([run]).trials.losses[:, CONTACT]
    of_row = dict(zip((fit.feature[0] for fit in run.fits), folds, strict=True))
    assert of_row["E"] == pytest.approx(np.log(20.2 / CONTACT_REFERENCE_MM))
    assert of_row["F"] == pytest.approx(np.log(5.2 / CONTACT_REFERENCE_MM))


def test_a_run_says_its_shortest_usual_and_longest_contact():
    run = sliding()
    assert contacts_tried_mm([run]) == pytest.approx((5.2, 6.2, 20.2))
    assert contacts_tried_mm([replace(run, fits=())]) is None


def test_the_seam_of_a_standing_pin_is_in_its_trials_and_in_no_others():
    run = rehearsed_run(3)
    pins = {f.id for f in run.coupon.features if f.seam is Seam.SHOWN}
    lost = design_of([run]).trials.losses[:, SEAM]
    shown = [fit.feature in pins or fit.mate in pins for fit in run.fits]
    assert lost.tolist() == [float(each) for each in shown]
    assert 0 < sum(shown) < len(shown)


def test_a_table_of_observations_holds_contact_and_seam():
    run = sliding()
    X, y, _ = observation_table([run])
    again = design_from_table(X, y, (0.0,))
    assert again.trials.losses == pytest.approx(design_of([run]).trials.losses)


def test_the_long_row_teaches_how_the_feel_changes_with_the_contact():
    (run,) = done_coupons("sliding")
    short = [t.model_copy(update={"wide_mm": 5.2}) for t in run.coupon.trials]
    alike = replace(run, coupon=run.coupon.model_copy(update={"trials": tuple(short)}))
    at = TERMS.index("contact_loss")
    told = {}
    for name, one in (("long", run), ("alike", alike)):
        mode = find_mode(latent_model(design_of([one]), EXTRUSION), TYPICAL)
        share = mode.shared_covariance(N_TERMS)[at, at] / EXTRUSION.losses["contact_loss"].sd ** 2
        told[name] = 1 / share - 1  # information of the data, as a multiple of the prior's
    # Of so small an effect one print cannot tell much: as much as a twentieth of the prior.
    assert told["long"] > 0.04
    assert told["alike"] < 0.4 * told["long"]
