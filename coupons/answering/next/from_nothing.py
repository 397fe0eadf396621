"""What is believed of a printer of which nothing was printed yet."""

import numpy as np

from coupons.learning.effects import TERMS, prior_mean, prior_sd
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Counts, LogSpread, Profile


def profile_from_nothing(nozzle_mm: float = 0.4, layer_height_mm: float = 0.2) -> Profile:
    """Return the model's prior as a profile, for choosing a first coupon; it answers no fit.

    Examples
    --------
    >>> profile_from_nothing().measured
    ()
    """
    lower = np.diag(prior_sd() ** 2)[np.tril_indices(len(TERMS))]
    return Profile(
        machine="not printed yet",
        material="not printed yet",
        nozzle_mm=nozzle_mm,
        layer_height_mm=layer_height_mm,
        rehearsed=False,
        counts=Counts(
            runs=1,  # a profile has one at least; it taught nothing
            by_print_effect=(0,) * len(EXTRUSION.prints),
            sizes=1,
            readings=0,
            trials=0,
        ),
        measured=(),
        means=dict(zip(TERMS, map(float, prior_mean()), strict=True)),
        covariance=tuple(map(float, lower)),
        scatters={
            name: LogSpread(median_mm=prior.median, log_sd=prior.log_sd)
            for name, prior in EXTRUSION.scatters.items()
        },
        coupons=(),
        entries_sha256="0" * 64,
    )
