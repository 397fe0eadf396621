"""What heights from the bed and from a floor tell apart on one print."""

import numpy as np
from support.synthetic import TYPICAL, done_coupons

from coupons.learning.design import design_of
from coupons.learning.effects import TERMS
from coupons.learning.posterior.laplace import find_mode
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.prior_table import EXTRUSION

GROWTH = TERMS.index("growth_ext_z")


def sd_of_growth_mm(runs):
    """Posterior sd of the growth of tops, a face, at usual scatters."""
    mode = find_mode(latent_model(design_of(runs), EXTRUSION), TYPICAL)
    return float(np.sqrt(mode.shared_covariance(N_TERMS)[GROWTH, GROWTH]))


def all_on_the_bed(run):
    """Return the run as if its steps stood on the bed like all other heights."""
    features = tuple(f.model_copy(update={"on_bed": None}) for f in run.coupon.features)
    return run.__class__(
        **{**vars(run), "coupon": run.coupon.model_copy(update={"features": features})}
    )


def test_steps_tell_the_growth_of_tops_from_the_height_of_the_nozzle():
    runs = done_coupons("upright")
    together, apart = (
        sd_of_growth_mm([all_on_the_bed(run) for run in runs]),
        sd_of_growth_mm(runs),
    )
    assert apart < 0.025
    assert together > 1.7 * apart
