"""Every answer of a machine over the months, with what was changed in between."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from markupsafe import Markup

from coupons.answering.compare.before_after import conditions_between
from coupons.answering.compare.drift import Chart, chart
from coupons.showing.board.figures import COLUMNS, Column
from coupons.showing.board.machine_rows import MachineRow
from coupons.showing.board.roles import Entry, Role
from coupons.showing.plots.plot import axes, band, drawing, frame, line, mark
from coupons.terms import SDS_OF_90

MONTH_DAYS = 365.25 / 12
_HEIGHT = 170.0
_LEFT_OUT = (Role.UNDATED, Role.FUTURE, Role.REHEARSED, Role.HAND, Role.SHARES, Role.MIXED)


@dataclass(frozen=True)
class Mark:
    """Something that was changed between two prints: when the later one was, and what."""

    day: date
    words: str


@dataclass(frozen=True)
class Trend:
    """One answer over the months.

    Parameters
    ----------
    column : Column
    drawing : Markup
        Each answer with its 90 % interval; dashed where something was changed.
    words : str
        What the chart over the prints of the present set-up says.
    is_signal : bool
        It says that something changed.
    """

    column: Column
    drawing: Markup
    words: str
    is_signal: bool


@dataclass(frozen=True)
class Months:
    """What the page of a machine shows of one material over time."""

    trends: tuple[Trend, ...]
    marks: tuple[Mark, ...]


def months_of(row: MachineRow, machine: Sequence[MachineRow]) -> Months:
    """Chart every answer of a row over its prints.

    Parameters
    ----------
    row : MachineRow
    machine : sequence of MachineRow
        All rows of the machine: a change of the material is marked too.
    """
    own = _dated((row.head, *row.others))
    if len(own) < 2:
        return Months((), ())
    everything = _dated([one for each in machine for one in (each.head, *each.others)])
    first, last = _day(own[0]), _day(own[-1])
    marks = tuple(mark for mark in _marks(everything) if first <= mark.day <= last)
    trends = (_trend(column, at, own, row, marks) for at, column in enumerate(COLUMNS))
    return Months(tuple(one for one in trends if one is not None), marks)


def _dated(entries: Sequence[Entry]) -> list[Entry]:
    kept = [one for one in entries if one.profile.printed_on and one.role not in _LEFT_OUT]
    return sorted(kept, key=lambda one: (_day(one), one.id))


def _day(one: Entry) -> date:
    return one.profile.printed_on or date.min


def _marks(entries: Sequence[Entry]) -> Iterator[Mark]:
    """Yield what differs between each print and the one before it."""
    for earlier, later in pairwise(entries):
        changes = conditions_between(earlier.profile, later.profile)
        if changes:
            told = "; ".join(f"{one.name} {one.before} → {one.after}" for one in changes)
            yield Mark(_day(later), told)


def _trend(
    column: Column, at: int, own: Sequence[Entry], row: MachineRow, marks: Sequence[Mark]
) -> Trend | None:
    # Gaps of joints of other sizes differ without any change of the machine.
    asked = row.head.gaps[at]
    known = [
        (one, gap)
        for one in own
        if asked and (gap := one.gaps[at]) and gap.size_mm == asked.size_mm
    ]
    if len(known) < 2:
        return None
    alike = [(one, gap) for one, gap in known if _same_set_up(one, row.head)]
    days = [_months(_day(one), _day(known[0][0])) for one, _ in alike]
    found = None
    if len(alike) > 1 and days[-1] > days[0]:
        values, sds = [gap.best_mm for _, gap in alike], [gap.sd_mm for _, gap in alike]
        found = chart(values, sds, days)
    return Trend(
        column,
        _drawing(column, [(one, gap.best_mm, gap.sd_mm) for one, gap in known], marks),
        _words(found, [one for one, _ in alike]),
        found is not None and found.signal is not None,
    )


def _same_set_up(one: Entry, head: Entry) -> bool:
    return not conditions_between(one.profile, head.profile)


def _months(day: date, since: date) -> float:
    return (day - since).days / MONTH_DAYS


def _words(found: Chart | None, prints: Sequence[Entry]) -> str:
    if found is None:
        return "Too few prints of this set-up to tell a change."
    n = f"{len(prints)} prints of this set-up"
    if found.signal is None:
        return f"No change over {n}; at the last one, {found.detectable_last_mm:.2f} mm would show."
    why = found.signal.why
    # The chart counts prints; on the page they are dates.
    for k in range(len(prints), 0, -1):
        why = why.replace(f"run {k} ", f"{_day(prints[k - 1])} ")
    return f"Changed over {n}: {why} ({found.signal.sds:.1f} standard deviations)."


def _drawing(
    column: Column, known: Sequence[tuple[Entry, float, float]], marks: Sequence[Mark]
) -> Markup:
    """Draw the answers over months, the last day at 0."""
    last = _day(known[-1][0])
    xs = [_months(_day(one), last) for one, _, _ in known]
    middle = [mm for _, mm, _ in known]
    low = [mm - SDS_OF_90 * sd for _, mm, sd in known]
    high = [mm + SDS_OF_90 * sd for _, mm, sd in known]
    span = max(-xs[0], 0.5)
    room = 0.1 * max(max(high) - min(low), 0.05)
    area = frame((-span * 1.03, span * 0.03), (min(low) - room, max(high) + room), height=_HEIGHT)
    changed = [
        Markup('<path class="changed" d="M{} {:g}V{:g}"/>').format(
            area.x(_months(one.day, last)), area.y.stop, area.y.start
        )
        for one in marks
    ]
    discs = [
        mark(area, point, "ext", f"{_day(one)}: {mm:.2f} ± {sd:.2f} mm")
        for point, (one, mm, sd) in zip(zip(xs, middle, strict=True), known, strict=True)
    ]
    return drawing(
        area,
        f"{column.title}, gap in mm over months",
        axes(area, "months before the last print", "gap, mm"),
        *changed,
        band(area, xs, low, high, "ext"),
        line(area, list(zip(xs, middle, strict=True)), "ext"),
        *discs,
    )
