"""What a person at the bench may want to know, as sums of the printer's terms.

Each want is a number that somebody will draw: the gap in the middle of a fit's window, or by how
much to widen a hole. It is asked of the next print at a usual size.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.ways import way
from coupons.learning.effects import (
    EFFECTS,
    LOSSES,
    TERMS,
    THRESHOLDS,
    effect_row,
    loss_row,
)
from coupons.making.record import Coupon
from coupons.terms import EXTERNAL, FLAT, ROUND, Direction, Feature, Form, Grade

Array = NDArray[np.floating]

CHOICES = {
    "all": "Everything, best first",
    "slide": "Sliding faces",
    "push": "Push pins",
    "fits": "Sliding faces and push pins",
    "screw": "Holes for screws",
}
"""What can be chosen at the start, with the words for it."""

FLAT_MM, ROUND_MM, SCREW_MM = 12.0, 8.0, 3.4
"""The sizes that are asked about: those of the usual questions, and a medium hole for M3."""
_DRAWN_GAP_MM = 0.3  # the row hardly depends on it


@dataclass(frozen=True)
class Want:
    """One number to be known.

    Parameters
    ----------
    choices : tuple of str
        Under which of `CHOICES` it falls, but for "all".
    name : str
        What it is, in a few words.
    row : ndarray of shape (n_terms,)
        The number in mm is this row times the terms.
    grade : Grade or None
        The fit that a joint drawn by it is to have; None for a size.
    in_plane, along_z, judged : float
        How often the scatters of own deviations and of the judgement count in one joint.
    """

    choices: tuple[str, ...]
    name: str
    row: Array
    grade: Grade | None
    in_plane: float
    along_z: float
    judged: float


def wants_of(coupon: Coupon) -> tuple[Want, ...]:
    """Return what a coupon can teach of what people usually want to know.

    Parameters
    ----------
    coupon : Coupon

    Returns
    -------
    tuple of Want
        Sliding faces across each axis in which it has flat forms, push pins along each axis in
        which it has round ones, and standing holes for screws. None of a part that exists already:
        its sizes are of interest themselves, and all are read.
    """
    if coupon.part is not None:
        return ()
    has = {(feature.form in FLAT, feature.direction) for feature in coupon.features}
    holes = {feature.direction for feature in coupon.features if feature.form is Form.HOLE}
    axes = (Direction.X, Direction.Y, Direction.Z)
    wants = [_fit("slide", Grade.SLIDE, Form.SLOT, a) for a in axes if (True, a) in has]
    wants += [_fit("push", Grade.PUSH, Form.HOLE, a) for a in axes if (False, a) in has]
    return (*wants, *([_screw_hole()] if Direction.Z in holes else []))


def _fit(choice: str, grade: Grade, internal: Form, direction: Direction) -> Want:
    external = next(one for one in EXTERNAL if (one in ROUND) == (internal in ROUND))
    is_round = internal in ROUND
    size_mm = ROUND_MM if is_round else FLAT_MM
    inner = effect_row(Feature(internal, size_mm + _DRAWN_GAP_MM, direction))
    outer = effect_row(Feature(external, size_mm, direction))
    row = np.zeros(len(TERMS))
    row[: len(EFFECTS)] = outer - inner
    row[-len(LOSSES) :] = loss_row(is_round, direction, seam=is_round)
    at = len(EFFECTS) + THRESHOLDS.index(grade)
    row[at : at + 2] += 0.5
    along_z = (
        2.0 * (direction is Direction.Z) if not is_round else float(direction is not Direction.Z)
    )
    return Want(
        (choice, "fits"),
        f"gap to {grade}, {internal}/{external} {size_mm:g} mm {way(internal, direction)}",
        row,
        grade,
        in_plane=2.0 - along_z,
        along_z=along_z,
        judged=1.0,
    )


def _screw_hole() -> Want:
    row = np.zeros(len(TERMS))
    row[: len(EFFECTS)] = -effect_row(Feature(Form.HOLE, SCREW_MM, Direction.Z))
    return Want(("screw",), f"widen a {SCREW_MM:g} mm hole by", row, None, 1.0, 0.0, 0.0)
