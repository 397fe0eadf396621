"""A profile and its re-checks as numbers: what each one's data said, and what may have changed.

`coupons.answering.compare.likelihood_ratio` weighs the changes, and says what t and W are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from coupons.answering.chances.even_points import even_steps
from coupons.learning.effects import EFFECTS, TERMS, THRESHOLDS, prior_mean, prior_sd
from coupons.learning.profile import Profile

Array = NDArray[np.floating]

Node = tuple[Array, bool]
"""Mean squares of the print effects, and whether each re-check is of another hand."""

A_YEAR = 12
"""Re-checks of a year, over which false alarms are counted."""
STEPS, DRIFT = 0.8, 0.2
"""Shares of the evidence that ask for a step, and for a steady change with each re-check."""
CAUSES: dict[str, dict[str, float]] = {
    "extrusion": {"growth_ext": 1.0, "growth_int": 1.0},
    **{
        name: {name: 1.0}
        for name in EFFECTS
        if name not in ("scale_int", "growth_ext_xy", "growth_int_xy", "curl_ext", "curl_bend")
    },
}
"""What may have moved: one term, or the two growths together, as too much plastic moves them."""
EXTRUSION_SHARE = 0.4
"""Weight of too much or too little plastic among the causes (common practice, no source)."""
HALF_A_YEAR = 6.0
"""Months over which a steady change is as large as a step."""

_LEARNED = 1e-3  # directions of which less was learned say nothing
_SCATTER_NODES = 48
_LEAST_VARIANCE = 1e-4
_LEAST_INFORMED = 0.02


@dataclass(frozen=True)
class ProfileData:
    """What one profile's data said: ``t`` and its loadings W on the terms, in prior sds.

    ``acts`` is Wᵀ·A: how the print effects move t; ``prints`` over how many prints each is;
    ``rest`` the covariance of what is left: features, caliper, judgement.
    """

    t: Array
    loadings: Array
    acts: Array
    prints: Array
    rest: Array


def told_by(profile: Profile) -> ProfileData:
    """Take a posterior apart into what its data said."""
    sd = prior_sd(profile.prior_table)
    x = (profile.mean_vector - prior_mean(profile.prior_table)) / sd
    share = np.eye(len(sd)) - profile.covariance_matrix / np.outer(sd, sd)
    values, axes = np.linalg.eigh(share)
    kept = values > _LEARNED
    loadings = axes[:, kept] * np.sqrt(np.minimum(values[kept], 1.0))
    t = (axes[:, kept].T @ x) / np.sqrt(values[kept])
    prints = np.maximum(np.array(profile.counts.informing, float), 1.0)
    believed = profile.print_squares
    acts = loadings.T @ (profile.print_moves / sd[:, None])
    rest = np.eye(len(t)) - loadings.T @ loadings - (acts * (believed / prints)) @ acts.T
    return ProfileData(t, loadings, acts, prints, _floored(rest))


class RecheckSeries:
    """A full profile and its re-checks in the order of time, ready to be weighed.

    Parameters
    ----------
    profiles : sequence of Profile
        The full one first; all of today's model.
    same_hand : bool
        One person tried all. If not, the re-checks are taken to be of one other person, or each of
        another, as likely.
    times : sequence of float, optional
        Months since the first profile, one for each; evenly spaced unless given.
    """

    def __init__(
        self,
        profiles: Sequence[Profile],
        same_hand: bool = False,
        times: Sequence[float] | None = None,
    ) -> None:
        self.told = [told_by(profile) for profile in profiles]
        self.table = profiles[0].prior_table
        self.sd = prior_sd(self.table)
        self.same_hand = same_hand
        self.times = np.arange(len(profiles), dtype=float) if times is None else np.array(times)
        self.t = np.concatenate([one.t for one in self.told])
        self.of = np.repeat(np.arange(len(self.told)), [len(one.t) for one in self.told])
        self.loadings = np.concatenate([one.loadings for one in self.told], axis=1)
        self.scatter_nodes = _scatter_nodes(profiles[0])

    @cached_property
    def causes(self) -> dict[str, Array]:
        """Directions of the causes of which the re-checks say something, in prior sds."""
        found: dict[str, Array] = {}
        for name, moves in CAUSES.items():
            direction = np.zeros(len(TERMS))
            for term, amount in moves.items():
                direction[TERMS.index(term)] = amount
            informed = [np.sum((one.loadings.T @ direction) ** 2) for one in self.told[1:]]
            if max(informed) >= _LEAST_INFORMED:
                found[name] = direction
        return found

    @property
    def shapes(self) -> list[Array]:
        """How much of a change each profile has: steps from each re-check on, then a drift."""
        n = len(self.told)
        steps = [(np.arange(n) >= k).astype(float) for k in range(1, n)]
        return [*steps, (self.times - self.times[0]) / HALF_A_YEAR]

    @cached_property
    def change_weights(self) -> Array:
        """Weights of the changes after each re-check, (n_rechecks, n_causes · n_shapes).

        Together one after a year; a step that is still to come has none.
        """
        n = len(self.told) - 1
        by_shape = np.concatenate([STEPS / A_YEAR * np.tri(n), np.full((n, 1), DRIFT)], axis=1)
        rest = (1 - EXTRUSION_SHARE) / max(len(self.causes) - 1, 1)
        by_cause = np.array([EXTRUSION_SHARE if c == "extrusion" else rest for c in self.causes])
        by_cause /= by_cause.sum()
        return np.asarray((by_cause[None, :, None] * by_shape[:, None, :]).reshape(n, -1))

    @cached_property
    def ends(self) -> list[int]:
        """How many numbers there are up to each profile."""
        ends: list[int] = np.cumsum([len(one.t) for one in self.told]).tolist()
        return ends

    @cached_property
    def nodes(self) -> list[Node]:
        """What everything is averaged over: how far prints differ, and whose the hands are."""
        hands = (False,) if self.same_hand else (False, True)
        return [(squares, case) for case in hands for squares in self.scatter_nodes]

    def covariance(self, squares: Array, each_another: bool) -> Array:
        """Covariance of t where nothing changed, prints differing by these mean squares."""
        whole = self.loadings.T @ self.loadings
        hand = self._hand_loads()
        other = self.of[:, None] != self.of[None, :]
        first = (self.of[:, None] == 0) | (self.of[None, :] == 0)
        if not self.same_hand:
            apart = other if each_another else other & first
            whole = whole - np.outer(hand, hand) * apart
        whole[~other] = 0.0
        for k, one in enumerate(self.told):
            at = self.of == k
            own = one.loadings.T @ one.loadings + one.rest
            whole[np.ix_(at, at)] = own + (one.acts * (squares / one.prints)) @ one.acts.T
        return np.asarray(whole)

    def _hand_loads(self) -> Array:
        direction = np.zeros(len(TERMS))
        for grade in THRESHOLDS:
            at = TERMS.index(f"from_{grade}")
            direction[at] = self.table.hand.sd / self.sd[at]
        return np.asarray(self.loadings.T @ direction)

    def changes(self) -> Array:
        """How t moves by a unit of each cause in each shape, (n, n_causes, n_shapes)."""
        by_cause = self.loadings.T @ np.array(list(self.causes.values())).T
        by_shape = np.array(self.shapes)[:, self.of].T
        return np.asarray(by_cause[:, :, None] * by_shape[:, None, :])


def _floored(covariance: Array) -> Array:
    """Keep a covariance positive: fits are not quite normal, and averaged over the scatters."""
    values, axes = np.linalg.eigh(covariance)
    return np.asarray((axes * np.maximum(values, _LEAST_VARIANCE)) @ axes.T)


def _scatter_nodes(profile: Profile) -> Array:
    """Mean squares of the print effects, drawn evenly from what is known of their scatters.

    Returns
    -------
    ndarray of shape (n_nodes, n_print_effects)
    """
    effects = profile.prior_table.prints
    names = list(dict.fromkeys(effect.scatter for effect in effects))
    along = np.arange(1, _SCATTER_NODES + 1)
    places = (0.5 + np.outer(along, even_steps(len(names)))) % 1
    logs = ndtri(places)
    sizes = {
        name: profile.scatters[name].median_mm * np.exp(profile.scatters[name].log_sd * logs[:, k])
        for k, name in enumerate(names)
    }
    return np.stack([(one.share * sizes[one.scatter]) ** 2 for one in effects], axis=-1)
