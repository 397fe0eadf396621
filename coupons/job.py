"""The steps of the job, as the command line and a script take them: make, check, load, fit."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import EntriesError, FitError, PlanError, Problem, RunError

if TYPE_CHECKING:
    from coupons.answering.ask import Printer
    from coupons.learning.profile import Profile
    from coupons.making.estimate import Estimate
    from coupons.making.record import Coupon
    from coupons.measuring.run.findings import Finding
    from coupons.measuring.run.folder import Run, Survey
    from coupons.showing.pages.fit_files import FitFiles
    from coupons.showing.words.fit_summary import Learned


@dataclass(frozen=True)
class Made:
    """A coupon that was made.

    Parameters
    ----------
    folder : Path
        The run folder.
    coupon : Coupon
        Its record: features, mates and trials.
    cost : Estimate
        Plastic, time and bed, by a simple model.
    rounded : tuple of str
        Rows of the spec whose heights or gaps across z were rounded to whole layers.
    """

    folder: Path
    coupon: "Coupon"
    cost: "Estimate"
    rounded: tuple[str, ...]

    def __repr__(self) -> str:
        """One line: where it is, and what it holds."""
        cost = self.cost
        return f"<Made {self.folder}: {cost.features} features, {cost.trials} trials>"


@takes(PlanError)
def make_coupon(
    spec: str | Path,
    folder: str | Path,
    *,
    machine: str = "",
    material: str = "",
    nozzle_mm: float | None = None,
    layer_height_mm: float | None = None,
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
) -> Made:
    """Make a coupon: print files, map, preview, entry sheets and conditions in one run folder.

    Parameters
    ----------
    spec : str or Path
        A shipped coupon by name, such as ``"first"``, or the path of a .toml file.
    folder : str or Path
        Run folder to write. Neither typed entries nor files of your own are written over.
    machine, material : str
        Names that are kept with the run.
    nozzle_mm, layer_height_mm : float, optional
        What the coupon is laid out for; the spec's own if not given.
    speed_mm_s : float, optional
        Printing speed, from which the time is estimated; kept with the run.
    bed_mm : (float, float), optional
        Width and depth of the bed; the spec's own if not given.

    Raises
    ------
    SpecError
        If there is no such spec, or with every problem in it.
    PlanError
        If it does not fit the bed, breaks a rule, or a solid does not come out as the record says.
    RunError
        If the folder holds typed entries or another coupon.
    WriteError
        If a file is in the way, or does not read back as what was meant.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     made = make_coupon("recheck", f"{folder}/run", machine="bench-1", material="grey")
    ...     sorted(path.name for path in made.folder.iterdir())[:4]
    ['conditions.toml', 'coupon.json', 'entries.csv', 'entry.html']
    """
    from coupons.atomic import together
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
    from coupons.making.estimate import estimate
    from coupons.making.output.folder import checked_solids, write_coupon_files
    from coupons.making.plan import plan_coupon, record
    from coupons.making.record import name_run
    from coupons.making.spec.coupon_spec import load_spec
    from coupons.measuring.run.folder import start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    folder = Path(folder)
    plan = plan_coupon(load_spec(spec), bed_mm, layer_height_mm, nozzle_mm)
    cost = estimate(plan, DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s)
    coupon = record(plan)
    solids = checked_solids(plan)
    with together() as files:
        refuse_foreign_pages(folder)
        start_run(folder, coupon, machine=machine, material=material, speed_mm_s=speed_mm_s)
        run = name_run(folder, plan.spec.digest, machine, material)
        write_coupon_files(plan, folder, solids, run)
        files.settle()  # the pages are made from what stands in the folder
        write_run_pages(folder)
    return Made(folder, coupon, cost, plan.rounded_rows())


@takes(RunError)
def load_run(folder: str | Path) -> "Run":
    """Read a run folder: coupon, conditions and what was entered.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    coupons.measuring.run.folder.Run
        ``sizes`` and ``fits`` hold caliper readings (mm) and fit trials in the order typed.

    Raises
    ------
    RunError
        If the folder or its coupon record cannot be read, or if both of the other files are at
        fault.
    ConditionsError, EntriesError
        If only that file is at fault. Either way every problem is told at once.

    Examples
    --------
    >>> load_run("results/filter-drawer").conditions.machine
    'bench-1'
    """
    from coupons.measuring.run.folder import load_run as load

    return load(Path(folder))


@takes(RunError)
def check(folder: str | Path) -> tuple["Finding", ...]:
    """Return everything that is wrong or odd in a run folder, as ``coupons check`` tells it.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    tuple of coupons.measuring.run.findings.Finding
        What is an ``"error"`` keeps the run from being fitted; a ``"look"`` may well be right.

    Raises
    ------
    RunError
        If there is no such folder.
    """
    from coupons.measuring.run.folder import survey_run

    folder = Path(folder)
    return findings_of(folder, survey_run(folder))


def findings_of(folder: Path, found: "Survey") -> tuple["Finding", ...]:
    """Return the findings on a folder that was read already; see `check`."""
    from coupons.measuring.checks.run_checks import check_survey
    from coupons.measuring.run.folder import may_share_slips, run_of

    findings = check_survey(found)
    run = run_of(folder, found)
    if run is not None and may_share_slips(run):
        from coupons.learning.checking.shared_slips import shared_slips_of

        findings += shared_slips_of(run)
    return tuple(findings)


def fit(
    *runs: "Run | str | Path",
    without: Sequence[str] = (),
    like: "Sequence[str | Path | Printer]" = (),
) -> "Printer":
    """Learn a printer from one or several runs of one machine and material.

    Nothing is written: `Printer.save` writes the profile. Takes some seconds for a hundred entries.

    Parameters
    ----------
    *runs : Run, str or Path
        Runs that were loaded, or their folders; each print once.
    without : sequence of str
        Rows of entries.csv to leave out: ``"14"``, or ``"my-run:14"`` where there are several runs.
        The profile keeps them on record.
    like : sequence of str, Path or Printer
        Profiles of other machines of the same kind, material, nozzle and layer height, on which a
        machine with few entries leans; see `coupons.learning.like.lean_on`.

    Returns
    -------
    coupons.answering.ask.Printer
        Ready to be asked.

    Raises
    ------
    RunError, ConditionsError, EntriesError
        If a folder cannot be read, or a row to leave out holds no entry.
    FitError
        If there is nothing to fit, or more than can be worked out.
    ProfileError
        If the runs are of different machines or materials.
    """
    from coupons.answering.ask import Printer
    from coupons.learning.fit import fit_runs
    from coupons.learning.impossible import doubt_aloud
    from coupons.learning.profile import profile_of
    from coupons.learning.without import leave_out
    from coupons.measuring.run.folder import each_print_once

    kept, left_out = leave_out(each_print_once([_run(run) for run in runs]), _rows(without))
    profile = _leaning(profile_of(fit_runs(kept), kept, left_out), like)
    doubt_aloud(profile)
    return Printer(profile)


def _leaning(profile: "Profile", like: "Sequence[str | Path | Printer]") -> "Profile":
    """Return a profile that leans on others, if there are any."""
    from coupons.answering.ask import Printer
    from coupons.learning.like import lean_on
    from coupons.learning.profile import read_profile

    if not like:
        return profile
    if isinstance(like, str | Path | Printer):
        todo = 'Write it as a list, such as ["bench-1.json", "bench-2.json"]'
        raise FitError([Problem("like", "a list of profiles", repr(like)[:60], todo)])
    others = [one.profile if isinstance(one, Printer) else read_profile(one) for one in like]
    return lean_on(profile, others)


@dataclass(frozen=True)
class FitWritten:
    """A fit whose files are written.

    Parameters
    ----------
    files : FitFiles
        The profile, the report and the wall card.
    learned : Learned
        What was learned, as the report shows it.
    """

    files: "FitFiles"
    learned: "Learned"

    @property
    def profile(self) -> "Profile":
        """The profile as it was written."""
        return self.learned.profile


def fit_to_files(
    folders: Sequence[Path],
    output: Path | None = None,
    *,
    without: Sequence[str] = (),
    yardstick: bool = False,
    public: bool = False,
    like: Sequence[Path] = (),
) -> FitWritten:
    """Fit runs of one machine and material, and write the profile with its pages in one step.

    Parameters
    ----------
    folders : sequence of Path
        Run folders, each print once.
    output : Path, optional
        Profile to write; ``profile.json`` in the last folder if not given.
    without : sequence of str
        Rows of entries.csv to leave out; see `fit`.
    yardstick : bool
        Show in the report how well general-purpose regressions predict the same readings.
    public : bool
        Leave the names of people, notes and folders out of every file, and what the checks found,
        as it quotes entries.
    like : sequence of Path
        Profiles of other machines on which this one leans; see `fit`.

    Raises
    ------
    RunError, ConditionsError, EntriesError, FitError, ProfileError
        See `fit`.
    WriteError
        If a file is in the way that the tool did not write, or cannot be written.
    """
    from coupons.atomic import together
    from coupons.learning.checking.regressors import measure_against
    from coupons.learning.fit import fit_runs
    from coupons.learning.impossible import doubt_aloud
    from coupons.learning.profile import FILE, entries_digest, profile_of, write_profile
    from coupons.learning.without import leave_out, renamed
    from coupons.measuring.checks.run_checks import check_run
    from coupons.measuring.run.folder import load_runs
    from coupons.measuring.run.public import without_people
    from coupons.showing.pages.fit_files import fit_files
    from coupons.showing.pages.report import write_report
    from coupons.showing.pages.wall_card import write_wall_card
    from coupons.showing.words.fit_summary import learned_from

    runs, left_out = leave_out(load_runs(folders), without)
    digest = entries_digest([run.folder for run in runs])
    findings = [] if public else [check_run(folder) for folder in folders]
    if public:
        nameless = without_people(runs)
        runs, left_out = nameless, renamed(left_out, runs, nameless)
    files = fit_files(output or folders[-1] / FILE)
    fitted = fit_runs(runs)
    profile = _leaning(profile_of(fitted, runs, left_out, digest), like)
    doubt_aloud(profile)
    learned = learned_from(profile, fitted, runs, findings)
    others = measure_against(fitted.design) if yardstick else ()
    with together():
        write_profile(profile, files.profile)
        write_report(files.report, learned, fitted, findings, others)
        write_wall_card(files.card, profile)
    return FitWritten(files, learned)


@takes(FitError)
def fit_hand(run: "Run | str | Path", profile: "Printer | str | Path", *, by: str) -> "Printer":
    """Learn where the fits of another person's hand begin, from six to eight trials on a print.

    Nothing is written, and nothing but the thresholds changes.

    Parameters
    ----------
    run : Run, str or Path
        The print, with that person's trials among its entries.
    profile : Printer, str or Path
        What was fitted to that print, or its file.
    by : str
        The person, as column ``by`` of the entries says it.

    Returns
    -------
    coupons.answering.ask.Printer
        Whose answers about fits are for that person.

    Raises
    ------
    FitError
        If the trials are too few, or not of a print that the profile was fitted to.
    RunError, ConditionsError, EntriesError, ProfileError
        If the run or the profile cannot be read.
    """
    from coupons.answering.ask import Printer, load_profile
    from coupons.learning.new_hand import profile_for_hand

    printer = profile if isinstance(profile, Printer) else load_profile(profile)
    return Printer(profile_for_hand(printer.profile, _run(run), by))


def _run(given: object) -> "Run":
    from coupons.measuring.run.folder import Run

    if isinstance(given, Run):
        return given
    if isinstance(given, str | Path):
        return load_run(given)
    todo = 'Give its path, such as "results/my-run", or what load_run returned'
    raise FitError([Problem("runs", "a run", repr(given)[:60], todo)])


def _rows(given: object) -> list[str]:
    """Return the rows to leave out; a single text is not taken for a list of its signs."""
    if isinstance(given, str) or not isinstance(given, Sequence):
        todo = 'Write it as a list, such as ["14"]'
        raise EntriesError([Problem("without", "a list of rows", repr(given)[:60], todo)])
    return [str(row) for row in given]
