"""Checks of a list of parts that need no model: problems of the file, contradictions, odd rows."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

from coupons.errors import EntriesError
from coupons.measuring.checks.contradictions import find_contradictions
from coupons.measuring.run import sheet
from coupons.measuring.run.findings import Finding, told_together
from coupons.measuring.run.folder import Run
from coupons.measuring.run.parts_list import FindHardware, TriedJoint, read_parts
from coupons.measuring.run.tried_joints import odd_parts, runs_of
from coupons.terms import GRADES

# Joints of one kind, this near in size, of one print: one with a gap wider by so much is not
# tighter by two grades unless something is wrong. Their own deviations explain less.
_NEAR_SIZE, _WIDER_MM, _GRADES_APART = 1.3, 0.1, 2


def check_parts(path: Path, hardware: FindHardware) -> list[Finding]:
    """Check a list of parts: first what keeps it from being fitted, then what looks wrong.

    Parameters
    ----------
    path : Path
    hardware : callable
        Looks bought pieces up.
    """
    try:
        joints, problems = read_parts(path, hardware)
    except EntriesError as error:
        joints, problems = [], list(error.problems)
    found = [
        Finding(
            "error",
            problem.where,
            f"expected {problem.expected}, got {problem.got}",
            problem.todo,
            kind=f"{problem.expected} {problem.todo}",
        )
        for problem in problems
    ]
    runs = runs_of(path, joints)
    for run in runs:
        found += [_in_file(path, one) for one in find_contradictions(run.coupon, run.fits)]
    found += odd_parts(runs)
    found += _wrong_orders(path, joints)
    found += _copied(path, joints)
    return told_together(found)


def findings_by_run(
    runs: Sequence[Run], findings: Sequence[Finding]
) -> tuple[tuple[Finding, ...], ...]:
    """Sort the findings on a list of parts by its runs; those of no row go to the first."""
    sorted_: list[list[Finding]] = [[] for _ in runs]
    for finding in (part for one in findings for part in one.each):
        at = 0
        for n, run in enumerate(runs):
            if any(f" row {fit.row} " in f"{finding.where} " for fit in run.fits):
                at = n
        sorted_[at].append(finding)
    return tuple(map(tuple, sorted_))


def _in_file(path: Path, finding: Finding) -> Finding:
    return replace(finding, where=finding.where.replace(sheet.FILE, path.name, 1))


def _wrong_orders(path: Path, joints: Sequence[TriedJoint]) -> Iterator[Finding]:
    """Find joints that fit tighter than narrower ones: the worst pair of each kind."""
    kinds: defaultdict[tuple[object, ...], list[TriedJoint]] = defaultdict(list)
    for joint in joints:
        if joint.hardware is None:
            kinds[joint.job, joint.internal, joint.direction, joint.bed].append(joint)
    for alike in kinds.values():
        pairs = [
            (one, other) if one.gap_mm < other.gap_mm else (other, one)
            for one, other in combinations(alike, 2)
            if one.name != other.name
        ]
        wrong = [pair for pair in pairs if _is_wrong(*pair)]
        if wrong:
            narrow, wide = max(wrong, key=lambda pair: pair[1].gap_mm - pair[0].gap_mm)
            what = (
                f"{wide.tightest} at a gap of {wide.gap_mm:+.2f} mm, but {narrow.tightest} at"
                f" {narrow.gap_mm:+.2f} mm in row {narrow.row}, the same kind of joint in one print"
            )
            todo = "Check both drawn sizes, and try both again"
            where = f"{path.name} row {wide.row} ({wide.name})"
            yield Finding("look", where, what, todo, "wrong order of parts")


def _is_wrong(narrow: TriedJoint, wide: TriedJoint) -> bool:
    sizes = sorted((narrow.internal_mm, wide.internal_mm))
    near = sizes[1] <= _NEAR_SIZE * sizes[0]
    apart = GRADES.index(narrow.tightest) - GRADES.index(wide.loosest)
    wider_mm = round(wide.gap_mm - narrow.gap_mm, 6)  # 0.35 − 0.25 is a little less than 0.1
    return near and wider_mm >= _WIDER_MM and apart >= _GRADES_APART


def _copied(path: Path, joints: Sequence[TriedJoint]) -> Iterator[Finding]:
    """Find identical rows: a repeat, or one row pasted twice."""
    first: dict[TriedJoint, int] = {}
    for joint in joints:
        same = replace(joint, row=0, note="")
        if same in first:
            todo = "Clear the copy; keep a repeat only if it was tried again"
            where = f"{path.name} row {joint.row} ({joint.name})"
            yield Finding("look", where, f"same as row {first[same]}", todo, "copied row")
        first.setdefault(same, joint.row)
