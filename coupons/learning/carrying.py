"""What of a machine carries over when its material, nozzle or layer height is another one.

Learned from pairs: machines that are known on both sides of the change. Machine k has the terms θₖ
before it and θₖ + Δₖ after it,

    Δₖ = γ + εₖ,     γₜ ~ N(0, gₜ²),     εₖₜ ~ N(0, sₜ²),

each term t by itself: γ is what the change does on all machines, s by how much machines differ in
it. Neither is assumed: gₜ and sₜ may each take the values of `SIZES`, all as likely as one another,
and are averaged over with the evidence of the pairs, given what is believed of the other terms. A
term that machines change alike in carries over with that change; one in which they change each in
its own way has a large s, and nothing of it carries over.

With the evidence of both sides, (Λ, h) as in `pooling`, and θₖ ~ N(0, 1) integrated out, a pair's
evidence of its change is, A = 1 + Λ_before + Λ_after,

    Λ_Δ = Λ_after − Λ_after A⁻¹ Λ_after,     h_Δ = h_after − Λ_after A⁻¹ (h_before + h_after).

All is in units of the general prior's standard deviations.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.learning.pooling import MachineEvidence, widened

Array = NDArray[np.floating]

SIZES = (0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4)
"""Sizes that a change may have, as shares of the general prior's sd. At the largest one the terms
before and after it have nothing to do with each other."""

_MEAN, _SPREAD = (squares.ravel() for squares in np.meshgrid(*2 * [np.square(SIZES)]))
_SWEEPS = 40
_SETTLED = 1e-3


@dataclass(frozen=True)
class MachineChange:
    """What a change does to one more machine.

    Parameters
    ----------
    mean : ndarray of shape (n,)
    mean_sd : ndarray of shape (n,)
        How well the mean is known.
    covariance : ndarray of shape (n, n)
        Of the one machine's change: how well the mean is known, and by how much machines differ.
    """

    mean: Array
    mean_sd: Array
    covariance: Array


def change_of_pair(before: MachineEvidence, after: MachineEvidence) -> MachineEvidence:
    """Return what a machine that is known on both sides of a change tells of it."""
    n = len(before.shift)
    either = np.eye(n) + before.information + after.information
    passed = np.linalg.solve(either, after.information).T
    information = after.information - passed @ after.information
    shift = after.shift - passed @ (before.shift + after.shift)
    return MachineEvidence((information + information.T) / 2, shift)


def learn_change(pairs: Sequence[MachineEvidence]) -> MachineChange:
    """Learn what a change does from the changes of some machines.

    Parameters
    ----------
    pairs : sequence of MachineEvidence
        At least one; each as `change_of_pair` returns it.
    """
    n = len(pairs[0].shift)
    weights = np.full((n, len(_MEAN)), 1 / len(_MEAN))
    for _ in range(_SWEEPS):
        prior = _prior_of(weights, len(pairs))
        mean, covariance = _posterior(pairs, prior)
        found = _weights(mean, covariance, prior)
        moved = float(np.abs(found - weights).max())
        weights = found
        if moved < _SETTLED:
            break
    mean, covariance = _posterior(pairs, _prior_of(weights, len(pairs)))
    alike = covariance[:n, :n]
    return MachineChange(mean[:n], np.sqrt(np.diag(alike)), alike + np.diag(weights @ _SPREAD))


def carried(before: MachineEvidence, change: MachineChange) -> MachineEvidence:
    """Return what the evidence of a machine from before a change tells of it after the change."""
    wide = widened(before, change.covariance)
    return MachineEvidence(wide.information, wide.shift + wide.information @ change.mean)


def _prior_of(weights: Array, pairs: int) -> Array:
    """Return the mean squares of the change alike, then of each machine's own, (1 + pairs, n)."""
    return np.vstack([weights @ _MEAN, *pairs * [weights @ _SPREAD]])


def _posterior(pairs: Sequence[MachineEvidence], prior: Array) -> tuple[Array, Array]:
    """Return the mean and covariance of the change alike and of each machine's own, in a row."""
    n = prior.shape[1]
    information = np.zeros((prior.size, prior.size))
    shift = np.zeros(prior.size)
    alike = slice(0, n)
    for number, pair in enumerate(pairs, start=1):
        own = slice(n * number, n * (number + 1))
        for rows in (alike, own):
            shift[rows] += pair.shift
            for columns in (alike, own):
                information[rows, columns] += pair.information
    root = np.sqrt(prior.ravel())
    inside = np.linalg.inv(np.eye(prior.size) + information * np.outer(root, root))
    covariance = inside * np.outer(root, root)
    return covariance @ shift, (covariance + covariance.T) / 2


def _weights(mean: Array, covariance: Array, prior: Array) -> Array:
    """Weigh the sizes of each term's change by the evidence, given those of the other terms."""
    rows, n = prior.shape
    of_term = np.arange(n)[:, None] + n * np.arange(rows)
    precision = np.linalg.inv(covariance[of_term[:, :, None], of_term[:, None, :]])
    shift = np.einsum("tij,tj->ti", precision, mean[of_term])
    # What the pairs say of one term: its posterior without its own prior.
    seen = precision - np.eye(rows) / prior.T[:, None, :]
    roots = np.sqrt(np.column_stack([_MEAN, *(rows - 1) * [_SPREAD]]))
    scaled = seen[:, None] * roots[:, :, None] * roots[:, None, :] + np.eye(rows)
    towards = shift[:, None, :] * roots
    reached = np.linalg.solve(scaled, towards[..., None])[..., 0]
    log_evidence = (towards * reached).sum(-1) / 2 - np.linalg.slogdet(scaled)[1] / 2
    weights = np.exp(log_evidence - log_evidence.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
