"""Tables for a terminal of 80 columns without colour."""

from collections.abc import Sequence

from coupons.answering.words.columns import cell, columns
from coupons.neutral import one_line

WIDTH = 80
_GAP = 2


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Align rows under their heads; cells that do not fit end in an ellipsis.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of sequence of str
        As many cells as ``head`` has. Terminal control characters are removed.
    right : sequence of int
        Columns to align right, such as numbers.

    Returns
    -------
    str
        Lines of at most 80 columns.

    Examples
    --------
    >>> print(table(("machine", "gap"), [("bench-1", "0.30"), ("attic-1", "−0.05")], right=(1,)))
    machine    gap
    bench-1   0.30
    attic-1  −0.05
    """
    lines = [[one_line(text) for text in line] for line in (head, *rows)]
    widths = _fitting([max(map(columns, column)) for column in zip(*lines, strict=True)])
    return "\n".join(_line(line, widths, right) for line in lines)


def _fitting(widths: list[int]) -> list[int]:
    """Narrow the widest columns until a line fits."""
    widths = list(widths)
    while sum(widths) + _GAP * (len(widths) - 1) > WIDTH:
        widths[widths.index(max(widths))] -= 1
    return widths


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> str:
    filled = (
        cell(text, width, right=at in right)
        for at, (text, width) in enumerate(zip(cells, widths, strict=True))
    )
    return (" " * _GAP).join(filled).rstrip()
