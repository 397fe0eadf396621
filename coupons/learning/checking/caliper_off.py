"""Zero error of a caliper, for a whole sheet or from one reading to another.

For part of a sheet, every stretch of readings is tested for one common offset from all the others.
A zero error of the whole sheet makes outer and inner sizes larger alike, or smaller; growth makes
outer sizes larger and inner ones smaller. Lost motion also changes both alike, but little.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.bayes_factors import BayesFactors
from coupons.learning.design import Design
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import Fitted
from coupons.learning.posterior.edges import observations
from coupons.learning.posterior.integrate import Mixture
from coupons.measuring.run.folder import Run

Array = NDArray[np.floating]
Indices = NDArray[np.intp]

# Prior sd of the zero error of a caliper that was knocked.
OFF_SD_MM = 0.15
# A stretch needs this many readings, and as many must be left outside it.
LEAST_READINGS = 6
_STEPS = np.array([1.0, 1.2, 1.4])
# Stretches begin and end at most at this many places of a sheet.
_MOST_ENDS = 150
# Lost motion of an axis, over both faces of a size: outer and inner sizes lose it alike (common
# practice, no source). It includes an allowance for a caliper that is nearly right and for the
# scatter of like features.
LOST_MM = (0.0, 0.10)
ROOM_MM = 0.03


@dataclass(frozen=True)
class OffStretch:
    """Readings from one row of a sheet to another with one common offset from the rest."""

    run: int
    log_odds: float
    off_mm: float
    rows: tuple[int, ...]


def off_stretch(evidence: BayesFactors, n: int) -> OffStretch | None:
    """Return the stretch of a run's readings that most likely has a zero error, or None."""
    design, mixture = evidence.design, evidence.mixture
    in_run = np.flatnonzero(design.sizes.run[design.readings.size] == n)
    order = in_run[np.argsort(design.readings.row[in_run], kind="stable")]
    if len(order) < 2 * LEAST_READINGS:
        return None
    ends = np.unique(np.linspace(0, len(order), min(len(order), _MOST_ENDS) + 1).astype(int))
    pull, stiffness = _score(mixture, order, ends)
    length = ends[None, :] - ends[:, None]
    # With several runs the whole sheet of one may have the offset.
    most = len(order) if design.n_runs > 1 else len(order) - LEAST_READINGS
    allowed = (length >= LEAST_READINGS) & (length <= most)
    # An outlying reading can bend a mode the other way: of an offset such readings say nothing.
    allowed &= stiffness > 0
    if not allowed.any():
        return None
    stiff = np.where(allowed, stiffness, 1.0)
    cost = _occam(stiff)
    gain = np.where(allowed, pull**2 / (2 * (stiff + OFF_SD_MM**-2)) - cost, -np.inf)
    first, last = np.unravel_index(int(np.argmax(gain)), gain.shape)
    stretch = order[ends[first] : ends[last]]
    guess_mm = float(pull[first, last] / (stiff[first, last] + OFF_SD_MM**-2))
    # Scatters that the slip itself has made larger draw the guess towards nothing.
    weighed = [
        (
            evidence.log_odds(_moved(design, stretch, off_mm)) - (off_mm / OFF_SD_MM) ** 2 / 2,
            off_mm,
        )
        for off_mm in guess_mm * _STEPS
    ]
    log_odds, off_mm = max(weighed)
    rows = tuple(map(int, design.readings.row[stretch]))
    return OffStretch(n, log_odds - float(cost[first, last]), float(off_mm), rows)


def _occam(stiffness: Array) -> Array:
    """Return the Occam factor of a free offset relative to an offset of 0."""
    cost: Array = 0.5 * np.log1p(stiffness * OFF_SD_MM**2)
    return cost


def _moved(design: Design, at: Indices, off_mm: float) -> Design:
    value = design.readings.value.copy()
    value[at] -= off_mm
    return replace(design, readings=replace(design.readings, value=value))


def _score(mixture: Mixture, order: Indices, ends: Indices) -> tuple[Array, Array]:
    """Return slope and curvature of the log evidence by the offset of each stretch.

    Both have shape (n_ends, n_ends): from one end (row) to another (column). Readings are taken as
    jointly normal around their prediction from all other entries, an outlying one with the larger
    noise that the t-distribution gives it: at the mode, readings with an offset have almost no
    slope.
    """
    top = mixture.heaviest(1)
    mode, seen = top.modes[0], observations(top.model, top.scatters)
    slopes = seen.slopes(seen.at(np.array([mode.latent]))).of_readings
    gradient, bent = slopes.gradient[0], slopes.curvature[0]
    rows = seen.rows[: seen.n_readings].toarray()
    others = np.linalg.inv(mode.covariance) - rows.T @ (bent[:, None] * rows)
    spread = np.linalg.solve(others, rows.T)
    predicted = rows @ spread
    value, expected = top.model.design.readings.value, seen.at(np.array([mode.latent]))[0]
    residual = value - expected[: seen.n_readings]
    dof = top.model.table.reading_dof
    noise = (dof * seen.scale[0] ** 2 + residual**2) / (dof + 1)
    kernel = np.linalg.inv(predicted + np.diag(noise))
    pull = kernel @ (residual + predicted @ gradient)
    along = np.concatenate([[0.0], np.cumsum(pull[order])])[ends]
    square = np.zeros((len(order) + 1, len(order) + 1))
    square[1:, 1:] = kernel[np.ix_(order, order)].cumsum(axis=0).cumsum(axis=1)
    square = square[np.ix_(ends, ends)]
    at = np.diag(square)
    return along[None, :] - along[:, None], at[None, :] + at[:, None] - square - square.T


def off_alike_mm(fitted: Fitted, runs: Sequence[Run]) -> tuple[float, float] | None:
    """Return the range of the zero error if outer and inner sizes are off alike; else None.

    In mm on a size. None where lost motion explains as much, where the error is not known to
    `ROOM_MM`, or where the reading of the closed jaws was entered.
    """
    if any(run.zeros for run in runs):
        return None
    outer, inner = EFFECTS.index("growth_ext"), EFFECTS.index("growth_int")
    apart = np.zeros(len(fitted.mean))
    apart[outer], apart[inner] = 1.0, -1.0
    alike_mm = float(apart @ fitted.mean)
    least_mm, most_mm = -LOST_MM[1] - ROOM_MM, -LOST_MM[0] + ROOM_MM
    if apart @ fitted.covariance @ apart > ROOM_MM**2 or least_mm <= alike_mm <= most_mm:
        return None
    return alike_mm + LOST_MM[0] - ROOM_MM, alike_mm + LOST_MM[1] + ROOM_MM
