"""Everything that can be found wrong or odd in a run folder without fitting a model to it."""

from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path

from coupons.making.record import Coupon
from coupons.measuring.conditions import FILE as CONDITIONS_FILE
from coupons.measuring.conditions import OPTIONAL_KEYS, Conditions
from coupons.measuring.contradictions import find_contradictions
from coupons.measuring.entries import SizeEntry, Typed
from coupons.measuring.finding import Finding
from coupons.measuring.run import Survey, survey_run
from coupons.measuring.sheet import FILE, Row
from coupons.measuring.slips import find_slips
from coupons.terms import ROUND, Jaws

__all__ = ["Count", "Finding", "check_run", "check_survey", "count_rows"]


@dataclass(frozen=True)
class Count:
    """How many rows of one kind are filled in and how many are still blank."""

    kind: str
    filled: int
    blank: int


def check_run(folder: Path) -> list[Finding]:
    """Return every problem of the run's files, then everything that deserves a look.

    Raises
    ------
    RunError
        If there is no such folder.
    """
    return check_survey(survey_run(folder))


def check_survey(found: Survey) -> list[Finding]:
    """Return the findings on a folder that was read already; see `check_run`."""
    findings = [
        Finding("error", problem.where, _what(problem.expected, problem.got), problem.todo)
        for fault in found.faults
        for problem in fault.problems
    ]
    if found.conditions is not None:
        findings += _look_at_conditions(found.conditions)
    if found.coupon is not None:
        findings += _look_at_entries(found.coupon, found.typed)
    if found.coupon is not None and found.conditions is not None:
        findings += _look_at_caliper(found.coupon, found.conditions, found.typed.sizes)
    return findings


def count_rows(typed: Typed) -> tuple[Count, ...]:
    """Count filled and blank rows, fit trials first."""
    tally = Counter((row.kind.lower(), row.is_blank) for row in typed.rows)
    return tuple(Count(kind, tally[kind, False], tally[kind, True]) for kind in ("fit", "size"))


def _what(expected: str, got: str) -> str:
    return f"expected {expected}, got {got}" if got else f"expected {expected}"


def _look_at_conditions(conditions: Conditions) -> list[Finding]:
    findings = []
    if conditions.rehearsal is not None:
        printer = conditions.rehearsal.virtual_machine
        what = f"the entries were made up by the virtual printer {printer}"
        todo = "Take nothing learned from this run for a measurement"
        findings.append(Finding("look", CONDITIONS_FILE, what, todo))
    unsaid = [key for key in OPTIONAL_KEYS if getattr(conditions, key) is None]
    if unsaid:
        todo = "Fill in what you know; it tells runs apart later"
        findings.append(Finding("look", CONDITIONS_FILE, f"not said: {', '.join(unsaid)}", todo))
    return findings


def _look_at_entries(coupon: Coupon, typed: Typed) -> list[Finding]:
    rows = {row.number: row for row in typed.rows}
    return [
        *find_slips(coupon, typed.sizes, rows),
        *find_contradictions(coupon, typed.fits),
        *_copied_rows(typed),
    ]


def _look_at_caliper(
    coupon: Coupon, conditions: Conditions, sizes: tuple[SizeEntry, ...]
) -> list[Finding]:
    rounds = {feature.id for feature in coupon.features if feature.form in ROUND}
    bores = [size for size in sizes if size.jaws is Jaws.INSIDE and size.feature in rounds]
    if not bores or "jaw_land_mm" in conditions.caliper.model_fields_set:
        return []
    what = f"{len(bores)} readings inside holes, and the flat of the caliper's jaws is not said"
    todo = "Fill in jaw_land_mm: a flat of 0.5 mm reads a 5 mm hole 0.025 mm too small"
    return [Finding("look", CONDITIONS_FILE, what, todo)]


def _copied_rows(typed: Typed) -> list[Finding]:
    """Find rows that say the very same: a repeat, or one row pasted twice."""
    groups: defaultdict[tuple[str, ...], list[Row]] = defaultdict(list)
    for row in typed.rows:
        if not row.is_blank:
            groups[_content(row)].append(row)
    copies = [group for group in groups.values() if len(group) > 1]
    todo = "Clear the copies; keep repeats only if it was tried or measured anew each time"
    return [
        Finding(
            "look",
            f"{FILE} row {group[1].number} ({group[1].feature})",
            f"says the same as row {group[0].number}"
            + (f", as do {len(group) - 2} more" if len(group) > 2 else ""),
            todo,
        )
        for group in copies
    ]


def _content(row: Row) -> tuple[str, ...]:
    return row.kind, row.feature, row.mate, row.result, row.unit, row.jaws, row.along, row.by
