"""Everything that can be found wrong or odd in a run folder without fitting a model to it."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from coupons.making.record import Coupon
from coupons.measuring.about import KIND as ABOUT
from coupons.measuring.about import disagreements
from coupons.measuring.conditions import FILE as CONDITIONS_FILE
from coupons.measuring.conditions import OPTIONAL_KEYS, Conditions, unsaid_of_slicing
from coupons.measuring.contradictions import find_contradictions
from coupons.measuring.entries import SizeEntry, Typed
from coupons.measuring.finding import Finding, told_together
from coupons.measuring.run import Survey, survey_run
from coupons.measuring.sheet import FILE, KINDS, Row, blank_rows
from coupons.measuring.slips import find_slips
from coupons.terms import FLAT, ROUND, Direction, Jaws

__all__ = [
    "Count",
    "Finding",
    "blank_ranges",
    "check_run",
    "check_survey",
    "count_rows",
    "missing_rows",
]

# A drawn size this far from whole layers is off the grid, not merely rounded.
OFF_LAYER_MM = 0.005
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
    """How many rows of one kind are filled in, still blank, and gone from the sheet.

    ``missing`` counts what the coupon asks for and no row of the sheet holds.
    """

    kind: str
    filled: int
    blank: int
    missing: int = 0


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
    """Count the rows of each kind, fit trials first; without the coupon none is missed."""
    tally = Counter((row.kind.lower(), row.is_blank) for row in typed.rows)
    missing = Counter(row.kind for row in missing_rows(coupon, typed)) if coupon else Counter()
    return tuple(
        Count(kind, tally[kind, False], tally[kind, True], missing[kind])
        for kind in KINDS
        if kind != "zero" or any(row.kind.lower() == kind for row in typed.rows)
    )


def missing_rows(coupon: Coupon, typed: Typed) -> tuple[Row, ...]:
    """Return the rows that the coupon asks for and the sheet does not hold, filled in or blank.

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
        what = f"the entries were made up by the virtual printer {printer}"
        todo = "Take nothing learned from this run for a measurement"
        findings.append(Finding("look", CONDITIONS_FILE, what, todo))
    missing = [key for key in OPTIONAL_KEYS if getattr(conditions, key) is None]
    if len(typed.sizes) + len(typed.fits) >= ENOUGH_ENTRIES:
        missing += _unsaid_of_a_sheet(conditions, typed)
    if missing:
        todo = "Fill in what you know; it tells runs apart later"
        findings.append(Finding("look", CONDITIONS_FILE, f"not said: {', '.join(missing)}", todo))
    return findings


def _unsaid_of_a_sheet(conditions: Conditions, typed: Typed) -> Iterator[str]:
    """Yield what the entry page asks once and nobody has answered, here or there."""
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
    """Find what the coupon asks for and a sheet with rows does not hold any more."""
    gone = missing_rows(coupon, typed) if typed.rows else ()
    findings = []
    for kind, asked, words in (
        ("fit", len(coupon.trials), "fit trials"),
        ("size", len(coupon.readings), "caliper readings"),
    ):
        names = [_name(row) for row in gone if row.kind == kind]
        if not names:
            continue
        named = ", ".join(names[:NAMED]) + (", …" if len(names) > NAMED else "")
        verb = "has" if len(names) == 1 else "have"
        what = f"{len(names)} of the coupon's {asked} {words} {verb} no row: {named}"
        todo = "Open entry.html, bring this sheet in and save it again: the rows come back, blank"
        findings.append(Finding("look", FILE, what, todo))
    return findings


def _zeros_off(typed: Typed) -> list[Finding]:
    """Report calipers that do not read zero with closed jaws, by which readings are corrected."""
    findings = []
    for zero in typed.zeros:
        if abs(zero.value_mm) < LEAST_ZERO_MM:
            continue
        corrected = sum(size.zero_mm == zero.value_mm for size in typed.sizes)
        readings = "1 reading is" if corrected == 1 else f"{corrected} readings are"
        what = (
            f"closed jaws read {zero.value_mm:+.6g} mm: {readings} taken as smaller by that"
            if zero.value_mm > 0
            else f"closed jaws read {zero.value_mm:+.6g} mm: {readings} taken as larger by that"
        )
        todo = "Set the caliper to zero before you measure more, and then add a row of kind zero"
        findings.append(Finding("look", f"{FILE} row {zero.row}", what, todo))
    return findings


def _name(row: Row) -> str:
    """Name what a row asks for, by the ids on the part."""
    if row.kind == "fit":
        return f"{row.feature} with {row.mate}"
    return f"{row.feature} along {row.along}" if row.along else row.feature


def _look_at_layers(coupon: Coupon, conditions: Conditions) -> list[Finding]:
    """Find sizes across layers that the layer height of the print cannot give."""
    height_mm = conditions.layer_height_mm
    off_grid = [
        feature.id
        for feature in coupon.features
        if feature.form in FLAT
        and feature.direction is Direction.Z
        and abs(feature.size_mm - round(feature.size_mm / height_mm) * height_mm) > OFF_LAYER_MM
    ]
    if not off_grid:
        return []
    what = (
        f"layers of {height_mm:g} mm cannot give the drawn size of {', '.join(off_grid[:6])}"
        f"; the coupon was laid out for {coupon.assumed.layer_height_mm:g} mm"
    )
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
    what = f"{readings} inside holes, and the flat of the caliper's jaws is not said"
    todo = "Fill in jaw_land_mm: a flat of 0.5 mm reads a 5 mm hole 0.025 mm too small"
    return [Finding("look", CONDITIONS_FILE, what, todo)]


def _look_at_steps(conditions: Conditions, typed: Typed) -> list[Finding]:
    """Find readings that are all coarser, or some finer, than the caliper is said to show."""
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
    what += f", and the caliper is said to show {said_mm:g} mm"
    return [Finding("look", CONDITIONS_FILE, what, "Correct resolution_mm, the caliper's step")]


def _all_multiples(numbers: Collection[float], step: float) -> bool:
    return all(abs(number / step - round(number / step)) < 1e-6 for number in numbers)


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
            kind="copied row",
        )
        for group in copies
    ]


def _content(row: Row) -> tuple[str, ...]:
    return row.kind, row.feature, row.mate, row.result, row.unit, row.jaws, row.along, row.by
