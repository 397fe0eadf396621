"""Systematic effects of a printer's error, where they act, and their priors.

A printed size is ``drawn + row · β + own deviation``, where ``row`` comes from `effect_row` and β
has one value for each effect. Effects and priors are data in this one place; formulas elsewhere use
neither names nor numbers. The priors are weak and come from common practice for extruded
thermoplastic (no source); another process may have a `PriorTable` of its own.
"""

from dataclasses import dataclass, replace
from math import exp
from typing import TYPE_CHECKING

import numpy as np

from coupons.terms import EXTERNAL, ROUND, Direction, Feature, Form, Grade, Jaws

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True)
class NormalPrior:
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
class PrintEffect:
    """A deviation that all sizes of one print share.

    Parameters
    ----------
    scatter : str
        Name of the scatter that says how large it is.
    share : float
        Its standard deviation is this share of the scatter.
    moves : dict of str to float
        Which effects it is added to, and by how much for each unit of it. So a print whose
        deviation is δ is a machine whose effects are β + moves · δ.
    """

    scatter: str
    share: float
    moves: dict[str, float]


@dataclass(frozen=True)
class PriorTable:
    """Prior distribution of all terms and scatters, for one printing process.

    Parameters
    ----------
    effects : dict of str to Normal
        Scales and skew are ratios, all others mm, growths and roundness mm a face.
    thresholds : dict of Grade to Normal
        Functional clearance in mm from which a pair is at least of that grade.
    order_weight : float
        Weight of a log barrier between neighbouring thresholds, which keeps them in order whatever
        the grades are; so small that it moves none by a tenth of its sd otherwise.
    losses : dict of str to Normal
        Clearance in mm that a pair eats beyond its sizes; see `loss_row`.
    scatters : dict of str to LogNormal
        ``tau``, ``tau_z`` feature to feature in the layer plane and along z; ``sigma`` caliper;
        ``omega`` judgement; the others print to print: mm, or a ratio for scales.
    prints : tuple of PrintEffect
        What differs from print to print.
    zeros : dict of Jaws to Normal
        Zero error in mm of a run's caliper, by jaws.
    bump : NormalPrior
        By how much in mm a standing round stands out more along x than along y, by its seam: jaws
        that lie on it meet it, or lie beside it. Once a run.
    press : NormalPrior
        Force of a caliper's jaws over the plastic's modulus, in mm²: it bends the bars of rules.
        Once a run.
    hand : NormalPrior
        By how much in mm all thresholds of one person differ from those of people at large.
    lapse : float
        Share of trials whose grade is written down at random.
    reading_dof : float
        Degrees of freedom of the readings' Student-t: low enough that one mistyped reading does not
        move an answer.
    """

    effects: dict[str, NormalPrior]
    thresholds: dict[Grade, NormalPrior]
    order_weight: float
    losses: dict[str, NormalPrior]
    scatters: dict[str, LogNormal]
    prints: tuple[PrintEffect, ...]
    zeros: dict[Jaws, NormalPrior]
    bump: NormalPrior
    press: NormalPrior
    hand: NormalPrior
    lapse: float
    reading_dof: float


EXTRUSION = PriorTable(
    effects={
        "scale_x": NormalPrior(-0.003, 0.005),
        "scale_y": NormalPrior(-0.003, 0.005),
        "scale_z": NormalPrior(-0.003, 0.005),
        "scale_int": NormalPrior(0.0, 0.002),
        "skew": NormalPrior(0.0, 0.003),
        "lost_motion": NormalPrior(0.0, 0.03),
        "growth_ext": NormalPrior(0.04, 0.08),
        "growth_int": NormalPrior(0.06, 0.08),
        "growth_ext_xy": NormalPrior(0.0, 0.015),
        "growth_int_xy": NormalPrior(0.0, 0.015),
        "round_ext": NormalPrior(0.0, 0.04),
        "round_int": NormalPrior(0.02, 0.08),
        "curl_ext": NormalPrior(0.0, 0.03),
        "curl_int": NormalPrior(0.06, 0.08),
        "curl_bend": NormalPrior(0.015, 0.03),
        # Upper faces lie on whole layers; what the first layer does to heights is bed_height.
        "growth_ext_z": NormalPrior(0.0, 0.05),
        "growth_int_z": NormalPrior(0.05, 0.12),
        # Nozzles are set low rather than high: lengths along z of six machines were short by 0.22.
        "bed_height": NormalPrior(-0.10, 0.10),
        "first_layer": NormalPrior(0.10, 0.12),
    },
    thresholds={
        Grade.FORCE: NormalPrior(-0.08, 0.08),
        Grade.PUSH: NormalPrior(0.0, 0.06),
        Grade.SLIDE: NormalPrior(0.10, 0.08),
        Grade.LOOSE: NormalPrior(0.30, 0.15),
    },
    order_weight=0.1,
    losses={
        "round_loss": NormalPrior(0.02, 0.05),
        # The half round ends of 0.2 mm layers reach 0.04 into a hole and as far out of a pin.
        "lying_loss": NormalPrior(0.08, 0.06),
        "seam_loss": NormalPrior(0.017, 0.02),
        "contact_loss": NormalPrior(0.0, 0.015),
    },
    scatters={
        "tau": LogNormal(0.03, 0.6),
        "tau_z": LogNormal(0.06, 0.6),
        "sigma": LogNormal(0.015, 0.5),
        "omega": LogNormal(0.04, 0.7),
        "rho": LogNormal(0.02, 0.5),
        "rho_scale": LogNormal(0.0002, 0.7),
        "rho_scale_z": LogNormal(0.0008, 0.5),
        "rho_bed": LogNormal(0.05, 0.7),
        "rho_roof": LogNormal(0.04, 0.8),
    },
    prints=(
        PrintEffect("rho", 1.0, {"growth_ext": 0.5, "growth_int": 0.5}),
        # Outer faces gain what inner ones lose, though not exactly.
        PrintEffect("rho", 0.5, {"growth_ext": 0.5, "growth_int": -0.5}),
        PrintEffect("rho_scale", 1.0, {"scale_x": 1.0, "scale_y": 1.0}),
        PrintEffect("rho_scale_z", 1.0, {"scale_z": 1.0}),
        PrintEffect("rho_bed", 1.0, {"bed_height": 1.0}),
        PrintEffect("rho_roof", 1.0, {"growth_int_z": 0.5}),
    ),
    zeros={Jaws.OUTSIDE: NormalPrior(0.0, 0.010), Jaws.INSIDE: NormalPrior(0.0, 0.015)},
    # Seams of 0.02 to 0.08 mm on one side are common practice, no source.
    bump=NormalPrior(0.0, 0.03),
    # From memory: 1 to 5 N on 2,000 to 3,500 MPa. Negative ones make no sense, but what a normal
    # prior allows of them is told apart by rules that bend, and means nothing on those that do not.
    press=NormalPrior(0.0012, 0.001),
    hand=NormalPrior(0.0, 0.03),
    lapse=0.02,
    reading_dof=4.0,
)

_NONE = NormalPrior(0.0, 0.0)
_SINCE_3 = (
    *("scale_int", "lost_motion", "growth_ext_xy", "growth_int_xy", "curl_ext", "curl_bend"),
    *("bed_height", "seam_loss", "contact_loss"),
)
REFINEMENTS: frozenset[str] = frozenset(_SINCE_3)
"""Terms that are small on most machines: nobody need measure them before parts are drawn."""

EXTRUSION_2 = replace(
    EXTRUSION,
    effects={n: _NONE if n in _SINCE_3 else prior for n, prior in EXTRUSION.effects.items()}
    | {"growth_ext_z": NormalPrior(0.0, 0.12)},
    losses={n: _NONE if n in _SINCE_3 else prior for n, prior in EXTRUSION.losses.items()}
    | {"lying_loss": NormalPrior(0.04, 0.06)},
    scatters={
        "tau": LogNormal(0.03, 0.6),
        "tau_z": LogNormal(0.08, 0.6),
        "sigma": LogNormal(0.015, 0.5),
        "omega": LogNormal(0.04, 0.7),
        "rho": LogNormal(0.02, 0.5),
        "rho_z": LogNormal(0.10, 0.5),
    },
    prints=(
        PrintEffect("rho", 1.0, {"growth_ext": 0.5, "growth_int": 0.5}),
        PrintEffect("rho_z", 1.0, {"growth_ext_z": 0.5, "growth_int_z": 0.5}),
    ),
)
"""The table of versions 1 and 2 of the profile. What it did not know of has no effect."""

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
