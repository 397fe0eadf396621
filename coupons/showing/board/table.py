"""The board for a terminal: a line for each row, then a key to the columns."""

import textwrap
from collections.abc import Sequence

from coupons.answering.joints.rank import JobChance
from coupons.answering.origin import is_old_model, old_model_mark
from coupons.answering.words.numbers import chance
from coupons.showing.board.figures import COLUMNS, Gap, size_note
from coupons.showing.board.job import Job, job_notes, missing_words
from coupons.showing.board.machine_rows import Board, MachineRow
from coupons.showing.board.site import ranked
from coupons.showing.board.states import state_notes
from coupons.showing.words.terminal_tables import WIDTH, table

_SHOWN = (0, 1, 3)  # columns that have room beside the names


def board_table(board: Board) -> str:
    """Return the rows with their state and a few gaps, 80 columns wide."""
    shown = [COLUMNS[at] for at in _SHOWN]
    head = ["machine", "material", "state", *(f"({n})" for n in range(1, len(shown) + 1))]
    rows = [_line(row) for row in board.rows]
    right = range(3, 3 + len(shown))
    notes = [f"({n}) gap for {column.title}, mm" for n, column in enumerate(shown, start=1)]
    if note := size_note(row.head.gaps[at] for row in board.rows for at in _SHOWN):
        notes.append(note)
    notes += state_notes(board.rows, board.stale_after_days)
    versions = sorted({row.head.profile.version for row in board.rows})
    notes += [mark for version in versions if (mark := old_model_mark(version))]
    return "\n".join([table(head, rows, right=tuple(right)), "", *map(_wrapped, notes)])


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, subsequent_indent="  ")


def job_table(board: Board, job: Job) -> str:
    """Return the machines by the chance that a whole job fits, 80 columns wide."""
    rows = [_job_line(row, job[row.machine, row.material]) for row in ranked(board.rows, job)]
    lines = [table(["machine", "material", "state", "all fit", "lowest"], rows, right=(3,)), ""]
    lines.append("all fit: the chance that all joints fit at once, drawn for that machine.")
    lines += map(_wrapped, state_notes(board.rows, board.stale_after_days))
    if all(one.chance is None for one in job.values()):
        lines.append("No machine has an answer to all joints.")
    return "\n".join([*lines, *map(_wrapped, job_notes(job))])


def _job_line(row: MachineRow, found: JobChance) -> Sequence[str]:
    last = found.weakest
    if found.missing:
        last = missing_words(found)
    told = "–" if found.chance is None else chance(found.chance)
    return [row.machine, row.material, row.state_words, told, last]


def _state(row: MachineRow) -> str:
    """Return the state; that it is rehearsed stands in front of its material already."""
    return row.states[-1]


def _told(gap: Gap | None) -> str:
    """Return a gap with its size in front, where it does not move the digits out of line."""
    if gap is None:
        return "–"
    return f"{gap.at}: {gap.words}" if gap.at else gap.words


def _line(row: MachineRow) -> Sequence[str]:
    profile = row.head.profile
    return [
        row.machine,
        # In front, where a long name cannot push it out of the column.
        ("REHEARSED " if profile.rehearsed else "")
        + ("OLD MODEL " if is_old_model(profile.version) else "")
        + row.material,
        # The word that decides first, so that a narrow column cuts only the days.
        ", ".join(filter(None, (_state(row), row.age.since))),
        *(_told(row.head.gaps[at]) for at in _SHOWN),
    ]
