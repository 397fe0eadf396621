"""The answers to a list of joints as a table, as files for a spreadsheet and as CAD variables."""

import csv
import io
from collections.abc import Iterator

from coupons.answering.joint_list import variable_name
from coupons.answering.joints import JointAnswer, PartAnswer
from coupons.answering.offset import Answer, FaceMove, Feel
from coupons.answering.words import (
    PRACTICE,
    REHEARSED,
    chance,
    extrapolated,
    minus,
    move_data,
    signed,
)
from coupons.terms import Grade

_LOW_CHANCE = 0.5
_NAMES = 8  # as many joints are named after one warning
_WIDTHS = (18, 8, 17, 21)

COLUMNS = (
    "name",
    "internal",
    "external",
    "size_mm",
    "along",
    "fit",
    "hardware",
    "internal_drawn_mm",
    "external_drawn_mm",
    "internal_offset_mm",
    "external_offset_mm",
    "faces",
    "chance",
    "warnings",
)


def wish(joint: JointAnswer) -> str:
    """Say in a word or two what was wanted of a joint."""
    listed = joint.listed
    if listed.fit is not None:
        return str(listed.fit)
    if listed.gap_mm is not None:
        return f"gap {minus(listed.gap_mm)}"
    limits = listed.hardware.printed if listed.hardware else None
    return limits.code if limits else ""


def short_move(move: FaceMove) -> str:
    """Say in few words what to do with each face, sign and words together.

    Examples
    --------
    >>> from coupons.terms import Form
    >>> short_move(FaceMove(Form.TONGUE, -0.13, 2, 11.74))
    '−0.13 into material'
    """
    if move.offset_mm == 0:
        return "as it is"
    way = "into" if move.offset_mm < 0 else "out of"
    return f"{signed(move.offset_mm)} {way} " + ("material" if move.faces == 2 else "one face")


def warnings(joint: JointAnswer) -> list[str]:
    """Return what a designer must know beside the number, short."""
    if joint.found is None:
        return [joint.why]
    found, listed = joint.found, joint.listed
    lines = []
    if found.extrapolated:
        asked = listed.joint
        lines.append(extrapolated(asked.size_mm, asked.direction, found.unmeasured))
    if found.layers is not None:
        lines.append("Rounded to whole layers.")
    if joint.chance is not None and joint.chance < _LOW_CHANCE:
        lines.append("Less than an even chance: print one and try it before the part.")
    if listed.fit is not None and isinstance(found, Answer) and found.feel is not Feel.HAND:
        lines.append(f"No trials show this fit: {PRACTICE}.")
    if listed.fit in (Grade.FORCE, Grade.PUSH):
        lines.append("May split along the layers.")
    return lines


def table_lines(part: PartAnswer) -> Iterator[str]:
    """Yield the table for a terminal of 80 columns."""
    yield _line("joint", "fit", "draw, mm", "each face, mm", "chance")
    for joint in part.joints:
        yield from _joint_lines(joint)


def note_lines(part: PartAnswer) -> Iterator[str]:
    """Yield the chance that all of it fits, then every warning with its joints."""
    yield together_sentence(part)
    told: dict[str, list[str]] = {}
    for joint in part.joints:
        for warning in warnings(joint):
            told.setdefault(warning, []).append(joint.listed.name)
    for warning, names in told.items():
        yield f"{_listed(names)}: {warning}"


def _listed(names: list[str]) -> str:
    more = len(names) - _NAMES
    return ", ".join(names[:_NAMES]) + (f" and {more} more" if more > 0 else "")


def _joint_lines(joint: JointAnswer) -> Iterator[str]:
    name, chance_text = joint.listed.name, chance(joint.chance) if joint.chance is not None else ""
    if joint.found is None:
        yield _line(name, wish(joint), "no answer", "", "")
    for number, move in enumerate(joint.moves):
        drawn = f"{move.form} {move.drawn_mm:.2f}"
        head = (name, wish(joint)) if number == 0 else ("", "")
        yield _line(*head, drawn, short_move(move), chance_text if number == 0 else "")


def _line(*cells: str) -> str:
    widths = (*_WIDTHS, 9)
    cut = [c if len(c) <= w else c[: w - 1] + "…" for c, w in zip(cells, widths, strict=True)]
    return " ".join(f"{c:<{w}}" for c, w in zip(cut, widths, strict=True)).rstrip()


def together_sentence(part: PartAnswer) -> str:
    """Say the chance that all joints fit at once, what it is about, and how well it is known."""
    n = len(part.counted)
    if n == 0:
        return "No joint has a chance to tell."
    worst = min(part.counted, key=lambda joint: joint.chance or 0.0)
    if n == 1:
        return f"{worst.listed.name} fits with {chance(part.together.chance)} chance."
    spread = part.together.error
    known = f"sampled, give or take {max(200 * spread, 0.1):.1f} %"
    sentence = (
        f"All {n} fit at once, on one print, with {chance(part.together.chance)} chance ({known}); "
        f"least sure is {worst.listed.name} with {chance(worst.chance or 0.0)}."
    )
    left_out = [joint.listed.name for joint in part.joints if joint.chance is None]
    return f"{sentence} Not counted: {_listed(left_out)}." if left_out else sentence


def answers_csv(part: PartAnswer) -> str:
    """Write the answers as CSV, one joint a row."""
    rows = [_cells(joint, part.rehearsed) for joint in part.joints]
    return _csv([list(COLUMNS), *rows])


def _cells(joint: JointAnswer, rehearsed: bool) -> list[str]:
    listed = joint.listed
    offsets = {move.form: move.offset_mm for move in joint.moves}
    mated = (listed.joint.internal, listed.joint.external)
    notes = ([REHEARSED] if rehearsed else []) + warnings(joint)
    return [
        listed.name,
        *mated,
        f"{listed.joint.size_mm:g}",
        listed.joint.direction,
        wish(joint).replace("−", "-"),
        listed.hardware.name if listed.hardware else "",
        *(_number(joint.drawn_mm(form)) for form in mated),
        *(_number(offsets.get(form)) for form in mated),
        str(joint.moves[0].faces) if joint.moves else "",
        "" if joint.chance is None else f"{joint.chance:.4f}",
        " ".join(notes),
    ]


def variables_csv(part: PartAnswer) -> str:
    """Write the sizes to draw as name, value and unit, as CAD programs read variables.

    A rehearsed profile puts a variable first that says so, since nothing else in such a file could.
    """
    rows = [["REHEARSED_do_not_build", "1", ""]] if part.rehearsed else []
    for joint in part.joints:
        mated = joint.listed.joint
        for form in (mated.internal, mated.external):
            drawn_mm = joint.drawn_mm(form)
            if drawn_mm is not None:
                name = f"{variable_name(joint.listed.name)}_{form}"
                rows.append([name, _number(drawn_mm), "mm"])
    return _csv([["name", "value", "unit"], *rows])


def _number(mm: float | None) -> str:
    return "" if mm is None else f"{mm:.4f}".rstrip("0").rstrip(".")


def _csv(rows: list[list[str]]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue()


def as_data(part: PartAnswer) -> dict[str, object]:
    """Return the answers as plain data, units in the names."""
    return {
        "rehearsed": part.rehearsed,
        "together": {
            "chance": part.together.chance,
            "error": part.together.error,
            "joints": [joint.listed.name for joint in part.counted],
        },
        "joints": [
            {
                "name": joint.listed.name,
                "wish": wish(joint),
                "chance": joint.chance,
                "moves": [move_data(move) for move in joint.moves],
                "warnings": warnings(joint),
            }
            for joint in part.joints
        ],
    }
