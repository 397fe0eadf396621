"""What the terminal says of another person's hand."""

from collections.abc import Iterator

import numpy as np

from coupons.answering.words.numbers import minus
from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.profile import Profile
from coupons.terms import Grade


def hand_lines(before: Profile, after: Profile) -> Iterator[str]:
    """Yield where each fit begins for a new hand, beside where it began in the profile.

    Parameters
    ----------
    before, after : Profile
        That of the others' hands, and that of the new one.
    """
    hand = after.hand
    if hand is None or hand.trials is None:
        return
    yield f"The hand of {hand.by}, from {hand.trials} trials on {after.machine}, {after.material}:"
    yield ""
    yield f"{'begins at a clearance, mm, of':<32}{hand.by[:22]:<24}in the profile"
    for grade in THRESHOLDS:
        yield f"  {grade:<30}{_threshold(after, grade):<24}{_threshold(before, grade)}"
    yield ""
    yield _sliding(before, after, hand.by)


def _threshold(profile: Profile, grade: Grade) -> str:
    at = TERMS.index(f"from_{grade}")
    sd = float(np.sqrt(profile.covariance_matrix[at, at]))
    mean_mm = round(float(profile.mean_vector[at]), 2) + 0.0  # no minus before a zero
    return f"{minus(mean_mm)} ± {sd:.2f}"


def _sliding(before: Profile, after: Profile, by: str) -> str:
    """Say how much wider a gap this hand wants for a sliding fit."""
    window = [TERMS.index(f"from_{grade}") for grade in (Grade.SLIDE, Grade.LOOSE)]
    wider_mm = float(np.mean((after.mean_vector - before.mean_vector)[window]))
    if abs(wider_mm) < 0.005:
        return f"For a sliding fit {by} wants the same gap as the profile's hands."
    how = "wider" if wider_mm > 0 else "narrower"
    return (
        f"For a sliding fit {by} wants a gap {abs(wider_mm):.2f} mm {how} than the profile's hands."
    )
