"""Systematic effects of a printer's error, and where they act.

A printed size is ``drawn + row · β + own deviation``, where ``row`` comes from `effect_row` and β
has one value for each effect. Names and priors are those of `coupons.learning.prior_table`.
"""

from typing import TYPE_CHECKING

import numpy as np

from coupons.learning.prior_table import EXTRUSION, NormalPrior, PriorTable
from coupons.terms import EXTERNAL, ROUND, Direction, Feature, Form, Grade, Jaws

if TYPE_CHECKING:
    from numpy.typing import NDArray


EFFECTS: tuple[str, ...] = tuple(EXTRUSION.effects)
THRESHOLDS: tuple[Grade, ...] = tuple(EXTRUSION.thresholds)
ZEROED: tuple[Jaws, ...] = tuple(EXTRUSION.zeros)
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
    >>> row = effect_row(Feature(Form.TONGUE, 12.0, Direction.X))
    >>> {name: float(v) for name, v in zip(EFFECTS, row) if v}
    {'scale_x': 12.0, 'lost_motion': 1.0, 'growth_ext': 2.0, 'growth_ext_xy': 2.0}
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
    acts: dict[str, float | NDArray[np.floating]] = {
        "scale_x": x * sizes_mm,
        "scale_y": y * sizes_mm,
        "scale_z": z * sizes_mm,
        "lost_motion": x - y,
        f"growth_{kind}": sign * 2 * (1 - z),
        f"growth_{kind}_xy": sign * 2 * (x - y),
        f"growth_{kind}_z": sign * 2 * z,
    }
    if sign < 0:
        acts["scale_int"] = (1 - z) * sizes_mm
    if feature.form in ROUND:
        acts |= _of_rounds(feature, sizes_mm, sign, kind)
    else:
        acts["skew"] = _SKEW.get(feature.direction, 0.0) * sizes_mm
    if feature.at_bed:
        acts["first_layer"] = sign * 2
    if feature.on_bed:
        acts["bed_height"] = z
    for name, values in acts.items():
        rows[:, _COLUMN[name]] = values
    return rows


def _of_rounds(
    feature: Feature, sizes_mm: "NDArray[np.floating]", sign: int, kind: str
) -> "dict[str, float | NDArray[np.floating]]":
    """Return the effects that only round forms have, by name."""
    acts: dict[str, float | NDArray[np.floating]] = {f"round_{kind}": sign * 2}
    if feature.direction is Direction.Z:
        # Only a standing round is a path around a bend, which the plastic cuts short.
        tightness = CURL_REFERENCE_MM / sizes_mm
        acts[f"curl_{kind}"] = -2 * tightness
        if kind == "int":
            # To first order what a power of the size other than −1 does.
            acts["curl_bend"] = -2 * tightness * np.log(tightness)
    return acts


def distance_row(direction: Direction, distance_mm: float) -> "NDArray[np.float64]":
    """Return how each effect moves the distance of two like features of one body.

    Growth moves both alike, so that only scale and skew count.

    Parameters
    ----------
    direction : Direction
        From one to the other.
    distance_mm : float

    Examples
    --------
    >>> row = distance_row(Direction.XY_PLUS, 50.0)
    >>> {name: float(v) for name, v in zip(EFFECTS, row) if v}
    {'scale_x': 25.0, 'scale_y': 25.0, 'skew': 25.0}
    """
    row = np.zeros(len(EFFECTS))
    for name, share in zip(("scale_x", "scale_y", "scale_z"), _AXES[direction], strict=True):
        row[_COLUMN[name]] = share * distance_mm
    row[_COLUMN["skew"]] = _SKEW.get(direction, 0.0) * distance_mm
    return row


def print_rows(effects: "NDArray[np.floating]", table: PriorTable) -> "NDArray[np.float64]":
    """Return how each print effect acts on sizes of which the rows of effects are given.

    Parameters
    ----------
    effects : ndarray of shape (n, n_effects)
        As from `effect_rows`; differences of such rows too.
    table : PriorTable

    Returns
    -------
    ndarray of shape (n, n_print_effects)
        In mm a unit of the print effect.
    """
    return np.asarray(effects @ print_moves(table))


def print_moves(table: PriorTable) -> "NDArray[np.float64]":
    """Return by how much each print effect moves each effect, (n_effects, n_print_effects)."""
    moves = np.zeros((len(EFFECTS), len(table.prints)))
    for column, effect in enumerate(table.prints):
        for name, amount in effect.moves.items():
            moves[_COLUMN[name], column] = amount
    return moves


def seam_share(beyond: "NDArray[np.floating]") -> "NDArray[np.float64]":
    """Return how much of `PriorTable.bump` is in readings.

    Parameters
    ----------
    beyond : ndarray of shape (n, n_effects)
        The effects that each reading has beyond the size: those of one axis less those of both.

    Returns
    -------
    ndarray of shape (n,)
        ½ for a standing pin read along x, −½ along y, the reverse for a hole; 0 for all others.
    """
    share = sum(beyond[:, _COLUMN[f"growth_{kind}_xy"]] for kind in ("ext", "int")) / 4
    lies = beyond[:, _COLUMN["scale_z"]] != 0
    return np.where(lies, 0.0, share)


CONTACT_REFERENCE_MM = 6.0
"""Length of the contact of a trial at which thresholds are stated."""


def loss_row(
    is_round: bool, direction: Direction, seam: bool = False, contact_mm: float | None = None
) -> "NDArray[np.float64]":
    """Return which losses a pair has, in the order of `LOSSES`.

    Form and seam of a standing round pair (``round_loss``), the stair of the layers of a lying one,
    which a mate feels and jaws do not (``lying_loss``), the seam of a standing pin that no groove
    hides (``seam_loss``), and a contact longer than that of other trials (``contact_loss``, for
    each e-fold of the length).

    Parameters
    ----------
    is_round : bool
    direction : Direction
    seam : bool
        The seam of a standing pin lies where it touches.
    contact_mm : float, optional
        How long the two bodies touch; as `CONTACT_REFERENCE_MM` where it is not known.

    Examples
    --------
    >>> loss_row(True, Direction.Z), loss_row(True, Direction.X), loss_row(False, Direction.X)
    (array([1., 0., 0., 0.]), array([0., 1., 0., 0.]), array([0., 0., 0., 0.]))
    """
    stands = is_round and direction is Direction.Z
    longer = np.log((contact_mm or CONTACT_REFERENCE_MM) / CONTACT_REFERENCE_MM)
    return np.array([float(stands), float(is_round and not stands), float(stands and seam), longer])


def prior_mean(table: PriorTable = EXTRUSION) -> "NDArray[np.float64]":
    """Return the prior mean of every term, in the order of `TERMS`."""
    return np.array([prior.mean for prior in _term_priors(table)])


def prior_sd(table: PriorTable = EXTRUSION) -> "NDArray[np.float64]":
    """Return the prior standard deviation of every term, in the order of `TERMS`."""
    return np.array([prior.sd for prior in _term_priors(table)])


def _term_priors(table: PriorTable) -> list[NormalPrior]:
    return [*table.effects.values(), *table.thresholds.values(), *table.losses.values()]
