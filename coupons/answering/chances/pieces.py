"""Pieces to choose from: several drawn sizes of one body, of which one is to fit.

How wide the next print comes out is not known beforehand. Several tongues for one slot, a step
apart, cover more of what may come than the best single one. What the pieces share is shared here
too: the printer, the print, the body that they are made for.
"""

from dataclasses import dataclass

from coupons.answering.chances.drawing import FaceMove
from coupons.terms import Grade, MovingBody

MOST_CHOICES = 6
"""More notches than these nobody counts at a glance."""


@dataclass(frozen=True)
class Piece:
    """One of the pieces to choose from.

    Parameters
    ----------
    notches : int
        By how many notches it is told from the others: 1 for the tightest.
    gap_mm : float
        Drawn gap over both sides.
    moves : tuple of FaceMove
        What to draw.
    chance : float
        That this piece by itself has the wanted fit.
    """

    notches: int
    gap_mm: float
    moves: tuple[FaceMove, ...]
    chance: float


@dataclass(frozen=True)
class Choices:
    """Pieces to choose from, the tightest first, and the chance that at least one fits.

    Parameters
    ----------
    pieces : tuple of Piece
    chance : float
        That at least one has the wanted fit.
    error : float
        Standard error of that number, which is sampled.
    all_too_tight, all_too_loose : float
        Chances that every piece misses on this side. What is left over is the chance that some are
        too tight and the others too loose.
    least_step_mm : float
        Neighbours are at least so far apart: see `coupons.answering.choices.least_step_mm`.
    from_one_print : bool
        No more than one print was fitted, which cannot show how far prints differ.
    """

    pieces: tuple[Piece, ...]
    chance: float
    error: float
    all_too_tight: float
    all_too_loose: float
    least_step_mm: float
    from_one_print: bool


def odd_choices(choices: int, move: MovingBody, fit: Grade | None, *, gap_is_set: bool) -> str:
    """Say why a joint cannot be asked with so many pieces to choose from; empty if it can.

    Parameters
    ----------
    choices : int
        Number of pieces; with 1 there is nothing to choose.
    move : MovingBody
    fit : Grade or None
        The wanted fit; None for a gap in mm or a standard hole.
    gap_is_set : bool
        Something else than the best chance sets the gap: a chance at least, or a gap in mm.

    Examples
    --------
    >>> odd_choices(7, MovingBody.EXTERNAL, Grade.SLIDE, gap_is_set=False)
    'Draw 1 to 6 pieces to choose from, not 7.'
    """
    if not 1 <= choices <= MOST_CHOICES:
        return f"Draw 1 to {MOST_CHOICES} pieces to choose from, not {choices}."
    if choices == 1:
        return ""
    if fit is None or gap_is_set:
        return (
            "Pieces to choose from are drawn for the best chance of a fit: leave out the chance "
            "at least, or the gap."
        )
    if fit is Grade.LOOSE:
        return "A loose fit needs no pieces to choose from: a wider gap is always loose."
    if move is MovingBody.BOTH:
        return (
            "Pieces to choose from are of one body: move the internal or the external one, not "
            "both."
        )
    return ""
