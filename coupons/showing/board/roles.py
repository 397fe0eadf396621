"""What each profile of a machine and material is to its row: which one answers, which one checks.

The newest of a real print that is dated and of the past answers, unless it is a *re-check*: a
print that answers fewer of the board's questions, or rests on less than half as many trials and
readings, than an earlier one of the same nozzle and layer height. A re-check never takes the place
of a full profile; it confirms or doubts it. A print counts once, however many profiles hold it. A
profile of full prints and their re-checks together answers only if the re-checks, where they stand
apart, find no change.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from coupons.answering.compare.still import RECHECK_SHARE
from coupons.learning.profile import Profile
from coupons.showing.board.collect import Posted
from coupons.showing.board.common_prints import apart, is_part, later_parts, share_a_print
from coupons.showing.board.figures import SIZE_MM, Gap

RULE = (
    "A row is answered by its newest profile. A print that answers less than an earlier one of the "
    "same nozzle and layer height, or rests on less than half as many trials and readings, is a "
    "re-check: it confirms or doubts the full profile and does not replace it. A print that stands "
    "behind several profiles counts once."
)


class Role(StrEnum):
    """What a profile is to its row."""

    ANSWERS = "answers"
    RECHECK = "re-check"
    OLDER = "older"
    SHARES = "same prints"
    MIXED = "mixed"
    OTHER = "other set-up"
    UNDATED = "undated"
    FUTURE = "future date"
    REHEARSED = "rehearsed"
    HAND = "for one hand"


@dataclass(frozen=True)
class Entry:
    """One profile with its answers, and what it is to its row."""

    posted: Posted
    gaps: tuple[Gap | None, ...]
    role: Role = Role.ANSWERS

    @property
    def profile(self) -> Profile:
        """The profile itself."""
        return self.posted.profile

    @property
    def id(self) -> str:
        """Eight characters that tell it from any other profile."""
        return self.posted.id

    @property
    def observations(self) -> int:
        """How many trials and readings it rests on."""
        return self.profile.counts.trials + self.profile.counts.readings

    @property
    def set_up(self) -> tuple[float, float]:
        """Nozzle and layer height in mm."""
        return self.profile.nozzle_mm, self.profile.layer_height_mm


def sorted_out(
    group: Sequence[Entry], today: date, may_mix: bool = False
) -> tuple[Entry, tuple[Entry, ...]]:
    """Return the profile that answers, and the others with their roles, the newest first.

    Parameters
    ----------
    group : sequence of Entry
        All profiles of a machine and material.
    today : date
    may_mix : bool
        One that was fitted to full prints and re-checks together may answer: nothing changed
        between them.
    """
    newest_first = sorted(group, key=_newest(today))
    head = _head(newest_first, today, may_mix)
    others = [
        replace(one, role=_role(one, head, newest_first, today))
        for one in newest_first
        if one is not head
    ]
    return head, _counted_once(others)


def _counted_once(others: Sequence[Entry]) -> tuple[Entry, ...]:
    """Return entries among whose re-checks no two share a print."""
    kept = {one.id for one in apart(one for one in others if one.role is Role.RECHECK)}
    return tuple(
        replace(one, role=Role.SHARES) if one.role is Role.RECHECK and one.id not in kept else one
        for one in others
    )


def _newest(today: date) -> Callable[[Entry], tuple[int, int, str]]:
    """Return what sorts past prints before undated ones, and those before future ones."""

    def key(one: Entry) -> tuple[int, int, str]:
        printed = one.profile.printed_on
        if printed is None:
            return (1, 0, one.id)
        return (2 if printed > today else 0, -printed.toordinal(), one.id)

    return key


def _head(newest_first: Sequence[Entry], today: date, may_mix: bool) -> Entry:
    """Return the newest profile that no earlier one of its set-up makes a re-check."""
    past = [one for one in newest_first if _is_past(one, today)] or list(newest_first)
    past = [one for one in past if not one.profile.rehearsed] or past
    past = [one for one in past if not _is_for_a_hand(one)] or past
    past = [one for one in past if may_mix or not _is_mixed(one, past)] or past
    past = [one for one in past if not any(is_part(one, other) for other in past)]
    for at, one in enumerate(past):
        if not any(_is_recheck(one, earlier) for earlier in past[at + 1 :]):
            return one
    return past[-1]


def _is_for_a_hand(one: Entry) -> bool:
    """Tell whether a profile is another one with the thresholds of one more person."""
    return one.profile.hand is not None and one.profile.hand.trials is not None


def _is_mixed(one: Entry, entries: Sequence[Entry]) -> bool:
    """Tell whether a profile was fitted to full prints and re-checks that stand there apart."""
    return any(_is_recheck(later, first) for first, later in later_parts(one, entries))


def _is_past(one: Entry, today: date) -> bool:
    printed = one.profile.printed_on
    return printed is not None and printed <= today


def _is_recheck(one: Entry, earlier: Entry) -> bool:
    """Tell whether a print says less than an earlier one of the same nozzle and layer height."""
    if one.set_up != earlier.set_up:
        return False
    lost = any(_says_less(a, b) for a, b in zip(one.gaps, earlier.gaps, strict=True))
    return lost or one.observations < RECHECK_SHARE * earlier.observations


def _says_less(later: Gap | None, earlier: Gap | None) -> bool:
    """Tell whether a question has no answer any more, or one farther from the size asked of all."""
    if later is None or earlier is None:
        return earlier is not None
    return abs(later.size_mm - SIZE_MM) > abs(earlier.size_mm - SIZE_MM)


def _role(one: Entry, head: Entry, entries: Sequence[Entry], today: date) -> Role:
    if one.profile.rehearsed and not head.profile.rehearsed:
        return Role.REHEARSED
    if _is_for_a_hand(one):
        return Role.HAND
    if one.profile.printed_on is None:
        return Role.UNDATED
    if not _is_past(one, today):
        return Role.FUTURE
    if one.set_up != head.set_up:
        return Role.OTHER
    if share_a_print(one, head):
        return Role.MIXED if _is_mixed(one, entries) else Role.SHARES
    printed, since = one.profile.printed_on, head.profile.printed_on
    return Role.RECHECK if since is not None and printed >= since else Role.OLDER
