"""A bar for each source of error, drawn to one scale."""

from collections.abc import Sequence

from markupsafe import Markup

from coupons.learning.causes import Cause
from coupons.showing.plots.plot import Scale
from coupons.terms import SDS_OF_90

_WIDTH, _HEIGHT = 200.0, 22.0


def cause_bars(found: Sequence[Cause]) -> tuple[Markup, ...]:
    """Draw the effect of each cause on sizes with its 90 % interval, all on one scale from 0."""
    most = max((_reach(cause)[1] for cause in found), default=0.0)
    scale = Scale(0.0, 1.02 * most, 1, _WIDTH - 1)
    return tuple(_bar(scale, cause) for cause in found)


def _reach(cause: Cause) -> tuple[float, float]:
    half = SDS_OF_90 * cause.effect_sd_mm
    return max(0.0, cause.effect_mm - half), cause.effect_mm + half


def _bar(scale: Scale, cause: Cause) -> Markup:
    low, high = map(scale, _reach(cause))
    return Markup(
        '<svg class="bar" viewBox="0 0 {:g} {:g}" aria-hidden="true" focusable="false">'
        '<path class="zero" d="M1 0V{:g}"/><rect class="{}" x="1" y="5" width="{:g}" height="12"/>'
        '<path class="whisker" d="M{} 11H{}M{} 7v8M{} 7v8"/></svg>'
    ).format(
        _WIDTH,
        _HEIGHT,
        _HEIGHT,
        cause.place.name.lower(),
        round(scale(cause.effect_mm) - 1, 2),
        low,
        high,
        low,
        high,
    )
