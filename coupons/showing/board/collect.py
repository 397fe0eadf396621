"""The profiles in files and folders, each once, and what could not be read.

Profiles may come from strangers. Each file is checked against the profile's schema and refused if
it is large; one bad file, pipe or loop of links never hides the good ones.
"""

import errno
import hashlib
import os
import stat
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from coupons.answering.origin import old_model_mark
from coupons.errors import CouponError, Problem, ProfileError
from coupons.learning.impossible import doubts
from coupons.learning.profile import Profile
from coupons.learning.profile_file import (
    FILE,
    MOST_BYTES,
    MOST_NAMED,
    is_profile,
    read_profile,
)
from coupons.measuring.run.folder import RECORD_FILE
from coupons.neutral import natural_key
from coupons.progress import steps
from coupons.reading import read_plain

INDEX_FILE = "index.json"
SITE_FORMAT = "coupons-board"

# A profile names its format at its very beginning.
_HEAD_BYTES = 4096
_MOST_TOLD = 3  # of what is wrong with one file


@dataclass(frozen=True)
class Posted:
    """One profile on the board.

    Parameters
    ----------
    profile : Profile
    source : str
        Name of the file that it came from, or of the folder if the file has the usual name.
    data : bytes
        The file as it was, to take away.
    copies : int
        How many files hold these very bytes.
    is_named : bool
        The file has a name of its own, so that the folder need not be that of its run.
    """

    profile: Profile
    source: str
    data: bytes = b""
    copies: int = 1
    is_named: bool = False

    @cached_property
    def id(self) -> str:
        """Eight characters that tell this profile from any other."""
        return hashlib.sha256(self.data).hexdigest()[:8]

    @property
    def old_model(self) -> str:
        """Says that the profile is of an older model; empty if it is not."""
        return old_model_mark(self.profile.version)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Values of the profile that are not plausible for any printer."""
        return doubts(self.profile)


def read_posted(
    paths: Iterable[Path], pass_over: Callable[[Path], None] | None = None
) -> tuple[tuple[Posted, ...], tuple[CouponError, ...]]:
    """Read every profile in files and folders, each file once.

    Parameters
    ----------
    paths : iterable of Path
        Profiles, or folders that are searched, with all folders in them, for profiles.
    pass_over : callable, optional
        Called with each file in a folder that ends in .json and does not begin as a profile does.

    Returns
    -------
    posted : tuple of Posted
        In the natural order of machine and material. Files of the same bytes count as one.
    refused : tuple of CouponError
        One for each file that should be a profile and is not, for each folder without one, and for
        each link that leads back to where it came from.
    """
    files: dict[str, Path] = {}
    refused: list[CouponError] = []
    for path in paths:
        search = _Search(pass_over)
        found = search.files(path)
        refused += search.refused
        if not found and not search.refused:
            todo = "Run `coupons fit` on a run folder in it, or name another folder"
            refused.append(
                ProfileError([Problem(str(path), f"a folder with a {FILE}", "none", todo)])
            )
        for file in found:
            files.setdefault(os.path.realpath(file), file)
    posted: dict[bytes, Posted] = {}
    for file in steps(list(files.values()), "profiles read"):
        try:
            one = _read(file)
        except CouponError as error:
            refused.append(error)
            continue
        known = posted.get(one.data)
        posted[one.data] = one if known is None else _once_more(known)
    return tuple(sorted(posted.values(), key=_order)), tuple(refused)


def told(error: CouponError) -> str:
    """Return the first problems of a file, one a line, and how many more there are."""
    lines = error.message.split("\n")
    if len(lines) <= _MOST_TOLD + 1:
        return error.message
    # Of very many `read_profile` names the first ones, and how many there are as the last.
    last = (
        lines[-1]
        if len(lines) > MOST_NAMED
        else f"and {len(lines) - _MOST_TOLD} more errors in this file."
    )
    return "\n".join([*lines[:_MOST_TOLD], last])


def passed_over_words(paths: Sequence[Path]) -> str:
    """Name files that were passed over, in a sentence."""
    more = len(paths) - _MOST_TOLD
    names = ", ".join(map(str, paths[:_MOST_TOLD])) + (f" and {more} more" if more > 0 else "")
    return f"Passed over, as they do not begin as a profile does: {names}."


def _order(one: Posted) -> tuple[Any, ...]:
    profile = one.profile
    return natural_key(profile.machine), natural_key(profile.material), profile.machine, one.id


def _once_more(one: Posted) -> Posted:
    return replace(one, copies=one.copies + 1)


def _read(file: Path) -> Posted:
    profile = read_profile(file)
    try:
        data = read_plain(file, MOST_BYTES)
    except OSError as error:
        got = error.strerror or "none"
        raise ProfileError([Problem(str(file), "a file that can be read", got)]) from None
    is_named = file.name != FILE
    source = file.name if is_named else Path(os.path.realpath(file)).parent.name
    return Posted(profile, source, data, is_named=is_named)


class _Search:
    """A walk through a folder and all folders in it; links are followed, but never in circles."""

    def __init__(self, pass_over: Callable[[Path], None] | None) -> None:
        self.refused: list[CouponError] = []
        self._pass_over = pass_over
        self._seen: set[tuple[int, int]] = set()

    def files(self, path: Path) -> list[Path]:
        """Return the profiles at a path, which may be a file, in the order of their names."""
        if not path.is_dir():
            return [path]
        return list(self._within(path, ()))

    def _within(self, folder: Path, above: tuple[tuple[int, int], ...]) -> Iterator[Path]:
        """Yield the profiles in a folder; ``above`` tells the folders that it lies in."""
        try:
            status = folder.stat()
            names = sorted(os.scandir(folder), key=lambda each: natural_key(each.name))
        except OSError as error:
            self._refuse(folder, "a folder that can be read", error.strerror or "none")
            return
        here = (status.st_dev, status.st_ino)
        if here in above:
            todo = "The rest of the folder was searched; remove the link"
            self._refuse(folder, "a folder", "a link that leads back to a folder above it", todo)
            return
        if here in self._seen:
            return
        self._seen.add(here)
        if above and _is_site(folder):
            return
        for entry in names:
            path = Path(entry.path)
            if _leads_to_a_folder(entry):
                yield from self._within(path, (*above, here))
            elif self._is_wanted(path):
                yield path

    def _is_wanted(self, path: Path) -> bool:
        """Tell whether a file is to be read as a profile, and report one that is not."""
        if path.name == FILE or _looks_like_a_profile(path):
            return True
        if self._pass_over and path.suffix.lower() == ".json" and path.name != RECORD_FILE:
            self._pass_over(path)
        return False

    def _refuse(self, path: Path, expected: str, got: str, todo: str = "") -> None:
        self.refused.append(ProfileError([Problem(str(path), expected, got.lower(), todo)]))


def _leads_to_a_folder(entry: "os.DirEntry[str]") -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _looks_like_a_profile(path: Path) -> bool:
    """Tell whether a plain file of another name begins as a profile does."""
    if path.suffix.lower() != ".json":
        return False
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return False
        with path.open("rb") as file:
            return is_profile(file.read(_HEAD_BYTES))
    except OSError:
        return False


def _is_site(folder: Path) -> bool:
    """Tell whether a folder is a board that was written before: its profiles are copies."""
    try:
        data = read_plain(folder / INDEX_FILE, _HEAD_BYTES)
    except OSError as error:
        if error.errno != errno.EFBIG:
            return False
        with (folder / INDEX_FILE).open("rb") as file:
            data = file.read(_HEAD_BYTES)
    return is_index(data)


def is_index(data: bytes) -> bool:
    """Tell whether bytes are the index of a board."""
    return f'"format": "{SITE_FORMAT}"'.encode() in data[:_HEAD_BYTES]
