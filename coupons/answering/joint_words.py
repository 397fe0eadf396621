"""The answers to a list of joints as a table, as files for a spreadsheet and as CAD variables."""

import csv
import io
import math
from collections.abc import Iterable, Iterator

from coupons.answering.joint_list import JointList, variable_name
from coupons.answering.joints import JointAnswer, PartAnswer
from coupons.answering.offset import EVEN_CHANCE, Answer, FaceMove, Feel
from coupons.answering.terminal import cell, plain
from coupons.answering.words import (
    PRACTICE,
    REHEARSED,
    chance,
    extrapolated,
    minus,
    move_data,
    named,
    percent,
    signed,
)
from coupons.terms import Grade

_WIDTHS = (18, 10, 17, 21, 9)

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


def ignored_columns(listed: JointList) -> str:
    """Say which columns of a list nothing is read from."""
    return f"columns that are not read: {', '.join(map(plain, listed.ignored))}."


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
    if joint.chance is not None and joint.chance < EVEN_CHANCE:
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
    yield from told_once(
        (joint.listed.name, warning) for joint in part.joints for warning in warnings(joint)
    )


def told_once(warned: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield each warning once, with the names of all that it is about."""
    told: dict[str, list[str]] = {}
    for name, warning in warned:
        told.setdefault(warning, []).append(name)
    for warning, names in told.items():
        yield f"{named(names)}: {warning}"


def _joint_lines(joint: JointAnswer) -> Iterator[str]:
    name, chance_text = joint.listed.name, chance(joint.chance) if joint.chance is not None else ""
    if joint.found is None:
        yield _line(name, wish(joint), "no answer", "", "")
    for number, move in enumerate(joint.moves):
        drawn = f"{move.form} {move.drawn_mm:.2f}"
        head = (name, wish(joint)) if number == 0 else ("", "")
        yield _line(*head, drawn, short_move(move), chance_text if number == 0 else "")


def _line(*cells: str) -> str:
    return " ".join(cell(text, n) for text, n in zip(cells, _WIDTHS, strict=True)).rstrip()


def together_sentence(part: PartAnswer) -> str:
    """Say the chance that all joints fit at once, what it is about, and how well it is known."""
    reasons = {
        "a gap wanted as a number has no chance": [
            joint.listed.name
            for joint in part.joints
            if joint.found is not None and joint.chance is None
        ],
        "no answer": [joint.listed.name for joint in part.joints if joint.found is None],
    }
    left_out = "; ".join(f"{named(names)} ({why})" for why, names in reasons.items() if names)
    sentence = _counted_sentence(part)
    return f"{sentence} Not counted: {left_out}." if left_out else sentence


def _counted_sentence(part: PartAnswer) -> str:
    n = len(part.counted)
    if n == 0:
        return "No joint has a chance to tell."
    worst = min(part.counted, key=lambda joint: joint.chance or 0.0)
    if n == 1:
        return f"{worst.listed.name} fits with {chance(part.together.chance)} chance."
    # Rounded up, to cover what it must.
    give_or_take = math.ceil(1000 * part.together.give_or_take) / 1000
    known = f"sampled, give or take {percent(give_or_take, 1)}"
    return (
        f"{'Both' if n == 2 else f'All {n}'} fit at once, on one print, with "
        f"{chance(part.together.chance)} chance ({known}); "
        f"least sure is {worst.listed.name} with {chance(worst.chance or 0.0)}."
    )


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
            "give_or_take": part.together.give_or_take,
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
