"""The virtual person: reads the caliper and tries parts."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coupons.measuring.jaws import reading_in_bore
from coupons.measuring.virtual.machine import Person, VirtualCaliper
from coupons.terms import GRADES

Numbers = NDArray[np.floating]


# Length of the contact of a trial at which a person's thresholds are stated.
CONTACT_MM = 6.0


def in_session(caliper: VirtualCaliper, rng: np.random.Generator) -> VirtualCaliper:
    """Return the caliper with the zeros that it happens to have in one session."""
    zero_mm, inside_mm = rng.normal(0, (caliper.session_mm, caliper.session_inside_mm))
    return caliper.model_copy(
        update={"zero_mm": caliper.zero_mm + zero_mm, "inside_mm": caliper.inside_mm + inside_mm}
    )


def read_caliper(
    size_mm: Numbers,
    in_bore: NDArray[np.bool_],
    caliper: VirtualCaliper,
    rng: np.random.Generator,
    inside: NDArray[np.bool_] | None = None,
) -> Numbers:
    """Read sizes with the caliper.

    ``inside`` marks what is read with the inside jaws, ``in_bore`` which of that are round holes.
    """
    between_jaws_mm = np.where(in_bore, reading_in_bore(size_mm, caliper.jaw_land_mm), size_mm)
    by_inside = in_bore if inside is None else inside
    zero_mm = caliper.zero_mm + np.where(by_inside, caliper.inside_mm, 0.0)
    unsure_mm = rng.normal(zero_mm, caliper.repeat_mm, len(size_mm))
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


def take_turns(person: Person, count: int) -> NDArray[np.int_]:
    """Return who makes each of so many trials: 0 for the person, then each of the others."""
    return np.arange(count) % (1 + len(person.others_mm))


def asked_more_mm(person: Person, contact_mm: Numbers, hand: NDArray[np.int_]) -> Numbers:
    """Return how much more clearance each trial asks for than the person's thresholds say."""
    more_mm = np.array([0.0, *person.others_mm])[hand]
    asked: Numbers = more_mm + person.contact_mm * np.log(contact_mm / CONTACT_MM)
    return asked


def grade_of(
    clearance_mm: Numbers | Sequence[float] | float, person: Person, rng: np.random.Generator
) -> NDArray[np.int_]:
    """Try parts of the given clearances; return each one's index in ``GRADES``."""
    clearance = np.atleast_1d(np.asarray(clearance_mm, dtype=float))
    felt_mm = clearance + rng.normal(0, person.judgement_mm, clearance.shape)
    grades = np.searchsorted(person.thresholds_mm, felt_mm, side="right")
    lapses = rng.random(clearance.shape) < person.lapse_chance
    return np.where(lapses, rng.integers(len(GRADES), size=clearance.shape), grades)
