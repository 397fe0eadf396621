"""How far a wall beside a window bends under a firm hand: a beam estimate, stated in full.

The wall is taken as a beam built in at both ends, loaded in its middle, with shear counted, as the
walls are short: deflection = F L³ / (192 E I) + F L / (4 k G A), with I = depth · wall³ / 12,
A = depth · wall, k = 5/6 (Timoshenko beam, rectangular section).
"""

import math

FORCE_N = 20.0  # a firm push of a finger (common practice, no source)
MODULUS_MPA = 2000.0  # low end of stiff extruded thermoplastics, so that the estimate is safe
POISSON = 0.35
SHEAR_SHARE = 5 / 6
STIFF_MM = 0.01


def window_deflection_mm(length_mm: float, wall_mm: float, depth_mm: float) -> float:
    """Return how far the wall beside a window bends.

    >>> round(window_deflection_mm(length_mm=7, wall_mm=3, depth_mm=4), 4)
    0.0067
    """
    shear_modulus = MODULUS_MPA / (2 * (1 + POISSON))
    area = depth_mm * wall_mm
    second_moment = depth_mm * wall_mm**3 / 12
    bending = FORCE_N * length_mm**3 / (192 * MODULUS_MPA * second_moment)
    shear = FORCE_N * length_mm / (4 * SHEAR_SHARE * shear_modulus * area)
    return bending + shear


def round_length_mm(diameter_mm: float) -> float:
    """Return the length of the beam that stands for the wall beside a round window.

    The wall is thinnest at one place and thickens away from it; counted is what lies within 45°
    of that place, at the least thickness.
    """
    return diameter_mm * math.sin(math.radians(45))
