"""The model written down a second time, plainly, for a sampler: no Laplace, no sparse pieces.

One graded row and a few spans keep the unknowns to a number that an ensemble sampler explores in a
minute: scale, two growths, four thresholds, the run's shift, one own deviation a size and three
scatters.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats
from synthetic import GAPS_MM, SPANS_MM, Builder

from coupons.learning.design import Design
from coupons.learning.effects import EFFECTS, EXTRUSION, TERMS, prior_mean, prior_sd
from coupons.learning.prior_printer import draw_printer, observe, print_sizes
from coupons.terms import Direction, Feature, Form

UNKNOWN = [
    "scale_x",
    "growth_ext",
    "growth_int",
    "from_force",
    "from_push",
    "from_slide",
    "from_loose",
]
SCATTERS = ("tau", "sigma", "omega")
_AT = [TERMS.index(name) for name in UNKNOWN]
_N_EFFECTS = sum(name in EFFECTS for name in UNKNOWN)


def small_design(seed):
    """A row of slots with two loose tongues, and spans along x: what one axis of a coupon has."""
    build, x = Builder(), Direction.X
    mates = [build.size(0, f"M{k}", Feature(Form.TONGUE, 6.0, x)) for k in range(2)]
    for gap in GAPS_MM:
        slot = build.size(0, f"S{gap}", Feature(Form.SLOT, 6.0 + gap, x))
        build.trials += [(slot, mate) for mate in mates]
    for span in SPANS_MM:
        build.size(0, f"L{span}", Feature(Form.TONGUE, span, x))
    build.readings = [at for at in range(len(build.sizes)) if at < 2 or at > 9 or at % 3 == 0]
    design = build.design()
    rng = np.random.default_rng(seed)
    printer = draw_printer(rng)
    return observe(printer, design, print_sizes(printer, design, rng), rng)


@dataclass(frozen=True)
class NaivePosterior:
    """Log posterior over [unknown terms, shift, standardised own deviations, log scatters]."""

    design: Design

    @property
    def n_unknown(self):
        return len(UNKNOWN) + 1 + len(self.design.sizes.drawn) + len(SCATTERS)

    def start(self, n, rng):
        """Draw points from the prior, thresholds in order."""
        points = np.zeros((n, self.n_unknown))
        points[:, : len(UNKNOWN)] = rng.normal(
            prior_mean()[_AT], 0.3 * prior_sd()[_AT], (n, len(UNKNOWN))
        )
        points[:, _N_EFFECTS : len(UNKNOWN)] = np.sort(points[:, _N_EFFECTS : len(UNKNOWN)], axis=1)
        points[:, len(UNKNOWN)] = 0.02 * rng.normal(size=n)
        points[:, len(UNKNOWN) + 1 : -3] = rng.normal(size=(n, len(self.design.sizes.drawn)))
        medians = [EXTRUSION.scatters[name].median for name in SCATTERS]
        points[:, -3:] = np.log(medians) + 0.3 * rng.normal(size=(n, 3))
        return points

    def __call__(self, points):
        """Return the log posterior at each row of ``points``."""
        terms, shift = points[:, : len(UNKNOWN)], points[:, len(UNKNOWN)]
        own, log_sds = points[:, len(UNKNOWN) + 1 : -3], points[:, -3:]
        total = stats.norm.logpdf(terms, prior_mean()[_AT], prior_sd()[_AT]).sum(1)
        total += stats.norm.logpdf(shift, 0, np.sqrt(EXTRUSION.scatters["rho"].mean_square))
        total += stats.norm.logpdf(own).sum(1)
        for column, name in enumerate(SCATTERS):
            prior = EXTRUSION.scatters[name]
            total += stats.norm.logpdf(log_sds[:, column], np.log(prior.median), prior.log_sd)
        cuts = terms[:, _N_EFFECTS:]
        steps = np.diff(cuts, axis=1)
        in_order = (steps > 0).all(1)
        total = np.where(in_order, total, -np.inf)
        total[in_order] += EXTRUSION.order_weight * np.log(steps[in_order]).sum(1)
        tau, sigma, omega = np.exp(np.clip(log_sds, -20, 3)).T
        sizes = self._sizes(terms[:, :_N_EFFECTS], shift, tau[:, None] * own)
        return total + self._read(sizes, sigma) + self._tried(sizes, cuts, omega, in_order)

    def _sizes(self, effects, shift, own):
        design = self.design.sizes
        columns = [EFFECTS.index(name) for name in UNKNOWN[:_N_EFFECTS]]
        systematic = effects @ design.effects[:, columns].T
        return design.drawn + systematic + own + shift[:, None] * design.side

    def _read(self, sizes, sigma):
        readings = self.design.readings
        scale = np.sqrt(sigma[:, None] ** 2 + readings.resolution**2 / 12)
        return stats.t.logpdf(readings.value, 4, sizes[:, readings.size], scale).sum(1)

    def _tried(self, sizes, cuts, omega, in_order):
        trials = self.design.trials
        clearance = sizes[:, trials.internal] - sizes[:, trials.external]
        n = len(sizes)
        bounds = np.column_stack([np.full(n, -np.inf), cuts, np.full(n, np.inf)])
        lower, upper = bounds[:, trials.tightest], bounds[:, trials.loosest + 1]
        w = omega[:, None]
        hit = stats.norm.cdf((clearance - lower) / w) - stats.norm.cdf((clearance - upper) / w)
        share = (1 - EXTRUSION.lapse) * hit + EXTRUSION.lapse / 5
        return np.where(in_order, np.log(np.maximum(share, 1e-300)).sum(1), -np.inf)


def sample(posterior, steps, seed, walkers=120):
    """Run an ensemble sampler; return the draws after its first third, flattened."""
    import emcee

    rng = np.random.default_rng(seed)
    # The default stretch move: differential-evolution moves came out a tenth too narrow here, on
    # unknowns whose spread is known (a shift on which the data say nothing).
    sampler = emcee.EnsembleSampler(walkers, posterior.n_unknown, posterior, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(posterior.start(walkers, rng), steps)
    return sampler.get_chain(discard=steps // 3, flat=True), sampler
