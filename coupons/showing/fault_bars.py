"""A bar for each fault, so that the eye ranks them before it reads a number."""

from collections.abc import Sequence

from markupsafe import Markup

from coupons.showing.faults import Fault
from coupons.showing.plot import Scale

_WIDTH, _HEIGHT = 200.0, 22.0


def fault_bars(found: Sequence[Fault]) -> dict[str, Markup]:
    """Return a small drawing for each fault by name, all on one scale, zero in the middle."""
    if not found:
        return {}
    most = max(max(abs(fault.low_mm), abs(fault.high_mm)) for fault in found) * 1.05
    scale = Scale(-most, most, 0, _WIDTH)
    return {fault.name: _bar(scale, fault) for fault in found}


def _bar(scale: Scale, fault: Fault) -> Markup:
    zero, end = scale(0), scale(fault.size_mm)
    return Markup(
        '<svg class="bar" viewBox="0 0 {:g} {:g}" aria-hidden="true" focusable="false">'
        '<path class="zero" d="M{} 0V{:g}"/>'
        '<rect class="{}" x="{:g}" y="5" width="{:g}" height="12"/>'
        '<path class="whisker" d="M{} 11H{}M{} 7v8M{} 7v8"/></svg>'
    ).format(
        _WIDTH,
        _HEIGHT,
        zero,
        _HEIGHT,
        "more" if end >= zero else "less",
        min(zero, end),
        round(abs(end - zero), 2),
        scale(fault.low_mm),
        scale(fault.high_mm),
        scale(fault.low_mm),
        scale(fault.high_mm),
    )
