"""What was moved in relieved bodies, and what was left, in words and as a table."""

import csv
import io
import math
from collections.abc import Iterator, Sequence

from coupons.answering.joints.whole_part import JointAnswer
from coupons.answering.meet.beside import Beside, beside
from coupons.answering.meet.meetings import Met
from coupons.answering.offset import Answer
from coupons.answering.relieve.relieve import FaceStep, Side, Wanted
from coupons.answering.relieve.relieved_files import Written
from coupons.answering.words.joints import told_once, warnings
from coupons.answering.words.numbers import chance, signed
from coupons.neutral import one_line
from coupons.showing.words.terminal_tables import table

COLUMNS = (
    "joint",
    "body",
    "file",
    "faces",
    "offset_mm",
    "gap_asked_mm",
    "gap_in_files_mm",
    "volume_drawn_mm3",
    "volume_mm3",
    "chance",
)
_SAME_MM = 1e-6


def moved_lines(
    written: Written, wanted: tuple[Wanted, ...], joints: Sequence[JointAnswer]
) -> Iterator[str]:
    """Yield two tables for a terminal of 80 columns: the joints, and the bodies that changed."""
    found = chances(joints, wanted)
    rows, told = [], set()
    for pair, side, gap in _moved(written, wanted):
        known = found.get(pair.joint) if pair.joint not in told else None
        told.add(pair.joint)
        chance_text = "" if known is None else chance(known)
        rows.append((*_joint_row(written, pair, side, gap), chance_text))
    if rows:
        head = ("joint", "body", "faces", "from file, mm", "gap, mm", "chance")
        yield table(head, rows, right=(4,))
        yield ""
        yield "Each face moves from its place in the file. Gap: as written, over both sides."
    if written.volumes_mm3:
        yield ""
        yield table(("body", "file", "drawn, mm³", "now, mm³"), _body_rows(written), right=(2, 3))


def chances(joints: Sequence[JointAnswer], wanted: tuple[Wanted, ...]) -> dict[str, float]:
    """Return the chance of each joint by name; none for a gap in mm.

    Nor of a pin that is drawn with the gap of others, which its own chance does not tell about.
    """
    gaps_mm = {pair.joint: pair.gap_mm for pair in wanted}
    return {
        joint.listed.name: joint.chance
        for joint in joints
        if joint.chance is not None
        and not (
            isinstance(joint.found, Answer)
            and gaps_mm.get(joint.listed.name, 0.0) > joint.found.gap_mm + _SAME_MM
        )
    }


def cautions(joints: Sequence[JointAnswer]) -> dict[str, list[str]]:
    """Return what the answer of each joint warns of, by name; those without an answer have none."""
    return {
        joint.listed.name: told
        for joint in joints
        if joint.found is not None and (told := warnings(joint))
    }


def caution_lines(joints: Sequence[JointAnswer]) -> list[str]:
    """Say what the answers warn of, each warning once with its joints."""
    warned = cautions(joints)
    return list(told_once((name, told) for name, lines in warned.items() for told in lines))


def refused_lines(written: Written) -> list[str]:
    """Say of each joint that was left as drawn why, and what to do by hand."""
    relieved = written.relieved
    return [
        f"{one_line(name)}: left as drawn. {_sentence(reason)}"
        f"{_by_hand(relieved.by_hand.get(name, ()))}"
        for name, reason in relieved.refused.items()
    ]


def flat_lines(met: Met, written: Written) -> list[str]:
    """Say which flats beside a round that moved were not moved, and how far they should be."""
    lines = []
    for rest in met.rests:
        found = beside(met, rest)
        if found is None or found[0] is not Beside.FLAT_OF_ROUND:
            continue
        names = [met.bodies[number].body.name for number in rest.bodies]
        moves = [
            f"that of {step.side.body} by {_move(step.offset_mm)}"
            for step in written.relieved.moved
            if step.side.body in names and step.side.letters in found[1].labels
        ]
        if moves:
            lines.append(
                f"{rest.letter}, the flat beside the round of {found[1].letter}, was not moved. "
                f"Move it in your drawing, or it holds the pin: {', '.join(moves)}."
            )
    return lines


def _by_hand(steps: tuple[FaceStep, ...]) -> str:
    """Say how far faces should have moved."""
    moves = [f"{step.side.body} {step.side.letters} by {_move(step.offset_mm)}" for step in steps]
    if not moves:
        return ""
    return f" Move it in your drawing: each face of {', '.join(dict.fromkeys(moves))}."


def _move(offset_mm: float) -> str:
    return f"{signed(round(offset_mm, 3))} mm, {_way(offset_mm)} the material"


def _way(offset_mm: float) -> str:
    return "into" if offset_mm < 0 else "out of"


def moved_csv(written: Written, wanted: tuple[Wanted, ...], joints: Sequence[JointAnswer]) -> str:
    """Return what was moved as CSV: a row for each side of each pair of faces."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(moved_data(written, wanted, joints))
    return text.getvalue()


def moved_data(
    written: Written, wanted: tuple[Wanted, ...], joints: Sequence[JointAnswer]
) -> list[dict[str, object]]:
    """Return what was moved, a record for each side of each pair of faces."""
    found = chances(joints, wanted)
    return [
        {
            "joint": pair.joint,
            "body": side.body,
            "file": written.names.get(side.body, ""),
            "faces": side.letters,
            "offset_mm": _offset(written, side),
            "gap_asked_mm": round(_asked(pair, side), 4),
            "gap_in_files_mm": round(gap, 4),
            **_volumes(written, side.body),
            "chance": round(found[pair.joint], 4) if pair.joint in found else "",
        }
        for pair, side, gap in _moved(written, wanted)
    ]


def _volumes(written: Written, body: str) -> dict[str, object]:
    """Return a body's volumes as drawn and in its file; blank for one that did not change."""
    volumes = written.volumes_mm3.get(body)
    if volumes is None:
        return {"volume_drawn_mm3": "", "volume_mm3": ""}
    return {"volume_drawn_mm3": round(volumes[0], 3), "volume_mm3": round(volumes[1], 3)}


def _moved(written: Written, wanted: tuple[Wanted, ...]) -> Iterator[tuple[Wanted, Side, float]]:
    for pair, gap in zip(wanted, written.gaps_mm, strict=True):
        for side in pair.sides:
            if not math.isnan(gap) and side.is_internal in pair.sizes_mm:
                yield pair, side, gap


def _steps(written: Written, side: Side) -> list[FaceStep]:
    return [step for step in written.relieved.moved if step.side is side]


def _offset(written: Written, side: Side) -> float:
    """Return how far its faces were moved; 0 if they stay, being drawn as asked."""
    found = _steps(written, side)
    return round(found[0].offset_mm, 4) if found else 0.0


def _asked(pair: Wanted, side: Side) -> float:
    """Return the gap that was asked; with hardware, the size of the side."""
    return pair.gap_mm if len(pair.sides) == 2 else pair.sizes_mm[side.is_internal]


def _joint_row(written: Written, pair: Wanted, side: Side, gap: float) -> tuple[str, ...]:
    offset_mm = _offset(written, side)
    where = "one face" if side.is_internal in pair.one_face else "material"
    told = f"{gap:.3f}".replace("-", "−") if len(pair.sides) == 2 else f"⌀ {gap:.3f}"
    move = f"{signed(round(offset_mm, 3))} {_way(offset_mm)} {where}" if offset_mm else "stays"
    return pair.joint, side.body, side.letters, move, told


def _body_rows(written: Written) -> list[tuple[str, ...]]:
    return [
        (name, written.names[name], f"{drawn:,.1f}", f"{now:,.1f}")
        for name, (drawn, now) in written.volumes_mm3.items()
    ]


def _sentence(reason: str) -> str:
    text = one_line(reason)
    return f"{text[:1].upper()}{text[1:]}".rstrip(".") + "."
