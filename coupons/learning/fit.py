"""The fit that `coupons fit` runs: from entries to the posterior of the printer's terms."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.errors import FitError, Problem
from coupons.learning.design import Design, design_of
from coupons.learning.posterior.integrate import Mixture, integrate
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.posterior.threads import one_thread
from coupons.learning.prior_table import EXTRUSION, PriorTable
from coupons.measuring.run.folder import Run

Array = NDArray[np.floating]

MOST_SIZES = 2_500
"""Work grows as their square: these take some ten minutes, most of it to leave each entry out."""


@dataclass(frozen=True)
class Fitted:
    """Result of a fit to one or several runs.

    Parameters
    ----------
    design : Design
        The observations.
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
        Posterior moments of the terms, in the order of `coupons.learning.effects.TERMS`.
    mixture : Mixture
        The fits at several scatter values that the moments were taken over.
    """

    design: Design
    mean: Array
    covariance: Array
    mixture: Mixture


def fit_design(design: Design, table: PriorTable = EXTRUSION) -> Fitted:
    """Fit the model of one process to prepared arrays.

    Raises
    ------
    FitError
        If a number is not finite, or no mode is found.
    """
    if not (np.isfinite(design.readings.value).all() and np.isfinite(design.sizes.drawn).all()):
        raise FitError("A reading or a drawn size is not a finite number.")
    with one_thread():
        mixture = integrate(latent_model(design, table))
        mean, covariance = mixture.shared_moments(N_TERMS)
    return Fitted(design, mean, covariance, mixture)


def fit_runs(runs: Sequence[Run], table: PriorTable = EXTRUSION) -> Fitted:
    """Fit the model to one or several runs of one machine and material.

    Raises
    ------
    FitError
        If the runs hold no result, or too many sizes, or as `fit_design`.
    """
    design = design_of(runs)
    count = len(design.sizes.drawn)
    if count > MOST_SIZES:
        where = ", ".join(run.folder.name for run in runs)
        expected, todo = f"at most {MOST_SIZES:,} sizes in one fit", "Fit fewer runs at once"
        raise FitError([Problem(where, expected, f"{count:,}", todo)])
    return fit_design(design, table)
