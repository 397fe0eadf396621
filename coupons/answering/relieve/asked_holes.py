"""Holes that meet no body, as a list asks for them: only their own wall moves."""

from collections.abc import Iterable

from coupons.answering.meet.meetings import Met
from coupons.answering.relieve.relieve import Side, Wanted

_LEAST_CHANGE_MM, _MOST_CHANGE = 0.6, 0.25
"""A hole that meets nothing is changed by no more than one of these, the second a share of it."""


def lone_side(met: Met, labels: tuple[str, ...], body: str) -> Side | None:
    """Return the hole of a body that has these labels, if it is one that meets nothing."""
    for label, hole in zip(met.lone_labels, met.lone, strict=True):
        printed = met.bodies[hole.body]
        if labels == (label,) and body == printed.body.name:
            return Side(body, label, hole.regions, is_internal=True, up=printed.axes[2])
    return None


def lone_wanted(name: str, side: Side, drawn_mm: float) -> Wanted:
    """Return a hole as it is to be drawn, whatever it measures now."""
    return Wanted(
        joint=name,
        internal=side,
        external=None,
        size_mm=drawn_mm,
        sizes_mm={True: drawn_mm},
        gap_mm=0.0,
        is_absolute=True,
        is_lone=True,
    )


def odd_holes(met: Met, wanted: Iterable[Wanted]) -> dict[str, str]:
    """Say which lone holes would change so much that another one was meant, by joint."""
    bodies = {one.body.name: one.body for one in met.bodies}
    odd = {}
    for pair in (one for one in wanted if one.is_lone):
        (side,) = pair.sides
        now_mm = side.size_in(bodies[side.body])
        if abs(now_mm - pair.size_mm) > max(_LEAST_CHANGE_MM, _MOST_CHANGE * now_mm):
            odd[pair.joint] = (
                f"{side.body} {side.letters} measures {now_mm:.2f} mm and would be drawn with "
                f"{pair.size_mm:.2f} mm: another hole seems to be meant"
            )
    return odd
