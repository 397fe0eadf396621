"""Priors of all terms and scatters of a printer: one table a process.

Effects and priors are data in this one place; formulas elsewhere use neither names nor numbers. The
priors are weak and come from common practice for extruded thermoplastic (no source); another
process may have a `PriorTable` of its own.
"""

from dataclasses import dataclass, replace
from math import exp

from coupons.terms import Grade, Jaws


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
