"""The bodies of a listed joint in words and numbers: names, sizes to draw, offsets."""

from collections.abc import Iterator

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.joints.listed import ListedJoint, label_of
from coupons.answering.joints.whole_part import JointAnswer
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.answering.ways import across_of, written_across
from coupons.terms import Form


def named_moves(joint: JointAnswer) -> list[tuple[str, FaceMove]]:
    """Return what to do with each body that moves, and what it is called in its joint."""
    if not isinstance(joint.found, SeveralAnswer):
        return [(move.form, move) for move in joint.moves]
    moved = {id(move) for move in joint.moves}
    return [(name, move) for name, move in named_bodies(joint.found) if id(move) in moved]


def named_bodies(found: SeveralAnswer) -> list[tuple[str, FaceMove]]:
    """Return every printed body of each pair of faces, also one that stays, with its name.

    Of several pairs the name ends in the printer axis across them: ``plate x``. Where that would
    not tell them apart, they are numbered.
    """
    bodies = []
    for place, pair in enumerate(found.pairs):
        question = pair.alone.question
        moves = {move.form: move for move in pair.moves}
        for form, body in zip(question.joint.forms, found.question.kind.bodies, strict=True):
            if form in question.printed_forms:
                stays = FaceMove(form, 0.0, 2, question.joint.size_mm)
                name = f"{body}{_which(found, place, form)}"
                bodies.append((name, moves.get(form, stays)))
    return bodies


def _which(found: SeveralAnswer, place: int, form: Form) -> str:
    """Return what tells one pair of faces from the others of its joint."""
    if len(found.pairs) == 1:
        return ""
    every = [pair.alone.question.joint for pair in found.pairs]
    axes = [str(joint.direction_of(form)) for joint in every]
    is_plain = all(len(axis) == 1 for axis in axes) and len(set(axes)) == len(axes)
    return f" {axes[place]}" if is_plain else f" {place + 1}"


def numbers_explained(found: SeveralAnswer) -> str:
    """Say which pair of faces ``plate 1`` is; empty where the names say it by themselves."""
    told = []
    for place, pair in enumerate(found.pairs):
        joint = pair.alone.question.joint
        names = dict(zip(joint.forms, found.question.kind.bodies, strict=True))
        told += [
            f"{names[move.form]} {place + 1} is {joint.size_mm:g} mm, across "
            f"{joint.direction_of(move.form)}"
            for move in pair.moves
            if _which(found, place, move.form) == f" {place + 1}"
        ]
    return "; ".join(told)


def size_cells(joint: JointAnswer, form: Form, count: int = 0) -> list[str]:
    """Return the row of one body; empty for hardware, and without an answer.

    ``count`` numbers the pieces to choose from; 0 where there is one alone.
    """
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
        f"{label_of(joint.listed.name)}_{form}" + (f"_{count}" if count else ""),
    ]


def several_size_rows(joint: JointAnswer, found: SeveralAnswer) -> Iterator[list[str]]:
    """Yield the rows of both bodies of each pair of faces; labels end in the pair's axis."""
    for body, move in named_bodies(found):
        sizes = (move.drawn_mm, move.from_mm, move.offset_mm)
        label = f"{label_of(joint.listed.name)}_{body.replace(' ', '_')}"
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
