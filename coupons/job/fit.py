"""Fitting a printer: its profile, another hand, the score of a proof."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import EntriesError, FitError, Problem
from coupons.job.check import bought_mate, check_parts, load_run
from coupons.job.hand_on import blank_jobs, hand_on

if TYPE_CHECKING:
    from coupons.answering.ask import Printer
    from coupons.answering.compare.before_after import BeforeAfter
    from coupons.learning.profile import Profile
    from coupons.measuring.checks.proof_score import ProofScore
    from coupons.measuring.run.findings import Finding
    from coupons.measuring.run.folder import Run
    from coupons.showing.pages.fit_files import FitFiles
    from coupons.showing.words.fit_summary import Learned


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
        machine with few entries leans; or one of the machine itself from before a change, with
        pairs of others. See `coupons.learning.like.lean_on`.
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
    from coupons.learning.profile_of_fit import profile_of
    from coupons.learning.without import leave_out
    from coupons.measuring.run.folder import each_print_once
    from coupons.measuring.run.tried_joints import with_parts

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
    from coupons.learning.profile_file import read_profile

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
    started : tuple of Path
        Folders of blank jobs made with these whose pages now start from the profile.
    """

    files: "FitFiles"
    learned: "Learned"
    changed: "BeforeAfter | None" = None
    started: tuple[Path, ...] = ()

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
        Profile to write. If not given, ``profile.json`` in the folder that holds the jobs, where
        all runs are jobs of one set; otherwise in the last folder, or beside the parts.
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
    from coupons.learning.profile_file import FILE, read_profile, write_profile
    from coupons.learning.profile_of_fit import entries_digest, profile_of
    from coupons.learning.without import leave_out, renamed
    from coupons.measuring.checks.parts_checks import findings_by_run
    from coupons.measuring.checks.run_checks import check_run
    from coupons.measuring.run.folder import load_runs
    from coupons.measuring.run.public import without_people
    from coupons.measuring.run.tried_joints import with_parts
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
    beside = [*_home(folders, runs), *([parts.parent] if parts else [])]
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
    blank = blank_jobs(runs)
    with together() as group:
        hand_on(profile, blank, group)
    return FitWritten(files, learned, changed, blank)


def _home(folders: Sequence[Path], runs: "Sequence[Run]") -> list[Path]:
    """Return the folder for the profile: of several jobs of one set, the one that holds them."""
    from coupons.measuring.run.folder import job_set

    parents = {folder.resolve().parent for folder in folders}
    sets = {job_set(folder, run.job) for folder, run in zip(folders, runs, strict=False)}
    if len(folders) > 1 and len(parents) == len(sets) == 1 and all(sets):
        return [folders[-1].parent]
    return list(folders[-1:])


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
