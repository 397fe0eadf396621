"""The board as a folder of pages that needs no server: index, a page a machine, profiles, data."""

import hashlib
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from coupons import __version__
from coupons.answering.words.numbers import chance
from coupons.answering.words.still import still_data
from coupons.atomic import not_ours, remove, together, write_bytes
from coupons.errors import CouponError, Problem, WriteError
from coupons.learning.profile_file import is_profile
from coupons.progress import steps
from coupons.reading import read_plain
from coupons.showing.board.collect import INDEX_FILE, SITE_FORMAT, is_index, told
from coupons.showing.board.figures import COLUMNS, Gap, capability_words, scatter_words, size_note
from coupons.showing.board.job import Job, job_notes, missing_words
from coupons.showing.board.machine_rows import Board, MachineRow
from coupons.showing.board.months import months_of
from coupons.showing.board.roles import RULE, Entry
from coupons.showing.board.states import state_notes
from coupons.showing.pages.page import is_page, render_page

HOME_FILE = "index.html"
MACHINES, PROFILES = "machines", "profiles"
VERSION = 1

_LONGEST_SLUG = 40
_MOST_COUPONS = 3  # named of one profile
_MOST_INDEX_BYTES = 200_000_000


def slug(name: str) -> str:
    """Return a file name of plain letters that no other name has, whatever the capitals.

    Examples
    --------
    >>> slug("bench-1"), slug("Bench-1")
    ('bench-1', 'bench-1-a40ab2')
    """
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:_LONGEST_SLUG]
    if plain and plain == name:
        return plain
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:6]
    return f"{plain}-{digest}".strip("-")


def page_of(machine: str) -> str:
    """Return the path of a machine's page within the site."""
    return f"{MACHINES}/{slug(machine)}.html"


def file_of(one: Entry) -> str:
    """Return the path within the site of a profile to take away."""
    return f"{PROFILES}/{slug(one.profile.machine)}-{slug(one.profile.material)}-{one.id}.json"


@dataclass(frozen=True)
class _File:
    """A file of the site, and how one of its kind is known."""

    path: str
    data: bytes

    @property
    def what(self) -> str:
        return "a profile" if self.path.startswith(PROFILES) else "a page of a board"

    def is_ours(self, data: bytes) -> bool:
        """Tell whether bytes are a file of this kind that this tool wrote."""
        if self.path == INDEX_FILE:
            return is_index(data)
        if self.path.startswith(PROFILES):
            return is_profile(data)
        return is_page(data, "board")


def write_site(
    folder: Path,
    board: Board,
    refused: Sequence[CouponError] = (),
    job: Job | None = None,
) -> None:
    """Write the whole site in one step; pages of machines that are gone are removed.

    Parameters
    ----------
    folder : Path
        Where to; made if there is none.
    board : Board
    refused : sequence of CouponError
        What could not be read.
    job : mapping of (machine, material) to JobChance, optional
        The chance that a whole job fits, by which rows are then ranked.

    Raises
    ------
    WriteError
        If a file of that name is there that this tool did not write, or none can be written.
    """
    if folder.exists() and not folder.is_dir():
        got = "a pipe or a device" if not folder.is_file() else "a file"
        todo = "The board is a folder of pages: give another path with -o"
        raise WriteError([Problem(str(folder), "a path that can be written", got, todo)])
    files = list(_files(board, refused, job))
    changed = [file for file in files if not _is_same(folder / file.path, file.data)]
    problems = [
        problem
        for file in changed
        for problem in not_ours(folder / file.path, file.what, file.is_ours)
    ]
    if problems:
        raise WriteError(problems)
    gone = _outdated(folder, {file.path for file in files})
    with together():
        for file in steps(changed, "files written"):
            write_bytes(folder / file.path, file.data)
        for path in gone:
            remove(path)


def _is_same(path: Path, data: bytes) -> bool:
    try:
        return path.stat().st_size == len(data) and read_plain(path, len(data)) == data
    except (OSError, ValueError):
        return False


def _outdated(folder: Path, kept: set[str]) -> list[Path]:
    """Return files of an earlier board in this folder that the new one does not have."""
    try:
        listed = json.loads(read_plain(folder / INDEX_FILE, _MOST_INDEX_BYTES))
        names = [str(name) for name in listed["files"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return []
    ours = re.compile(rf"({MACHINES}/[a-z0-9-]+\.html|{PROFILES}/[a-z0-9-]+\.json)")
    found = []
    for name in names:
        path = folder / name
        if name not in kept and ours.fullmatch(name) and path.is_file():
            kind = _File(name, b"")
            if not not_ours(path, kind.what, kind.is_ours):
                found.append(path)
    return found


def _files(
    board: Board,
    refused: Sequence[CouponError],
    job: Job | None,
) -> Iterator[_File]:
    names = [HOME_FILE, INDEX_FILE]
    yield _File(HOME_FILE, _home(board, refused, job).encode("utf-8", "backslashreplace"))
    for machine, rows in board.machines.items():
        names.append(page_of(machine))
        text = _machine_page(board, machine, rows)
        yield _File(names[-1], text.encode("utf-8", "backslashreplace"))
    for row in board.rows:
        for one in (row.head, *row.others):
            names.append(file_of(one))
            yield _File(names[-1], one.posted.data)
    yield _File(INDEX_FILE, _index(board, len(refused), job, names).encode())


def _home(
    board: Board,
    refused: Sequence[CouponError],
    job: Job | None,
) -> str:
    rows = ranked(board.rows, job)
    return render_page(
        "board/index.html.j2",
        styles=("shared/bench.css", "board/board.css"),
        scripts=("board/board.js",),
        board=board,
        rows=rows,
        job=job,
        job_notes=[] if job is None else job_notes(job),
        missing_words=missing_words,
        columns=COLUMNS,
        states=sorted({state for row in rows for state in row.states}),
        state_notes=state_notes(rows, board.stale_after_days),
        size_note=size_note(gap for row in rows for gap in row.head.gaps),
        fits=_fits(),
        refused=list(map(told, refused)),
        rule=RULE,
        page_of=page_of,
        file_of=file_of,
        chance=chance,
    )


def ranked(rows: Sequence[MachineRow], job: Job | None) -> Sequence[MachineRow]:
    """Return rows with the best chance for the job first.

    Doubted ones come after all others, as their chance is that of a machine that has changed, and
    those that cannot tell come last.
    """
    if job is None:
        return rows
    return sorted(rows, key=lambda row: _worst_last(row, job[row.machine, row.material].chance))


def _worst_last(row: MachineRow, found: float | None) -> tuple[bool, bool, float]:
    return found is None, "doubted" in row.states, -(found or 0.0)


def _fits() -> list[tuple[str, int]]:
    """Return the fits of the columns, in order, with how many columns each has."""
    fits = [str(column.fit) for column in COLUMNS]
    return [(fit, fits.count(fit)) for fit in dict.fromkeys(fits)]


def _machine_page(board: Board, machine: str, rows: Sequence[MachineRow]) -> str:
    months = [months_of(row, rows) for row in rows]
    drawn = ("shared/plot.css", "board/months.css") if any(one.trends for one in months) else ()
    return render_page(
        "board/machine.html.j2",
        styles=("shared/bench.css", "board/machine.css", *drawn),
        machine=machine,
        months=months,
        board=board,
        rows=rows,
        columns=COLUMNS,
        home=HOME_FILE,
        file_of=file_of,
        chance=chance,
        scatter_words=scatter_words,
        capability_words=capability_words,
        counted=counted_names,
    )


def counted_names(names: Sequence[str]) -> str:
    """Name some coupons, each with how often it is there.

    Examples
    --------
    >>> counted_names(["starter", "starter", "starter", "recheck"])
    '3 × starter, recheck'
    """
    counts = Counter(names)
    told = [name if n == 1 else f"{n} × {name}" for name, n in counts.items()]
    more = len(told) - _MOST_COUPONS
    return ", ".join(told[:_MOST_COUPONS]) + (f" and {more} more" if more > 0 else "")


def _index(
    board: Board,
    refused: int,
    job: Job | None,
    names: Iterable[str],
) -> str:
    """Return the board as data: one row a line."""
    head = {
        "format": SITE_FORMAT,
        "version": VERSION,
        "made_with": f"coupons {__version__}",
        "written_on": board.today.isoformat(),
        "stale_after_days": board.stale_after_days,
        "refused": refused,
        "notes": list(board.notes),
        "columns": [
            {
                "key": column.key,
                "fit": column.fit,
                "internal": column.joint.internal,
                "external": column.joint.external,
                "size_mm": column.joint.size_mm,
                "across": column.joint.direction,
            }
            for column in COLUMNS
        ],
    }
    lines = [f"{json.dumps(key)}: {_json(value)}" for key, value in head.items()]
    rows = ",\n  ".join(_json(_row_data(row, job)) for row in board.rows)
    lines.append(f'"rows": [\n  {rows}\n ]')
    lines.append(f'"files": {_json(sorted(names))}')
    return "{\n " + ",\n ".join(lines) + "\n}\n"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=True)


def _row_data(row: MachineRow, job: Job | None) -> dict[str, object]:
    data: dict[str, object] = {
        "machine": row.machine,
        "material": row.material,
        "state": row.state,
        "states": list(row.states),
        "reasons": list(row.reasons),
        "still": None if row.still is None else still_data(row.still),
        "page": page_of(row.machine),
        **_entry_data(row.head),
        "scatter_mm": {one.name: one.mm for one in row.scatters if one.measured},
        "capability": None
        if row.capability is None
        else {
            "it_grade": row.capability.grade,
            "confidence": round(row.capability.confidence, 3),
            "size_mm": row.capability.high_mm,
        },
        "others": [_entry_data(one) | {"role": one.role} for one in row.others],
    }
    if job is not None:
        found = job[row.machine, row.material]
        data["job_chance"] = None if found.chance is None else round(found.chance, 4)
        data["job_missing"] = {str(lack): list(names) for lack, names in found.missing.items()}
    return data


def _entry_data(one: Entry) -> dict[str, object]:
    profile = one.profile
    return {
        "id": one.id,
        "profile": file_of(one),
        "printed_on": None if profile.printed_on is None else profile.printed_on.isoformat(),
        "nozzle_mm": profile.nozzle_mm,
        "layer_height_mm": profile.layer_height_mm,
        "prints": profile.counts.runs,
        "observations": one.observations,
        "gaps": {
            column.key: None if gap is None else _gap_data(gap)
            for column, gap in zip(COLUMNS, one.gaps, strict=True)
        },
    }


def _gap_data(gap: Gap) -> dict[str, float]:
    return {
        "gap_mm": round(gap.gap_mm, 3),
        "low_mm": round(gap.low_mm, 3),
        "high_mm": round(gap.high_mm, 3),
        "chance": round(gap.chance, 3),
        "size_mm": gap.size_mm,
    }
