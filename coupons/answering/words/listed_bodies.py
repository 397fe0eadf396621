"""The bodies of a listed joint in words and numbers: names, sizes to draw, offsets."""

from collections.abc import Iterator

from coupons.answering.drawing import FaceMove
from coupons.answering.joints.joint_list import ListedJoint, label_of
from coupons.answering.joints.part import JointAnswer
from coupons.answering.several.answer import SeveralAnswer
from coupons.answering.ways import across_of, written_across
from coupons.terms import Form


def named_moves(joint: JointAnswer) -> list[tuple[str, FaceMove]]:
    """Return what to do with each body, with what the body is called in its joint."""
    found = joint.found
    if not isinstance(found, SeveralAnswer):
        return [(move.form, move) for move in joint.moves]
    moves = []
    for number, pair in enumerate(found.pairs):
        called = dict(zip(pair.alone.question.joint.forms, found.question.kind.bodies, strict=True))
        more = f" {number + 1}" if len(found.pairs) > 1 else ""
        moves += [(f"{called[move.form]}{more}", move) for move in pair.moves]
    return moves


def size_cells(joint: JointAnswer, form: Form) -> list[str]:
    """Return the row of one body; empty for hardware, and without an answer."""
    drawn_mm = joint.drawn_mm(form)
    if drawn_mm is None:
        return []
    stays = FaceMove(form, 0.0, 2, drawn_mm)
    move = next((move for move in joint.moves if move.form is form), stays)
    return [
        joint.listed.name,
        form,
        *(number(mm) for mm in (move.drawn_mm, move.from_mm, move.offset_mm)),
        str(move.faces),
        f"{label_of(joint.listed.name)}_{form}",
    ]


def several_size_rows(joint: JointAnswer, found: SeveralAnswer) -> Iterator[list[str]]:
    """Yield the rows of both bodies of each pair of faces; the second pair's labels end in 2."""
    internal, external = found.question.kind.bodies
    for place, pair in enumerate(found.pairs):
        forms = pair.alone.question.joint.forms
        for form, body in zip(forms, (internal, external), strict=True):
            if form not in pair.alone.question.printed_forms:
                continue
            stays = FaceMove(form, 0.0, 2, pair.alone.question.joint.size_mm)
            move = next((move for move in pair.moves if move.form is form), stays)
            label = f"{label_of(joint.listed.name)}_{body}" + (f"_{place + 1}" if place else "")
            sizes = (move.drawn_mm, move.from_mm, move.offset_mm)
            yield [joint.listed.name, body, *map(number, sizes), str(move.faces), label]


def bodies_of(listed: ListedJoint) -> tuple[str, str]:
    """Return what the internal and the external body of a joint are called."""
    return listed.joint.forms if listed.several is None else listed.several.kind.bodies


def size_of(listed: ListedJoint) -> str:
    """Write the nominal size of a joint, or both: ``40x25``."""
    sizes_mm = (listed.joint.size_mm,) if listed.several is None else listed.several.sizes_mm
    return "x".join(f"{mm:g}" for mm in sizes_mm)


def listed_across(listed: ListedJoint) -> str:
    """Write the directions of a joint as they are listed."""
    if listed.several is None:
        return across_of(listed.joint)
    return written_across(listed.several.sides)


def numbers(joint: JointAnswer, form: Form, *, offsets: bool = False) -> str:
    """Write the drawn size of a body, or its offset; of several pairs each, with an x between."""
    found = joint.found
    if not isinstance(found, SeveralAnswer):
        moved = {move.form: move.offset_mm for move in joint.moves}
        return number(moved.get(form) if offsets else joint.drawn_mm(form))
    numbers = []
    for pair in found.pairs:
        if form not in pair.alone.question.printed_forms:
            continue
        move = next((move for move in pair.moves if move.form is form), None)
        stays = None if offsets else pair.alone.question.joint.size_mm
        if move is not None:
            stays = move.offset_mm if offsets else move.drawn_mm
        numbers.append(number(stays))
    return "x".join(filter(None, numbers))


def number(mm: float | None) -> str:
    """Write a length in mm for a spreadsheet; nothing for none."""
    return "" if mm is None else f"{mm:.4f}".rstrip("0").rstrip(".")
