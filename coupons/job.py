"""The steps of the job, as the command line and a script take them: make, check, load, fit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import EntriesError, FitError, PlanError, Problem, RunError

if TYPE_CHECKING:
    from coupons.answering.ask import Printer
    from coupons.answering.compare.before_after import BeforeAfter
    from coupons.learning.profile import Profile
    from coupons.making.estimate import Estimate
    from coupons.making.plan import Plan
    from coupons.making.record import Coupon, CouponHardware, CouponProof
    from coupons.making.spec.coupon_spec import Spec
    from coupons.making.spec.part_spec import PartSpec
    from coupons.measuring.checks.proof_score import ProofScore
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
        Plastic, time and bed, by a simple model; nothing for a part that exists already.
    rounded : tuple of str
        Rows of the spec whose heights or gaps across z were rounded to whole layers.
    left_out : tuple of (str, str)
        Of a proof: joints that have no row, each with the reason.
    """

    folder: Path
    coupon: "Coupon"
    cost: "Estimate"
    rounded: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    def __repr__(self) -> str:
        """One line: where it is, and what it holds."""
        features, trials = len(self.coupon.features), len(self.coupon.trials)
        return f"<Made {self.folder}: {features} features, {trials} trials>"


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
        A shipped coupon by name, such as ``"first"``, or the path of a .toml file. A file of
        ``kind = "part"`` lists the sizes of a part that exists already: nothing is made to print.
    folder : str or Path
        Run folder to write. Neither typed entries nor files of your own are written over.
    machine, material : str
        Names that are kept with the run.
    nozzle_mm, layer_height_mm : float, optional
        What the coupon is laid out for; the spec's own if not given.
    speed_mm_s : float, optional
        Printing speed, from which the time is estimated; kept with the run.
    bed_mm : (float, float), optional
        Width and depth of the bed; the spec's own if not given. Not for a part.

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
    from coupons.making.spec.part_spec import PartSpec, load_asked

    loaded = load_asked(spec)
    asked = _Asked(machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm)
    if isinstance(loaded, PartSpec):
        return _made_part(loaded, Path(folder), asked)
    return _make(loaded, {Path(folder): ""}, asked)[0]


@takes(PlanError)
def make_jobs(
    spec: str | Path,
    folder: str | Path,
    jobs: int,
    *,
    machine: str = "",
    material: str = "",
    nozzle_mm: float | None = None,
    layer_height_mm: float | None = None,
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
) -> tuple[Made, ...]:
    """Make a coupon as several print jobs, each with a run folder of its own.

    Only prints from different jobs show how much one print differs from the next. Rows of a spec
    that say ``jobs`` take turns.

    Parameters
    ----------
    spec, machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm
        As of `make_coupon`.
    folder : str or Path
        In it the run folders job-1, job-2 … are written.
    jobs : int
        From 1 to 9.

    Raises
    ------
    SpecError, PlanError, RunError, WriteError
        As `make_coupon`; then none of the folders is written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     [made.folder.name for made in make_jobs("recheck", folder, 2)]
    ['job-1', 'job-2']
    """
    import secrets

    from coupons.making.spec.part_spec import PartSpec, load_asked
    from coupons.making.spec.row_kinds import MOST_JOBS

    # A caller may not use a type checker.
    if not isinstance(jobs, int) or not 1 <= jobs <= MOST_JOBS:
        raise PlanError([Problem("jobs", f"a number from 1 to {MOST_JOBS}", repr(jobs)[:60])])
    loaded = load_asked(spec)
    if isinstance(loaded, PartSpec):
        raise PlanError([Problem("jobs", "none for a part that exists already", f"{jobs} jobs")])
    asked = _Asked(machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm)
    # No other set of jobs may have the same names: they may all be fitted together one day.
    name = secrets.token_hex(3)
    folders = {Path(folder) / f"job-{n}": f"{name}-{n}" for n in range(1, jobs + 1)}
    return _make(loaded, folders, asked)


@dataclass(frozen=True)
class _Asked:
    """The options of `make_coupon`."""

    machine: str
    material: str
    nozzle_mm: float | None
    layer_height_mm: float | None
    speed_mm_s: float | None
    bed_mm: tuple[float, float] | None


def _make(spec: "Spec", folders: dict[Path, str], asked: _Asked) -> tuple[Made, ...]:
    """Plan and write the jobs of a coupon, all or none; each folder has the name of its job."""
    from coupons.making.plan import plan_coupon

    sizes = (asked.bed_mm, asked.layer_height_mm, asked.nozzle_mm)
    jobs = [
        _Job(plan_coupon(spec, *sizes, job=number), folder, name)
        for number, (folder, name) in enumerate(folders.items(), start=1)
    ]
    return _written(jobs, asked.machine, asked.material, asked.speed_mm_s)


@dataclass(frozen=True)
class _Job:
    """A planned coupon, the run folder to write it to, and the name of its print job."""

    plan: "Plan"
    folder: Path
    name: str = ""


def _written(
    jobs: Sequence[_Job],
    machine: str,
    material: str,
    speed_mm_s: float | None,
    prove: "Callable[[Coupon], CouponProof] | None" = None,
) -> tuple[Made, ...]:
    """Write planned coupons into their run folders, all or none."""
    from coupons.atomic import together
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
    from coupons.making.estimate import estimate
    from coupons.making.output.folder import checked_solids, write_coupon_files
    from coupons.making.plan import record
    from coupons.making.record import name_run
    from coupons.measuring.run.folder import start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    speed = DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s
    solids = [checked_solids(job.plan) for job in jobs]
    coupons = [record(job.plan) for job in jobs]
    proofs = [None if prove is None else prove(coupon) for coupon in coupons]
    with together() as files:
        for job in jobs:
            refuse_foreign_pages(job.folder)
        for job, built, coupon, proof in zip(jobs, solids, coupons, proofs, strict=True):
            start_run(
                job.folder,
                coupon,
                machine=machine,
                material=material,
                speed_mm_s=speed_mm_s,
                job=job.name,
            )
            run = name_run(job.folder, job.plan.spec.digest, machine, material)
            write_coupon_files(job.plan, job.folder, built, run, proof)
        files.settle()  # the pages are made from what stands in the folders
        for job in jobs:
            write_run_pages(job.folder)
    return tuple(
        Made(
            job.folder,
            coupon.model_copy(update={"proof": proof}),
            estimate(job.plan, speed),
            job.plan.rounded_rows(),
        )
        for job, coupon, proof in zip(jobs, coupons, proofs, strict=True)
    )


@takes(PlanError)
def prove_profile(
    profile: str | Path,
    folder: str | Path,
    *,
    joints: str | Path | None = None,
    machine: str = "",
    material: str = "",
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
) -> Made:
    """Make a coupon of your own joints, drawn as the profile answers them, to put it to the proof.

    Parameters
    ----------
    profile : str or Path
    folder : str or Path
        Run folder to write.
    joints : str or Path, optional
        A list of joints; by default a sliding fit of every usual joint that the profile measured.
    machine, material : str
        If given, they must be those of the profile.
    speed_mm_s : float, optional
    bed_mm : (float, float), optional

    Raises
    ------
    ProfileError, AnswerError
        If the profile or the list cannot be read.
    PlanError
        If the machine or material is another than the profile's, or no joint can be laid out.
    RunError, WriteError
        As `make_coupon`.
    """
    from coupons.answering.joints.joint_list import read_joints
    from coupons.answering.joints.usual import usual_joints
    from coupons.answering.proof import plan_proof, proof_of
    from coupons.learning.profile import read_profile

    known = read_profile(Path(profile))
    todo = "Leave it out, or give the profile of that machine and material"
    problems = [
        Problem(what, f"{what} {mine!r} as in the profile", repr(given), todo)
        for what, given, mine in (
            ("machine", machine, known.machine),
            ("material", material, known.material),
        )
        if given and given != mine
    ]
    if problems:
        raise PlanError(problems)
    listed = usual_joints(known) if joints is None else read_joints(Path(joints)).joints
    proof = plan_proof(known, listed, bed_mm)
    (made,) = _written(
        [_Job(proof.plan, Path(folder))],
        known.machine,
        known.material,
        speed_mm_s,
        lambda coupon: proof_of(known, proof, coupon),
    )
    return replace(made, left_out=proof.left_out)


def _made_part(spec: "PartSpec", folder: Path, asked: _Asked) -> Made:
    """Write the run folder of a part that exists already."""
    from coupons.atomic import together
    from coupons.making.estimate import Estimate
    from coupons.making.part import part_record
    from coupons.making.record import name_run, write_coupon
    from coupons.measuring.run.folder import RECORD_FILE, start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    if asked.bed_mm is not None:
        todo = "Leave it out"
        raise PlanError([Problem("bed", "none for a part that exists already", "one", todo)])
    coupon = part_record(spec, asked.layer_height_mm, asked.nozzle_mm)
    with together() as files:
        refuse_foreign_pages(folder)
        start_run(
            folder,
            coupon,
            machine=asked.machine,
            material=asked.material,
            speed_mm_s=asked.speed_mm_s,
        )
        run = name_run(folder, coupon.spec.digest, asked.machine, asked.material)
        write_coupon(coupon.model_copy(update={"run": run}), folder / RECORD_FILE)
        files.settle()  # the pages are made from what stands in the folder
        write_run_pages(folder)
    nothing = Estimate(0.0, 0.0, 0.0, 0, 0, 0, len(coupon.features), len(coupon.trials), 0.0)
    return Made(folder, coupon, nothing, ())


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


@takes(EntriesError)
def check_parts(path: str | Path) -> tuple["Finding", ...]:
    """Return everything that is wrong or odd in a list of parts, as ``coupons check`` tells it.

    Parameters
    ----------
    path : str or Path
        A CSV file; see `coupons.measuring.run.parts_list`.

    Returns
    -------
    tuple of coupons.measuring.run.findings.Finding
        What is an ``"error"`` keeps the list from being fitted; a ``"look"`` may well be right.
    """
    from coupons.measuring.checks.parts_checks import check_parts as checked

    return tuple(checked(Path(path), bought_mate))


def bought_mate(name: str) -> "CouponHardware":
    """Return hardware by its name, as a list of parts has it as a mate.

    Raises
    ------
    AnswerError
        If there is no such hardware.
    """
    from coupons.answering.standards.hardware import hardware
    from coupons.making.record import CouponHardware

    piece = hardware(name).alone
    return CouponHardware(
        id=piece.name, name=piece.name, form=piece.form, size_mm=piece.size_mm, sd_mm=piece.sd_mm
    )


def fit(
    *runs: "Run | str | Path",
    without: Sequence[str] = (),
    like: "Sequence[str | Path | Printer]" = (),
    parts: str | Path | None = None,
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
    parts : str or Path, optional
        A list of joints of one's own parts, with what was drawn and what the hand found.

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
    from coupons.measuring.run.parts import with_parts

    given = each_print_once([_run(run) for run in runs])
    if parts is not None:
        given = with_parts(given, Path(parts), bought_mate)
    kept, left_out = leave_out(given, _rows(without))
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
    changed : BeforeAfter or None
        What became of each cause of error since an earlier profile, if one was given.
    """

    files: "FitFiles"
    learned: "Learned"
    changed: "BeforeAfter | None" = None

    @property
    def profile(self) -> "Profile":
        """The profile as it was written."""
        return self.learned.profile


def fit_to_files(
    folders: Sequence[Path],
    output: Path | None = None,
    *,
    without: Sequence[str] = (),
    before: Path | None = None,
    yardstick: bool = False,
    public: bool = False,
    like: Sequence[Path] = (),
    parts: Path | None = None,
) -> FitWritten:
    """Fit runs of one machine and material, and write the profile with its pages in one step.

    Parameters
    ----------
    folders : sequence of Path
        Run folders, each print once.
    output : Path, optional
        Profile to write; ``profile.json`` in the last folder, or beside the parts, if not given.
    without : sequence of str
        Rows of entries.csv to leave out; see `fit`.
    before : Path, optional
        Profile from before a change of the machine; the report tells what became of each cause.
    yardstick : bool
        Show in the report how well general-purpose regressions predict the same readings.
    parts : Path, optional
        A list of one's own parts, fitted with the runs or by itself.
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
    from coupons.answering.compare.before_after import before_after
    from coupons.atomic import together
    from coupons.learning.checking.regressors import measure_against
    from coupons.learning.fit import fit_runs
    from coupons.learning.impossible import doubt_aloud
    from coupons.learning.profile import (
        FILE,
        entries_digest,
        profile_of,
        read_profile,
        write_profile,
    )
    from coupons.learning.without import leave_out, renamed
    from coupons.measuring.checks.parts_checks import findings_by_run
    from coupons.measuring.checks.run_checks import check_run
    from coupons.measuring.run.folder import load_runs
    from coupons.measuring.run.parts import with_parts
    from coupons.measuring.run.public import without_people
    from coupons.showing.pages.fit_files import fit_files
    from coupons.showing.pages.report import write_report
    from coupons.showing.pages.wall_card import write_wall_card
    from coupons.showing.words.fit_summary import learned_from

    given = load_runs(folders)
    if parts is not None:
        given = with_parts(given, parts, bought_mate)
    runs, left_out = leave_out(given, without)
    digest = entries_digest([run.sheet_path for run in runs])
    findings: list[Sequence[Finding]] = []
    if public:
        nameless = without_people(runs)
        runs, left_out = nameless, renamed(left_out, runs, nameless)
    else:
        findings += [check_run(folder) for folder in folders]
        if parts is not None:
            findings += findings_by_run(given[len(folders) :], check_parts(parts))
    # Read first: it may be the file that is written.
    earlier = None if before is None else read_profile(before)
    beside = [*folders[-1:], *([parts.parent] if parts else [])]
    files = fit_files(output or beside[0] / FILE)
    fitted = fit_runs(runs)
    profile = _leaning(profile_of(fitted, runs, left_out, digest), like)
    doubt_aloud(profile)
    learned = learned_from(profile, fitted, runs, findings)
    changed = None if earlier is None else before_after(earlier, profile)
    others = measure_against(fitted.design) if yardstick else ()
    with together():
        write_profile(profile, files.profile)
        write_report(files.report, learned, fitted, findings, others, changed)
        write_wall_card(files.card, profile)
    return FitWritten(files, learned, changed)


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


def proof_scores(*runs: "Run | str | Path") -> "tuple[ProofScore, ...]":
    """Score the entries of proofs against the chances that were stated beforehand.

    Parameters
    ----------
    *runs : Run, str or Path
        Those that prove nothing, or have no trial yet, are passed over.

    Returns
    -------
    tuple of coupons.measuring.checks.proof_score.ProofScore
        `coupons.measuring.checks.proof_score.all_proofs` adds them up.
    """
    from coupons.measuring.checks.proof_score import proof_score

    found = (proof_score(_run(run)) for run in runs)
    return tuple(score for score in found if score is not None)


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
