"""The files of a meeting of bodies: the list, its record, and the page that shows every face."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from coupons.answering.meet.list_rows import list_csv, name_of
from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.met_files import LIST, PAGE, RECORD, MetRecord, digest, record_of
from coupons.atomic import not_ours, together, write_text
from coupons.errors import CouponError, WriteError
from coupons.reading import read_plain
from coupons.showing.bodies.face_marks import FaceMark, letter_path, marks_of
from coupons.showing.bodies.joint_section import section_of
from coupons.showing.bodies.meet_words import (
    direction_words,
    explained_words,
    facet_words,
    form_words,
    gap_words,
    meeting_notes,
    side_gaps,
    size_words,
)
from coupons.showing.bodies.views import VIEW, View, edge_lines, length_of, path_of, view_of
from coupons.showing.pages.page import is_page, render_page
from coupons.terms import Grade

_SIDES = (("from above, in front", -32.0, 30.0), ("from below, behind", 148.0, -30.0))
_LETTER = 4.2  # height of a letter on a view
_SEEN_SHARE = 0.3  # of a face's hatching: its letter is then that of a face in sight


@dataclass(frozen=True)
class MarkDrawn:
    """A meeting face on a view: hatching in sight and hidden, letter, and whether it is hidden."""

    label: str
    kind: str
    seen: str
    hidden: str
    letter: str
    is_hidden: bool


@dataclass(frozen=True)
class ViewDrawn:
    """One view of a body."""

    title: str
    high: float
    seen: str
    hidden: str
    marks: tuple[MarkDrawn, ...]


def write_met(
    met: Met,
    folder: Path,
    paths: Sequence[Path],
    *,
    notes: Sequence[str] = (),
    units: str | None = None,
    ups: dict[str, str] | None = None,
    fit: Grade = Grade.SLIDE,
) -> None:
    """Write ``meetings.csv``, ``meetings.json`` and ``meetings.html`` into a folder.

    Parameters
    ----------
    met : Met
    folder : Path
        Created if it does not exist. What an earlier meeting left in it is replaced, unless its
        list was edited since.
    paths : sequence of Path
        The mesh files, in their order.
    notes : sequence of str
        What reading them had to say.
    units, ups
        How they were read and laid on the printer, kept in the record.
    fit : Grade
        Wanted fit of every joint, to start from.

    Raises
    ------
    WriteError
        If a file in the folder is not one of an earlier meeting. Nothing is then written.
    """
    listed = "\ufeff" + list_csv(met, fit)
    record = record_of(
        paths,
        folder,
        units=units,
        ups=ups or {},
        reach_mm=met.reach_mm,
        list_data=listed.encode("utf-8"),
    )
    _refuse_to_replace(folder)
    with together():
        write_text(folder / LIST, listed)
        write_text(folder / RECORD, record.model_dump_json(indent=1) + "\n")
        write_text(folder / PAGE, met_page(met, notes))


def _refuse_to_replace(folder: Path) -> None:
    written = _earlier(folder)
    ours: dict[str, Callable[[bytes], bool]] = {
        LIST: lambda data: written is not None and digest(data) == written.list_sha256,
        RECORD: lambda data: b'"list_sha256"' in data,
        PAGE: partial(is_page, kind="met"),
    }
    problems = [
        problem
        for name, is_ours in ours.items()
        for problem in not_ours(folder / name, "what an earlier meeting wrote", is_ours)
    ]
    if problems:
        raise WriteError(problems)


def _earlier(folder: Path) -> MetRecord | None:
    """Return the record of an earlier meeting in a folder, if there is one."""
    try:
        return MetRecord.model_validate_json(read_plain(folder / RECORD))
    except (OSError, ValueError, CouponError):
        return None


def met_page(met: Met, notes: Sequence[str] = ()) -> str:
    """Return the page as one file."""
    return render_page(
        "meet/meet.html.j2",
        styles=("shared/bench.css", "meet/meet.css"),
        bodies=[_body(met, number) for number in range(len(met.bodies))],
        joints=[_joint(met, joint) for joint in met.joints],
        notes=[*notes, *meeting_notes(met)],
        explained=explained_words(met),
        view=VIEW,
        has_lone=bool(met.lone),
        reach=f"{met.reach_mm:g}",
    )


def _body(met: Met, number: int) -> dict[str, object]:
    printed = met.bodies[number]
    size = printed.body.box_mm[1] - printed.body.box_mm[0]
    marks = marks_of(met, number)
    views = []
    for title, turn, lift in _SIDES:
        view = view_of(printed.body, printed.axes, turn, lift)
        seen, hidden = view.parted(edge_lines(printed.body, view))
        drawn = tuple(_marks(view, marks))
        views.append(ViewDrawn(title, view.high, path_of(seen), path_of(hidden), drawn))
    return {
        "name": printed.body.name,
        "file": printed.body.file,
        "size": " × ".join(f"{length:.2f}" for length in size),
        "triangles": f"{len(printed.body.triangles):,}",
        "up": printed.up,
        "faces": ", ".join(mark.label for mark in marks) or "none",
        "views": views,
    }


def _marks(view: View, marks: Sequence[FaceMark]) -> Iterator[MarkDrawn]:
    """Draw the marks of a body, each letter clear of the earlier ones if there is room."""
    taken: list[tuple[float, float]] = []
    for mark in marks:
        seen, hidden = view.parted(mark.lines_mm)
        x, y = _free_place(view, mark, taken)
        taken.append((x, y))
        in_sight = length_of(seen)
        whole = in_sight + length_of(hidden)
        yield MarkDrawn(
            mark.label,
            mark.kind,
            path_of(seen),
            path_of(hidden),
            letter_path(mark.label, x, y, _LETTER),
            in_sight < _SEEN_SHARE * whole,
        )


def _free_place(
    view: View, mark: FaceMark, taken: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    places = [(float(x), float(y)) for x, y, _ in view.flat(mark.places_mm)]
    for x, y in places:
        if all(abs(x - a) > 2.4 * _LETTER or abs(y - b) > 1.5 * _LETTER for a, b in taken):
            return x, y
    return places[0]


def _joint(met: Met, joint: Meeting) -> dict[str, object]:
    group = joint.group
    assert group is not None
    internal, external = (met.bodies[number].body.name for number in joint.bodies)
    return {
        "letter": joint.letter,
        "name": name_of(met, joint),
        "internal": internal,
        "external": external,
        "forms": form_words(joint),
        "size": size_words(joint),
        "gap": gap_words(joint),
        "sides": side_gaps(met, joint),
        "direction": direction_words(met, joint),
        "area": f"{group.area_mm2:.0f} mm²",
        "depth": f"{min(pair.depth_mm for pair in group.pairs):.1f} mm",
        "facets": facet_words(joint),
        "slant": f"{group.pairs[0].slant_deg:.1f}°" if group.pairs[0].slant_deg else "",
        "section": section_of(met, joint),
    }
