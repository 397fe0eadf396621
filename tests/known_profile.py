"""A profile written down by hand, of a printer that is known as well as a test likes."""

import numpy as np

from coupons.learning.effects import EXTRUSION, TERMS, prior_mean, prior_sd
from coupons.learning.profile import Counts, LogSpread, MeasuredRange, Profile
from coupons.terms import Direction, Form

EVERYTHING = tuple(
    MeasuredRange(form=form, direction=direction, low_mm=3.0, high_mm=80.0)
    for form in Form
    for direction in Direction
)


def known_profile(means=None, sd_share=0.1, scatters=None, measured=EVERYTHING, runs=1, **changes):
    """Return a profile with the prior's means but for ``means``, and a share of the prior's sds.

    ``sd_share`` may be one number, or a dict of terms with 0.1 for all others.
    """
    shares = dict.fromkeys(TERMS, 0.1) | (
        sd_share if isinstance(sd_share, dict) else dict.fromkeys(TERMS, sd_share)
    )
    sds = prior_sd() * np.array([shares[name] for name in TERMS])
    values = dict(zip(TERMS, map(float, prior_mean()), strict=True)) | (means or {})
    medians = {name: prior.median for name, prior in EXTRUSION.scatters.items()} | (scatters or {})
    fields = {
        "machine": "bench-1",
        "material": "grey",
        "nozzle_mm": 0.4,
        "layer_height_mm": 0.2,
        "rehearsed": False,
        "counts": Counts(runs=runs, sizes=78, readings=88, trials=104),
        "measured": measured,
        "means": values,
        "covariance": tuple(map(float, np.diag(sds**2)[np.tril_indices(len(TERMS))])),
        "scatters": {
            name: LogSpread(median_mm=median, log_sd=0.2) for name, median in medians.items()
        },
        "coupons": ("first",) * runs,
        "entries_sha256": "0" * 64,
    }
    return Profile(**(fields | changes))
