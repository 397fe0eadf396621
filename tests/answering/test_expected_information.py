from dataclasses import replace

import numpy as np
import pytest
from support.prior_printer import draw_printer, observe, print_sizes
from support.small_coupon import small_coupon

from coupons.answering.next.expected_information import Belief, as_if_done, covariance_after
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS, prior_mean, prior_sd
from coupons.learning.fit import fit_design
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION, LogNormal

MEDIANS = Scatters(**{name: prior.median for name, prior in EXTRUSION.scatters.items()})
PRIOR = Belief(prior_mean(), np.diag(prior_sd() ** 2), MEDIANS)


@pytest.mark.slow
def test_what_is_foreseen_is_what_fits_find():
    # Thirty printers drawn from a prior whose scatters are known, so that only the terms are open.
    known = {name: LogNormal(prior.median, 0.01) for name, prior in EXTRUSION.scatters.items()}
    table = replace(EXTRUSION, scatters=known)
    design = design_of([as_if_done(small_coupon())])
    rng = np.random.default_rng(0)
    found = []
    for _ in range(30):
        printer = draw_printer(rng, table)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        found.append(fit_design(seen, table).covariance)
    effects = slice(0, len(EFFECTS))
    mean, expected = np.mean(found, axis=0), covariance_after(small_coupon(), PRIOR)
    after, foreseen = (np.sqrt(np.diag(each))[effects] for each in (mean, expected))
    assert after.min() < 0.3 * prior_sd()[effects][np.argmin(after)], "the coupon teaches something"
    assert foreseen == pytest.approx(after, rel=0.08)
    # A trial shows a clearance less a threshold: what is learned of both goes up and down together.
    thresholds = slice(len(EFFECTS), len(EFFECTS) + 4)
    together, apart = EFFECTS.index("growth_int"), EFFECTS.index("growth_ext")
    for found_so in (mean, expected):
        assert (found_so[together, thresholds] < 0).all()
        assert (found_so[apart, thresholds] < 0).all()
    # Few trials of so small a coupon are loose: the last threshold is foreseen roughly at best.
    sds, foreseen_sds = (np.sqrt(np.diag(each))[thresholds][:3] for each in (mean, expected))
    assert foreseen_sds == pytest.approx(sds, rel=0.2)


def test_what_is_not_on_the_coupon_stays_unknown():
    after = np.sqrt(np.diag(covariance_after(small_coupon(), PRIOR)))
    no_slot_roof_was_tried = EFFECTS.index("growth_int_z")
    assert after[no_slot_roof_was_tried] == pytest.approx(0.12, rel=0.01)


def test_a_coupon_never_makes_anything_less_certain():
    before, after = PRIOR.covariance, covariance_after(small_coupon(), PRIOR)
    assert np.linalg.eigvalsh(before - after).min() > -1e-12


def test_a_second_print_teaches_less_than_the_first():
    first = covariance_after(small_coupon(), PRIOR)
    second = covariance_after(small_coupon(), Belief(prior_mean(), first, MEDIANS))
    growth = EFFECTS.index("growth_ext")
    gains = [
        np.log(a[growth, growth] / b[growth, growth])
        for a, b in ((PRIOR.covariance, first), (first, second))
    ]
    assert gains[0] > 2 * gains[1] > 0
