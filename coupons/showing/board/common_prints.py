"""Prints that several profiles of one machine were fitted to: such profiles are no two witnesses.

A folder often holds the profile of each run beside the one of all runs together. Held against each
other they would agree, as the same prints stand behind both.
"""

from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

from coupons.learning.profile import Profile


class Held(Protocol):
    """Anything that holds a profile."""

    @property
    def profile(self) -> Profile:
        """The profile."""


H = TypeVar("H", bound=Held)


def share_a_print(one: Held, other: Held) -> bool:
    """Tell whether two profiles were fitted to a print, or to entries, in common."""
    same_entries = one.profile.entries_sha256 == other.profile.entries_sha256
    return same_entries or not set(one.profile.prints).isdisjoint(other.profile.prints)


def is_part(one: Held, other: Held) -> bool:
    """Tell whether a profile was fitted to some, but not all, of the prints of another one."""
    mine, its = one.profile.prints, other.profile.prints
    return 0 < len(mine) < len(its) and set(mine) < set(its)


def apart(entries: Iterable[H]) -> list[H]:
    """Return profiles of which no two share a print, those of the fewest prints before others.

    Of profiles of the same prints it is the one of most trials and readings; they are returned in
    the order in which they came.
    """
    given = list(entries)
    kept: list[H] = []
    for one in sorted(given, key=_coarse_last):
        if not any(share_a_print(one, other) for other in kept):
            kept.append(one)
    return [one for one in given if any(one is each for each in kept)]


def _coarse_last(one: Held) -> tuple[int, int]:
    counts = one.profile.counts
    return counts.runs, -(counts.trials + counts.readings)


def later_parts(whole: Held, entries: Sequence[H]) -> list[tuple[H, H]]:
    """Return the pairs of parts of a profile of which the second was printed later.

    Only parts of different coupons: the jobs of one coupon may be printed on different days.
    """
    parts = [one for one in entries if is_part(one, whole)]
    return [
        (first, second)
        for first in parts
        for second in parts
        if not share_a_print(first, second)
        and set(first.profile.coupons).isdisjoint(second.profile.coupons)
        and (earlier := first.profile.printed_on)
        and (later := second.profile.printed_on)
        and earlier < later
    ]
