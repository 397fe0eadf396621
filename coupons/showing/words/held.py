"""Sentences about screws and inserts that hold themselves in printed holes."""

from collections.abc import Iterable

from coupons.measuring.run.holds import HeldIn
from coupons.neutral import one_line
from coupons.terms import Held

_HOW = {Held.THREAD: "cuts its own thread", Held.INSERT: "set with heat"}


def held_sentences(found: Iterable[HeldIn]) -> list[str]:
    """Return a sentence for each piece: the holes that hold it, and what to draw."""
    return [_sentence(one) for one in found]


def _sentence(one: HeldIn) -> str:
    what = f"{one_line(one.name)} ({_HOW[one.held_by]}, holes along {one.direction}):"
    tried = f"of {_range(one.tried_mm)} mm tried"
    if not one.is_ordered:
        return (
            f"{what} a wider hole was found tighter than a narrower one, {tried}. Try these again "
            "with a new piece."
        )
    if one.drawn_mm is None:
        return f"{what} none holds, {tried}. Print other sizes."
    return f"{what} {_range(one.held_mm)} mm holds, {tried}. Draw the hole {one.drawn_mm:g} mm."


def _range(sizes_mm: tuple[float, ...]) -> str:
    low, high = f"{sizes_mm[0]:g}", f"{sizes_mm[-1]:g}"
    return low if low == high else f"{low} to {high}"
