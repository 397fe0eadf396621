"""Systematic effects of a printer's error, where they act, and their priors.

A printed size is ``drawn + row · β + own deviation``, where ``row`` comes from `effect_row` and β
has one value for each effect. Effects and priors are data in this one place; formulas elsewhere use
neither names nor numbers. The priors are weak and come from common practice for extruded
thermoplastic (no source); another process may have a `PriorTable` of its own.
"""

from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING

import numpy as np

from coupons.terms import EXTERNAL, ROUND, Direction, Feature, Form, Grade

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Normal:
    """A normal prior."""

    mean: float
    sd: float


# Above this share of its prior sd, on the log scale, a scatter counts as not measured.
_UNMOVED = 0.85


@dataclass(frozen=True)
class LogNormal:
    """A log-normal prior of a standard deviation, in mm."""

    median: float
    log_sd: float

    @property
    def mean_square(self) -> float:
        """Prior mean of the variance, in mm²."""
        return self.median**2 * exp(2 * self.log_sd**2)

    def is_unmoved(self, log_sd: float) -> bool:
        """Tell whether a posterior with this sd of the log is hardly narrower than the prior."""
        return log_sd > _UNMOVED * self.log_sd


@dataclass(frozen=True)
class PriorTable:
    """Prior distribution of all terms and scatters, for one printing process.

    Parameters
    ----------
    effects : dict of str to Normal
        Scales and skew are ratios, all others mm a face.
    thresholds : dict of Grade to Normal
        Functional clearance in mm from which a pair is at least of that grade.
    order_weight : float
        Weight of a log barrier between neighbouring thresholds, which keeps them in order whatever
        the grades are; so small that it moves none by a tenth of its sd otherwise.
    losses : dict of str to Normal
        Clearance in mm that a round pair loses beyond its sizes: by roundness and seam where it
        stands, by the steps of its layers, which a mate feels and jaws do not, where it lies.
    scatters : dict of str to LogNormal
        ``tau``, ``tau_z`` between like features in the layer plane and along z; ``sigma`` caliper;
        ``omega`` judgement; ``rho``, ``rho_z`` between prints.
    lapse : float
        Share of trials whose grade is written down at random.
    reading_dof : float
        Degrees of freedom of the readings' Student-t: low enough that one mistyped reading does not
        move an answer.
    """

    effects: dict[str, Normal]
    thresholds: dict[Grade, Normal]
    order_weight: float
    losses: dict[str, Normal]
    scatters: dict[str, LogNormal]
    lapse: float
    reading_dof: float


EXTRUSION = PriorTable(
    effects={
        "scale_x": Normal(-0.003, 0.005),
        "scale_y": Normal(-0.003, 0.005),
        "scale_z": Normal(-0.003, 0.005),
        "skew": Normal(0.0, 0.003),
        "growth_ext": Normal(0.04, 0.08),
        "growth_int": Normal(0.06, 0.08),
        "round_ext": Normal(0.0, 0.04),
        "round_int": Normal(0.02, 0.08),
        "curl_int": Normal(0.06, 0.08),
        "growth_ext_z": Normal(0.0, 0.12),
        "growth_int_z": Normal(0.05, 0.12),
        "first_layer": Normal(0.10, 0.12),
    },
    thresholds={
        Grade.FORCE: Normal(-0.08, 0.08),
        Grade.PUSH: Normal(0.0, 0.06),
        Grade.SLIDE: Normal(0.10, 0.08),
        Grade.LOOSE: Normal(0.30, 0.15),
    },
    order_weight=0.1,
    losses={
        "round_loss": Normal(0.02, 0.05),
        "lying_loss": Normal(0.04, 0.06),
    },
    scatters={
        "tau": LogNormal(0.03, 0.6),
        "tau_z": LogNormal(0.08, 0.6),
        "sigma": LogNormal(0.015, 0.5),
        "omega": LogNormal(0.04, 0.7),
        "rho": LogNormal(0.02, 0.5),
        "rho_z": LogNormal(0.10, 0.5),
    },
    lapse=0.02,
    reading_dof=4.0,
)

EFFECTS: tuple[str, ...] = tuple(EXTRUSION.effects)
THRESHOLDS: tuple[Grade, ...] = tuple(EXTRUSION.thresholds)
SCATTERS: tuple[str, ...] = tuple(EXTRUSION.scatters)
# Every term on which an answer depends, in the order of means and covariances.
LOSSES: tuple[str, ...] = tuple(EXTRUSION.losses)
TERMS: tuple[str, ...] = (*EFFECTS, *(f"from_{grade}" for grade in THRESHOLDS), *LOSSES)

_COLUMN = {name: column for column, name in enumerate(EFFECTS)}
CURL_REFERENCE_MM = 5.0
"""Hole size at which ``curl_int`` is stated; standing holes close more as they get smaller."""

# Share of x, y and z in the length that a direction runs along.
_AXES = {
    Direction.X: (1.0, 0.0, 0.0),
    Direction.Y: (0.0, 1.0, 0.0),
    Direction.Z: (0.0, 0.0, 1.0),
    Direction.XY_PLUS: (0.5, 0.5, 0.0),
    Direction.XY_MINUS: (0.5, 0.5, 0.0),
}
_SKEW = {Direction.XY_PLUS: 0.5, Direction.XY_MINUS: -0.5}


def measured_axes(feature: Feature, along: str | None = None) -> tuple[float, float, float]:
    """Return the shares of x, y and z in the length that is a feature's size.

    A flat feature is measured along its direction; a round one across it, so half along each of
    the two other axes, unless a caliper took it ``along`` one.
    """
    if feature.form not in ROUND:
        return _AXES[feature.direction]
    if along is not None:
        return _AXES[Direction(along)]
    x, y, z = _AXES[feature.direction]
    return (1 - x) / 2, (1 - y) / 2, (1 - z) / 2


def height_share(feature: Feature, along: str | None = None) -> float:
    """Return how much of a size lies along z: 0 in the layer plane, 1 across layers."""
    return measured_axes(feature, along)[2]


def side(form: Form) -> int:
    """Return +1 for a form that grows with its faces, −1 for one that closes."""
    return 1 if form in EXTERNAL else -1


def effect_row(feature: Feature, along: str | None = None) -> "NDArray[np.float64]":
    """Return the contribution of each effect to printed − drawn size.

    Parameters
    ----------
    feature : Feature
    along : {"x", "y", "z"}, optional
        The axis along which a caliper took a round feature.

    Returns
    -------
    ndarray of shape (n_effects,)
        Multiply by β (order of `EFFECTS`) for the expected error in mm.

    Examples
    --------
    >>> from coupons.terms import Direction, Feature, Form
    >>> row = effect_row(Feature(Form.SLOT, 12.0, Direction.X))
    >>> {name: float(v) for name, v in zip(EFFECTS, row) if v}
    {'scale_x': 12.0, 'growth_int': -2.0}
    """
    sizes_mm = np.array([feature.size_mm])
    row: NDArray[np.float64] = effect_rows(feature, sizes_mm, along)[0]
    return row


def effect_rows(
    feature: Feature, sizes_mm: "NDArray[np.floating]", along: str | None = None
) -> "NDArray[np.float64]":
    """Return `effect_row` of a feature at each of several drawn sizes in mm, one a row."""
    rows = np.zeros((len(sizes_mm), len(EFFECTS)))
    x, y, z = measured_axes(feature, along)
    sign = side(feature.form)
    kind = "ext" if sign > 0 else "int"
    rows[:, _COLUMN["scale_x"]] = x * sizes_mm
    rows[:, _COLUMN["scale_y"]] = y * sizes_mm
    rows[:, _COLUMN["scale_z"]] = z * sizes_mm
    if feature.form not in ROUND:
        rows[:, _COLUMN["skew"]] = _SKEW.get(feature.direction, 0.0) * sizes_mm
    rows[:, _COLUMN[f"growth_{kind}"]] = sign * 2 * (1 - z)
    rows[:, _COLUMN[f"growth_{kind}_z"]] = sign * 2 * z
    if feature.form in ROUND:
        rows[:, _COLUMN[f"round_{kind}"]] = sign * 2
    if feature.form is Form.HOLE and feature.direction is Direction.Z:
        # Only a standing hole is a path around a bend, which the plastic cuts short.
        rows[:, _COLUMN["curl_int"]] = -2 * CURL_REFERENCE_MM / sizes_mm
    if feature.at_bed:
        rows[:, _COLUMN["first_layer"]] = sign * 2
    return rows


def loss_row(is_round: bool, direction: Direction) -> "NDArray[np.float64]":
    """Return which losses a pair has, in the order of `LOSSES`; flat pairs have none.

    Examples
    --------
    >>> loss_row(True, Direction.Z), loss_row(True, Direction.X), loss_row(False, Direction.X)
    (array([1., 0.]), array([0., 1.]), array([0., 0.]))
    """
    stands = direction is Direction.Z
    return np.array([float(is_round and stands), float(is_round and not stands)])


def prior_mean(table: PriorTable = EXTRUSION) -> "NDArray[np.float64]":
    """Return the prior mean of every term, in the order of `TERMS`."""
    return np.array([prior.mean for prior in _term_priors(table)])


def prior_sd(table: PriorTable = EXTRUSION) -> "NDArray[np.float64]":
    """Return the prior standard deviation of every term, in the order of `TERMS`."""
    return np.array([prior.sd for prior in _term_priors(table)])


def _term_priors(table: PriorTable) -> list[Normal]:
    return [*table.effects.values(), *table.thresholds.values(), *table.losses.values()]
