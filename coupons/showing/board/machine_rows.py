"""The rows of the board: one a machine and material, with the profile that answers for it.

Which profile answers: the newest of a real print that is dated and of the past, unless it is a
*re-check*: a print that answers fewer of the board's questions, or rests on less than half as many
trials and readings, than an earlier one of the same nozzle and layer height. A re-check never takes
the place of a full profile; it confirms or doubts it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from functools import cached_property

from coupons.answering.capability import Reach
from coupons.answering.compare.still import Still, StillGood, prints_of_their_own, still_good
from coupons.answering.origin import STALE_AFTER_DAYS, Age, age_of, is_old_model, origin_of
from coupons.answering.words.numbers import chance
from coupons.answering.words.still import (
    moved_words,
    todo_sentence,
    verdict_sentence,
    when_words,
)
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.neutral import natural_key
from coupons.progress import steps
from coupons.showing.board.collect import Posted
from coupons.showing.board.figures import (
    COLUMNS,
    SIZE_MM,
    Gap,
    ScatterFigure,
    capability_of,
    gaps_of,
    scatters_of,
)

RECHECK_SHARE = 0.5
"""With less than this share of an earlier profile's trials and readings a print is a re-check."""

RULE = (
    "A row is answered by its newest profile. A print that answers less than an earlier one of the "
    "same nozzle and layer height, or rests on less than half as many trials and readings, is a "
    "re-check: it confirms or doubts the full profile and does not replace it."
)


class Role(StrEnum):
    """What a profile is to its row."""

    ANSWERS = "answers"
    RECHECK = "re-check"
    OLDER = "older"
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


@dataclass(frozen=True)
class MachineRow:
    """A machine with a material.

    Parameters
    ----------
    head : Entry
        The profile that answers.
    others : tuple of Entry
        All other profiles of this machine and material, the newest first.
    age : Age
        Of ``head``, or of the last re-check that confirms it.
    scatters : tuple of ScatterFigure
    capability : Reach or None
    still : StillGood or None
        What the re-checks say of ``head``; None without any.
    """

    head: Entry
    others: tuple[Entry, ...]
    age: Age
    scatters: tuple[ScatterFigure, ...]
    capability: Reach | None
    still: StillGood | None = None

    @property
    def machine(self) -> str:
        """Name of the machine."""
        return self.head.profile.machine

    @property
    def material(self) -> str:
        """Name of the material."""
        return self.head.profile.material

    @property
    def history(self) -> tuple[Entry, ...]:
        """All profiles, the newest first; undated ones and those of the future at the end."""
        ages = {id(one): at for at, one in enumerate(self.others)}
        later = [
            one for one in self.others if one.role in (Role.RECHECK, Role.OTHER, Role.REHEARSED)
        ]
        printed = self.head.profile.printed_on
        before = [
            one
            for one in later
            if printed and one.profile.printed_on and one.profile.printed_on > printed
        ]
        rest = [one for one in self.others if one not in before]
        return (*sorted(before, key=lambda one: ages[id(one)]), self.head, *rest)

    @property
    def rechecks(self) -> tuple[Entry, ...]:
        """The re-checks of ``head``, the oldest first."""
        return tuple(one for one in reversed(self.others) if one.role is Role.RECHECK)

    def gaps_told(self, fit: str) -> list[str]:
        """Return the gaps of a fit with their chances, in a few words each."""
        pairs = zip(COLUMNS, self.head.gaps, strict=True)
        known = [(c.short, gap) for c, gap in pairs if gap is not None and c.fit == fit]
        return [
            f"{short}{' ' + gap.at + ' mm' if gap.at else ''}: {gap.words} mm, {chance(gap.chance)}"
            for short, gap in known
        ]

    @cached_property
    def reasons(self) -> tuple[str, ...]:
        """Everything that speaks against using it today; empty for a fresh profile."""
        return tuple(_reasons(self))

    @property
    def state(self) -> str:
        """One word: fresh, watch, doubted, stale, undated, future date or rehearsed."""
        if self.head.profile.rehearsed:
            return "rehearsed"
        verdict = self.still and self.still.verdict
        if self.head.posted.doubts or verdict is Still.NO:
            return "doubted"
        return "watch" if verdict is Still.WATCH else self.age.state

    @property
    def told(self) -> str:
        """The verdict of the re-checks, in a sentence; empty without any."""
        return verdict_sentence(self.still) if self.still else ""


def _reasons(row: MachineRow) -> Iterator[str]:
    posted, age = row.head.posted, row.age
    if posted.profile.rehearsed:
        yield "It comes from a virtual printer: not for real parts."
    for doubt in posted.doubts:
        yield f"No printer is like that: {doubt}."
    doubted = row.still is not None and row.still.verdict is not Still.YES
    if row.still and doubted:
        what = f"Likeliest change: {moved_words(row.still)}, {when_words(row.still)}."
        yield f"{verdict_sentence(row.still)} {what} {todo_sentence(row.still)}"
    if not doubted and age.state == "stale":
        yield f"Its print is {age.since} old: print a re-check."
    if age.state == "undated":
        yield "It has no print date, so nobody knows how old it is."
    elif age.state == "future date":
        yield f"It is dated {posted.profile.printed_on}, in the future: correct printed_on."
    if posted.old_model:
        yield posted.old_model


@dataclass(frozen=True)
class Board:
    """All rows, and what is odd about the names in them."""

    rows: tuple[MachineRow, ...]
    today: date
    stale_after_days: int
    notes: tuple[str, ...] = field(default=())

    @property
    def machines(self) -> dict[str, tuple[MachineRow, ...]]:
        """The rows of each machine, in the order of the board."""
        found: dict[str, list[MachineRow]] = defaultdict(list)
        for row in self.rows:
            found[row.machine].append(row)
        return {machine: tuple(rows) for machine, rows in found.items()}


def make_board(
    posted: Sequence[Posted], today: date, stale_after_days: int = STALE_AFTER_DAYS
) -> Board:
    """Sort profiles into rows.

    Parameters
    ----------
    posted : sequence of Posted
        In the order in which machines shall stand.
    today : date
        The day from which ages are counted. A print of a later date answers only if it is alone.
    stale_after_days : int
        A profile of an older print than this is stale.
    """
    groups: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for one in steps(posted, "profiles answered"):
        key = (one.profile.machine, one.profile.material)
        groups[key].append(Entry(one, gaps_of(one.profile)))
    rows = [_row(group, today, stale_after_days) for group in groups.values()]
    return Board(tuple(rows), today, stale_after_days, tuple(_notes(rows, posted, today)))


def _row(group: Sequence[Entry], today: date, stale_after_days: int) -> MachineRow:
    newest_first = sorted(group, key=_newest(today))
    head = _head(newest_first, today)
    others = tuple(
        Entry(one.posted, one.gaps, _role(one, head, today))
        for one in newest_first
        if one is not head
    )
    still = _still(head, [one for one in others if one.role is Role.RECHECK])
    # A re-check that confirms a profile makes it as fresh as itself.
    confirmed = still.dates[-1] if still and still.verdict is Still.YES else None
    newest = replace(origin_of(head.profile), printed_on=confirmed) if confirmed else head.profile
    return MachineRow(
        head,
        others,
        age_of(newest, today, stale_after_days),
        scatters_of(head.profile),
        capability_of(head.profile),
        still,
    )


def _still(head: Entry, rechecks: Sequence[Entry]) -> StillGood | None:
    """Hold a profile against its re-checks, as far as they can be held against it."""
    known = [one.profile for one in rechecks if not is_old_model(one.profile.version)]
    known = prints_of_their_own(head.profile, known)
    if not known or is_old_model(head.profile.version):
        return None
    try:
        return still_good(head.profile, known, {})
    except AnswerError:  # the re-checks say nothing of it
        return None


def _newest(today: date) -> Callable[[Entry], tuple[int, int, str]]:
    """Return what sorts past prints before undated ones, and those before future ones."""

    def key(one: Entry) -> tuple[int, int, str]:
        printed = one.profile.printed_on
        if printed is None:
            return (1, 0, one.id)
        return (2 if printed > today else 0, -printed.toordinal(), one.id)

    return key


def _head(newest_first: Sequence[Entry], today: date) -> Entry:
    """Return the newest profile that no earlier one of its set-up makes a re-check."""
    past = [one for one in newest_first if _is_past(one, today)] or list(newest_first)
    past = [one for one in past if not one.profile.rehearsed] or past
    past = [one for one in past if not _is_for_a_hand(one)] or past
    for at, one in enumerate(past):
        if not any(_is_recheck(one, earlier) for earlier in past[at + 1 :]):
            return one
    return past[-1]


def _is_for_a_hand(one: Entry) -> bool:
    """Tell whether a profile is another one with the thresholds of one more person."""
    return one.profile.hand is not None and one.profile.hand.trials is not None


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


def _role(one: Entry, head: Entry, today: date) -> Role:
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
    printed, since = one.profile.printed_on, head.profile.printed_on
    return Role.RECHECK if since is not None and printed >= since else Role.OLDER


def _notes(rows: Sequence[MachineRow], posted: Sequence[Posted], today: date) -> Iterator[str]:
    """Yield what is odd about names, dates and copies of the whole board."""
    machines = sorted({row.machine for row in rows}, key=natural_key)
    spellings: dict[str, list[str]] = defaultdict(list)
    for machine in machines:
        spellings[machine.casefold()].append(machine)
    for names in spellings.values():
        if len(names) > 1:
            told = " and ".join(sorted(names))
            yield f"{told} differ in capitals only: give one machine one name."
    several = defaultdict(list)
    for row in rows:
        several[row.machine].append(row.material)
    more = [f"{machine} ({', '.join(m)})" for machine, m in several.items() if len(m) > 1]
    if more:
        yield f"With several materials, a row each: {_few(more)}."
    future = [one.source for one in posted if (day := one.profile.printed_on) and day > today]
    if future:
        yield f"Dated in the future, so not used where there is another: {_few(future)}."
    copies = [one.source for one in posted if one.copies > 1]
    if copies:
        yield f"In several files of the same content, shown once: {_few(copies)}."


_MOST_NAMED = 5


def _few(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
