"""Writing relieved bodies: all files or none, and never over a file that was met."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path

from coupons.answering.joints.whole_part import JointAnswer
from coupons.answering.relieve.relieve import Wanted
from coupons.answering.relieve.relieved_files import Written
from coupons.atomic import not_ours, together, write_bytes, write_text
from coupons.errors import Problem, WriteError
from coupons.making.output.ownership import IS_OURS
from coupons.showing.bodies.relieve_words import COLUMNS, moved_csv

TABLE = "moved-faces.csv"
_HEAD = ",".join(COLUMNS[:5])  # alike in the tables of all versions


def write_relieved(
    written: Written,
    wanted: tuple[Wanted, ...],
    joints: Sequence[JointAnswer],
    folder: Path,
    sources: Sequence[Path],
) -> None:
    """Write the bodies that changed, and the table of what was moved, into a folder.

    Parameters
    ----------
    written : Written
    wanted : tuple of Wanted
    joints : sequence of JointAnswer
        The answers to the list, whose chances go into the table.
    folder : Path
        Created if it does not exist. Earlier relieved bodies in it are replaced.
    sources : sequence of Path
        The files that were read; none of them is written over.

    Raises
    ------
    WriteError
        If a file in the folder is one of these, or not one of ours. Nothing is then written.
    """
    files = {name: data for name, data in written.files.items() if name in written.names.values()}
    ours: dict[str, Callable[[bytes], bool]] = {name: IS_OURS[Path(name).suffix] for name in files}
    ours[TABLE] = _is_table
    read = {os.path.realpath(path) for path in sources}
    problems: list[Problem] = []
    for name, is_ours in ours.items():
        if os.path.realpath(folder / name) in read:
            todo = "Give another folder with -o: a body that was read is never written over"
            got = "a file that was read"
            problems.append(Problem(str(folder / name), "a new file", got, todo))
        else:
            problems += not_ours(folder / name, "an earlier relieved body", is_ours)
    if problems:
        raise WriteError(problems)
    with together():
        for name, data in files.items():
            write_bytes(folder / name, data)
        write_text(folder / TABLE, "\ufeff" + moved_csv(written, wanted, joints))


def _is_table(data: bytes) -> bool:
    return data.decode("utf-8-sig", "replace").startswith(_HEAD)
