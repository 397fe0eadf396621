"""The board: what every machine of a workshop does, on one page, fresh or stale.

Profiles may come from strangers. Each file is read through the profile's schema, is small or is
refused, and its words are escaped wherever they stand; one bad file never hides the good ones.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from pathlib import Path

from coupons.answering.words import REHEARSED
from coupons.atomic import write_text
from coupons.errors import CouponError, Problem, ProfileError
from coupons.learning.profile import Profile, read_profile
from coupons.showing.board_figures import Figure, figures
from coupons.showing.page import render_page

STALE_AFTER_DAYS = 90
"""Age from which a profile is stale (common practice, no source): a nozzle wears, belts slacken."""

_NAME = "profile.json"


@dataclass(frozen=True)
class Posted:
    """One profile on the board, with the name of the file or folder that it came from.

    ``is_older`` if the board has a newer one of the same machine with the same material.
    """

    profile: Profile
    source: str
    is_older: bool = False


@dataclass(frozen=True)
class Age:
    """How old a profile is, in words, and whether it may still be drawn by."""

    words: str
    is_fresh: bool


def read_posted(paths: Iterable[Path]) -> tuple[tuple[Posted, ...], tuple[CouponError, ...]]:
    """Read every profile that files and folders hold.

    Parameters
    ----------
    paths : iterable of Path
        Profiles, or folders that are searched for files named profile.json.

    Returns
    -------
    posted : tuple of Posted
        By machine, then material, the newest print first.
    refused : tuple of CouponError
        One for each file that is no profile, and for each folder without one.
    """
    posted: list[Posted] = []
    refused: list[CouponError] = []
    for path in paths:
        try:
            posted += [Posted(read_profile(file), _source(file)) for file in _files(path)]
        except CouponError as error:
            refused.append(error)
    # Two stable sorts: newest first within what is sorted by name.
    posted.sort(key=lambda one: one.profile.printed_on or date.min, reverse=True)
    posted.sort(key=_whose)
    older = (False, *(_whose(one) == _whose(before) for before, one in pairwise(posted)))
    marked = (replace(one, is_older=is_older) for one, is_older in zip(posted, older, strict=False))
    return tuple(marked), tuple(refused)


def _whose(posted: Posted) -> tuple[str, str]:
    return posted.profile.machine, posted.profile.material


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = sorted(path.rglob(_NAME))
    if not found:
        todo = "Run `coupons fit` on a run folder in it, or name another folder"
        raise ProfileError([Problem(str(path), f"a folder with a {_NAME}", "none", todo)])
    return found


def _source(file: Path) -> str:
    return file.resolve().parent.name if file.name == _NAME else file.name


def age_of(profile: Profile, today: date, stale_after_days: int = STALE_AFTER_DAYS) -> Age:
    """Say how old the print behind a profile is.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> printed = SimpleNamespace(printed_on=date(2026, 3, 1))
    >>> age_of(printed, date(2026, 3, 13)).words
    'fresh, 12 days old'
    """
    if profile.printed_on is None:
        return Age("undated", False)
    days = (today - profile.printed_on).days
    if days < 0:
        return Age(f"dated {profile.printed_on}, which is yet to come", False)
    is_fresh = days <= stale_after_days
    count = "1 day" if days == 1 else f"{days} days"
    return Age(f"{'fresh' if is_fresh else 'stale'}, {count} old", is_fresh)


def write_board(
    path: Path,
    posted: Sequence[Posted],
    refused: Sequence[CouponError],
    today: date,
    stale_after_days: int = STALE_AFTER_DAYS,
) -> tuple[Figure, ...]:
    """Write the board.

    Parameters
    ----------
    path : Path
        Where to.
    posted, refused : sequence
        What `read_posted` found.
    today : date
        The day from which ages are counted.
    stale_after_days : int
        From more days than these on, a profile is stale.

    Returns
    -------
    tuple of Figure
        What the board compares, for other uses of it.
    """
    compared = figures([one.profile for one in posted])
    write_text(
        path,
        render_page(
            "board/board.html.j2",
            styles=("shared/bench.css", "shared/plot.css", "board/board.css"),
            posted=posted,
            ages=[age_of(one.profile, today, stale_after_days) for one in posted],
            figures=compared,
            refused=[error.message for error in refused],
            rehearsed=REHEARSED,
            today=today,
            stale_after_days=stale_after_days,
        ),
    )
    return compared
