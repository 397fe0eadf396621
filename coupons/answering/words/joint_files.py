"""A list's answers as files: a row a joint, a row a drawn size, and what the job's record keeps."""

import csv
import io

from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.whole_part import JointAnswer, PartAnswer
from coupons.answering.origin import origin_data
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.answering.words.answer_data import move_data
from coupons.answering.words.answers import marks
from coupons.answering.words.choices import choices_data, notches
from coupons.answering.words.joints import warnings, wish
from coupons.answering.words.listed_bodies import (
    bodies_of,
    listed_across,
    named_moves,
    numbers,
    several_size_rows,
    size_cells,
    size_of,
)
from coupons.terms import Form

COLUMNS = (
    "name",
    "internal",
    "external",
    "size_mm",
    "across",
    "fit",
    "at_least",
    "hardware",
    "internal_drawn_mm",
    "external_drawn_mm",
    "internal_offset_mm",
    "external_offset_mm",
    "faces",
    "chance",
    "too_tight",
    "warnings",
)


SIZE_COLUMNS = ("joint", "body", "drawn_mm", "nominal_mm", "offset_mm", "faces", "label")


_REHEARSED_ROW = [
    "REHEARSED: do not use these sizes for real parts",
    *[""] * 5,
    "REHEARSED_do_not_build",
]


def answers_csv(part: PartAnswer) -> str:
    """Write the answers as CSV, one joint a row; of pieces to choose from, one piece a row."""
    marked = marks(part.rehearsed, part.origin)
    rows = [
        _cells(joint, piece, count, marked)
        for joint in part.joints
        for count, piece in joint.pieces()
    ]
    return _csv([list(COLUMNS), *rows])


def _cells(joint: JointAnswer, piece: JointAnswer, count: int, marked: list[str]) -> list[str]:
    """Return the row of a joint, or of one of its pieces: sizes of that, chances of the joint."""
    listed = joint.listed
    mated = (listed.joint.internal, listed.joint.external)
    notes = marked + warnings(joint)
    return [
        f"{listed.name} ({notches(count)})" if count else listed.name,
        *bodies_of(listed),
        size_of(listed),
        listed_across(listed),
        str(listed.fit) if listed.fit else wish(joint).replace("−", "-"),
        "" if listed.at_least is None else f"{listed.at_least:g}",
        listed.hardware.name if listed.hardware else "",
        *(numbers(piece, form) for form in mated),
        *(numbers(piece, form, offsets=True) for form in mated),
        str(piece.moves[0].faces) if piece.moves else "",
        "" if joint.chance is None else f"{joint.chance:.4f}",
        "" if joint.too_tight is None else f"{joint.too_tight:.4f}",
        " ".join(notes),
    ]


def sizes_csv(part: PartAnswer) -> str:
    """Write the sizes to draw as CSV, one printed body a row, for a model that reads a table.

    Each row has a label of its own by which a model can look it up. Sizes from a rehearsed profile
    begin with a row that says so.
    """
    rows = [_REHEARSED_ROW] if part.rehearsed else []
    for joint in part.joints:
        if isinstance(joint.found, SeveralAnswer):
            rows += several_size_rows(joint, joint.found)
            continue
        mated = joint.listed.joint
        for form in (mated.internal, mated.external):
            rows += _size_rows(joint, form)
    return _csv([list(SIZE_COLUMNS), *filter(None, rows)])


def _size_rows(joint: JointAnswer, form: Form) -> list[list[str]]:
    """Return the row of one body, or a row for each of its pieces to choose from."""
    several = joint.choices is not None and any(move.form is form for move in joint.moves[:1])
    pieces = list(joint.pieces()) if several else [(0, joint)]
    return [size_cells(piece, form, count) for count, piece in pieces]


def _csv(rows: list[list[str]]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue()


def _question_data(joint: JointAnswer) -> dict[str, object]:
    listed, asked = joint.listed, joint.listed.joint
    several = listed.several
    return {
        "joint": "/".join(bodies_of(listed)),
        "size_mm": asked.size_mm,
        "sizes_mm": [asked.size_mm] if several is None else list(several.sizes_mm),
        "across": listed_across(listed),
        "slant_deg": asked.slant and asked.slant.angle_deg,
        "pitch_mm": several and several.pitch_mm,
        "hardware": listed.hardware.name if listed.hardware else None,
        "fit": None if listed.fit is None else str(listed.fit),
        "printed_gap_mm": listed.gap_mm,
        "move": str(listed.move),
        "bed": None if listed.bed is None else str(listed.bed),
        "contact_mm": listed.contact_mm,
        "sides": [_side_data(listed, side) for side in ("internal", "external")],
        "choices": listed.choices,
        "loose_costs": listed.loose_costs,
    }


def _side_data(listed: ListedJoint, side: str) -> dict[str, object]:
    """Return who prints a body and in which print, where it is said, as plain data."""
    maker = listed.internal_profile if side == "internal" else listed.external_profile
    word = listed.internal_print if side == "internal" else listed.external_print
    return {"side": side, "machine": maker and maker.machine, "print": word or None}


def as_data(part: PartAnswer) -> dict[str, object]:
    """Return the answers as plain data, units in the names."""
    return {
        "rehearsed": part.rehearsed,
        "origin": origin_data(part.origin),
        "prints": part.prints,
        "makers": [origin_data(origin) for origin in part.makers],
        "together": {
            "chance": part.together.chance,
            "error": part.together.error,
            "sampling_error": part.together.sampling_error,
            "joints": [joint.listed.name for joint in part.counted],
        },
        "not_too_tight": {
            "chance": part.not_too_tight.chance,
            "error": part.not_too_tight.error,
        },
        "loosen": _loosen_data(part),
        "joints": [
            {
                "name": joint.listed.name,
                "question": _question_data(joint),
                "wish": wish(joint),
                "at_least": joint.listed.at_least,
                "chance": joint.chance,
                "too_tight": joint.too_tight,
                "moves": [{**move_data(move), "body": body} for body, move in named_moves(joint)],
                "choices": choices_data(joint.choices),
                "warnings": warnings(joint),
            }
            for joint in part.joints
        ],
    }


def _loosen_data(part: PartAnswer) -> dict[str, object] | None:
    found = part.loosen
    if found is None:
        return None
    free, fit = part.loosened
    return {
        "name": part.counted[found.at].listed.name,
        "wider_mm": found.wider_mm,
        "moves": [move_data(move) for move in found.moves],
        "not_too_tight": free,
        "together": fit,
    }
