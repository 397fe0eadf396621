"""The rows of the board: one a machine and material, with what its re-checks and its age say."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property

from coupons.answering.capability import Reach
from coupons.answering.compare.still import Still, StillGood, still_good
from coupons.answering.origin import STALE_AFTER_DAYS, Age, age_of, is_old_model, origin_of
from coupons.answering.words.numbers import chance
from coupons.answering.words.still import (
    moved_words,
    todo_sentence,
    verdict_sentence,
    when_words,
)
from coupons.errors import AnswerError
from coupons.neutral import natural_key
from coupons.progress import steps
from coupons.showing.board.collect import Posted
from coupons.showing.board.figures import (
    COLUMNS,
    ScatterFigure,
    capability_of,
    gaps_of,
    scatters_of,
)
from coupons.showing.board.roles import Entry, Role, sorted_out


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
    def states(self) -> tuple[str, ...]:
        """Fresh, watch, doubted, stale, undated or future date; rehearsed in front of that."""
        verdict = self.still and self.still.verdict
        state = self.age.state
        if self.head.posted.doubts or verdict is Still.NO:
            state = "doubted"
        elif verdict is Still.WATCH:
            state = "watch"
        return ("rehearsed", state) if self.head.profile.rehearsed else (state,)

    @property
    def state(self) -> str:
        """The word that decides: what is rehearsed is never fresh."""
        return self.states[0]

    @property
    def state_words(self) -> str:
        """All states, in a few words."""
        return ", ".join(self.states)

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
        what = (
            f"Likeliest of the changes weighed: {moved_words(row.still)}, {when_words(row.still)}."
        )
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
    head, others, still = _judged(group, today)
    if still and still.verdict is Still.YES and any(one.role is Role.MIXED for one in others):
        # Nothing changed: then the profile of all prints together knows the machine best.
        head, others, still = _judged(group, today, may_mix=True)
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


def _judged(
    group: Sequence[Entry], today: date, may_mix: bool = False
) -> tuple[Entry, tuple[Entry, ...], StillGood | None]:
    head, others = sorted_out(group, today, may_mix)
    return head, others, _still(head, [one for one in others if one.role is Role.RECHECK])


def _still(head: Entry, rechecks: Sequence[Entry]) -> StillGood | None:
    """Hold a profile against its re-checks, as far as they can be held against it."""
    known = [one for one in rechecks if not is_old_model(one.profile.version)]
    if not known or is_old_model(head.profile.version):
        return None
    runs = ["" if one.posted.is_named else one.posted.source for one in known]
    try:
        return still_good(head.profile, [one.profile for one in known], {}, runs=runs)
    except AnswerError:  # the re-checks say nothing of it
        return None


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
    yield from _notes_on_files(rows, posted, today)


def _notes_on_files(
    rows: Sequence[MachineRow], posted: Sequence[Posted], today: date
) -> Iterator[str]:
    several = defaultdict(list)
    for row in rows:
        several[row.machine].append(row.material)
    more = [f"{machine} ({', '.join(m)})" for machine, m in several.items() if len(m) > 1]
    if more:
        yield f"With several materials, a row each: {_few(more)}."
    future = [one.source for one in posted if (day := one.profile.printed_on) and day > today]
    if future:
        yield f"Dated in the future, so not used where there is another: {_few(future)}."
    mixed = [e.posted.source for row in rows for e in row.others if e.role is Role.MIXED]
    if mixed:
        yield (
            f"Fitted together with re-checks that find a change, so not used: {_few(mixed)}. "
            "`coupons fit --each-machine` fits them apart."
        )
    copies = [one.source for one in posted if one.copies > 1]
    if copies:
        yield f"In several files of the same content, shown once: {_few(copies)}."


_MOST_NAMED = 5


def _few(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
