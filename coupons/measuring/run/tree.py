"""Finding the runs in a tree of folders."""

import os
from collections.abc import Sequence
from pathlib import Path

from coupons.errors import Problem, RunError
from coupons.neutral import natural_key

RUN_FILES = frozenset({"coupon.json", "entries.csv", "conditions.toml"})
_MARKS_A_RUN = 2


def find_runs(folders: Sequence[Path]) -> tuple[Path, ...]:
    """Return the runs below some folders, in the order in which a person would sort them.

    A folder with two of a run's three files is a run: where the third one got lost, fitting it says
    so.

    Raises
    ------
    RunError
        If one of the folders is none, or there is no run in all of them.
    """
    problems: list[Problem] = []
    found: dict[Path, Path] = {}
    for folder in folders:
        if not folder.is_dir():
            problems.append(Problem(str(folder), "a folder with runs", "no such folder"))
            continue
        for place, below, names in os.walk(folder, onerror=_refuse):
            below.sort(key=natural_key)
            if len(RUN_FILES & set(names)) >= _MARKS_A_RUN:
                found.setdefault(Path(place).resolve(), Path(place))
    if not problems and not found:
        told = ", ".join(map(str, folders))
        todo = "Make a coupon there with `coupons make`, or give the folder that holds the runs"
        problems = [Problem(told, "a run (coupon.json with entries.csv)", "none below it", todo)]
    if problems:
        raise RunError(problems)
    return tuple(found.values())


def _refuse(error: OSError) -> None:
    todo = "Check its permissions, or leave it out"
    got = (error.strerror or "none").lower()
    raise RunError([Problem(str(error.filename), "a folder that can be searched", got, todo)])


def refuse_a_tree(folder: Path) -> None:
    """Refuse a folder that is no run and holds runs.

    Raises
    ------
    RunError
        With how many there are, and how to fit them all.
    """
    if not folder.is_dir() or any((folder / name).exists() for name in RUN_FILES):
        return
    try:
        count = len(find_runs([folder]))
    except RunError:
        return
    got = f"a folder that holds {count} run{'' if count == 1 else 's'}"
    todo = "Name the runs in it, or fit all of them with `coupons fit --each` or `--each-machine`"
    raise RunError([Problem(str(folder), "a run folder", got, todo)])
