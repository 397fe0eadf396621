"""The board: the profiles of all machines of a workshop on one page, fresh or stale.

Profiles may come from strangers. Each file is checked against the profile's schema, refused if it
is large, and its text is escaped everywhere; one bad file never hides the good ones.
"""

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path

from coupons.answering.origin import STALE_AFTER_DAYS, age_of, old_model_mark
from coupons.answering.words.answers import REHEARSED
from coupons.atomic import not_ours, write_text
from coupons.errors import CouponError, Problem, ProfileError, WriteError
from coupons.learning.impossible import doubts
from coupons.learning.profile import FILE, Profile, read_profile
from coupons.showing.pages.board_figures import Figure, figures
from coupons.showing.pages.page import is_page, render_page


@dataclass(frozen=True)
class Posted:
    """One profile on the board, with the name of the file or folder that it came from.

    ``is_older`` if the board has a later print of the same machine with the same material.
    """

    profile: Profile
    source: str
    is_older: bool = False

    @property
    def old_model(self) -> str:
        """Says that the profile is of an older model; empty if it is not."""
        return old_model_mark(self.profile.version)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Values of the profile that are not plausible for any printer."""
        return doubts(self.profile)


def read_posted(
    paths: Iterable[Path], today: date
) -> tuple[tuple[Posted, ...], tuple[CouponError, ...]]:
    """Read every profile in files and folders, each file once.

    Parameters
    ----------
    paths : iterable of Path
        Profiles, or folders that are searched for files named profile.json.
    today : date
        A print dated later than this makes no other one older.

    Returns
    -------
    posted : tuple of Posted
        By machine, then material, the newest print first.
    refused : tuple of CouponError
        One for each file that is not a profile, and for each folder without one.
    """
    files: dict[Path, Path] = {}
    posted: list[Posted] = []
    refused: list[CouponError] = []
    for path in paths:
        try:
            files |= {Path(os.path.realpath(file)): file for file in _files(path)}
        except CouponError as error:
            refused.append(error)
    for file in files.values():
        try:
            posted.append(Posted(read_profile(file), _source(file)))
        except CouponError as error:
            refused.append(error)
    # Two stable sorts: newest first within what is sorted by name.
    posted.sort(key=lambda one: one.profile.printed_on or date.min, reverse=True)
    posted.sort(key=lambda one: (one.profile.machine, one.profile.material))
    profiles = [one.profile for one in posted]
    marked = (replace(one, is_older=_is_older(one.profile, profiles, today)) for one in posted)
    return tuple(marked), tuple(refused)


def _is_older(profile: Profile, among: Iterable[Profile], today: date) -> bool:
    """Tell whether a later print of the same machine and material is among some profiles."""
    return profile.printed_on is not None and any(
        other.printed_on is not None
        and profile.printed_on < other.printed_on <= today
        and (other.machine, other.material) == (profile.machine, profile.material)
        and other.entries_sha256 != profile.entries_sha256
        for other in among
    )


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = sorted(path.rglob(FILE))
    if not found:
        todo = "Run `coupons fit` on a run folder in it, or name another folder"
        raise ProfileError([Problem(str(path), f"a folder with a {FILE}", "none", todo)])
    return found


def _source(file: Path) -> str:
    return Path(os.path.realpath(file)).parent.name if file.name == FILE else file.name


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
        A profile of an older print than this is stale.

    Returns
    -------
    tuple of Figure
        What the board compares.

    Raises
    ------
    WriteError
        If another file has that name, or none can be written there.
    """
    problems = not_ours(path, "a board", partial(is_page, kind="board"))
    if problems:
        raise WriteError(problems)
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
