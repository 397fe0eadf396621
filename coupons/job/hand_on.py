"""What one job of a set teaches goes to those that are still blank: their pages ask for less."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coupons.atomic import FileGroup
    from coupons.learning.profile import Profile
    from coupons.measuring.run.folder import Run


def blank_jobs(runs: "Sequence[Run]") -> tuple[Path, ...]:
    """Return the folders of jobs that were made with some runs and hold no entries yet.

    `coupons.job.make.make_jobs` lays the jobs of a set side by side.
    """
    from coupons.measuring.run.folder import survey_run

    found = []
    for folder, name in _beside(runs):
        seen = survey_run(folder)
        rows = seen.typed.rows
        # Whatever else is wrong with it is told when it is fitted itself.
        if seen.coupon is None or seen.conditions is None or not rows:
            continue
        of_set = (seen.conditions.job or "").rpartition("-")[0] == name
        if of_set and all(row.is_blank for row in rows):
            found.append(folder)
    return tuple(found)


def hand_on(profile: "Profile", folders: Sequence[Path], files: "FileGroup") -> None:
    """Let the pages of some run folders start from a profile.

    Raises
    ------
    WriteError
        If a file is in the way that the tool did not write, or cannot be written.
    """
    from coupons.answering.next.earlier import EARLIER_FILE
    from coupons.learning.profile_file import write_profile
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    for folder in folders:
        refuse_foreign_pages(folder)
        write_profile(profile, folder / EARLIER_FILE)
    files.settle()  # the pages are made from what stands in the folders
    for folder in folders:
        write_run_pages(folder)


def _beside(runs: "Sequence[Run]") -> "Iterator[tuple[Path, str]]":
    """Yield the folders beside those of the runs, with the name of the set that is looked for."""
    from coupons.measuring.run.folder import job_set

    mine = {run.folder.resolve() for run in runs if run.parts is None}
    names = {
        (run.folder.resolve().parent, job_set(run.folder, run.job))
        for run in runs
        if run.parts is None
    }
    for parent, name in sorted(names):
        for folder in sorted(parent.glob("job-*")):
            if name and folder.is_dir() and folder.resolve() not in mine:
                yield folder, name
