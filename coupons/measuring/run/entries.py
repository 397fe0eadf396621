"""Entries: the caliper readings and fit trials of one coupon, read from its sheet."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Literal, cast

from coupons.errors import EntriesError, Problem
from coupons.making.record import Coupon, CouponFeature, CouponHardware
from coupons.measuring.run.about import KIND as ABOUT
from coupons.measuring.run.sheet import FILE, KINDS, Row, read_rows
from coupons.terms import EXTERNAL, GRADES, INTERNAL, ROUND, Direction, Grade, Hold, Jaws

MM_PER_INCH = 25.4
# What a caliper can show of a printed part: less is a slip, whatever the unit.
SMALLEST_MM, LARGEST_MM = 0.01, 2000.0
# With closed jaws a caliper shows this much at most, either way; more was read of something else.
LARGEST_ZERO_MM = 1.0

Along = Literal["x", "y", "z"]

# Words that stand for several grades, as people use them who only say whether a part goes.
SETS: dict[str, tuple[Grade, Grade]] = {
    "go": (Grade.PUSH, Grade.LOOSE),
    "stop": (Grade.NO_GO, Grade.FORCE),
}


# The paper sheet has the hand say "goes" or "stops"; both are read as they stand there.
SAME_WORDS = {"goes": "go", "stops": "stop"}


@dataclass(frozen=True)
class SizeEntry:
    """One caliper reading, as the caliper showed it; ``row`` is its row in the sheet.

    ``zero_mm`` is what the same caliper showed with closed jaws, 0 where nobody looked.
    """

    row: int
    feature: str
    value_mm: float
    jaws: Jaws
    along: Along | None = None
    by: str = ""
    note: str = ""
    zero_mm: float = 0.0

    @property
    def size_mm(self) -> float:
        """The reading less what the caliper shows with closed jaws."""
        return self.value_mm - self.zero_mm


@dataclass(frozen=True)
class ZeroEntry:
    """A closed-jaw reading of a caliper, and the jaws that it applies to.

    One of the outside jaws gives the zero of the whole caliper; one of the inside jaws or the depth
    rod applies to these alone.
    """

    row: int
    value_mm: float
    jaws: Jaws = Jaws.OUTSIDE
    by: str = ""
    note: str = ""


@dataclass(frozen=True)
class FitEntry:
    """One trial: the hand found a grade from ``tightest`` to ``loosest``, both included."""

    row: int
    feature: str
    mate: str
    tightest: Grade
    loosest: Grade
    by: str = ""
    note: str = ""


@dataclass(frozen=True)
class HoldEntry:
    """How a screw or an insert was found to hold in a hole."""

    row: int
    feature: str
    mate: str
    found: Hold
    by: str = ""
    note: str = ""


Entry = SizeEntry | FitEntry | ZeroEntry | HoldEntry


@dataclass(frozen=True)
class Typed:
    """A whole sheet: its rows, the entries that they make and the problems of those that do not."""

    rows: tuple[Row, ...] = ()
    sizes: tuple[SizeEntry, ...] = ()
    fits: tuple[FitEntry, ...] = ()
    zeros: tuple[ZeroEntry, ...] = ()
    holds: tuple[HoldEntry, ...] = ()
    problems: tuple[Problem, ...] = ()


def read_entries(path: Path, coupon: Coupon) -> tuple[tuple[SizeEntry, ...], tuple[FitEntry, ...]]:
    """Read the filled rows of a sheet; blank results are skipped.

    Raises
    ------
    EntriesError
        With every problem of the file at once.
    """
    typed = survey_entries(path, coupon)
    if typed.problems:
        raise EntriesError(typed.problems)
    return typed.sizes, typed.fits


def survey_entries(path: Path, coupon: Coupon | None) -> Typed:
    """Read as much of a sheet as possible; without the coupon only its rows and columns."""
    try:
        rows, unshaped = read_rows(path)
    except EntriesError as error:
        return Typed(problems=error.problems)
    entries, refused = understand(rows, coupon) if coupon is not None else ([], [])
    problems = sorted(unshaped + refused, key=lambda problem: int(problem.where.split()[-1]))
    if not problems and all(row.is_blank for row in rows):
        todo = "Print the coupon, try and measure it, and fill in the column result"
        problems = [Problem(path.name, "at least one result", f"{len(rows)} blank rows", todo)]
    zeros = tuple(entry for entry in entries if isinstance(entry, ZeroEntry))
    sizes = tuple(entry for entry in entries if isinstance(entry, SizeEntry))
    fits = tuple(entry for entry in entries if isinstance(entry, FitEntry))
    holds = tuple(entry for entry in entries if isinstance(entry, HoldEntry))
    sizes = tuple(with_zero(size, zeros) for size in sizes)
    return Typed(tuple(rows), sizes, fits, zeros, holds, tuple(problems))


def with_zero(size: SizeEntry, zeros: Sequence[ZeroEntry]) -> SizeEntry:
    """Give a reading the zero of its caliper: the nearest closed-jaw reading in the sheet.

    A zero holds for the readings below it up to the next one, and the first one also for those
    above it. One for the same jaws takes precedence over one for the outside jaws; one by another
    person is not used.
    """
    own = [
        zero
        for zero in zeros
        if not (size.by and zero.by) or size.by.casefold() == zero.by.casefold()
    ]
    for jaws in (size.jaws, Jaws.OUTSIDE):
        of_jaws = [zero for zero in own if zero.jaws is jaws]
        if of_jaws:
            above = [zero for zero in of_jaws if zero.row < size.row]
            nearest = above[-1] if above else of_jaws[0]
            return replace(size, zero_mm=nearest.value_mm)
    return size


def understand(rows: Iterable[Row], coupon: Coupon) -> tuple[list[Entry], list[Problem]]:
    """Turn typed rows into entries; return the problems of those that cannot be."""
    known = _KnownIds(coupon)
    entries: list[Entry] = []
    problems: list[Problem] = []
    for row in rows:
        if row.is_blank or row.kind.lower() == ABOUT:
            continue
        reader = _EntryReader(row, known)
        entry = reader.entry()
        problems += reader.problems
        if entry is not None and not reader.problems:
            entries.append(entry)
    return entries, problems


def parse_number(text: str) -> float | None:
    """Read a number with a decimal point or comma; None if the text is not one.

    >>> parse_number("7,98"), parse_number(" 7.98 "), parse_number("7.98 mm")
    (7.98, 7.98, None)
    """
    if not re.fullmatch(
        r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?|[+-]?(nan|inf)", text.strip().lower()
    ):
        return None
    return float(text.strip().replace(",", "."))


def parse_grades(text: str) -> tuple[Grade, Grade] | None:
    """Read a grade, a word for several, or a range of two; None if the text is none of these.

    >>> parse_grades("Slide") == (Grade.SLIDE, Grade.SLIDE)
    True
    >>> parse_grades("push..slide") == (Grade.PUSH, Grade.SLIDE)
    True
    """
    ends = [_grade_word(part) for part in re.split(r"\.{2,3}|…", text)]
    if len(ends) == 1 and ends[0] in SETS:
        return SETS[ends[0]]
    if len(ends) > 2 or any(end not in GRADES for end in ends):
        return None
    grades = sorted((Grade(end) for end in ends), key=GRADES.index)
    return grades[0], grades[-1]


def _grade_word(text: str) -> str:
    word = text.strip().lower()
    if word in SAME_WORDS:
        return SAME_WORDS[word]
    return "no-go" if re.fullmatch(r"no[\s_‐-―-]?go", word) else word


def near_miss(word: str, known: Sequence[str], otherwise: str) -> str:
    """Suggest the known word that was probably meant, or ``otherwise`` if none is near."""
    near = get_close_matches(word.lower(), [name.lower() for name in known], 1)
    if not near:
        return otherwise
    return f"Did you mean {next(name for name in known if name.lower() == near[0])}?"


class _KnownIds:
    """The ids of a coupon, found in any letter case."""

    def __init__(self, coupon: Coupon) -> None:
        self.features = {feature.id.lower(): feature for feature in coupon.features}
        self.hardware = {piece.id.lower(): piece for piece in coupon.hardware}
        self.ids = [feature.id for feature in coupon.features]
        self.ids += [piece.id for piece in coupon.hardware]
        self.trials = {(trial.feature, trial.mate) for trial in coupon.trials}
        self.readings = {(reading.feature, reading.jaws) for reading in coupon.readings}
        self.holds = {(hold.feature, hold.mate) for hold in coupon.holds}

    def id_advice(self, name: str) -> str:
        """Suggest ids: those of the same row, or the most similar one."""
        letters = name.rstrip("0123456789").upper()
        row = [known for known in self.ids if known.rstrip("0123456789").upper() == letters]
        if row and name:
            return f"Row {letters} has the ids {row[0]} to {row[-1]}"
        return near_miss(name, self.ids, "The ids are on map.svg")


class _EntryReader:
    """Reads one row and collects its problems."""

    def __init__(self, row: Row, known: _KnownIds) -> None:
        self.row = row
        self.known = known
        self.problems: list[Problem] = []

    def entry(self) -> Entry | None:
        """Return the entry of the row, or None after noting its problems."""
        if self._has_formula():
            return None
        kind = self.row.kind.lower()
        if kind == "size":
            return self._size()
        if kind == "fit":
            return self._fit()
        if kind == "zero":
            return self._zero()
        if kind == "hold":
            return self._hold()
        self._refuse("kind fit, size, zero or hold", self.row.kind, near_miss(kind, KINDS, ""))
        return None

    def _refuse(self, expected: str, got: str, todo: str) -> None:
        shown = repr(got[:60]) if got else "nothing"
        self.problems.append(Problem(f"{FILE} row {self.row.number}", expected, shown, todo))

    def _has_formula(self) -> bool:
        row = self.row
        cells = (row.kind, row.feature, row.mate, row.result, row.unit, row.jaws, row.along)
        formulas = [cell for cell in cells if cell.startswith("=")]
        for cell in formulas:
            self._refuse("a value, not a formula", cell, "Type the value that the formula shows")
        return bool(formulas)

    def _size(self) -> SizeEntry | None:
        row = self.row
        value_mm = self._length_mm()
        feature = self._feature()
        if row.mate:
            self._refuse("no mate in a size row", row.mate, "Clear the mate, or make the kind fit")
        if feature is None:
            return None
        jaws, along = self._jaws(feature), self._along(feature)
        if value_mm is None or jaws is None:
            return None
        return SizeEntry(row.number, feature.id, value_mm, jaws, along, row.by, row.note)

    def _fit(self) -> FitEntry | None:
        row = self.row
        grades = parse_grades(row.result)
        if grades is None:
            words = [*GRADES, *SETS]
            todo = near_miss(row.result, words, "A range of grades is written push..slide")
            self._refuse("one of " + ", ".join(words), row.result, todo)
        feature = self._feature()
        mate = self._mate(feature)
        if grades is None or feature is None or mate is None:
            return None
        return FitEntry(row.number, feature.id, mate.id, *grades, row.by, row.note)

    def _hold(self) -> HoldEntry | None:
        row = self.row
        word = row.result.strip().lower()
        if word not in tuple(Hold):
            words = ", ".join(Hold)
            self._refuse(f"one of {words}", row.result, near_miss(word, tuple(Hold), ""))
        feature = self._feature()
        mate = self._mate(feature)
        if feature is None or mate is None or self.problems:
            return None
        if (feature.id, mate.id) not in self.known.holds:
            todo = "Make the kind fit, or correct the feature or the mate"
            self._refuse("a hole and the piece that holds in it", f"{feature.id} {mate.id}", todo)
            return None
        return HoldEntry(row.number, feature.id, mate.id, Hold(word), row.by, row.note)

    def _zero(self) -> ZeroEntry | None:
        row = self.row
        value_mm = self._number_mm()
        word = row.jaws.lower() or Jaws.OUTSIDE.value
        for column in ("feature", "mate", "along"):
            if text := getattr(row, column):
                todo = "Clear it, or make the kind size" if column == "feature" else "Clear it"
                self._refuse(f"no {column} in a row of kind zero", text, todo)
        if word not in tuple(Jaws):
            todo = near_miss(word, tuple(Jaws), "Leave blank for outside")
            self._refuse("jaws " + ", ".join(Jaws), word, todo)
        if value_mm is not None and not abs(value_mm) <= LARGEST_ZERO_MM:
            expected = f"a closed-jaw reading of at most {LARGEST_ZERO_MM:g} mm either way"
            self._refuse(expected, row.result, "Close the jaws and read again, or clear the cell")
        if value_mm is None or self.problems:
            return None
        return ZeroEntry(row.number, value_mm, Jaws(word), row.by, row.note)

    def _length_mm(self) -> float | None:
        value_mm = self._number_mm()
        if value_mm is not None and not SMALLEST_MM <= value_mm <= LARGEST_MM:  # nor is nan
            todo = "Measure it again, or clear the cell"
            expected = f"a size from {SMALLEST_MM:g} to {LARGEST_MM:g} mm"
            self._refuse(expected, self.row.result, todo)
            return None
        return value_mm

    def _number_mm(self) -> float | None:
        text, unit = self.row.result, self.row.unit.lower() or "mm"
        value = parse_number(text)
        if value is None:
            self._refuse("a number", text, _number_advice(text))
        if unit not in ("mm", "in"):
            self._refuse("unit mm or in", unit, near_miss(unit, ("mm", "in"), "Leave blank for mm"))
            return None
        if value is None:
            return None
        return value * MM_PER_INCH if unit == "in" else value

    def _feature(self) -> CouponFeature | None:
        name = self.row.feature
        feature = self.known.features.get(name.lower())
        if feature is None and name.lower() in self.known.hardware:
            todo = "Hardware goes in column mate of a fit row; its size is known already"
            self._refuse("a printed feature", name, todo)
        elif feature is None:
            self._refuse_id("a feature of this coupon", name)
        return feature

    def _refuse_id(self, expected: str, name: str) -> None:
        self._refuse(expected, name, self.known.id_advice(name))

    def _mate(self, feature: CouponFeature | None) -> CouponFeature | CouponHardware | None:
        name = self.row.mate
        key = name.lower()
        mate = self.known.features.get(key) or self.known.hardware.get(key)
        if mate is None:
            self._refuse_id("a mate of this coupon", name)
        elif feature is not None and not self._can_meet(feature, mate):
            wanted = "an external" if feature.form in INTERNAL else "an internal"
            shape = "round" if feature.form in ROUND else "flat"
            expected = f"{wanted} {shape} mate for {feature.form} {feature.id}"
            self._refuse(expected, f"{mate.form} {mate.id}", "Correct the feature or the mate")
        return mate

    def _can_meet(self, feature: CouponFeature, mate: CouponFeature | CouponHardware) -> bool:
        if (feature.id, mate.id) in self.known.trials | self.known.holds:
            return True
        opposite = (feature.form in INTERNAL) == (mate.form in EXTERNAL)
        return opposite and (feature.form in ROUND) == (mate.form in ROUND)

    def _jaws(self, feature: CouponFeature) -> Jaws | None:
        usual = Jaws.INSIDE if feature.form in INTERNAL else Jaws.OUTSIDE
        word = self.row.jaws.lower() or usual.value
        if word not in tuple(Jaws):
            todo = near_miss(word, tuple(Jaws), f"Leave blank for {usual}")
            self._refuse("jaws " + ", ".join(Jaws), word, todo)
            return None
        jaws = Jaws(word)
        is_step = feature.form not in ROUND and feature.direction is Direction.Z
        reaches = jaws is usual or (jaws is Jaws.DEPTH and is_step)
        if not reaches and (feature.id, jaws) not in self.known.readings:
            expected = f"{usual} jaws for {feature.form} {feature.id}"
            self._refuse(expected, jaws.value, "Correct the jaws or the feature")
            return None
        return jaws

    def _along(self, feature: CouponFeature) -> Along | None:
        word = self.row.along.lower()
        if not word:
            return None
        axes = [axis for axis in "xyz" if (axis == feature.direction) != (feature.form in ROUND)]
        if word not in axes:
            expected = f"along {' or '.join(axes) or 'blank'} for {feature.form} {feature.id}"
            self._refuse(expected, word, "Correct it, or leave it blank")
            return None
        return cast(Along, word)


def _number_advice(text: str) -> str:
    if re.search(r"\d\s*(mm|in|\"|″)$", text.lower()):
        return "Write only the number here, and the unit in column unit"
    if re.search(r"[a-z]{3}|\d[./-]\d+[./-]", text.lower()) and re.search(r"\d", text):
        return (
            "A spreadsheet may have turned it into a date: format the column as text and type it"
            " again"
        )
    return "Write only the size, such as 7.98"
