"""``parts.csv``: joints of one's own parts, with what was drawn and what the hand found.

The columns have the names of the table that `coupons joints -o` writes, so that this table with the
columns ``result`` and ``job`` added is such a list. Rows without a result are skipped.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coupons.errors import CouponError, EntriesError, Problem
from coupons.making.record import CouponHardware
from coupons.measuring.run.entries import near_miss, parse_grades, parse_number
from coupons.measuring.run.spreadsheet import Cells, Layout, read_cells
from coupons.terms import EXTERNAL, GRADES, INTERNAL, ROUND, Bed, Direction, Form, Grade

COLUMNS = (
    "name",
    "job",
    "internal",
    "internal_drawn_mm",
    "external",
    "external_drawn_mm",
    "across",
    "hardware",
    "bed",
    "contact_mm",
    "result",
    "by",
    "note",
)
SMALLEST_MM, LARGEST_MM = 0.5, 500.0
LONGEST_CONTACT_MM = 300.0
_LONGEST = 60
_LAYOUT = Layout(
    columns=COLUMNS,
    needed=("name", "across", "result"),
    number_pair=("external_drawn_mm", "across"),
    holds="a list of parts",
    if_missing="Give the path of a CSV file with the columns " + ", ".join(COLUMNS),
    if_empty="The first row has the column names " + ", ".join(COLUMNS),
    error=EntriesError,
)
# The table of answers names a piece to choose from by its mark: "drawer (2 notches)".
_MARK = re.compile(r"\s*\(\d+ notch(es)?\)$")

FindHardware = Callable[[str], CouponHardware]
"""Looks a bought piece up by its name; raises `CouponError` if there is none."""


@dataclass(frozen=True)
class TriedJoint:
    """One row: two bodies, and what the hand found.

    Parameters
    ----------
    row : int
        As the spreadsheet numbers it.
    name : str
        Of the joint, without the mark of a piece. One form of one drawn size under one name, in one
        job, is one body.
    job : str
        Of the print; empty where it was not said.
    internal, external : Form
    internal_mm, external_mm : float
        As drawn; of hardware its own size.
    direction : Direction
    hardware : CouponHardware or None
        In place of the body of its form.
    bed : Bed
    contact_mm : float or None
        How long the bodies touch.
    tightest, loosest : Grade
    by, note : str
    """

    row: int
    name: str
    job: str
    internal: Form
    external: Form
    internal_mm: float
    external_mm: float
    direction: Direction
    hardware: CouponHardware | None
    bed: Bed
    contact_mm: float | None
    tightest: Grade
    loosest: Grade
    by: str = ""
    note: str = ""

    @property
    def gap_mm(self) -> float:
        """The drawn gap."""
        return round(self.internal_mm - self.external_mm, 6)

    def key(self, form: Form) -> str:
        """Name one of its two bodies, the same in all rows about it."""
        if self.hardware is not None and self.hardware.form is form:
            return self.hardware.id
        size_mm = self.internal_mm if form in INTERNAL else self.external_mm
        return f"{self.name} {form} {size_mm:g}"


def read_parts(path: Path, hardware: FindHardware) -> tuple[list[TriedJoint], list[Problem]]:
    """Read the filled rows of a list of parts, and the problems of the others.

    Raises
    ------
    EntriesError
        If the file is missing, is not text, or has no usable line of column names.
    """
    rows, problems = read_cells(path, _LAYOUT)
    joints = []
    for row in rows:
        if not row.named.get("result"):
            continue
        reader = _PartsListReader(path.name, row, hardware)
        joint = reader.joint()
        problems += reader.problems
        if joint is not None and not reader.problems:
            joints.append(joint)
    problems += _other_bodies(path.name, joints)
    if not joints and not problems:
        todo = "Try the joints and fill in the column result"
        problems = [Problem(path.name, "at least one result", f"{len(rows)} blank rows", todo)]
    return joints, sorted(problems, key=_row_number)


def _row_number(problem: Problem) -> int:
    digits = re.search(r"row (\d+)", problem.where)
    return int(digits[1]) if digits else 0


def _other_bodies(file: str, joints: list[TriedJoint]) -> list[Problem]:
    """Find bodies of one name, form and size that were printed in two ways."""
    first: dict[tuple[str, str], TriedJoint] = {}
    problems = []
    for joint in joints:
        for form in (joint.internal, joint.external):
            known = first.setdefault((joint.job, joint.key(form)), joint)
            ways = [(one.direction, one.bed.holds(form)) for one in (known, joint)]
            if ways[0] != ways[1] and not (joint.hardware and joint.hardware.form is form):
                todo = "Correct one of the rows, or give the joints names of their own"
                expected = f"the {form} of {joint.name} printed as in row {known.row}"
                got = f"across {joint.direction}, bed {joint.bed}"
                problems.append(Problem(f"{file} row {joint.row}", expected, got, todo))
    return problems


class _PartsListReader:
    """Reads one row and collects its problems."""

    def __init__(self, file: str, row: Cells, hardware: FindHardware) -> None:
        self.where = f"{file} row {row.number}"
        self.number = row.number
        self.cells = {column: row.named.get(column, "") for column in COLUMNS}
        self.find = hardware
        self.problems: list[Problem] = []

    def joint(self) -> TriedJoint | None:
        """Return the joint, or None if the row has problems that prevent it."""
        formulas = [cell for cell in self.cells.values() if cell.startswith("=")]
        for cell in formulas:
            self._refuse("text or a number", cell, "Type the value instead of the formula")
        if formulas:
            return None
        piece = self._hardware()
        internal = self._form("internal", INTERNAL, piece)
        external = self._form("external", EXTERNAL, piece)
        sizes = [self._size(form, piece) for form in ("internal", "external")]
        direction = self._across()
        grades = self._grades()
        name, job, contact_mm = self._name(), self._job(), self._contact()
        if not (internal and external and direction and grades) or None in sizes:
            return None
        bed = self._bed(internal, direction)
        self._refuse_odd_pair(internal, external)
        inner, outer = (mm or 0.0 for mm in sizes)
        self._refuse_wide_gap(inner, outer)
        by, note = self.cells["by"], self.cells["note"]
        return TriedJoint(
            self.number, name, job, internal, external, inner, outer, direction, piece,
            bed, contact_mm, *grades, by, note,
        )  # fmt: skip

    def _refuse(self, expected: str, got: str, todo: str) -> None:
        shown = repr(got[:60]) if got else "nothing"
        self.problems.append(Problem(self.where, expected, shown, todo))

    def _name(self) -> str:
        name = _MARK.sub("", self.cells["name"])
        if not name or len(name) > _LONGEST or not name.isprintable():
            self._refuse(f"a name of up to {_LONGEST} letters", name, "Name the joint")
        return name

    def _job(self) -> str:
        job = self.cells["job"]
        if len(job) > _LONGEST or not job.isprintable() or set(job) & set("/\\:"):
            todo = "Name the print without slashes and colons, or leave it blank"
            self._refuse(f"a job of up to {_LONGEST} letters", job, todo)
        return job

    def _hardware(self) -> CouponHardware | None:
        if not self.cells["hardware"]:
            return None
        try:
            return self.find(self.cells["hardware"])
        except CouponError as error:
            self.problems += [
                Problem(self.where, p.expected, p.got, p.todo) for p in error.problems
            ]
            return None

    def _form(self, side: str, forms: frozenset[Form], piece: CouponHardware | None) -> Form | None:
        text, known = self.cells[side].lower(), sorted(forms)
        if piece is not None and not text:
            is_round = piece.form in ROUND
            return next(form for form in known if (form in ROUND) is is_round)
        if text not in known:
            if not self.cells["hardware"] or piece is not None:
                self._refuse(f"{side} {' or '.join(known)}", text, near_miss(text, known, ""))
            return None
        return Form(text)

    def _size(self, side: str, piece: CouponHardware | None) -> float | None:
        text = self.cells[f"{side}_drawn_mm"]
        if piece is not None and (piece.form in INTERNAL) is (side == "internal"):
            if text:
                self._refuse(f"no size of the {side} body", text, f"{piece.name} has its own")
            return piece.size_mm
        if self.cells["hardware"] and piece is None:  # which has its own problem
            return None
        size_mm = parse_number(re.sub(r"\s*mm$", "", text, flags=re.IGNORECASE))
        if size_mm is None or not SMALLEST_MM <= size_mm <= LARGEST_MM:
            expected = f"{side}_drawn_mm from {SMALLEST_MM:g} to {LARGEST_MM:g}"
            self._refuse(expected, text, "Write the size in the drawing, in mm, such as 11.7")
            return None
        return size_mm

    def _across(self) -> Direction | None:
        text = self.cells["across"].lower()
        if text not in ("x", "y", "z"):
            todo = "Write the printer axis across the faces; for a round joint, along its axis"
            self._refuse("across x, y, z", text, todo)
            return None
        return Direction(text)

    def _grades(self) -> tuple[Grade, Grade] | None:
        text = self.cells["result"]
        grades = parse_grades(text)
        if grades is None:
            todo = near_miss(text, [*GRADES, "go", "stop"], "Or a range such as push..slide")
            self._refuse(f"a result {', '.join(GRADES)}, go or stop", text, todo)
        return grades

    def _contact(self) -> float | None:
        text = self.cells["contact_mm"]
        if not text:
            return None
        contact_mm = parse_number(text)
        fits = contact_mm is not None and math.isfinite(contact_mm)
        if not fits or contact_mm is None or not 0.5 <= contact_mm <= LONGEST_CONTACT_MM:
            expected = f"contact_mm from 0.5 to {LONGEST_CONTACT_MM:g}"
            self._refuse(expected, text, "Write how long the bodies touch, or leave it blank")
            return None
        return contact_mm

    def _bed(self, internal: Form, direction: Direction) -> Bed:
        text = self.cells["bed"].lower()
        looks_down = direction is Direction.Z if internal not in ROUND else direction != "z"
        if text and text not in tuple(Bed):
            self._refuse(f"bed {', '.join(Bed)}", text, near_miss(text, tuple(Bed), ""))
        elif text and not looks_down and text != Bed.NONE:
            todo = "It matters across z and for lying rounds alone: leave it blank"
            self._refuse("nothing in bed here, where no face looks down", text, todo)
        elif not text and looks_down and internal not in ROUND:
            todo = "Say whose lower face was the first layer: " + ", ".join(Bed)
            self._refuse("bed for a joint across z", text, todo)
        return Bed(text) if text in tuple(Bed) else Bed.NONE

    def _refuse_odd_pair(self, internal: Form, external: Form) -> None:
        if (internal in ROUND) is not (external in ROUND):
            todo = "Correct one of the two forms"
            pairs = "a hole with a pin, or a slot with a tongue"
            self._refuse(pairs, f"{internal} with {external}", todo)

    def _refuse_wide_gap(self, internal_mm: float, external_mm: float) -> None:
        if abs(internal_mm - external_mm) >= min(internal_mm, external_mm) / 2:
            got = f"{internal_mm:g} and {external_mm:g}"
            todo = "Check both drawn sizes, and their unit: mm"
            self._refuse("a gap under half of the size", got, todo)
