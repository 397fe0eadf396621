"""Bending of walls and rules under a hand or a caliper: beam formulas, stated in full.

*A wall beside a window* is taken as a beam built in at both ends, loaded in its middle, with shear
counted, as the walls are short: deflection = F L³ / (192 E I) + F L / (4 k G A), with
I = depth · wall³ / 12, A = depth · wall, k = 5/6 (Timoshenko beam, rectangular section).

*A rule between jaws* is a bar that is pressed beside its axis, by (y, z): a length L of it gives
F L / E · (1/A + (y² Izz − 2 y z Iyz + z² Iyy) / (Iyy Izz − Iyz²)), where Izz = ∫ z² dA,
Iyy = ∫ y² dA and Iyz = ∫ y z dA about the middle of the section (unsymmetrical bending, in any
handbook of strength of materials). From the face that a jaw presses on, the load first spreads into
the whole bar, one across for two along (common practice, no source). A block between two rails is
a beam that is free to turn at its ends; the rails hold it, so this is on the safe side.
"""

import math
from dataclasses import dataclass

from coupons.making.bodies.shapes import Outline

FORCE_N = 20.0  # a firm push of a finger (common practice, no source)
MODULUS_MPA = 2000.0  # low end of stiff extruded thermoplastics, so that the estimate is safe
POISSON = 0.35
SHEAR_SHARE = 5 / 6
STIFF_MM = 0.01
JAW_FORCE_N = 5.0  # what a caliper's wheel gives when it is pushed, not clamped (from memory)


def window_deflection_mm(length_mm: float, wall_mm: float, depth_mm: float) -> float:
    """Return how far the wall beside a window bends.

    >>> round(window_deflection_mm(length_mm=7, wall_mm=3, depth_mm=4), 4)
    0.0067
    """
    return _beam_mm(FORCE_N, 192, length_mm, wall_mm, depth_mm)


def _beam_mm(
    force_n: float, ends: float, length_mm: float, wall_mm: float, depth_mm: float
) -> float:
    """Return the bend of a beam loaded in its middle; ``ends`` is 192 built in, 48 free to turn."""
    shear_modulus = MODULUS_MPA / (2 * (1 + POISSON))
    area = depth_mm * wall_mm
    second_moment = depth_mm * wall_mm**3 / 12
    bending = force_n * length_mm**3 / (ends * MODULUS_MPA * second_moment)
    shear = force_n * length_mm / (4 * SHEAR_SHARE * shear_modulus * area)
    return bending + shear


def round_length_mm(diameter_mm: float) -> float:
    """Return the length of the beam that stands for the wall beside a round window.

    The wall is thinnest at one place and thickens away from it; counted is what lies within 45°
    of that place, at the least thickness.
    """
    return diameter_mm * math.sin(math.radians(45))


@dataclass(frozen=True)
class BarSection:
    """A bar's section across its length: area, middle, and second moments about the middle.

    Places are (across, up) in mm; ``second_mm4`` is (∫ across² dA, ∫ up² dA, ∫ across · up dA).
    """

    area_mm2: float
    middle_mm: tuple[float, float]
    second_mm4: tuple[float, float, float]


def section_of(outlines: tuple[Outline, ...]) -> BarSection:
    """Return the section that some outlines, drawn as (across, up), make together.

    They run counter-clockwise and do not overlap. A rectangle of 4 mm across by 6 mm up:

    >>> section_of((((0, 0), (4, 0), (4, 6), (0, 6)),))
    BarSection(area_mm2=24.0, middle_mm=(2.0, 3.0), second_mm4=(32.0, 72.0, 0.0))
    """
    area = y_sum = z_sum = yy = zz = yz = 0.0
    for outline in outlines:
        for (y, z), (b, c) in zip(outline, outline[1:] + outline[:1], strict=True):
            cross = y * c - b * z
            area += cross / 2
            y_sum += cross * (y + b) / 6
            z_sum += cross * (z + c) / 6
            yy += cross * (y * y + y * b + b * b) / 12
            zz += cross * (z * z + z * c + c * c) / 12
            yz += cross * (2 * y * z + y * c + b * z + 2 * b * c) / 24
    y, z = y_sum / area, z_sum / area
    return BarSection(area, (y, z), (yy - area * y * y, zz - area * z * z, yz - area * y * z))


def shortening_per_mm2(section: BarSection, at_mm: tuple[float, float]) -> float:
    """Return by which share of its length a bar gets shorter, for each mm² of force over modulus.

    The jaws press at ``at_mm`` (across, up), in the frame of the section's outlines.
    """
    y, z = at_mm[0] - section.middle_mm[0], at_mm[1] - section.middle_mm[1]
    yy, zz, yz = section.second_mm4
    bending = (y * y * zz - 2 * y * z * yz + z * z * yy) / (yy * zz - yz * yz)
    return 1 / section.area_mm2 + bending


def pressed_mm(length_mm: float, section: BarSection, at_mm: tuple[float, float]) -> float:
    """Return how much closer two points of a bar come when jaws press on them.

    The jaws press at ``at_mm`` (across, up), in the frame of the section's outlines.

    >>> bar = section_of((((0, 0), (4, 0), (4, 6), (0, 6)),))
    >>> round(pressed_mm(80, bar, (2, 3)), 5)  # F L / E A
    0.00833
    >>> round(pressed_mm(80, bar, (2, 6)), 5)  # at the edge of a rectangle: four times that
    0.03333
    """
    return JAW_FORCE_N * length_mm / MODULUS_MPA * shortening_per_mm2(section, at_mm)


def spreading_mm(face_mm: float, bar_mm: float, high_mm: float) -> float:
    """Return how much a face yields beyond its bar, as its load spreads to the full width."""
    spread = math.log(bar_mm / face_mm) - (bar_mm - face_mm) / bar_mm
    return JAW_FORCE_N / (MODULUS_MPA * high_mm) * spread


def lean_mm(block_mm: float, between_mm: float, high_mm: float) -> float:
    """Return how far a block between two rails yields when a jaw presses on one face."""
    return _beam_mm(JAW_FORCE_N, 48, between_mm, block_mm, high_mm)
