"""The runs of a tree by machine and material: what is fitted together, and what checks it later.

A *re-check* is a print that was made later, with the same nozzle and layer height, has less than
half as many entries and measures nothing that the earlier one did not. Fitted together with the
full prints it would hide what it is there to find: that the machine has changed. The jobs of one
set, which `make --jobs` lays out, count as one print here.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.errors import CouponError
from coupons.terms import Direction, Form

if TYPE_CHECKING:
    from coupons.measuring.run.conditions import Conditions
    from coupons.measuring.run.folder import Survey


@dataclass(frozen=True)
class MachineRuns:
    """All runs of one machine with one material.

    Parameters
    ----------
    machine, material : str
    full : tuple of Path
        Run folders that are fitted together.
    rechecks : tuple of tuple of Path
        Run folders of each re-check, which is fitted by itself.
    undated : tuple of Path
        Those of ``full`` that would be re-checks, if their dates or those of the earlier prints
        were known and said so.
    """

    machine: str
    material: str
    full: tuple[Path, ...]
    rechecks: tuple[tuple[Path, ...], ...] = ()
    undated: tuple[Path, ...] = ()


@dataclass(frozen=True)
class _Printed:
    """What was printed at one time: a run, or the jobs of a set."""

    folders: tuple[Path, ...]
    conditions: "tuple[Conditions, ...]"
    entries: int
    measured: frozenset[tuple[Form, Direction]]

    @property
    def dates(self) -> list[date] | None:
        """When, in order; None if one of the dates is not known."""
        known = [one.printed_on for one in self.conditions if one.printed_on is not None]
        return sorted(known) if len(known) == len(self.conditions) else None

    def may_check(self, other: "_Printed") -> bool:
        """Tell whether it would be a re-check of another print, if it is later."""
        from coupons.answering.compare.still import RECHECK_SHARE

        return (
            0 < self.entries < RECHECK_SHARE * other.entries
            and self.measured <= other.measured
            and _set_ups(self.conditions) == _set_ups(other.conditions)
        )

    def is_later(self, other: "_Printed") -> bool:
        """Tell whether it is known to be printed later than another print."""
        mine, its = self.dates, other.dates
        return mine is not None and its is not None and its[-1] < mine[0]


def _set_ups(conditions: "Sequence[Conditions]") -> set[tuple[float, float]]:
    return {(one.nozzle_mm, one.layer_height_mm) for one in conditions}


def by_machine(
    runs: Sequence[Path],
) -> tuple[tuple[MachineRuns, ...], dict[Path, CouponError]]:
    """Sort runs by machine and material, re-checks apart.

    Parameters
    ----------
    runs : sequence of Path
        Run folders. Of those whose entries cannot be read nothing is known but the machine: they
        stand with the full ones.

    Returns
    -------
    tuple of MachineRuns
        In the order in which the machines first come.
    dict of Path to CouponError
        Runs whose conditions cannot be read.
    """
    from coupons.measuring.run.folder import survey_run

    groups: dict[tuple[str, str], list[tuple[Path, Survey]]] = defaultdict(list)
    failed: dict[Path, CouponError] = {}
    for run in runs:
        try:
            found = survey_run(run)
        except CouponError as error:
            failed[run] = error
            continue
        if found.conditions is None:
            failed[run] = CouponError([p for fault in found.faults for p in fault.problems])
            continue
        groups[found.conditions.machine, found.conditions.material].append((run, found))
    return tuple(_parted(*kind, members) for kind, members in groups.items()), failed


def _parted(machine: str, material: str, runs: "Sequence[tuple[Path, Survey]]") -> MachineRuns:
    printed = _prints(runs)
    full: list[Path] = []
    rechecks: list[tuple[Path, ...]] = []
    undated: list[Path] = []
    for one in printed:
        checked = [other for other in printed if one.may_check(other)]
        if any(one.is_later(other) for other in checked):
            rechecks.append(one.folders)
            continue
        full += one.folders
        if any(one.dates is None or other.dates is None for other in checked):
            undated += one.folders
    kept = tuple(run for run, _ in runs if run in set(full))
    return MachineRuns(machine, material, kept, tuple(rechecks), tuple(undated))


def _prints(runs: "Sequence[tuple[Path, Survey]]") -> list[_Printed]:
    from coupons.measuring.run.folder import job_set

    groups: dict[str, list[tuple[Path, Survey]]] = defaultdict(list)
    for run, found in runs:
        job = (found.conditions and found.conditions.job) or ""
        groups[job_set(run, job) or job or str(run.resolve())].append((run, found))
    return [
        _Printed(
            tuple(run for run, _ in members),
            tuple(found.conditions for _, found in members if found.conditions is not None),
            sum(_count(found) for _, found in members),
            frozenset(kind for _, found in members for kind in _measured(found)),
        )
        for members in groups.values()
    ]


def _count(found: "Survey") -> int:
    """Count the trials and readings; none of a run that cannot be fitted."""
    return 0 if found.faults else len(found.typed.fits) + len(found.typed.sizes)


def _measured(found: "Survey") -> set[tuple[Form, Direction]]:
    if found.coupon is None:
        return set()
    fits, sizes = found.typed.fits, found.typed.sizes
    used = {name for one in fits for name in (one.feature, one.mate)}
    used |= {one.feature for one in sizes}
    return {(one.form, one.direction) for one in found.coupon.features if one.id in used}
