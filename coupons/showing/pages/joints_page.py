"""The files that answer a list of joints: a page to read, a table, and the sizes to draw."""

import os
from collections import Counter
from collections.abc import Callable, Collection, Set
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from urllib.parse import quote

from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.whole_part import JointAnswer, PartAnswer
from coupons.answering.offset import Answer
from coupons.answering.origin import origin_sentence
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.answering.ways import joint_way
from coupons.answering.words.answers import marks
from coupons.answering.words.joint_files import COLUMNS, SIZE_COLUMNS, answers_csv, sizes_csv
from coupons.answering.words.joints import (
    short_move,
    tightness_sentence,
    together_sentence,
    told_once,
    warnings,
    wish,
)
from coupons.answering.words.listed_bodies import (
    bodies_of,
    listed_across,
    named_bodies,
    size_of,
)
from coupons.answering.words.numbers import chance, whole_percents
from coupons.atomic import not_ours, together, write_text
from coupons.errors import Problem, WriteError
from coupons.showing.pages.page import is_page, render_page
from coupons.showing.words.next_task import CAUTIONS
from coupons.terms import GRADES, HAND_TESTS, Form

# What stood over the answers before a chance could be asked for.
_EARLIER_COLUMNS = (
    "name,internal,external,size_mm,along,fit,hardware,internal_drawn_mm,external_drawn_mm,"
    "internal_offset_mm,external_offset_mm,faces,chance,warnings"
)
TABLE, PAGE, SIZES = "joints.csv", "joints.html", "drawn-sizes.csv"


@dataclass(frozen=True)
class Share:
    """One grade's part of the chance bar: start and width in percent of the bar.

    ``percent`` is its width in whole percents; those of a bar add up to 100.
    """

    grade: str
    start: float
    width: float
    percent: int
    wanted: bool


def write_part(part: PartAnswer, folder: Path, source: Path) -> None:
    """Write ``joints.csv``, ``joints.html`` and ``drawn-sizes.csv`` into a folder.

    Parameters
    ----------
    part : PartAnswer
    folder : Path
        Created if it does not exist. Earlier answers in it are replaced.
    source : Path
        The list that was asked; never written over.

    Raises
    ------
    WriteError
        If one of the files in the folder is not an earlier answer, or is the list. Nothing is then
        written.
    """
    _refuse_to_replace(folder, source)
    # With the mark, spreadsheets read names as UTF-8; other programs would take it for a name.
    with together():
        write_text(folder / TABLE, "\ufeff" + answers_csv(part))
        write_text(folder / SIZES, sizes_csv(part))
        write_text(folder / PAGE, part_page(part, source.name))


def part_page(part: PartAnswer, source: str) -> str:
    """Return the page as one file."""
    repeated = _repeated(part)
    return render_page(
        "joints/joints.html.j2",
        styles=("shared/bench.css", "joints/joints.css"),
        source=source,
        marks=marks(part.rehearsed, part.origin),
        origin=origin_sentence(part.origin),
        together=together_sentence(part),
        tightness=tightness_sentence(part) if part.counted else "",
        rows=[_row(joint, repeated) for joint in part.joints],
        repeated=tuple(
            told_once(
                (joint.listed.name, warning)
                for joint in part.joints
                for warning in warnings(joint)
                if warning in repeated
            )
        ),
        # Held in the page itself, so that one file is enough to send.
        files=[
            (TABLE, "the table", _data_address("\ufeff" + answers_csv(part))),
            (SIZES, "the sizes to draw", _data_address(sizes_csv(part))),
        ],
        grades=[(grade, HAND_TESTS[grade]) for grade in GRADES],
        cautions=CAUTIONS,
    )


def _repeated(part: PartAnswer) -> frozenset[str]:
    """Return the cautions that several joints share; they are shown once, below the table.

    What makes one answer doubtful stays with its joint.
    """
    told = Counter(warning for joint in part.joints for warning in warnings(joint))
    return frozenset(
        warning
        for warning, times in told.items()
        if times > 1 and not warning.startswith("EXTRAPOLATED")
    )


def _data_address(text: str) -> str:
    return "data:text/csv;charset=utf-8," + quote(text)


def _row(joint: JointAnswer, repeated: Set[str]) -> dict[str, object]:
    listed = joint.listed
    return {
        "name": listed.name,
        "wish": wish(joint),
        "grade": listed.fit or "",
        "way": _way(listed),
        "bodies": _bodies(joint),
        "answered": joint.found is not None,
        "chance": "" if joint.chance is None else chance(joint.chance),
        "shares": _shares(joint),
        "warnings": [warning for warning in warnings(joint) if warning not in repeated],
    }


def _way(listed: ListedJoint) -> str:
    if listed.several is None:
        return joint_way(listed.joint)
    pitch_mm = listed.several.pitch_mm
    pitch = "" if pitch_mm is None else f", pitch {pitch_mm:g} mm"
    return f"{'/'.join(bodies_of(listed))} {size_of(listed)}, {listed_across(listed)}{pitch}"


def _bodies(joint: JointAnswer) -> list[dict[str, str]]:
    if not isinstance(joint.found, SeveralAnswer):
        forms = joint.listed.joint.forms
        return [line for form in forms for line in _lines_of(joint, form)]
    piece = joint.listed.hardware
    bought = [] if piece is None else [{"what": piece.name, "size": "", "move": "as bought"}]
    return [
        {"what": body, "size": f"{move.drawn_mm:.2f}", "move": short_move(move)}
        for body, move in named_bodies(joint.found)
    ] + bought


def _lines_of(joint: JointAnswer, form: Form) -> list[dict[str, str]]:
    """Return the line of one body, or a line for each of its pieces to choose from."""
    if joint.choices is None or form is not joint.moves[0].form:
        return [_body(joint, form)]
    return [_body(piece, form) | {"what": f"{form} {count}"} for count, piece in joint.pieces()]


def _body(joint: JointAnswer, form: Form) -> dict[str, str]:
    piece, drawn_mm = joint.listed.hardware, joint.drawn_mm(form)
    if piece is not None and piece.form is form:
        return {"what": piece.name, "size": "", "move": "as bought"}
    moved = {move.form: short_move(move) for move in joint.moves}
    size = "" if drawn_mm is None else f"{drawn_mm:.2f}"
    return {"what": form, "size": size, "move": moved.get(form, "as it is") if size else ""}


def _shares(joint: JointAnswer) -> list[Share]:
    # Of pieces to choose from there is no one grade: the bar of the best alone would mislead.
    if not isinstance(joint.found, Answer) or joint.chance is None or joint.choices is not None:
        return []
    shares, start = [], 0.0
    chances = joint.found.grade_chances
    for (grade, share), whole in zip(
        chances.items(), whole_percents(list(chances.values())), strict=True
    ):
        is_wanted = grade == joint.listed.fit
        shares.append(Share(grade, round(start, 2), round(100 * share, 2), whole, is_wanted))
        start += 100 * share
    return shares


def _refuse_to_replace(folder: Path, source: Path) -> None:
    ours: dict[str, Callable[[bytes], bool]] = {
        TABLE: partial(_is_table, heads=(",".join(COLUMNS), _EARLIER_COLUMNS)),
        PAGE: partial(is_page, kind="part"),
        SIZES: partial(_is_table, heads=(",".join(SIZE_COLUMNS),)),
    }
    problems: list[Problem] = []
    for name, is_ours in ours.items():
        is_source = os.path.realpath(folder / name) == os.path.realpath(source)
        problems += not_ours(folder / name, "earlier answers", _never if is_source else is_ours)
    if problems:
        raise WriteError(problems)


def _never(_: bytes) -> bool:
    return False


def _is_table(data: bytes, heads: Collection[str]) -> bool:
    first = data.split(b"\n", 1)[0].decode("utf-8-sig", "replace").strip()
    return first in heads
