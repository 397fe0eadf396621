"""Checks of a run folder that need no model: file errors, odd readings, contradictions."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from coupons.making.record import Coupon, off_layers
from coupons.measuring.checks.contradictions import find_contradictions
from coupons.measuring.checks.mistyped import find_slips
from coupons.measuring.run.about import KIND as ABOUT
from coupons.measuring.run.about import disagreements
from coupons.measuring.run.conditions import FILE as CONDITIONS_FILE
from coupons.measuring.run.conditions import OPTIONAL_KEYS, Conditions, unsaid_of_slicing
from coupons.measuring.run.entries import SizeEntry, Typed
from coupons.measuring.run.findings import Finding, told_together
from coupons.measuring.run.folder import Survey, survey_run
from coupons.measuring.run.sheet import FILE, KINDS, Row, blank_rows
from coupons.terms import ROUND, Jaws

__all__ = [
    "Count",
    "Finding",
    "blank_ranges",
    "check_run",
    "check_survey",
    "count_rows",
    "missing_rows",
]

# Steps of calipers, coarse to fine, and how many readings it takes to tell them apart: by chance
# that many readings of a 0.01 mm display are all multiples of 0.02 once in 4,000 runs.
COARSE_STEPS_MM = (0.1, 0.05, 0.02)
ENOUGH_READINGS = 12
# A zero nearer than half a step of most calipers is one.
LEAST_ZERO_MM = 0.005
# Of rows that are gone this many are named.
NAMED = 6
# From so many entries on the sheet is more than a beginning: what it does not say is asked for.
ENOUGH_ENTRIES = 24
# One reading finer than the caliper shows is a slip, found as such; several are another caliper.
FEW_READINGS = 3


@dataclass(frozen=True)
class Count:
    """How many rows of one kind are filled in, blank, and missing from the sheet."""

    kind: str
    filled: int
    blank: int
    missing: int = 0


def check_run(folder: Path) -> list[Finding]:
    """Check a run folder: first the problems of its files, then what should be looked at.

    Raises
    ------
    RunError
        If there is no such folder.
    """
    return check_survey(survey_run(folder))


def check_survey(found: Survey) -> list[Finding]:
    """Return the findings on a folder that was read already; see `check_run`."""
    findings = [
        Finding(
            "error",
            problem.where,
            _what(problem.expected, problem.got),
            problem.todo,
            kind=f"{problem.expected} {problem.todo}",
        )
        for fault in found.faults
        for problem in fault.problems
    ]
    if found.conditions is not None:
        findings += _look_at_conditions(found.conditions, found)
    if found.coupon is not None:
        findings += _look_at_entries(found.coupon, found.typed)
    if found.coupon is not None and found.conditions is not None:
        findings += _look_at_layers(found.coupon, found.conditions)
        findings += _look_at_jaws(found.coupon, found.conditions, found.typed.sizes)
        findings += _look_at_steps(found.conditions, found.typed)
    return told_together(findings)


def count_rows(typed: Typed, coupon: Coupon | None = None) -> tuple[Count, ...]:
    """Count the rows of each kind, fit trials first; without the coupon none counts as missing."""
    tally = Counter((row.kind.lower(), row.is_blank) for row in typed.rows)
    missing = Counter(row.kind for row in missing_rows(coupon, typed)) if coupon else Counter()
    return tuple(
        Count(kind, tally[kind, False], tally[kind, True], missing[kind])
        for kind in KINDS
        if kind in ("fit", "size") or any(row.kind.lower() == kind for row in typed.rows)
    )


def missing_rows(coupon: Coupon, typed: Typed) -> tuple[Row, ...]:
    """Return the rows that the coupon asks for and that the sheet lacks.

    Sheets made before there was a row for closed jaws miss nothing.
    """
    written = {_asked(row, row.jaws, row.along) for row in typed.rows}
    return tuple(
        row
        for row in blank_rows(coupon)
        if row.kind != "zero"
        # Jaws and axis may be left out: such a row may be any of its feature's readings.
        and not any(
            _asked(row, jaws, along) in written
            for jaws in {row.jaws, ""}
            for along in {row.along, ""}
        )
    )


def _asked(row: Row, jaws: str, along: str) -> tuple[str, ...]:
    words = row.kind, row.feature, row.mate, jaws, along
    return tuple(word.lower() for word in words)


def blank_ranges(typed: Typed) -> tuple[tuple[int, int], ...]:
    """Return the rows still blank as ranges of row numbers, both ends included."""
    blank = [row.number for row in typed.rows if row.is_blank and row.kind.lower() != ABOUT]
    # Rows that follow each other share the difference of number and rank.
    runs = groupby(enumerate(blank), lambda ranked: ranked[1] - ranked[0])
    ends = [[number for _, number in run] for _, run in runs]
    return tuple((numbers[0], numbers[-1]) for numbers in ends)


def _what(expected: str, got: str) -> str:
    return f"expected {expected}, got {got}" if got else f"expected {expected}"


def _look_at_conditions(conditions: Conditions, found: Survey) -> list[Finding]:
    findings = disagreements(conditions, found.about, found.coupon)
    typed = found.typed
    if conditions.rehearsal is not None:
        printer = conditions.rehearsal.virtual_machine
        what = f"the entries come from the virtual printer {printer}, not from a real one"
        todo = "Do not use this run for real parts"
        findings.append(Finding("look", CONDITIONS_FILE, what, todo))
    missing = [key for key in OPTIONAL_KEYS if getattr(conditions, key) is None]
    if len(typed.sizes) + len(typed.fits) >= ENOUGH_ENTRIES:
        missing += _unsaid_of_a_sheet(conditions, typed)
    if missing:
        todo = "Fill in what you know; it helps to explain later why two runs differ"
        what = f"not filled in: {', '.join(missing)}"
        findings.append(Finding("look", CONDITIONS_FILE, what, todo))
    return findings


def _unsaid_of_a_sheet(conditions: Conditions, typed: Typed) -> Iterator[str]:
    """Yield what the entry page asks once and is filled in neither there nor here."""
    yield from unsaid_of_slicing(conditions)
    if typed.sizes and "resolution_mm" not in conditions.caliper.model_fields_set:
        yield "caliper.resolution_mm"
    if not any(row.by for row in typed.rows):
        yield "who tried and measured (by)"


def _look_at_entries(coupon: Coupon, typed: Typed) -> list[Finding]:
    rows = {row.number: row for row in typed.rows}
    return [
        *_missed_rows(coupon, typed),
        *_zeros_off(typed),
        *find_slips(coupon, typed.sizes, rows),
        *find_contradictions(coupon, typed.fits),
        *_copied_rows(typed),
    ]


def _missed_rows(coupon: Coupon, typed: Typed) -> list[Finding]:
    """Find the trials and readings of the coupon that are missing from a sheet with rows."""
    gone = missing_rows(coupon, typed) if typed.rows else ()
    findings = []
    for kind, asked, words in (
        ("fit", len(coupon.trials), "fit trials"),
        ("size", len(coupon.readings), "caliper readings"),
        ("hold", len(coupon.holds), "screws and inserts"),
    ):
        names = [_name(row) for row in gone if row.kind == kind]
        if not names:
            continue
        named = ", ".join(names[:NAMED]) + (", …" if len(names) > NAMED else "")
        verb = "is" if len(names) == 1 else "are"
        what = f"{len(names)} of the coupon's {asked} {words} {verb} not in the sheet: {named}"
        todo = "Open entry.html, load this file and save it again: the missing rows come back blank"
        findings.append(Finding("look", FILE, what, todo))
    return findings


def _zeros_off(typed: Typed) -> list[Finding]:
    """Report calipers that do not read zero with closed jaws; their readings are corrected."""
    findings = []
    for zero in typed.zeros:
        if abs(zero.value_mm) < LEAST_ZERO_MM:
            continue
        corrected = sum(size.zero_mm == zero.value_mm for size in typed.sizes)
        readings = "1 reading is" if corrected == 1 else f"{corrected} readings are"
        what = (
            f"the caliper reads {zero.value_mm:+.6g} mm with closed jaws: {readings} corrected by"
            f" {-zero.value_mm:+.6g} mm"
        )
        todo = "Zero the caliper before you measure more, then add another row of kind zero"
        findings.append(Finding("look", f"{FILE} row {zero.row}", what, todo))
    return findings


def _name(row: Row) -> str:
    """Name what a row asks for, by the ids on the part."""
    if row.kind == "fit":
        return f"{row.feature} with {row.mate}"
    return f"{row.feature} along {row.along}" if row.along else row.feature


def _look_at_layers(coupon: Coupon, conditions: Conditions) -> list[Finding]:
    """Find sizes across z that are not whole layers at the layer height of the print."""
    height_mm = conditions.layer_height_mm
    off_grid = off_layers(coupon.features, height_mm)
    if not off_grid:
        return []
    what = (
        f"the drawn size of {', '.join(off_grid[:6])} is not a whole number of layers of"
        f" {height_mm:g} mm"
    )
    if coupon.part is not None:
        what += "; what the slicer rounds counts as an error of the printer"
        todo = "Leave these out (`fit --without`) if the slicer rounds, or correct layer_height_mm"
        return [Finding("look", CONDITIONS_FILE, what, todo)]
    what += f"; the coupon was made for {coupon.assumed.layer_height_mm:g} mm"
    todo = "Correct layer_height_mm, or make the coupon again for the layer height you print with"
    return [Finding("look", CONDITIONS_FILE, what, todo)]


def _look_at_jaws(
    coupon: Coupon, conditions: Conditions, sizes: tuple[SizeEntry, ...]
) -> list[Finding]:
    rounds = {feature.id for feature in coupon.features if feature.form in ROUND}
    bores = [size for size in sizes if size.jaws is Jaws.INSIDE and size.feature in rounds]
    if not bores or "jaw_land_mm" in conditions.caliper.model_fields_set:
        return []
    readings = "1 reading" if len(bores) == 1 else f"{len(bores)} readings"
    what = (
        f"{readings} inside holes, but jaw_land_mm (the flat on the inside jaws) is not filled in"
    )
    todo = "Fill it in: jaws with a flat of 0.5 mm read a 5 mm hole 0.025 mm too small"
    return [Finding("look", CONDITIONS_FILE, what, todo)]


def _look_at_steps(conditions: Conditions, typed: Typed) -> list[Finding]:
    """Find readings that do not match the caliper's stated resolution."""
    said_mm = conditions.caliper.resolution_mm
    inches = {row.number for row in typed.rows if row.unit.lower() == "in"}
    numbers = [size.value_mm for size in typed.sizes if size.row not in inches]
    distinct = set(numbers)  # one value many times says little of the caliper
    steps = [number / said_mm for number in numbers]
    finer = [step for step in steps if abs(step - round(step)) > 1e-6 * abs(step)]
    coarse_mm = next((mm for mm in COARSE_STEPS_MM if _all_multiples(distinct, mm)), 0.0)
    if len(finer) >= FEW_READINGS:
        what = f"{len(finer)} of {len(numbers)} readings are finer than {said_mm:g} mm"
    elif len(distinct) >= ENOUGH_READINGS and coarse_mm > said_mm * 1.5:
        what = f"all {len(numbers)} readings are multiples of {coarse_mm:g} mm"
    else:
        return []
    what += f", but resolution_mm is {said_mm:g} mm"
    todo = "Correct resolution_mm, the smallest step that the caliper shows"
    return [Finding("look", CONDITIONS_FILE, what, todo)]


def _all_multiples(numbers: Collection[float], step: float) -> bool:
    return all(abs(number / step - round(number / step)) < 1e-6 for number in numbers)


def _copied_rows(typed: Typed) -> list[Finding]:
    """Find identical rows: a repeat, or one row pasted twice."""
    groups: defaultdict[tuple[str, ...], list[Row]] = defaultdict(list)
    for row in typed.rows:
        if not row.is_blank:
            groups[_content(row)].append(row)
    copies = [group for group in groups.values() if len(group) > 1]
    todo = "Clear the copies; keep a repeat only if it was tried or measured again"
    return [
        Finding(
            "look",
            f"{FILE} row {group[1].number} ({group[1].feature})",
            f"same as row {group[0].number}"
            + (f", and so are {len(group) - 2} more" if len(group) > 2 else ""),
            todo,
            kind="copied row",
        )
        for group in copies
    ]


def _content(row: Row) -> tuple[str, ...]:
    return row.kind, row.feature, row.mate, row.result, row.unit, row.jaws, row.along, row.by
