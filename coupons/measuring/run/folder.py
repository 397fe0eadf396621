"""A run: one print of one coupon on one machine with one material, in one folder."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from coupons.atomic import write_text
from coupons.errors import ConditionsError, CouponError, EntriesError, Problem, RunError
from coupons.making.record import Coupon, CouponPart, read_coupon
from coupons.measuring.run import conditions as conditions_file
from coupons.measuring.run import sheet
from coupons.measuring.run.about import NOTHING, About, read_about
from coupons.measuring.run.conditions import (
    Conditions,
    conditions_text,
    parse_conditions,
    read_conditions,
    set_value,
)
from coupons.measuring.run.entries import (
    FitEntry,
    HoldEntry,
    SizeEntry,
    Typed,
    ZeroEntry,
    survey_entries,
)
from coupons.measuring.run.tree import refuse_a_tree
from coupons.neutral import one_line
from coupons.reading import read_plain, stands

RECORD_FILE = "coupon.json"
LEAST_SHARING, MOST_SHARING = 20, 2000  # entries of a sheet; see `may_share_slips`

T = TypeVar("T")


@dataclass(frozen=True)
class Run:
    """The contents of one run folder. ``sizes`` and ``fits`` are in the order of the sheet.

    ``job`` names the print job, where it was said: runs of one job are one print. ``parts`` is the
    list that the trials are from, where they are of somebody's own parts and of no folder.
    """

    folder: Path
    coupon: Coupon
    conditions: Conditions
    sizes: tuple[SizeEntry, ...]
    fits: tuple[FitEntry, ...]
    zeros: tuple[ZeroEntry, ...] = ()
    holds: tuple[HoldEntry, ...] = ()
    job: str = ""
    parts: Path | None = None

    @property
    def sheet_path(self) -> Path:
        """The file that holds its entries."""
        return self.folder / sheet.FILE if self.parts is None else self.parts

    def __repr__(self) -> str:
        """One line: which print it is, and how much was entered."""
        what = f"{self.conditions.machine}, {self.conditions.material}"
        counts = f"{len(self.fits)} trials, {len(self.sizes)} readings"
        return f"<Run {one_line(f'{self.folder} ({what})')}: {counts}>"


@dataclass(frozen=True)
class Survey:
    """What could be read of a run folder, and the errors of the files that could not be."""

    coupon: Coupon | None
    conditions: Conditions | None
    typed: Typed
    faults: tuple[CouponError, ...]
    about: About = NOTHING


def load_run(folder: Path) -> Run:
    """Read the three files of a run folder.

    Raises
    ------
    RunError
        If the folder or its coupon record cannot be read, or if both of the other files are at
        fault.
    ConditionsError, EntriesError
        If only that file is at fault. Either way every problem is told at once.
    """
    refuse_a_tree(folder)
    found = survey_run(folder)
    run = run_of(folder, found)
    if run is None:
        raise _joined(found.faults)
    return run


def run_of(folder: Path, found: Survey) -> Run | None:
    """Return the run that was read from a folder, None if any of its files is at fault."""
    if found.coupon is None or found.conditions is None or found.faults:
        return None
    typed = found.typed
    entries = typed.sizes, typed.fits, typed.zeros, typed.holds
    return Run(folder, found.coupon, found.conditions, *entries, job=found.conditions.job or "")


def load_runs(folders: Sequence[Path]) -> tuple[Run, ...]:
    """Read several run folders; see `load_run` and `each_print_once`.

    Raises
    ------
    CouponError
        As `load_run`; of several folders, with all problems of all of them, each with its folder.
    """
    if len(folders) == 1:
        return (load_run(folders[0]),)
    runs, problems = [], []
    for folder in folders:
        try:
            runs.append(load_run(folder))
        except CouponError as error:
            if not error.problems:
                raise
            problems += [_in_folder(folder, problem) for problem in error.problems]
    if problems:
        raise RunError(problems)
    return each_print_once(runs)


def _in_folder(folder: Path, problem: Problem) -> Problem:
    named = problem.where.startswith(str(folder))
    return problem if named else replace(problem, where=f"{folder}: {problem.where}")


def each_print_once(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return runs that are prints of their own.

    Raises
    ------
    RunError
        If two of them hold one print, which would count twice and look as if every print came out
        the same.
    """
    todo = "Name each print once; if they are two prints, fill in printed_on in conditions.toml"
    problems = [
        Problem(str(run.folder), "another print", f"the same entries as {first.folder}", todo)
        for n, run in enumerate(runs)
        if (first := next((other for other in runs[:n] if _same_print(other, run)), None))
    ]
    if problems:
        raise RunError(problems)
    return tuple(runs)


def _same_print(one: Run, other: Run) -> bool:
    same_conditions = one.conditions == other.conditions
    return same_conditions and (one.sizes, one.fits) == (other.sizes, other.fits)


def survey_run(folder: Path) -> Survey:
    """Read as much as possible of a run folder.

    Raises
    ------
    RunError
        If there is no such folder.
    """
    if not folder.is_dir():
        todo = "Create it with `coupons make`"
        raise RunError([Problem(str(folder), "a run folder", "no such folder", todo)])
    faults: list[CouponError] = []
    coupon = _attempt(lambda: read_coupon(folder / RECORD_FILE), faults)
    typed = survey_entries(folder / sheet.FILE, coupon)
    about = read_about(typed.rows, coupon)
    path = folder / conditions_file.FILE
    conditions = _attempt(lambda: read_conditions(path, about.conditions), faults)
    if typed.problems or about.problems:
        faults.append(EntriesError((*typed.problems, *about.problems)))
    return Survey(coupon, conditions, typed, tuple(faults), about)


def prints_of(runs: Sequence[Run]) -> tuple[int, ...]:
    """Say of each run which print it is of, by the first run of that print.

    Runs that name one job are one print; a run that names none is a print of its own.
    """
    first: dict[str, int] = {}
    return tuple(first.setdefault(run.job, n) if run.job else n for n, run in enumerate(runs))


def job_set(folder: Path, job: str) -> str:
    """Name the set of jobs, laid out together, of which a run folder is one; empty if of none.

    Examples
    --------
    >>> job_set(Path("runs/job-2"), "f38bc1-2"), job_set(Path("runs/mine"), "f38bc1-2")
    ('f38bc1', '')
    """
    name, _, number = job.rpartition("-")
    return name if name and folder.resolve().name == f"job-{number}" else ""


def may_share_slips(run: Run) -> bool:
    """Tell whether a sheet has the right length for a search for mistakes in many entries.

    Fewer entries cannot tell such a mistake from chance; more were not typed by hand.
    """
    return LEAST_SHARING <= len(run.sizes) + len(run.fits) <= MOST_SHARING


def start_run(
    folder: Path,
    coupon: Coupon,
    *,
    machine: str = "",
    material: str = "",
    nozzle_mm: float | None = None,
    layer_height_mm: float | None = None,
    speed_mm_s: float | None = None,
    job: str = "",
) -> None:
    """Write conditions to fill in and a sheet with one blank row per trial and reading.

    Blank names are left for the person to fill in, and ``job`` names the print job; nozzle and
    layer height default to those that the coupon was made for. Call this before writing anything
    else of a coupon into the folder.

    Raises
    ------
    RunError
        If the folder holds filled-in rows or another coupon, or if the conditions could not be
        read back; nothing is then written.
    """
    assumed = coupon.assumed
    text = conditions_text(
        machine,
        material,
        assumed.nozzle_mm if nozzle_mm is None else nozzle_mm,
        assumed.layer_height_mm if layer_height_mm is None else layer_height_mm,
        speed_mm_s,
        job,
    )
    if coupon.part is not None:
        text = _read_with(text, coupon.part)
    problems = [
        *_unusable(text),
        *_other_coupon(folder, coupon),
        *typed_entries(folder),
        *_other_conditions(folder, text),
    ]
    if problems:
        raise RunError(problems)
    write_text(folder / conditions_file.FILE, text)
    sheet.write_rows(folder / sheet.FILE, sheet.blank_rows(coupon))


def _read_with(text: str, part: CouponPart) -> str:
    """Fill in the instrument that reads a part."""
    said = {
        "resolution_mm": part.resolution_mm,
        "uncertainty_mm": part.uncertainty_mm,
        "jaw_land_mm": part.jaw_land_mm,
    }
    for key, value in said.items():
        if value is not None:
            text = set_value(text, "caliper", key, str(float(value)))
    return text


_ELSEWHERE = "Choose a new folder, or move this one"


def _unusable(text: str) -> list[Problem]:
    """Return the problems of conditions, except for names that are still to be filled in."""
    try:
        parse_conditions(text)
    except ConditionsError as error:
        return [problem for problem in error.problems if problem.got != "nothing"]
    return []


def _other_coupon(folder: Path, coupon: Coupon) -> list[Problem]:
    path = folder / RECORD_FILE
    if not stands(path):
        return []
    try:
        digest = read_coupon(path).spec.digest
    except RunError:
        digest = "a record that cannot be read"
    if digest == coupon.spec.digest:
        return []
    return [Problem(str(path), "no other coupon in the folder", digest[:40], _ELSEWHERE)]


def typed_entries(folder: Path) -> list[Problem]:
    """Return the problem that a sheet is filled in, or nothing.

    A sheet that cannot be read counts as filled in.
    """
    path = folder / sheet.FILE
    if not stands(path):
        return []
    try:
        rows, odd = sheet.read_rows(path)
        typed = len(odd) + sum(bool(row.result or row.by or row.note) for row in rows)
        got = f"{typed} {'row' if typed == 1 else 'rows'} filled in" if typed else ""
    except EntriesError:
        got = "a sheet that cannot be read"
    return [Problem(str(path), "a blank sheet", got, _ELSEWHERE)] if got else []


def _other_conditions(folder: Path, text: str) -> list[Problem]:
    path = folder / conditions_file.FILE
    try:
        if read_plain(path) == text.encode("utf-8", "backslashreplace"):
            return []
    except FileNotFoundError:
        return []
    except OSError:
        pass  # whatever it is, it is not ours
    todo = "Delete it if you do not need it, or choose a new folder"
    got = "one that may hold values of yours"
    return [Problem(str(path), "no conditions.toml yet", got, todo)]


def _attempt(read: Callable[[], T], faults: list[CouponError]) -> T | None:
    try:
        return read()
    except CouponError as error:
        faults.append(error)
        return None


def _joined(faults: Sequence[CouponError]) -> CouponError:
    """Join the problems of several files; one file's fault keeps its own class."""
    kind = type(faults[0]) if len(faults) == 1 else RunError
    if kind not in (ConditionsError, EntriesError):
        kind = RunError
    return kind(problem for fault in faults for problem in fault.problems)
