"""Fitting a whole tree of runs: many at once, resumable, one bad run never stops the others.

The work goes through joblib. Without a number of workers it runs on whatever backend the caller
has chosen with ``joblib.parallel_config``, beyond this machine as well.
"""

import os
import warnings
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.errors import CouponError, DoubtWarning, Problem, RunError
from coupons.measuring.run.tree import RUN_FILES, find_runs
from coupons.neutral import file_stem
from coupons.progress import steps, told_to

if TYPE_CHECKING:
    from coupons.job.machine_runs import MachineRuns
    from coupons.learning.profile import Profile

_MOST_NAMED = 5


class BatchOutcome(StrEnum):
    """What became of one profile."""

    FITTED = "fitted"
    IN_PART = "fitted in part"
    CURRENT = "up to date"
    EMPTY = "nothing entered"
    FAILED = "failed"


@dataclass(frozen=True)
class Task:
    """One profile to write.

    Parameters
    ----------
    folders : tuple of Path
        Runs that are fitted together.
    output : Path
        The profile's file.
    notes : tuple of str
        What is odd about the runs, or which ones are not among them.
    """

    folders: tuple[Path, ...]
    output: Path
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Done:
    """One profile, and what became of it.

    Parameters
    ----------
    task : Task
    outcome : BatchOutcome
    said : tuple of str
        Problems that kept it from being written, or doubts about it.
    left_out : tuple of Path
        Runs of a machine that cannot be fitted, where the profile stands without them.
    """

    task: Task
    outcome: BatchOutcome
    said: tuple[str, ...] = ()
    left_out: tuple[Path, ...] = ()

    @property
    def where(self) -> Path:
        """What a person looks for: the profile, or the run where there is none."""
        stands = self.outcome in (BatchOutcome.FITTED, BatchOutcome.CURRENT)
        return self.task.output if stands or len(self.task.folders) > 1 else self.task.folders[0]


class BatchStopped(KeyboardInterrupt):
    """A batch that a person stopped; what was done stands, and it goes on from there.

    Parameters
    ----------
    done, of : int
        How many profiles were done, and how many there are.
    """

    def __init__(self, done: int, of: int) -> None:
        super().__init__(f"{done} of {of} done")
        self.done, self.of = done, of


def fit_each(
    folders: Sequence[str | Path],
    *,
    by_machine: bool = False,
    jobs: int | None = None,
    public: bool = False,
) -> tuple[Done, ...]:
    """Fit every run, or every machine, below some folders.

    A profile that is newer than all files of its runs, and of the same entries and version, is left
    as it is: started again after it was stopped, the work goes on where it was. The bytes written
    do not depend on the number of workers.

    Parameters
    ----------
    folders : sequence of str or Path
        Searched downwards for runs; links to folders are not followed.
    by_machine : bool
        Fit all runs of one machine and material together. Their profile is written to the folder
        below which all of them are. Runs that cannot be fitted are named and left out, and
        re-checks are fitted by themselves; see `coupons.job.machine_runs`.
    jobs : int, optional
        How many workers; -1 for one a processor. Not given: one, or what
        ``joblib.parallel_config`` says around this call.
    public : bool
        Write files to be shared; see `coupons.job.fit.fit_to_files`.

    Returns
    -------
    tuple of Done
        In the order of the runs' paths, whatever finished first.

    Raises
    ------
    RunError
        If a folder cannot be searched, or no run is below any of them.
    BatchStopped
        If a person stops it.
    """
    from joblib import Parallel, delayed

    found = find_runs([Path(folder) for folder in folders])
    tasks, done = _tasks(found, by_machine)
    work = Parallel(n_jobs=jobs, return_as="generator_unordered")(
        delayed(_numbered)(number, task, public) for number, task in enumerate(tasks)
    )
    by_number: dict[int, Done] = {}
    try:
        by_number.update(steps(work, "profiles", len(tasks)))  # one by one, as they come
    except KeyboardInterrupt:
        raise BatchStopped(len(by_number), len(tasks)) from None
    fitted = [
        replace(one, said=(*one.said, *one.task.notes)) for _, one in sorted(by_number.items())
    ]
    return (*done, *fitted)


def _tasks(runs: Sequence[Path], by_machine: bool) -> tuple[list[Task], list[Done]]:
    """Return the profiles to write, and the runs of which it is clear that they have none."""
    from coupons.job.machine_runs import by_machine as sort_by_machine
    from coupons.learning.profile_file import FILE

    if not by_machine:
        return [Task((run,), run / FILE) for run in runs], []
    machines, bad = sort_by_machine(runs)
    failed = [_failed(Task((run,), run / FILE), error) for run, error in bad.items()]
    top = Path(os.path.commonpath([run.absolute() for run in runs]))
    top = top.parent if top in {run.absolute() for run in runs} else top
    if not any(run.is_absolute() for run in runs):
        top = Path(os.path.relpath(top))
    outputs = _outputs(top, [(one.machine, one.material) for one in machines])
    spelt = _spelt_alike([(one.machine, one.material) for one in machines])
    tasks = []
    for one in machines:
        output = outputs[one.machine, one.material]
        notes = (*spelt.get((one.machine, one.material), ()), *_notes(one, output))
        tasks.append(Task(one.full, output, notes))
        tasks += [Task(folders, folders[-1] / FILE) for folders in one.rechecks]
    return tasks, failed


def _spelt_alike(kinds: Sequence[tuple[str, str]]) -> dict[tuple[str, str], tuple[str]]:
    """Name the kinds that only capitals and blanks tell apart."""
    groups: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for kind in kinds:
        groups[_plain(kind)].append(", ".join(kind))
    return {
        kind: (
            f"spelt in {len(names)} ways: {'; '.join(names)}. If they are the same, spell them "
            "alike in conditions.toml and fit again",
        )
        for kind in kinds
        if len(names := groups[_plain(kind)]) > 1
    }


def _plain(kind: tuple[str, str]) -> tuple[str, ...]:
    return tuple("".join(name.casefold().split()) for name in kind)


def _notes(one: "MachineRuns", output: Path) -> Iterator[str]:
    """Yield what is odd about the runs that a profile is fitted to."""
    if one.rechecks:
        names = _few([folder for folders in one.rechecks for folder in folders], output.parent)
        yield (
            "re-checks (later prints with less than half as many entries) are left out of it and "
            f"have profiles of their own, by which `coupons still` and `coupons board` judge it: "
            f"{names}"
        )
    if one.undated:
        yield (
            f"{_few(one.undated, output.parent)}: fitted with the others, as there is no print "
            "date; it may be a re-check. Fill in printed_on in conditions.toml"
        )


def _few(folders: Sequence[Path], beside: Path) -> str:
    """Name some folders, as seen from that of the profile."""
    names = [os.path.relpath(folder, beside) for folder in folders[:_MOST_NAMED]]
    more = len(folders) - len(names)
    return ", ".join(names) + (f" and {more} more" if more else "")


def _outputs(top: Path, kinds: Sequence[tuple[str, str]]) -> dict[tuple[str, str], Path]:
    """Name the profile of each machine and material; names that are spelt alike get a number."""
    outputs: dict[tuple[str, str], Path] = {}
    taken: set[str] = set()
    for kind in kinds:
        stem = name = file_stem("-".join(kind), "machine")
        number = 2
        while name.casefold() in taken:  # many file systems take capitals for small letters
            name, number = f"{stem}-{number}", number + 1
        taken.add(name.casefold())
        outputs[kind] = top / f"{name}.json"
    return outputs


def _numbered(number: int, task: Task, public: bool) -> tuple[int, Done]:
    with told_to(None):  # the steps of one fit say little among a thousand
        return number, _fit(task, public)


def _fit(task: Task, public: bool) -> Done:
    """Fit one profile in a worker; whatever is wrong with its runs ends here."""
    from coupons.job.fit import fit_to_files

    try:
        filled = tuple(folder for folder in task.folders if not _is_blank(folder))
        # Of one run, or of bad ones alone, the fit itself says what is wrong.
        bad = _bad_runs(filled) if len(filled) > 1 else {}
        good = tuple(folder for folder in filled if folder not in bad) or filled
        if _is_current(task, good):
            return _done(task, BatchOutcome.CURRENT, good, bad)
        if not filled:
            return Done(task, BatchOutcome.EMPTY)
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always", DoubtWarning)
            fit_to_files(good, task.output, public=public)
    except CouponError as error:
        return _failed(task, error)
    except OSError as error:
        if not error.filename:
            raise
        return Done(task, BatchOutcome.FAILED, (f"{error.filename}: {error.strerror}",))
    return _done(task, BatchOutcome.FITTED, good, bad, tuple(str(one.message) for one in caught))


def _bad_runs(folders: Sequence[Path]) -> dict[Path, CouponError]:
    """Return the runs that cannot be read, or hold a print that an earlier one holds."""
    from coupons.measuring.run.folder import Run, each_print_once, load_run

    good: tuple[Run, ...] = ()
    bad: dict[Path, CouponError] = {}
    for folder in folders:
        try:
            good = each_print_once([*good, load_run(folder)])
        except CouponError as error:
            bad[folder] = error
    return bad


def _done(
    task: Task,
    outcome: BatchOutcome,
    good: Sequence[Path],
    bad: Mapping[Path, CouponError],
    doubts: tuple[str, ...] = (),
) -> Done:
    """Return the outcome of a profile that stands, naming the runs that are not in it."""
    if not bad:
        return Done(task, outcome, doubts)
    count = f"{len(good)} of {len(good) + len(bad)} runs"
    named = [
        f"{os.path.relpath(folder, task.output.parent)} left out: {line}"
        for folder, error in bad.items()
        for line in error.message.split("\n")
    ]
    said = (f"{count}; {named[0]}", *named[1:], *doubts)
    return Done(task, BatchOutcome.IN_PART, said, tuple(bad))


def _failed(task: Task, error: CouponError) -> Done:
    return Done(task, BatchOutcome.FAILED, tuple(error.message.split("\n")))


def _is_blank(folder: Path) -> bool:
    """Tell whether a sheet is as it was made; one that cannot be read is not."""
    from coupons.measuring.run.folder import survey_run

    found = survey_run(folder)
    rows = found.typed.rows
    return found.coupon is not None and bool(rows) and not any(row.result.strip() for row in rows)


def _is_current(task: Task, filled: Sequence[Path]) -> bool:
    """Tell whether a profile stands that was fitted to the filled runs as they are now."""
    from coupons.learning.profile_of_fit import entries_digest
    from coupons.measuring.run import sheet

    profile = _standing(task.output)
    if profile is None:
        return False
    written_ns = task.output.stat().st_mtime_ns
    files = [folder / name for folder in task.folders for name in sorted(RUN_FILES)]
    newer = any(path.stat().st_mtime_ns > written_ns for path in files if path.exists())
    same_entries = profile.entries_sha256 == entries_digest(
        [folder / sheet.FILE for folder in filled]
    )
    if profile.without and (newer or not same_entries):
        todo = "Fit it by itself: coupons fit RUN --without ROW"
        got = "a profile without some rows, of entries that have changed since"
        raise RunError([Problem(str(task.output), "a profile that can be made anew", got, todo)])
    return same_entries and not newer


def _standing(path: Path) -> "Profile | None":
    from coupons import __version__
    from coupons.learning.profile import VERSION
    from coupons.learning.profile_file import read_profile

    if not path.is_file():
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DoubtWarning)
            profile = read_profile(path)
    except CouponError:
        return None
    ours = profile.version == VERSION and profile.made_with == f"coupons {__version__}"
    return profile if ours else None
