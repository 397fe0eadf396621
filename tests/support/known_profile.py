"""A profile written down by hand, of a printer that is known as well as a test likes."""

import numpy as np

from coupons.answering.chances.shared import Shared
from coupons.learning.effects import TERMS, prior_mean, prior_sd
from coupons.learning.print_effects import TaughtShift
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Counts, LogSpread, MeasuredRange, Profile
from coupons.terms import Direction, Form

EVERYTHING = tuple(
    MeasuredRange(form=form, direction=direction, low_mm=3.0, high_mm=80.0)
    for form in Form
    for direction in Direction
)

# Shares of the prior's sds as one print can leave them: its own shift along z hides the growth.
FROM_ONE_PRINT = dict.fromkeys(TERMS, 0.3) | {
    "growth_ext_z": 0.7,
    "growth_int_z": 0.7,
    "bed_height": 0.9,
    "scale_z": 0.5,
}


def known_profile(means=None, sd_share=0.1, scatters=None, measured=EVERYTHING, runs=1, **changes):
    """Return a profile with the prior's means but for ``means``, and a share of the prior's sds.

    Its nozzle is set right: whether a body stands on the bed changes nothing on average.

    ``sd_share`` may be one number, or a dict of terms with 0.1 for all others.
    """
    shares = dict.fromkeys(TERMS, 0.1) | (
        sd_share if isinstance(sd_share, dict) else dict.fromkeys(TERMS, sd_share)
    )
    sds = prior_sd() * np.array([shares[name] for name in TERMS])
    values = dict(zip(TERMS, map(float, prior_mean()), strict=True))
    values |= {"bed_height": 0.0} | (means or {})
    medians = {name: prior.median for name, prior in EXTRUSION.scatters.items()} | (scatters or {})
    fields = {
        "machine": "bench-1",
        "material": "grey",
        "nozzle_mm": 0.4,
        "layer_height_mm": 0.2,
        "rehearsed": False,
        "counts": Counts(
            runs=runs,
            by_print_effect=(runs,) * len(EXTRUSION.prints),
            sizes=78,
            readings=88,
            trials=104,
        ),
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


def covariance_at(profile, **squares):
    """Return the terms' covariance, had scatters between prints these mean squares.

    By adding up information: one print shows the terms and what it has of its own as a sum. Every
    term must be known better than before. Scatters that are not named stay at what is believed.
    """
    effects = profile.prior_table.prints
    passes = np.zeros((len(TERMS), len(effects)))
    for k, effect in enumerate(effects):
        for name, amount in effect.moves.items():
            passes[TERMS.index(name), k] = amount
    believed = {name: spread.mean_square for name, spread in profile.scatters.items()}
    more = [e.share**2 * ((believed | squares)[e.scatter] - believed[e.scatter]) for e in effects]
    before = np.diag(prior_sd() ** -2.0)
    seen = np.linalg.inv(np.linalg.inv(profile.covariance_matrix) - before)
    seen += passes @ np.diag(more) @ passes.T
    return np.linalg.inv(before + np.linalg.inv(seen))


def drawn_prints(profile, rng, n, strata=100):
    """Draw the terms of a printer that one print taught, and what its next print has of its own.

    Returns arrays of shape (n, n_terms) and (n, n_print_effects), in mm.
    """
    terms, own = [], []
    effects = profile.prior_table.prints
    between_prints = {effect.scatter for effect in effects}
    for _ in range(strata):
        sds = {
            name: spread.median_mm * np.exp(spread.log_sd * rng.normal())
            for name, spread in profile.scatters.items()
            if name in between_prints
        }
        covariance = covariance_at(profile, **{name: sd**2 for name, sd in sds.items()})
        terms.append(rng.multivariate_normal(profile.mean_vector, covariance, n // strata))
        of_print = np.array([effect.share * sds[effect.scatter] for effect in effects])
        own.append(of_print * rng.normal(size=(n // strata, len(effects))))
    return np.concatenate(terms), np.concatenate(own)


def unshifted(covariance):
    """Return what joints share where prints have no shifts: terms of this covariance alone."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0))
    return Shared(TaughtShift(root, np.zeros((len(root), 0)), np.zeros((0, 0)), np.zeros(0)))
