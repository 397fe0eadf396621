"""Press and snap fits: whether the plastic withstands the strain.

A check, not a design: thin-wall and edge effects, layers, creep and temperature are left out and
named as cautions. The material's figures are the user's; there is no table of them here.
"""

import math
from dataclasses import dataclass

from coupons.errors import AnswerError, Problem

CORE_CAUTIONS = (
    "Plastic creeps: a press fit loses much of its grip in weeks, sooner when warm.",
    "Wear eye protection and keep fingers clear when pressing parts together.",
    "Not for guarding, lifting, pressure, medical or vehicle use without a qualified check.",
)
PRESS_CAUTIONS = (
    "Across the layers, a printed hub splits at a fraction of its strength along them.",
    *CORE_CAUTIONS,
)
SNAP_CAUTIONS = (
    "Print the clip lying flat: bent across the layers it breaks early.",
    "A clip that is kept bent stays bent; let it spring back when it is closed.",
    "Not for guarding, lifting, pressure, medical or vehicle use without a qualified check.",
)

# How much further a beam bends at the same strain when its thickness tapers to half at the tip
# (beam theory, integrated; a test does it again). With a stronger taper the greatest strain is no
# longer at the root, so that none is offered.
TAPERS = {"none": 1.0, "half": 1.63553}


@dataclass(frozen=True)
class PressBody:
    """One body of a press fit: a ring around the joint, or a pin inside it.

    Parameters
    ----------
    other_mm : float
        The ring's outside diameter, or the pin's bore (0 for a solid pin).
    modulus_mpa : float
        Young's modulus; ``math.inf`` for a metal pin, which is rigid.
    poisson : float
        Poisson's ratio.
    """

    other_mm: float
    modulus_mpa: float
    poisson: float = 0.36


@dataclass(frozen=True)
class ClipSection:
    """Cross-section of a clip: its width, and its thickness in the direction in which it bends."""

    width_mm: float
    thickness_mm: float


@dataclass(frozen=True)
class PressCheck:
    """What an interference does to a ring.

    Parameters
    ----------
    strain : float
        Interference / size: the ring's hoop strain if the pin is rigid.
    strain_limit : float
        What the material withstands.
    interference_limit_mm : float
        Interference that strains it to the limit.
    pressure_mpa : float
        Lamé pressure between the bodies.
    ring_stress_mpa : float
        Hoop stress at the ring's bore, its greatest.
    within_limit : bool
        The strain is at most the limit.
    cautions : tuple of str
    """

    strain: float
    strain_limit: float
    interference_limit_mm: float
    pressure_mpa: float
    ring_stress_mpa: float
    within_limit: bool
    cautions: tuple[str, ...] = PRESS_CAUTIONS


@dataclass(frozen=True)
class SnapCheck:
    """What a deflection does to a cantilever clip; ``strain`` is the greatest, at its root."""

    strain: float
    strain_limit: float
    deflection_limit_mm: float
    within_limit: bool
    cautions: tuple[str, ...] = SNAP_CAUTIONS


def lame_pressure_mpa(
    interference_mm: float, size_mm: float, ring: PressBody, pin: PressBody
) -> float:
    """Pressure in an interference between two elastic rings (Lamé).

    Parameters
    ----------
    interference_mm : float
        Over the diameter; what a negative gap is without its sign.
    size_mm : float
        Diameter of the joint.
    ring, pin : PressBody

    Raises
    ------
    AnswerError
        If a size or a modulus is impossible.

    Examples
    --------
    >>> plastic = PressBody(other_mm=16, modulus_mpa=3500)
    >>> round(lame_pressure_mpa(0.1, 10, plastic, PressBody(0, math.inf)), 2)
    13.25
    """
    _refuse_impossible_press(interference_mm, size_mm, ring, pin)
    ring_share = (_ring_factor(ring.other_mm, size_mm) + ring.poisson) / ring.modulus_mpa
    pin_share = (_ring_factor(size_mm, pin.other_mm) - pin.poisson) / pin.modulus_mpa
    return interference_mm / size_mm / (ring_share + pin_share)


def check_press(
    interference_mm: float, size_mm: float, ring: PressBody, pin: PressBody, strain_limit: float
) -> PressCheck:
    """Compare the strain of an interference with the limit of the ring's material.

    Parameters
    ----------
    interference_mm, size_mm : float
        Over the diameter, and the joint's diameter.
    ring, pin : PressBody
    strain_limit : float
        For example 0.01 for 1 %.

    Raises
    ------
    AnswerError
        If a size, a modulus or the limit is impossible.

    Examples
    --------
    >>> plastic, dowel = PressBody(other_mm=16, modulus_mpa=3500), PressBody(0, math.inf)
    >>> check_press(0.1, 10, plastic, dowel, strain_limit=0.02).within_limit
    True
    """
    _refuse_limit(strain_limit)
    pressure_mpa = lame_pressure_mpa(interference_mm, size_mm, ring, pin)
    strain = interference_mm / size_mm
    return PressCheck(
        strain=strain,
        strain_limit=strain_limit,
        interference_limit_mm=strain_limit * size_mm,
        pressure_mpa=pressure_mpa,
        ring_stress_mpa=pressure_mpa * _ring_factor(ring.other_mm, size_mm),
        within_limit=strain <= strain_limit,
    )


def cantilever_strain(
    deflection_mm: float, length_mm: float, thickness_mm: float, taper: str = "none"
) -> float:
    """Greatest strain of a clip bent at its tip, 3·h·y/(2·l²) for an even thickness.

    Parameters
    ----------
    deflection_mm, length_mm, thickness_mm : float
        Way of the tip, free length, thickness at the root.
    taper : "none" or "half"
        Even thickness, or down to half of the root's at the tip.

    Raises
    ------
    AnswerError
        If a length is not positive, or there is no such taper.

    Examples
    --------
    >>> round(cantilever_strain(2.4, 19, 3.2791, "half"), 4)
    0.02
    """
    _refuse_not_positive(
        deflection_mm=deflection_mm, length_mm=length_mm, thickness_mm=thickness_mm
    )
    if taper not in TAPERS:
        todo = "With more taper the largest strain is not at the root"
        raise AnswerError([Problem("taper", " or ".join(TAPERS), repr(taper), todo)])
    return 1.5 * thickness_mm * deflection_mm / length_mm**2 / TAPERS[taper]


def check_snap(
    deflection_mm: float,
    length_mm: float,
    thickness_mm: float,
    strain_limit: float,
    taper: str = "none",
) -> SnapCheck:
    """Compare the strain of a clip's deflection with the limit of its material.

    Raises
    ------
    AnswerError
        If a length or the limit is not positive, or there is no such taper.

    Examples
    --------
    >>> check = check_snap(2.4, 19, 3.28, strain_limit=0.015, taper="half")
    >>> check.within_limit, round(check.deflection_limit_mm, 2)
    (False, 1.8)
    """
    _refuse_limit(strain_limit)
    strain = cantilever_strain(deflection_mm, length_mm, thickness_mm, taper)
    return SnapCheck(
        strain=strain,
        strain_limit=strain_limit,
        deflection_limit_mm=deflection_mm * strain_limit / strain,
        within_limit=strain <= strain_limit,
    )


def bending_force_n(
    strain: float, length_mm: float, root: ClipSection, modulus_mpa: float
) -> float:
    """Force across a clip's tip at a strain of its root: b·h²/6 · E·ε/l.

    The root carries it whatever the taper is.

    Parameters
    ----------
    strain : float
        Greatest strain, at the root.
    length_mm : float
    root : ClipSection
        Of the clip where it begins.
    modulus_mpa : float
        Of the material at such a strain, which is less than at a small one.

    Raises
    ------
    AnswerError
        If one of them is not positive.

    Examples
    --------
    >>> round(bending_force_n(0.02, 19, ClipSection(9.5, 3.2791), 1815), 1)
    32.5
    """
    _refuse_not_positive(
        strain=strain,
        length_mm=length_mm,
        width_mm=root.width_mm,
        thickness_mm=root.thickness_mm,
        modulus_mpa=modulus_mpa,
    )
    return root.width_mm * root.thickness_mm**2 / 6 * modulus_mpa * strain / length_mm


def push_force_n(bending_n: float, friction: float, angle_deg: float) -> float:
    """Force along a clip that pushes its hook past an edge: P·(µ + tan α)/(1 − µ·tan α).

    Parameters
    ----------
    bending_n : float
        Force across the tip that bends it far enough.
    friction : float
    angle_deg : float
        Of the hook's sloping face against the way that it is pushed.

    Raises
    ------
    AnswerError
        If it jams: the face is so steep, or so rough, that no push bends the clip.

    Examples
    --------
    >>> round(push_force_n(32.5, 0.6, 30), 1)
    58.5
    """
    slope = math.tan(math.radians(angle_deg))
    if not friction * slope < 1:
        raise AnswerError(
            f"The hook jams: with a friction of {friction:g}, the slope of its face must be under "
            f"{math.degrees(math.atan(1 / friction)):.0f} degrees, not {angle_deg:g}."
        )
    return bending_n * (friction + slope) / (1 - friction * slope)


def _ring_factor(outside_mm: float, inside_mm: float) -> float:
    return (outside_mm**2 + inside_mm**2) / (outside_mm**2 - inside_mm**2)


def _refuse_impossible_press(
    interference_mm: float, size_mm: float, ring: PressBody, pin: PressBody
) -> None:
    _refuse_not_positive(
        interference_mm=interference_mm,
        size_mm=size_mm,
        ring_modulus_mpa=ring.modulus_mpa,
    )
    if not pin.modulus_mpa > 0:
        raise AnswerError(
            [Problem("pin_modulus_mpa", "a number above 0", f"{pin.modulus_mpa:g}", "Check it")]
        )
    if not 0 <= pin.other_mm < size_mm < ring.other_mm:
        raise AnswerError(
            [
                Problem(
                    "press fit",
                    "pin bore < size < ring outside diameter",
                    f"{pin.other_mm:g}, {size_mm:g}, {ring.other_mm:g} mm",
                    "Check the three diameters",
                )
            ]
        )


def _refuse_limit(strain_limit: float) -> None:
    if not 0 < strain_limit < 1:
        raise AnswerError(
            [
                Problem(
                    "strain limit",
                    "a number between 0 and 1",
                    f"{strain_limit:g}",
                    "Write 1 % as 0.01",
                )
            ]
        )


def _refuse_not_positive(**values: float) -> None:
    problems = [
        Problem(name, "a number above 0", f"{value:g}", "Check it")
        for name, value in values.items()
        if not 0 < value < math.inf
    ]
    if problems:
        raise AnswerError(problems)
