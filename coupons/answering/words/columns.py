"""Text in columns of a terminal."""

import unicodedata


def columns(text: str) -> int:
    """Return how many columns a text takes: wide signs two, combining ones none."""
    return sum(
        0 if unicodedata.combining(sign) else 1 + (unicodedata.east_asian_width(sign) in "WF")
        for sign in text
    )


def cell(text: str, width: int, *, right: bool = False) -> str:
    """Fill a text up to a width with blanks, or cut it with an ellipsis.

    Parameters
    ----------
    text : str
    width : int
        In columns of the terminal.
    right : bool
        Set it flush right, as numbers are.

    Examples
    --------
    >>> cell("gap", 5), cell("0.30", 6, right=True), cell("a long name", 6)
    ('gap  ', '  0.30', 'a lon…')
    """
    if columns(text) > width:
        while columns(text) > width - 1:
            text = text[:-1]
        text += "…"
    space = " " * (width - columns(text))
    return space + text if right else text + space
