"""The model written down a second time, plainly, for a sampler: no Laplace, no sparse pieces.

Sampled by a Hamiltonian sampler (numpyro's) on derivatives that another library takes (JAX). All
unknowns are standard normal a priori, but for the steps between thresholds, which are taken by
their logarithms and so stay positive.
"""

from dataclasses import dataclass

import jax
import jax.numpy as jnp
import numpy as np
from jax.scipy.stats import norm
from jax.scipy.stats import t as student
from numpyro.infer import MCMC, NUTS
from support.synthetic import GAPS_MM, SPANS_MM, Builder, done_coupons, observed

from coupons.learning.design import Design, design_of
from coupons.learning.effects import EFFECTS, THRESHOLDS, prior_mean, prior_sd, seam_share
from coupons.learning.posterior.integrate import active_scatters
from coupons.learning.posterior.latent import latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form

jax.config.update("jax_enable_x64", True)

N_EFFECTS, N_THRESHOLDS = len(EFFECTS), len(THRESHOLDS)
FIRST_THRESHOLD, LATER = N_EFFECTS, slice(N_EFFECTS + 1, N_EFFECTS + N_THRESHOLDS)
LOSSES = slice(N_EFFECTS + N_THRESHOLDS, None)
FAR = 50.0  # mm: where a set of grades has no bound


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
    return observed(build.design(), seed)


def first_design(seed):
    """The shipped coupon to start with, by a printer from the prior."""
    return observed(design_of(done_coupons("first")), seed)


@dataclass(frozen=True)
class NaivePosterior:
    """Minus log posterior over standardised unknowns, for a design of one run."""

    design: Design

    @property
    def active(self):
        return active_scatters(latent_model(self.design, EXTRUSION))

    def start(self):
        """Return unknowns at the middle of the prior."""
        return {
            "terms": jnp.zeros(len(prior_mean())),
            "steps": jnp.log(jnp.array([0.08, 0.10, 0.20])),
            "own": jnp.zeros(len(self.design.sizes.drawn)),
            "prints": jnp.zeros(len(EXTRUSION.prints)),
            "zeros": jnp.zeros(len(EXTRUSION.zeros)),
            "bump": jnp.zeros(1),
            "press": jnp.zeros(1),
            "scatters": jnp.zeros(len(self.active)),
        }

    def terms(self, at):
        """Return effects, thresholds and losses; thresholds from the first one and the steps."""
        terms = prior_mean() + prior_sd() * at["terms"]
        later = terms[FIRST_THRESHOLD] + jnp.cumsum(jnp.exp(at["steps"]))
        return terms.at[LATER].set(later)

    def scatters(self, at):
        """Return the scatters in mm; those on which the design says nothing at their prior's."""
        found = {k: np.sqrt(p.mean_square) for k, p in EXTRUSION.scatters.items()}
        for z, name in zip(at["scatters"], self.active, strict=True):
            prior = EXTRUSION.scatters[name]
            found[name] = prior.median * jnp.exp(prior.log_sd * z)
        return found

    def __call__(self, at):
        """Return minus the log posterior."""
        terms, scatters = self.terms(at), self.scatters(at)
        log_prior = norm.logpdf(terms, prior_mean(), prior_sd()).sum()
        # The coordinates of the later thresholds are not used: any proper density serves.
        log_prior += norm.logpdf(at["terms"][LATER]).sum()
        # Weight of the order, and the change of variables from thresholds to log steps.
        log_prior += (EXTRUSION.order_weight + 1) * at["steps"].sum()
        named = ("own", "prints", "zeros", "bump", "press", "scatters")
        log_prior += sum(norm.logpdf(at[name]).sum() for name in named)
        effects = self._of_this_print(at, terms, scatters)
        printed = self._printed(at, effects, scatters)
        seen = self._read(printed, at, effects, scatters) + self._tried(printed, terms, scatters)
        return -(log_prior + seen)

    def _of_this_print(self, at, terms, scatters):
        """The machine's effects, and what this print adds to them."""
        effects = dict(zip(EFFECTS, terms[:N_EFFECTS], strict=True))
        for z, effect in zip(at["prints"], EXTRUSION.prints, strict=True):
            for name, amount in effect.moves.items():
                effects[name] += amount * effect.share * scatters[effect.scatter] * z
        return jnp.array([effects[name] for name in EFFECTS])

    def _printed(self, at, effects, scatters):
        sizes = self.design.sizes
        z = sizes.z_share
        sd = jnp.sqrt((1 - z) * scatters["tau"] ** 2 + z * scatters["tau_z"] ** 2)
        return sizes.drawn + sizes.effects @ effects + sd * at["own"]

    def _read(self, printed, at, effects, scatters):
        readings = self.design.readings
        shown = printed[readings.size] + readings.effects @ effects
        sds = jnp.array([zero.sd for zero in EXTRUSION.zeros.values()] + [0.0])
        zeros = jnp.concatenate([at["zeros"], jnp.zeros(1)])
        shown += (sds * zeros)[readings.jaws]  # −1: none
        shown += seam_share(readings.effects) * EXTRUSION.bump.sd * at["bump"][0]
        shown += readings.gives * (EXTRUSION.press.mean + EXTRUSION.press.sd * at["press"][0])
        scale = jnp.sqrt(scatters["sigma"] ** 2 + readings.resolution**2 / 12)
        return student.logpdf(readings.value, EXTRUSION.reading_dof, shown, scale).sum()

    def _tried(self, printed, terms, scatters):
        trials = self.design.trials
        clearance = printed[trials.internal] - printed[trials.external]
        clearance -= trials.losses @ terms[LOSSES]
        thresholds = terms[FIRST_THRESHOLD : FIRST_THRESHOLD + N_THRESHOLDS]
        bounds = jnp.concatenate([jnp.array([-FAR]), thresholds, jnp.array([FAR])])
        lower = (clearance - bounds[trials.tightest]) / scatters["omega"]
        upper = (clearance - bounds[trials.loosest + 1]) / scatters["omega"]
        hit = jnp.where(
            lower > 0, norm.cdf(-upper) - norm.cdf(-lower), norm.cdf(lower) - norm.cdf(upper)
        )
        grades = trials.loosest - trials.tightest + 1
        return jnp.log((1 - EXTRUSION.lapse) * hit + EXTRUSION.lapse * grades / 5).sum()


def sample(design, draws, seed):
    """Draw from the posterior.

    Returns
    -------
    terms : ndarray of shape (draws, n_terms)
    diverged : int
        How many steps of the sampler went astray; none should.
    """
    posterior = NaivePosterior(design)
    kernel = NUTS(potential_fn=posterior, target_accept_prob=0.9)
    sampler = MCMC(kernel, num_warmup=1500, num_samples=draws, progress_bar=False)
    sampler.run(
        jax.random.PRNGKey(seed), init_params=posterior.start(), extra_fields=("diverging",)
    )
    terms = jax.vmap(posterior.terms)(sampler.get_samples())
    return np.array(terms), int(sampler.get_extra_fields()["diverging"].sum())
