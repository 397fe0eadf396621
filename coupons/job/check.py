"""Reading and checking what was entered: runs, and lists of one's own parts."""

from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import EntriesError, RunError

if TYPE_CHECKING:
    from coupons.making.record import CouponHardware
    from coupons.measuring.run.findings import Finding
    from coupons.measuring.run.folder import Run, Survey


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
