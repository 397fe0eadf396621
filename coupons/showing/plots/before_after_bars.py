"""A cause before and after a change: two points with their 90 % intervals on one scale."""

from collections.abc import Sequence

from markupsafe import Markup

from coupons.answering.compare.before_after import CauseChange
from coupons.showing.plots.plot import Scale
from coupons.terms import SDS_OF_90

_WIDTH, _HEIGHT = 200.0, 30.0


def before_after_bars(causes: Sequence[CauseChange]) -> tuple[Markup, ...]:
    """Draw each cause: before above, after below; zero is dotted. Each has its own scale."""
    return tuple(_bars(one) for one in causes)


def _bars(one: CauseChange) -> Markup:
    pairs = ((one.before, one.before_sd), (one.after, one.after_sd))
    ends = [value + side * SDS_OF_90 * sd for value, sd in pairs for side in (-1, 1)]
    low, high = min(0.0, *ends), max(0.0, *ends)
    room = 0.05 * (high - low) or 1.0
    scale = Scale(low - room, high + room, 4, _WIDTH - 4)
    marks = Markup("").join(
        Markup(
            '<path class="whisker" d="M{} {y}H{}"/><circle class="{}" cx="{}" cy="{y}" r="4"/>'
        ).format(
            scale(value - SDS_OF_90 * sd), scale(value + SDS_OF_90 * sd), kind, scale(value), y=y
        )
        for (value, sd), kind, y in zip(pairs, ("mark int", "mark ext"), (9, 21), strict=True)
    )
    return Markup(
        '<svg class="plot pair" viewBox="0 0 {:g} {:g}" aria-hidden="true" focusable="false">'
        '<path class="zero" d="M{} 1V{:g}"/>{}</svg>'
    ).format(_WIDTH, _HEIGHT, scale(0), _HEIGHT - 1, marks)
