"""The board for a terminal: a line a profile, then what the columns are."""

from collections.abc import Sequence

from coupons.showing.board import Age, Posted
from coupons.showing.board_figures import Figure, Value
from coupons.showing.tables import table

_SHOWN = 3  # figures that have room beside the names


def board_table(posted: Sequence[Posted], ages: Sequence[Age], figures: Sequence[Figure]) -> str:
    """Return the profiles with their age and the first few answers, 80 columns wide."""
    shown = figures[:_SHOWN]
    head = ["machine", "material", "age", *(f"({n})" for n in range(1, len(shown) + 1))]
    rows = [
        [
            one.profile.machine,
            # In front, where a long name cannot push it out of the column.
            ("REHEARSED " if one.profile.rehearsed else "") + one.profile.material,
            age.words + (", older" if one.is_older else ""),
            *(_figure(figure.values[at]) for figure in shown),
        ]
        for at, (one, age) in enumerate(zip(posted, ages, strict=True))
    ]
    right = range(3, 3 + len(shown))
    notes = [f"({n}) {figure.title}, {figure.unit}" for n, figure in enumerate(shown, start=1)]
    return "\n".join([table(head, rows, right=tuple(right)), "", *notes])


def _figure(value: Value | None) -> str:
    return "–" if value is None else f"{value.value:.2f}".replace("-", "−")
