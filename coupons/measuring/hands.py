"""The virtual person: reads the caliper and tries parts."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coupons.measuring.jaws import reading_in_bore
from coupons.measuring.machine import Person, VirtualCaliper
from coupons.terms import GRADES

Numbers = NDArray[np.floating]


def read_caliper(
    size_mm: Numbers, in_bore: NDArray[np.bool_], caliper: VirtualCaliper, rng: np.random.Generator
) -> Numbers:
    """Read sizes with the caliper; ``in_bore`` marks inside jaws in a round hole."""
    between_jaws_mm = np.where(in_bore, reading_in_bore(size_mm, caliper.jaw_land_mm), size_mm)
    unsure_mm = rng.normal(caliper.zero_mm, caliper.repeat_mm, len(size_mm))
    steps = np.round((between_jaws_mm + unsure_mm) / caliper.resolution_mm)
    readings_mm: Numbers = np.maximum(steps, 1) * caliper.resolution_mm
    for at in np.flatnonzero(rng.random(len(size_mm)) < caliper.slip_chance):
        readings_mm[at] = _slip(readings_mm[at], caliper.resolution_mm, rng)
    return readings_mm


def decimals(resolution_mm: float) -> int:
    """Return how many decimals a display of that resolution shows.

    >>> decimals(0.01), decimals(0.05), decimals(0.1)
    (2, 2, 1)
    """
    return max(0, math.ceil(-math.log10(resolution_mm) - 1e-9))


def _slip(reading_mm: float, resolution_mm: float, rng: np.random.Generator) -> float:
    """Swap two neighbouring digits of a reading."""
    text = f"{reading_mm:.{decimals(resolution_mm)}f}"
    digits = [at for at, char in enumerate(text) if char.isdecimal()]
    if len(digits) < 2:
        return reading_mm
    k = int(rng.integers(len(digits) - 1))
    chars = list(text)
    chars[digits[k]], chars[digits[k + 1]] = chars[digits[k + 1]], chars[digits[k]]
    return float("".join(chars)) or reading_mm


def grade_of(
    clearance_mm: Numbers | Sequence[float] | float, person: Person, rng: np.random.Generator
) -> NDArray[np.int_]:
    """Try parts of the given clearances; return each one's index in ``GRADES``."""
    clearance = np.atleast_1d(np.asarray(clearance_mm, dtype=float))
    felt_mm = clearance + rng.normal(0, person.judgement_mm, clearance.shape)
    grades = np.searchsorted(person.thresholds_mm, felt_mm, side="right")
    lapses = rng.random(clearance.shape) < person.lapse_chance
    return np.where(lapses, rng.integers(len(GRADES), size=clearance.shape), grades)
