"""The files that a fit writes: the profile, and two pages beside it."""

from dataclasses import dataclass
from functools import partial
from pathlib import Path

from coupons.atomic import not_ours
from coupons.errors import WriteError
from coupons.learning.profile_file import FILE, is_profile
from coupons.showing.pages.page import is_page


@dataclass(frozen=True)
class FitFiles:
    """Paths of the files that a fit writes."""

    profile: Path
    report: Path
    card: Path


def fit_files(profile: Path) -> FitFiles:
    """Name the pages beside a profile, so that each profile of a folder has its own.

    Parameters
    ----------
    profile : Path
        Pages beside ``profile.json`` are ``report.html`` and ``wall-card.html``; beside any other,
        their names begin with the profile's.

    Raises
    ------
    WriteError
        If a file of that name is not a profile or such a page, or cannot be written.

    Examples
    --------
    >>> fit_files(Path("profiles/bench-2.json")).report.name
    'bench-2-report.html'
    """
    first = "" if profile.name == FILE else f"{profile.stem}-"
    report = profile.with_name(f"{first}report.html")
    card = profile.with_name(f"{first}wall-card.html")
    problems = [
        *not_ours(profile, "a profile", is_profile),
        *not_ours(report, "a report", partial(is_page, kind="report")),
        *not_ours(card, "a wall card", partial(is_page, kind="poster")),
    ]
    if problems:
        raise WriteError(problems)
    return FitFiles(profile, report, card)
