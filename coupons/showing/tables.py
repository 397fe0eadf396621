"""Tables for a terminal of 80 columns without colour."""

import unicodedata
from collections.abc import Sequence

WIDTH = 80
_GAP = 2


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Align rows under their heads; cells that do not fit end in an ellipsis.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of sequence of str
        As many cells as ``head`` has. Signs that would steer a terminal are taken out.
    right : sequence of int
        Columns set flush right: numbers.

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
    lines = [[plain(cell) for cell in line] for line in (head, *rows)]
    widths = _fitting([max(map(_columns, column)) for column in zip(*lines, strict=True)])
    return "\n".join(_line(line, widths, right) for line in lines)


def plain(text: str) -> str:
    """Return text on one line without the signs that steer a terminal or turn its direction."""
    kept = (" " if sign in "\t\r\n" else sign for sign in text)
    return "".join(sign for sign in kept if unicodedata.category(sign)[0] != "C")


def _columns(text: str) -> int:
    """Return how many columns a text takes: wide signs two, combining ones none."""
    return sum(
        0 if unicodedata.combining(sign) else 1 + (unicodedata.east_asian_width(sign) in "WF")
        for sign in text
    )


def _fitting(widths: list[int]) -> list[int]:
    """Narrow the widest columns until a line fits."""
    widths = list(widths)
    while sum(widths) + _GAP * (len(widths) - 1) > WIDTH:
        widths[widths.index(max(widths))] -= 1
    return widths


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[int]) -> str:
    padded = []
    for at, (cell, width) in enumerate(zip(cells, widths, strict=True)):
        text = _cut(cell, width)
        space = " " * (width - _columns(text))
        padded.append(space + text if at in right else text + space)
    return (" " * _GAP).join(padded).rstrip()


def _cut(text: str, width: int) -> str:
    if _columns(text) <= width:
        return text
    while text and _columns(text) > width - 1:
        text = text[:-1]
    return text + "…"
