"""What bodies were met, beside their list: so that the same faces are found again later."""

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import Field, ValidationError

from coupons.answering.meet.meetings import Met, meet
from coupons.answering.meshes.mesh import read_bodies
from coupons.errors import BodyError, Problem
from coupons.models import StrictModel
from coupons.reading import read_plain

LIST, RECORD, PAGE = "meetings.csv", "meetings.json", "meetings.html"
_MOST_BYTES = 640_000_000
_SAME_LETTERS = 17  # joints that have the same letters in all versions of the record


class MetFile(StrictModel):
    """A mesh file: its path from the record's folder, and the digest of its bytes."""

    path: str
    sha256: str


class MetRecord(StrictModel):
    """The content of ``meetings.json``: files in their order, and how they were met.

    Version 1 had another letter for the 18th joint and all later ones. ``list_sha256`` is the
    digest of the list as it was written: a list with another was edited.
    """

    version: int = Field(default=2, ge=1, le=2)
    files: tuple[MetFile, ...] = Field(strict=False)
    units: str | None = None
    ups: dict[str, str] = Field(default_factory=dict)
    reach_mm: float
    list_sha256: str = ""


@dataclass(frozen=True, eq=False)
class MetAgain:
    """Bodies that were met once and are met again from their record."""

    met: Met
    record: MetRecord
    paths: tuple[Path, ...]


def digest(data: bytes) -> str:
    """Return the digest of some bytes, as records hold it."""
    return hashlib.sha256(data).hexdigest()


def record_of(
    paths: Sequence[Path],
    folder: Path,
    *,
    units: str | None,
    ups: dict[str, str],
    reach_mm: float,
    list_data: bytes,
) -> MetRecord:
    """Make the record of mesh files that were met, to stand in a folder."""
    files = tuple(
        MetFile(
            path=Path(os.path.relpath(os.path.realpath(path), os.path.realpath(folder))).as_posix(),
            sha256=digest(read_plain(path, _MOST_BYTES)),
        )
        for path in paths
    )
    return MetRecord(
        files=files, units=units, ups=ups, reach_mm=reach_mm, list_sha256=digest(list_data)
    )


def read_record(path: Path) -> MetRecord:
    """Read ``meetings.json``.

    Raises
    ------
    BodyError
        If it is missing, or not as `record_of` makes it.
    OSError
        If it cannot be opened.
    """
    try:
        return MetRecord.model_validate_json(read_plain(path))
    except FileNotFoundError:
        todo = "Keep the list in the folder that `coupons meet` wrote"
        got = f"no {path.name} in {path.parent}"
        expected = "the record of the bodies beside the list"
        raise BodyError([Problem(path.name, expected, got, todo)]) from None
    except ValidationError as error:
        todo = "Run `coupons meet` again"
        raise BodyError(
            [
                Problem(
                    f"{path.name} {'.'.join(map(str, one['loc']))}".strip(),
                    "a record of bodies that were met",
                    one["msg"].lower(),
                    todo,
                )
                for one in error.errors()
            ]
        ) from None


def meet_again(listed: Path) -> MetAgain:
    """Find the meetings of a list again, from the record beside it.

    Parameters
    ----------
    listed : Path
        The list that `coupons meet` wrote, edited or not, in its folder.

    Raises
    ------
    BodyError
        If a mesh file has changed since, or as `read_bodies` and `meet`.
    OSError
        If a file cannot be opened.
    """
    record = read_record(listed.parent / RECORD)
    paths = tuple(listed.parent / file.path for file in record.files)
    todo = "Run `coupons meet` again, and copy your fits into the new list"
    changed = [
        Problem(path.name, "the file that was met", "one that changed since", todo)
        for path, file in zip(paths, record.files, strict=True)
        if digest(read_plain(path, _MOST_BYTES)) != file.sha256
    ]
    if changed:
        raise BodyError(changed)
    bodies = read_bodies(paths, record.units, is_sound=True).bodies
    met = meet(bodies, record.ups, record.reach_mm)
    if record.version == 1 and len(met.joints) > _SAME_LETTERS:
        expected, got = "a list with the letters of this version", "an older one"
        raise BodyError([Problem(listed.name, expected, got, todo)])
    return MetAgain(met, record, paths)
