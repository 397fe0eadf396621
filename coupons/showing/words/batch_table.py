"""What became of every profile of a batch, for the terminal."""

import textwrap
from collections import Counter
from collections.abc import Sequence

from coupons.showing.words.terminal_tables import WIDTH, table

_MOST = 40  # of a thousand profiles nobody reads each


def batch_lines(outcomes: Sequence[tuple[str, str, Sequence[str]]]) -> list[str]:
    """Say what became of every profile.

    Parameters
    ----------
    outcomes : sequence of (str, str, sequence of str)
        Path of the profile, or of the run where there is none, what became of it, and what was said
        of it.

    Returns
    -------
    list of str
        A table, its first rows if there are many; what was said; how many became what.
    """
    shown = [*outcomes[:_MOST]]
    lines = [table(("profile or run", "outcome"), [(path, word) for path, word, _ in shown])]
    if len(outcomes) > len(shown):
        lines.append(f"and {len(outcomes) - len(shown)} more; --json lists all")
    told = [(path, text) for path, _, said in outcomes for text in said]
    if told:
        lines.append("")
    lines += [
        textwrap.fill(_placed(path, text), WIDTH, subsequent_indent="  ")
        for path, text in told[:_MOST]
    ]
    if len(told) > _MOST:
        lines.append(f"and {len(told) - _MOST} more; --json lists all")
    counts = Counter(word for _, word, _ in outcomes)
    total = ", ".join(f"{count} {word}" for word, count in counts.items())
    return [*lines, "", f"{len(outcomes)} profile{'' if len(outcomes) == 1 else 's'}: {total}"]


def _placed(path: str, text: str) -> str:
    """Name the place before what was said of it, unless it begins with that."""
    return text if text.startswith(path) else f"{path}: {text}"
