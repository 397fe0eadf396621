"""Prints of the coupon `first`, tried and fitted, each one print by itself, for several tests.

Printer n and its k-th print are always the same, so that tests which ask for the same prints share
the fits. Within a test all prints asked for are independent, as far as their printers are.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from bench.calibration import profile_of_fit
from numpy.typing import NDArray
from support.made_once import made_once
from support.prior_printer import PriorPrinter, draw_printer, observe, print_sizes
from support.rehearsed import rehearsed_run
from support.synthetic import done_coupons, with_reports

from coupons.learning.design import design_of
from coupons.learning.fit import fit_design, fit_runs
from coupons.learning.profile import Profile

SHIPPED = ("bench-1", "bench-2", "attic-1")


@dataclass(frozen=True)
class FittedPrint:
    """One print: what was found on it, and what a fit of it alone learns."""

    value_mm: NDArray[np.floating]
    grade: NDArray[np.intp]
    mean: NDArray[np.floating]
    covariance: NDArray[np.floating]
    profile: Profile


def prior_printer(n: int) -> PriorPrinter:
    """Return the n-th printer drawn from the prior."""
    return draw_printer(np.random.default_rng([23, n]))


def prints_of_prior(folder, wanted):
    """Return fitted prints of printers drawn from the prior: pairs of printer and print from 0."""
    return made_once(folder, [f"prior-{n}-{k}" for n, k in wanted], _of_prior)


def printed_of(n, k):
    """Return what the sizes of the k-th print of printer n came out as."""
    return print_sizes(prior_printer(n), design_of_first(), _rng(n, k))


def prints_of_virtual(folder, wanted):
    """Return fitted prints of virtual machines, the shipped ones by turns, in the same way."""
    return made_once(folder, [f"virtual-{n}-{k}" for n, k in wanted], _of_virtual)


@cache
def design_of_first(times=1):
    """Lay out what so many prints of `first` ask for."""
    return design_of(done_coupons("first") * times)


def found_on(*prints):
    """Return the design of some prints of one printer together."""
    return with_reports(
        design_of_first(len(prints)),
        value=np.concatenate([each.value_mm for each in prints]),
        tightest=np.concatenate([each.grade for each in prints]),
    )


def _of_prior(key):
    n, k = map(int, key.split("-")[1:])
    printer, rng, design = prior_printer(n), _rng(n, k), design_of_first()
    return _kept(fit_design(observe(printer, design, print_sizes(printer, design, rng), rng)))


def _rng(n, k):
    return np.random.default_rng([23, n, k + 1])


def _of_virtual(key):
    n, k = map(int, key.split("-")[1:])
    return _kept(fit_runs([rehearsed_run(100 * n + k, SHIPPED[n % len(SHIPPED)])]))


def _kept(fitted):
    design = fitted.design
    return FittedPrint(
        design.readings.value,
        design.trials.tightest,
        fitted.mean,
        fitted.covariance,
        profile_of_fit(fitted),
    )
