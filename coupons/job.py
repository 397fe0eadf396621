"""The steps of the job, as the command line and a script take them: make, check, load, fit."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import EntriesError, FitError, PlanError, Problem, RunError

if TYPE_CHECKING:
    from coupons.answering.ask import Printer
    from coupons.learning.profile import Profile
    from coupons.making.estimate import Estimate
    from coupons.making.plan import Plan
    from coupons.making.record import Coupon, CouponHardware, CouponProof
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
        Plastic, time and bed, by a simple model.
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
    from coupons.making.plan import plan_coupon
    from coupons.making.spec.coupon_spec import load_spec

    plan = plan_coupon(load_spec(spec), bed_mm, layer_height_mm, nozzle_mm)
    return _written(plan, Path(folder), machine, material, speed_mm_s)


def _written(
    plan: "Plan",
    folder: Path,
    machine: str,
    material: str,
    speed_mm_s: float | None,
    prove: "Callable[[Coupon], CouponProof] | None" = None,
) -> Made:
    """Write a planned coupon into its run folder."""
    from coupons.atomic import together
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
    from coupons.making.estimate import estimate
    from coupons.making.output.folder import checked_solids, write_coupon_files
    from coupons.making.plan import record
    from coupons.making.record import name_run
    from coupons.measuring.run.folder import start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    cost = estimate(plan, DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s)
    coupon = record(plan)
    solids = checked_solids(plan)
    proof = None if prove is None else prove(coupon)
    with together() as files:
        refuse_foreign_pages(folder)
        start_run(folder, coupon, machine=machine, material=material, speed_mm_s=speed_mm_s)
        run = name_run(folder, plan.spec.digest, machine, material)
        write_coupon_files(plan, folder, solids, run, proof)
        files.settle()  # the pages are made from what stands in the folder
        write_run_pages(folder)
    return Made(folder, coupon.model_copy(update={"proof": proof}), cost, plan.rounded_rows())


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
    made = _written(
        proof.plan,
        Path(folder),
        known.machine,
        known.material,
        speed_mm_s,
        lambda coupon: proof_of(known, proof, coupon),
    )
    return replace(made, left_out=proof.left_out)


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
    *runs: "Run | str | Path", without: Sequence[str] = (), parts: str | Path | None = None
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
    profile = profile_of(fit_runs(kept), kept, left_out)
    doubt_aloud(profile)
    return Printer(profile)


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
    yardstick : bool
        Show in the report how well general-purpose regressions predict the same readings.
    parts : Path, optional
        A list of one's own parts, fitted with the runs or by itself.
    public : bool
        Leave the names of people, notes and folders out of every file, and what the checks found,
        as it quotes entries.

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
    from coupons.measuring.checks.parts_checks import findings_by_run
    from coupons.measuring.checks.run_checks import check_run
    from coupons.measuring.run.folder import load_runs
    from coupons.measuring.run.parts import with_parts
    from coupons.measuring.run.public import without_people
    from coupons.showing.pages.fit_files import fit_files
    from coupons.showing.pages.report import write_report
    from coupons.showing.pages.wall_card import write_wall_card
    from coupons.showing.words.fit_summary import learned_from

    given, findings = load_runs(folders), [tuple(check_run(folder)) for folder in folders]
    if parts is not None:
        given = with_parts(given, parts, bought_mate)
        findings += findings_by_run(given[len(folders) :], check_parts(parts))
    runs, left_out = leave_out(given, without)
    digest = entries_digest([run.sheet_path for run in runs])
    if public:
        findings = []
        nameless = without_people(runs)
        runs, left_out = nameless, renamed(left_out, runs, nameless)
    beside = [*folders[-1:], *([parts.parent] if parts else [])]
    files = fit_files(output or beside[0] / FILE)
    fitted = fit_runs(runs)
    profile = profile_of(fitted, runs, left_out, digest)
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
