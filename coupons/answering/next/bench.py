"""Working through a coupon in a terminal: one task at a time, each entry on disk at once."""

from dataclasses import dataclass, field
from pathlib import Path

from coupons.answering.next.earlier import guide_in
from coupons.answering.next.guide import (
    ENOUGH,
    Guide,
    Task,
    best_task,
    key_of,
    learned,
    look_ahead,
    narrowing,
)
from coupons.errors import EntriesError, Problem
from coupons.learning.posterior.stepwise import NormalPosterior
from coupons.making.bench_time import in_hand
from coupons.making.record import read_coupon
from coupons.measuring.checks.mistyped import is_plausible
from coupons.measuring.run.adding import Sheet, open_sheet, save_sheet, with_result
from coupons.measuring.run.folder import RECORD_FILE
from coupons.measuring.run.sheet import FILE


@dataclass
class Bench:
    """What a person at the bench has done so far, and what comes next.

    Parameters
    ----------
    sheet : Sheet
        As it stands on disk.
    guide : Guide or None
        None where the coupon goes by its list.
    choice : str
        What to ask first for.
    by : str
        Who tries.
    """

    sheet: Sheet
    guide: Guide | None
    choice: str = "all"
    by: str = ""
    _passed: set[int] = field(default_factory=set)
    _before: list[tuple[Sheet, int]] = field(default_factory=list)
    _wanted: int | None = None
    _doubted: tuple[int, float] | None = None

    @property
    def tasks(self) -> tuple[Task, ...]:
        """Return all tasks of the coupon: trials, then readings."""
        return (*self.sheet.coupon.trials, *self.sheet.coupon.readings)

    @property
    def now(self) -> NormalPosterior | None:
        """Return what is known; None without a guide."""
        return learned(self.guide, self.sheet.entries) if self.guide else None

    @property
    def done(self) -> frozenset[int]:
        """Return the numbers of the tasks with an entry."""
        keys = {key_of(entry) for entry in self.sheet.entries}
        return frozenset(n for n, task in enumerate(self.tasks) if key_of(task) in keys)

    def open_tasks(self) -> list[int]:
        """Return the numbers of the tasks without an entry that were not passed over."""
        done = self.done | self._passed
        return [n for n in range(len(self.tasks)) if n not in done]

    @property
    def held(self) -> str | None:
        """Return what the hand holds: what the last entry of this session needed."""
        return in_hand(self.tasks[self._before[-1][1]]) if self._before else None

    def next_task(self) -> int | None:
        """Return the number of the task to do next; None if none is left."""
        left = self.open_tasks()
        if self._wanted is not None:
            return self._wanted
        if self.guide is None or self.now is None:
            return left[0] if left else None
        return best_task(self.guide, self.now, left, self.held, self.choice)

    def enter(self, number: int, result: str, unit: str = "mm") -> None:
        """Keep what was found, on disk as well.

        Raises
        ------
        EntriesError
            If it is no grade, or no size.
        WriteError
            If the sheet cannot be written; then nothing is kept.
        """
        new = with_result(self.sheet, self.tasks[number], result, unit, self.by)
        save_sheet(new)
        self._before.append((self.sheet, number))
        self.sheet, self._wanted = new, None

    def doubts(self, number: int, size_mm: float) -> bool:
        """Tell whether a reading looks mistyped, the first time that it is typed."""
        task = self.tasks[number]
        feature = next(one for one in self.sheet.coupon.features if one.id == task.feature)
        doubted = None if is_plausible(size_mm, feature) else (number, size_mm)
        again, self._doubted = doubted == self._doubted, doubted
        return doubted is not None and not again

    def undo(self) -> int | None:
        """Take back the last entry of this session and return its task; None if there is none."""
        if not self._before:
            return None
        before, number = self._before.pop()
        save_sheet(before)
        self.sheet, self._wanted = before, number
        return number

    def skip(self, number: int) -> None:
        """Pass a task over for this session; its row stays blank."""
        self._passed.add(number)
        self._wanted = None

    def leave_row(self, number: int) -> int:
        """Pass over the rest of a task's row and return how many tasks these are."""
        letter = self._letter(number)
        rest = [n for n in self.open_tasks() if self._letter(n) == letter]
        self._passed.update(rest)
        self._wanted = None
        return len(rest)

    def go_to(self, feature: str) -> None:
        """Ask next for a feature, whatever it teaches.

        Raises
        ------
        EntriesError
            If the coupon has no task of that name.
        """
        mine = [n for n, task in enumerate(self.tasks) if task.feature.lower() == feature.lower()]
        if not mine:
            expected = "a grade, a number, or an id on this coupon"
            todo = "Type ? to see what can be typed"
            raise EntriesError([Problem("what was typed", expected, repr(feature[:40]), todo)])
        left = set(self.open_tasks())
        self._wanted = next((n for n in mine if n in left), mine[0])

    def brings(self, numbers: list[int] | None = None) -> float | None:
        """Return by which share the wanted gaps would narrow with some tasks, or the next five."""
        if self.guide is None or self.now is None:
            return None
        left = self.open_tasks() if numbers is None else numbers
        more = {} if numbers is None else {"count": len(numbers)}
        ahead = look_ahead(self.guide, self.now, left, self.held, self.choice, **more)
        return narrowing(self.guide, self.now, (self.now, *ahead.known)[-1], self.choice)

    def row_brings_little(self, number: int) -> bool:
        """Tell whether the rest of a task's row is not worth doing."""
        letter = self._letter(number)
        rest = [n for n in self.open_tasks() if self._letter(n) == letter]
        gain = self.brings(rest) if len(rest) > 1 and self.sheet.entries else None
        return gain is not None and gain < ENOUGH

    def _letter(self, number: int) -> str:
        features = {feature.id: feature.row for feature in self.sheet.coupon.features}
        return features[self.tasks[number].feature]


def open_bench(folder: Path, choice: str = "all", by: str = "") -> Bench:
    """Open a run folder to add entries to.

    Raises
    ------
    RunError, EntriesError, ProfileError
        If its record, its sheet or the profile of its earlier prints cannot be read.
    """
    coupon = read_coupon(folder / RECORD_FILE)
    return Bench(open_sheet(folder / FILE, coupon), guide_in(folder, coupon), choice, by)
