"""The columns of a list of joints that each body has for itself: its printer and its print."""

import os
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.errors import Problem, ProfileError
from coupons.learning.profile import Profile
from coupons.learning.profile_file import read_profile
from coupons.neutral import one_line

if TYPE_CHECKING:
    from coupons.answering.joints.listed import ListedJoint

LONGEST_PRINT = 40


class Makers:
    """The profiles that a list names, each read once.

    Parameters
    ----------
    folder : Path
        From which paths are counted: that of the list.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._read: dict[Path, Profile] = {}

    def read(self, text: str) -> Profile:
        """Return the profile at a path.

        Raises
        ------
        ProfileError
            If there is none.
        """
        if one_line(text) != text:
            todo = "Write the path of a profile.json, from the list's folder"
            raise ProfileError([Problem("the path", "a path of plain signs", repr(text), todo)])
        path = Path(os.path.realpath(self.folder / text))
        if path not in self._read:
            self._read[path] = read_profile(path)
        return self._read[path]


def is_print(text: str) -> bool:
    """Tell whether a text can name a print; an empty one stands for the print not said."""
    return len(text) <= LONGEST_PRINT and one_line(text) == text


def prints_of_two(file: str, joints: Sequence["ListedJoint"]) -> list[Problem]:
    """Find prints that would be of two printers at once."""
    makers: dict[str, set[int]] = defaultdict(set)
    for joint in joints:
        for word, maker in joint.print_words:
            makers[word].add(id(maker))
    return [
        Problem(
            f"{file} row {joint.row}",
            "a print of one printer",
            f"{word!r}, which bodies of several printers come from",
            "Name each print otherwise: a print is made by one printer",
        )
        for joint in joints
        for word in dict.fromkeys(word for word, _ in joint.print_words)
        if len(makers[word]) > 1
    ]
