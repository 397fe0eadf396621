"""How far lost motion of the axes may pass for their scale.

An axis with lost motion makes every size along it smaller by the same length, outer and inner ones
alike. The model has no such term. Growth, which is common to both axes, makes up for what both lose
alike; what x loses beyond y has nowhere to go but the scales, all the more the shorter the spans
that were read. On virtual machines this alone took the 90 % intervals of the scales from 89 % to
59 % (120 scales, ± 4 %). Until the model has the term, the scales' standard deviations are widened
by it.
"""

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import EFFECTS
from coupons.learning.fit import Fitted
from coupons.learning.likelihood import reading_terms

Array = NDArray[np.floating]

# Standard deviation of what x loses beyond y. Six machines were fatter along y by 0.04 to 0.10 mm
# (lengths of published prints, see MODEL.md); the virtual machines' ranges have 0.04.
LOST_X_LESS_Y_MM = 0.05


def mistaken_for_scale(fitted: Fitted) -> Array:
    """Return the standard deviation by which lost motion may have moved each effect.

    Parameters
    ----------
    fitted : Fitted

    Returns
    -------
    ndarray of shape (n_effects,)
        In the order of `coupons.learning.effects.EFFECTS`; zero for all but the scales in the layer
        plane.
    """
    moved = np.zeros(len(EFFECTS))
    at = [EFFECTS.index("scale_x"), EFFECTS.index("scale_y")]
    moved[at] = np.abs(_moved_by_one_mm(fitted)[at]) * LOST_X_LESS_Y_MM
    return moved


def _moved_by_one_mm(fitted: Fitted) -> Array:
    """Return by how much each effect moves if x loses 0.5 mm and y gains 0.5 mm unsaid.

    Newton's step from the mode after that change of the readings; trials do not change, since both
    sizes of a gap lose the same.
    """
    best = fitted.mixture.heaviest(1)
    model, mode, scatters = best.model, best.modes[0], best.scatters[0]
    readings, sizes = fitted.design.readings, fitted.design.sizes
    effects = sizes.effects[readings.size] + readings.effects
    length = effects[:, [EFFECTS.index(f"scale_{axis}") for axis in "xyz"]]
    along = length / np.maximum(length.sum(axis=1, keepdims=True), 1e-9)
    residual = readings.value - model.predicted(mode.latent)
    weights = reading_terms(
        residual, model.reading_scale(scatters), model.table.reading_dof
    ).curvature
    push = weights * (along[:, 1] - along[:, 0]) / 2
    pushed = np.concatenate([push @ model.reading_shared, model.reading_own @ push])
    return mode.factor.solve(pushed[:, None])[: len(EFFECTS), 0]
