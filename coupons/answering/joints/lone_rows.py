"""Rows of a list for holes that meet no body: nothing is asked of them until somebody says so.

``coupons meet`` marks them in the column ``alone``. Beside one may be written: hardware that goes
in; a fit or a gap, for a pin of the listed size that is in no file; or ``draw 2.6`` in the column
``fit``, a diameter that was found by hand, for which no model stands.
"""

from dataclasses import dataclass, replace

from coupons.answering.lengths import length_mm
from coupons.answering.question import LARGEST_MM, SMALLEST_MM
from coupons.errors import Problem
from coupons.measuring.run.spreadsheet import Cells
from coupons.terms import Form, MovingBody

ALONE = "alone"
"""Column that marks such a row, and says what kind of hole it is."""
_DRAW = "draw"


@dataclass(frozen=True)
class ListedHole:
    """A hole of which no joint is asked.

    Parameters
    ----------
    row : int
    name : str
    draw_mm : float or None
        The diameter that it is to be drawn with; None if it is to stay.
    """

    row: int
    name: str
    draw_mm: float | None = None


def is_lone(row: Cells) -> bool:
    """Tell whether a row is that of a hole that meets no body."""
    return bool(row.others.get(ALONE))


def is_asked(row: Cells) -> bool:
    """Tell whether a joint is asked of such a hole."""
    fit = row.named.get("fit", "")
    said = [row.named.get(column, "") for column in ("hardware", "external")]
    return bool((fit or any(said)) and not fit.lower().startswith(_DRAW))


def listed_hole(file: str, row: Cells) -> tuple[ListedHole, list[Problem]]:
    """Read the row of a hole that stays, or is drawn with a diameter of its own."""
    name, fit = row.named.get("name", ""), row.named.get("fit", "")
    if not fit:
        return ListedHole(row.number, name), []
    draw_mm = length_mm(fit[len(_DRAW) :].strip())
    if draw_mm is not None and SMALLEST_MM <= draw_mm <= LARGEST_MM:
        return ListedHole(row.number, name, draw_mm), []
    expected = f"draw and a diameter from {SMALLEST_MM:g} to {LARGEST_MM:g} mm"
    problem = Problem(f"{file} row {row.number}", expected, repr(fit[:60]), "Such as draw 2.6")
    return ListedHole(row.number, name), [problem]


def with_partner(row: Cells) -> Cells:
    """Return the row of a lone hole as that of a joint, with what goes in.

    The listed size is that of the hole as it is drawn; hardware has a size of its own. Without
    hardware a pin of the listed size goes in. Only the hole can move.
    """
    named = dict(row.named)
    if named.get("hardware"):
        named["size_mm"] = ""
    else:
        named["external"] = named.get("external") or Form.PIN
        named["move"] = named.get("move") or MovingBody.INTERNAL
    return replace(row, named=named)


def odd_move(file: str, row: Cells) -> list[Problem]:
    """Refuse to move a body that is in no file."""
    move = row.named.get("move", "").lower()
    if move in ("", MovingBody.INTERNAL):
        return []
    todo = "Only the hole is there to be moved: leave it blank"
    return [Problem(f"{file} row {row.number}", "move internal", repr(move[:60]), todo)]
