"""A lattice of points over the scatters' posterior: find its mode, then cover it with points.

The coordinate of each scatter is z = (log sd − log median)/log-sd, standard normal a priori.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from coupons.learning.effects import SCATTERS
from coupons.learning.posterior.corrections import best_mode
from coupons.learning.posterior.laplace import Mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, LatentModel, Scatters

Array = NDArray[np.floating]

_DIFFERENCE = 0.25
_MAX_STEPS = 25
_MAX_STRETCHES = 6
_NEAR_ENOUGH = 0.25
_MAX_HILLS = 4
_HIGHER = 0.5
_TOP_ENOUGH = 0.02
# How far from the first top, in prior sds, the scatter of the judgement is looked for a second one.
_OTHER_JUDGEMENT = 2.0
_SAME_MODE_MM = 1e-3
# Width of the lattice in posterior sds.
_STEP = 1.9
# How far below its top the log posterior is followed: three and a third sds.
_DROP = 5.5
_MAX_POINTS = 600


@dataclass(frozen=True)
class Point:
    """One value of the active scatters, the mode of all else there, and how probable it is.

    Parameters
    ----------
    z : ndarray of shape (n_active,)
        Log scatters, in prior sds from the prior median.
    scatters : Scatters
        In mm.
    mode : Mode
    log_posterior : float
        Up to a constant.
    log_volume : float
        Of the cell of the lattice around it.
    """

    z: Array
    scatters: Scatters
    mode: Mode
    log_posterior: float
    log_volume: float = 0.0


class ScatterPosterior:
    """Log posterior of the active scatters."""

    def __init__(self, model: LatentModel, active: Sequence[str]) -> None:
        self.model, self.active = model, tuple(active)
        priors = [model.table.scatters[name] for name in active]
        self.center = np.log([p.median for p in priors])
        self.width = np.array([p.log_sd for p in priors])
        self.fixed = {
            name: float(np.sqrt(model.table.scatters[name].mean_square))
            for name in SCATTERS
            if name not in active
        }

    def at(self, z: Array, start: Array | None = None) -> Point:
        """Return the point at standardised scatters, with latent values from which to search."""
        sds = np.exp(self.center + self.width * z)
        scatters = Scatters(**self.fixed, **dict(zip(self.active, map(float, sds), strict=True)))
        mode, log_evidence = best_mode(self.model, scatters, start)
        return Point(z, scatters, mode, log_evidence - 0.5 * float(z @ z))


@dataclass(frozen=True)
class OneScatter:
    """What is known of one scatter by itself.

    Parameters
    ----------
    log_mean, log_sd : float
        Moments of the log of the scatter.
    mean_square : float
        In mm², or of a ratio.
    """

    log_mean: float
    log_sd: float
    mean_square: float


# Prior sds from the prior median at which a scatter is looked at by itself.
_ALONE = np.linspace(-3.0, 3.0, 9)


def top_of(evidence: ScatterPosterior) -> Point:
    """Climb to the top from the prior medians of the active scatters."""
    return _climb(evidence, evidence.at(np.zeros(len(evidence.active)))).top


def one_scatter(evidence: ScatterPosterior, name: str, top: Point) -> OneScatter:
    """Integrate over one scatter that is not active, with the active ones as they are at the top.

    Parameters
    ----------
    evidence : ScatterPosterior
    name : str
        Of the scatter.
    top : Point
    """
    prior = evidence.model.table.scatters[name]
    kept, start = evidence.fixed[name], top.mode.latent
    logs = np.log(prior.median) + prior.log_sd * _ALONE
    log_density = []
    for log_sd in logs:
        evidence.fixed[name] = float(np.exp(log_sd))
        point = evidence.at(top.z, start)
        start = point.mode.latent
        log_density.append(point.log_posterior)
    evidence.fixed[name] = kept
    density = np.exp(np.array(log_density) - max(log_density) - 0.5 * _ALONE**2)
    weights = density / density.sum()
    mean = float(weights @ logs)
    log_sd = float(np.sqrt(weights @ (logs - mean) ** 2))
    return OneScatter(mean, log_sd, float(weights @ np.exp(2 * logs)))


@dataclass(frozen=True)
class _Climb:
    """Where a climb ended, the curvature there, and whether that is on no hill known before."""

    top: Point
    hessian: Array
    is_new: bool


@dataclass(frozen=True)
class Hill:
    """A lattice over one hill of the posterior: its steps, one a row, and its points by place."""

    top: Point
    steps: Array
    points: dict[tuple[int, ...], Point]

    def near(self, z: Array) -> Point | None:
        """Return the point of the lattice in whose cell a place lies, if there is one."""
        place = np.rint(np.linalg.solve(self.steps.T, z - self.top.z)).astype(int)
        return self.points.get(tuple(place.tolist()))


def explored(evidence: ScatterPosterior, top: Point | None = None) -> list[Point]:
    """Climb to the tops of the posterior and lay a lattice over each hill that counts.

    Grades that contradict each other leave two hills: lapses, or a poor judgement. The search for a
    second one starts where the judgement is far better, and far worse, than at the first top. It
    ends where it comes onto a hill that is covered already.

    Parameters
    ----------
    evidence : ScatterPosterior
    top : Point, optional
        From `top_of`, where that is known and scatters which are not active have changed since.
    """
    if top is None:
        start = evidence.at(np.zeros(len(evidence.active)))
    else:
        start = evidence.at(top.z, top.mode.latent)
    first = _hill(evidence, start)
    hills = [first]
    for z in _other_starts(evidence, first.top):
        climb = _climb(evidence, evidence.at(z), hills)
        if climb.is_new and climb.top.log_posterior > first.top.log_posterior - _DROP:
            hills.append(_laid_over(evidence, climb))
    points = list(first.points.values())
    for at, hill in enumerate(hills[1:], 1):
        new = (p for p in hill.points.values() if not _is_on(evidence, hills[:at], p))
        points += new
    return points


def _hill(evidence: ScatterPosterior, best: Point) -> Hill:
    """Lay a lattice over the hill of a point; over a higher one, if one of its points found it."""
    for _ in range(_MAX_HILLS):
        hill = _laid_over(evidence, _climb(evidence, best))
        best = max(hill.points.values(), key=lambda point: point.log_posterior)
        if best.log_posterior <= hill.top.log_posterior + _HIGHER:
            break
    return hill


def _laid_over(evidence: ScatterPosterior, climb: _Climb) -> Hill:
    top = climb.top
    steps = _lattice_steps(evidence, top, climb.hessian)
    log_volume = float(np.linalg.slogdet(steps)[1]) if len(steps) else 0.0
    points = _lattice(evidence, top, steps)
    sized = {at: replace(point, log_volume=log_volume) for at, point in points.items()}
    return Hill(top, steps, sized)


def _other_starts(evidence: ScatterPosterior, top: Point) -> list[Array]:
    """Return where to look for another explanation of the grades."""
    if "omega" not in evidence.active:
        return []
    apart = _OTHER_JUDGEMENT * np.eye(len(top.z))[evidence.active.index("omega")]
    return [top.z - apart, top.z + apart]


def _is_on(evidence: ScatterPosterior, hills: Sequence[Hill], point: Point) -> bool:
    """Tell whether a point belongs to one of the hills: same place, same latent values."""
    for hill in hills:
        near = hill.near(point.z)
        if near is not None:
            there = evidence.at(point.z, near.mode.latent)
            if np.allclose(there.mode.latent, point.mode.latent, atol=_SAME_MODE_MM):
                return True
    return False


def _lattice_steps(evidence: ScatterPosterior, top: Point, hessian: Array) -> Array:
    """Return the lattice's steps, one a row, along the principal axes of the curvature.

    The curvature at the top is that of a small spike as often as not: the evidence has kinks where
    the mode goes over from one reading to another. So each step is stretched or shortened to fall
    as far as it would on a normal of that width.
    """
    eigenvalues, axes = np.linalg.eigh(hessian)
    # Curvature below the prior's own means a bumpy evidence: do not step out further than that.
    steps = _STEP * (axes / np.sqrt(np.maximum(eigenvalues, 0.5))).T
    stretches = [
        np.mean([_reach(evidence, top, side * step) for side in (1.0, -1.0)]) for step in steps
    ]
    lattice: Array = steps * np.array(stretches)[:, None]
    return lattice


def _reach(evidence: ScatterPosterior, top: Point, step: Array) -> float:
    """Return the factor on a step that makes the log posterior fall as that of a normal would.

    Where the log posterior jumps past that, the step ends before the jump.
    """
    drop = _STEP**2 / 2
    short, long, stretch = 0.0, np.inf, 1.0
    for _ in range(_MAX_STRETCHES):
        reached = evidence.at(top.z + stretch * step, top.mode.latent)
        dropped = top.log_posterior - reached.log_posterior
        if abs(dropped / drop - 1) < _NEAR_ENOUGH:
            return stretch
        short, long = (stretch, long) if dropped < drop else (short, stretch)
        # On a parabola the drop grows with the square of the distance.
        guess = stretch * float(np.clip(np.sqrt(drop / max(dropped, 1e-9)), 1 / 3, 3))
        stretch = guess if short < guess < long else (short + long) / 2
    return short or stretch


def _lattice(evidence: ScatterPosterior, top: Point, steps: Array) -> dict[tuple[int, ...], Point]:
    """Visit the lattice from the top outwards as far as the posterior reaches, the top first."""
    origin = (0,) * len(steps)
    found = {origin: top}
    queue, highest = deque([origin]), top.log_posterior
    while queue and len(found) < _MAX_POINTS:
        at = queue.popleft()
        fallen = highest - found[at].log_posterior
        for near in _neighbours(at):
            # On a parabola the next point lies further down by so much.
            further = _STEP**2 / 2 * (np.square(near).sum() - np.square(at).sum())
            if near not in found and fallen + further <= _DROP:
                point = evidence.at(top.z + np.array(near) @ steps, _start(found, at, near))
                found[near] = point
                highest = max(highest, point.log_posterior)
                queue.append(near)
    return found


def _start(
    found: dict[tuple[int, ...], Point], at: tuple[int, ...], near: tuple[int, ...]
) -> Array:
    """Extrapolate the latent mode to the next point from two points a like step apart."""
    for base in _neighbours(at):
        ahead = tuple(b + n - a for b, n, a in zip(base, near, at, strict=True))
        if base in found and ahead in found:
            return _guessed(found[at], found[ahead], found[base])
    return found[at].mode.latent


def _guessed(near: Point, ahead: Point, behind: Point) -> Array:
    """Guess a mode: as far from one nearby as two others are apart, if thresholds allow it."""
    guess = near.mode.latent + ahead.mode.latent - behind.mode.latent
    in_order = np.all(np.diff(guess[AT_THRESHOLDS]) > 0)
    return guess if in_order else near.mode.latent


@cache
def flattening(k: int) -> float:
    """Return the power of the density whose sum over the lattice has the density's own spread.

    So wide a lattice, cut off where it is, makes the variance of a normal a tenth too small in
    three dimensions and a sixth in six. For a normal this power makes it exact.
    """
    reach = int(np.sqrt(2 * _DROP) / _STEP)
    squares = np.square(list(product(range(-reach, reach + 1), repeat=k)))
    inside = squares[squares.sum(axis=1) * _STEP**2 / 2 <= _DROP]

    def too_narrow(power: float) -> float:
        weights = np.exp(-0.5 * power * _STEP**2 * inside.sum(axis=1))
        return float(1 - weights @ inside[:, 0] * _STEP**2 / weights.sum())

    return float(brentq(too_narrow, 0.3, 1.5)) if k else 1.0


def _neighbours(at: tuple[int, ...]) -> list[tuple[int, ...]]:
    return [(*at[:i], at[i] + side, *at[i + 1 :]) for i in range(len(at)) for side in (1, -1)]


def _climb(evidence: ScatterPosterior, point: Point, hills: Sequence[Hill] = ()) -> _Climb:
    """Find the scatters' mode and the curvature there, by Newton with finite differences.

    The search ends early where it comes onto one of the hills.
    """
    hessian: Array = np.eye(len(point.z))
    for _ in range(_MAX_STEPS):
        if _is_on(evidence, hills, point):
            return _Climb(point, hessian, is_new=False)
        gradient, hessian = _differences(evidence, point)
        eigenvalues, axes = np.linalg.eigh(hessian)
        step = axes @ ((axes.T @ gradient) / np.maximum(np.abs(eigenvalues), 0.5))
        step *= min(1.0, 2.0 / max(float(np.linalg.norm(step)), 1e-300))
        share, new = 1.0, evidence.at(point.z + step, point.mode.latent)
        while new.log_posterior < point.log_posterior and share > 1e-3:
            share /= 2
            new = evidence.at(point.z + share * step, point.mode.latent)
        if new.log_posterior <= point.log_posterior + _TOP_ENOUGH:
            top = max(point, new, key=lambda p: p.log_posterior)
            return _Climb(top, hessian, is_new=not _is_on(evidence, hills, top))
        point = new
    return _Climb(point, hessian, is_new=not _is_on(evidence, hills, point))


def _differences(evidence: ScatterPosterior, point: Point) -> tuple[Array, Array]:
    """Gradient and negative Hessian by central differences."""
    z, value, h = point.z, point.log_posterior, _DIFFERENCE
    unit = h * np.eye(len(z))
    ahead = [evidence.at(z + e, point.mode.latent) for e in unit]
    behind = [
        evidence.at(z - e, _guessed(point, point, a)) for e, a in zip(unit, ahead, strict=True)
    ]
    plus, minus = (np.array([p.log_posterior for p in points]) for points in (ahead, behind))
    hessian = np.diag((2 * value - plus - minus) / h**2)
    for i, one in enumerate(ahead):
        for j, other in enumerate(ahead[:i]):
            both = evidence.at(z + unit[i] + unit[j], _guessed(one, other, point)).log_posterior
            hessian[i, j] = hessian[j, i] = (plus[i] + plus[j] - value - both) / h**2
    return (plus - minus) / (2 * h), hessian
