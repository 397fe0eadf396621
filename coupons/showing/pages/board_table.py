"""The board for a terminal: a line for each profile, then a key to the columns."""

from collections.abc import Sequence

from coupons.answering.origin import Age, is_old_model, old_model_mark
from coupons.showing.pages.board import Posted
from coupons.showing.pages.board_figures import Figure
from coupons.showing.words.terminal_tables import table

_SHOWN = 3  # figures that have room beside the names


def board_table(posted: Sequence[Posted], ages: Sequence[Age], figures: Sequence[Figure]) -> str:
    """Return the profiles with their age and the first few answers, 80 columns wide."""
    shown = figures[:_SHOWN]
    head = ["machine", "material", "age", *(f"({n})" for n in range(1, len(shown) + 1))]
    rows = [
        [
            one.profile.machine,
            # In front, where a long name cannot push it out of the column.
            ("REHEARSED " if one.profile.rehearsed else "")
            + ("OLD MODEL " if is_old_model(one.profile.version) else "")
            + one.profile.material,
            # The word that decides first, so that a narrow column cuts only the days.
            ", ".join(filter(None, ("older" if one.is_older else age.state, age.since))),
            *(value.words if (value := figure.values[at]) else "–" for figure in shown),
        ]
        for at, (one, age) in enumerate(zip(posted, ages, strict=True))
    ]
    right = range(3, 3 + len(shown))
    notes = [f"({n}) {figure.title}, {figure.unit}" for n, figure in enumerate(shown, start=1)]
    versions = sorted({one.profile.version for one in posted})
    notes += [mark for version in versions if (mark := old_model_mark(version))]
    return "\n".join([table(head, rows, right=tuple(right)), "", *notes])
