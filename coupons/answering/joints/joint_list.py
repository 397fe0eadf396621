"""Reads ``joints.csv``, the joints of one part as a designer lists them in a spreadsheet."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from coupons.answering.joints.list_columns import COLUMNS, MET_COLUMNS, OFF_AXIS, UNIT_COLUMNS
from coupons.answering.joints.list_sides import Makers, prints_of_two
from coupons.answering.joints.listed import JointList, ListedJoint, label_of
from coupons.answering.joints.lone_rows import (
    ListedHole,
    is_asked,
    is_lone,
    listed_hole,
    odd_move,
    with_partner,
)
from coupons.answering.joints.row_reader import RowReader
from coupons.errors import AnswerError, Problem
from coupons.measuring.run.entries import parse_number
from coupons.measuring.run.spreadsheet import Cells, Layout, read_cells

_LAYOUT = Layout(
    columns=COLUMNS,
    needed=("name", "across"),
    number_pair=("size_mm", "across"),
    earlier={"gives": "move", "along": "across"},
    holds="a list of joints",
    besides=MET_COLUMNS,
    if_missing="Give the path of a CSV file with the columns " + ", ".join(COLUMNS),
    if_empty="The first row has the column names " + ", ".join(COLUMNS),
    error=AnswerError,
)


def read_joints(path: Path) -> JointList:
    """Read a list of joints.

    Raises
    ------
    AnswerError
        With every problem of the file at once.
    """
    rows, problems = read_cells(path, _LAYOUT)
    joints, holes = [], []
    makers = Makers(path.parent)
    for row in rows:
        if is_lone(row) and not is_asked(row):
            hole, wrong = listed_hole(path.name, row)
            problems += wrong
            holes.append(hole)
            continue
        if is_lone(row):
            problems += odd_move(path.name, row)
            row = with_partner(row)
        reader = RowReader(path.name, row, makers)
        joint = reader.joint()
        problems += reader.problems
        off_axis_deg, wrong = _off_axis(path.name, row)
        problems += wrong
        if joint is not None and not reader.problems:
            joints.append(replace(joint, off_axis_deg=off_axis_deg))
    problems += _twice(path.name, [*joints, *holes])
    problems += prints_of_two(path.name, joints)
    if not rows and not problems:
        problems = [Problem(path.name, "at least one joint", "none", "List one joint a row")]
    if problems:
        raise AnswerError(sorted(problems, key=_row_number))
    return JointList(tuple(joints), _ignored(rows), tuple(holes))


def _off_axis(file: str, row: Cells) -> tuple[float, list[Problem]]:
    """Read how far a joint is drawn off the directions of its row."""
    text = row.others.get(OFF_AXIS, "")
    off_deg = parse_number(text) if text else 0.0
    if off_deg is not None and 0 <= off_deg <= 90:
        return off_deg, []
    todo = "Put it back as `coupons meet` wrote it, or leave it blank"
    return 0.0, [Problem(f"{file} row {row.number}", f"{OFF_AXIS} from 0 to 90", repr(text), todo)]


def _ignored(rows: list[Cells]) -> tuple[str, ...]:
    told = {name: None for row in rows for name, text in row.others.items() if text}
    known = UNIT_COLUMNS + MET_COLUMNS
    return tuple(name or "(without a name)" for name in told if name not in known)


def _row_number(problem: Problem) -> int:
    digits = re.search(r"row (\d+)", problem.where)
    return int(digits[1]) if digits else 0


def _twice(file: str, joints: Sequence[ListedJoint | ListedHole]) -> list[Problem]:
    """Find names with the same label: in a model, one would overwrite the other."""
    counts = Counter(label_of(joint.name).lower() for joint in joints)
    return [
        Problem(
            f"{file} row {joint.row}",
            "a name of its own",
            f"{joint.name!r} again",
            "Add a number to it: names that differ only in signs, blanks or capitals count as one",
        )
        for joint in joints
        if counts[label_of(joint.name).lower()] > 1
    ]
