"""The cells of a listed joint that has more than one pair of faces."""

from collections.abc import Callable, Mapping
from typing import Any

from coupons.answering.lengths import length_mm
from coupons.answering.several.kinds import TWO_SIZES, JointKind, Several
from coupons.answering.several.typed_kinds import read_sizes, several_of
from coupons.answering.standards.hardware import Hardware
from coupons.errors import AnswerError
from coupons.measuring.run.entries import near_miss
from coupons.terms import FITS, Grade

SEVERAL_COLUMNS = ("pitch_mm", "corner_mm", "leg_mm", "mouth_mm", "strain_limit")
Refuse = Callable[[str, str, str], None]


def kind_in(cells: Mapping[str, str]) -> JointKind | None:
    """Return the kind that the internal body names; None for a joint of one pair of faces."""
    return next((kind for kind in JointKind if kind.bodies[0] == cells["internal"].lower()), None)


def refuse_columns_of_several(cells: Mapping[str, str], refuse: Refuse) -> None:
    """Refuse what only joints of several pairs have, in the row of a joint of one."""
    for column in SEVERAL_COLUMNS:
        if cells[column]:
            kinds = ", ".join(kind.bodies[0] for kind in JointKind)
            todo = f"It belongs to joints of several pairs of faces: {kinds}"
            refuse(f"nothing in {column}", cells[column], todo)


def read_several(
    kind: JointKind, cells: Mapping[str, str], piece: Hardware | None, refuse: Refuse, **rest: Any
) -> Several | None:
    """Read the row of a joint of several pairs of faces, and refuse all that is wrong in it.

    Parameters
    ----------
    kind : JointKind
    cells : mapping of str to str
    piece : Hardware, optional
    refuse : callable
        Takes what was expected, what came and what to do.
    **rest
        Fields of `Several` that are read as those of all joints are.

    Returns
    -------
    Several or None
    """
    _refuse_odd_columns(kind, cells, piece, refuse)
    # What cannot be read in these has its own problem; something takes its place.
    read = {
        "sizes_mm": _sizes(kind, cells["size_mm"], piece, refuse),
        "fit": _fit(cells["fit"].lower(), refuse),
        "pitch_mm": _pitch(cells["pitch_mm"], refuse),
    }
    try:
        return several_of(
            kind,
            across=cells["across"].lower(),
            corners=cells["corner_mm"],
            leg=cells["leg_mm"],
            mouth=cells["mouth_mm"],
            strain_limit=cells["strain_limit"],
            hardware=piece,
            **read,
            **rest,
        )
    except AnswerError as error:
        for line in error.message.split("\n"):
            refuse(f"a {kind} joint that can be made", cells["name"], line)
        return None


def _refuse_odd_columns(
    kind: JointKind, cells: Mapping[str, str], piece: Hardware | None, refuse: Refuse
) -> None:
    external, slant = cells["external"].lower(), cells["slant_deg"]
    if external not in (("", kind.bodies[1]) if piece else (kind.bodies[1],)):
        todo = f"With {kind.bodies[0]} the other body is {kind.bodies[1]}"
        refuse(f"external {kind.bodies[1]}", external, todo)
    if contact := cells["contact_mm"]:
        todo = "Its fit is taken as tried on the coupon: leave it blank"
        refuse(f"nothing in contact_mm with {kind.bodies[0]}", contact, todo)
    if slant:
        todo = "Only slot/tongue and hole/pin can lean"
        refuse(f"nothing in slant_deg with {kind.bodies[0]}", slant, todo)


def _sizes(kind: JointKind, text: str, piece: Hardware | None, refuse: Refuse) -> tuple[float, ...]:
    if not text and piece is not None:
        return (piece.nominal_mm,)
    sizes_mm = read_sizes(text) if text else None
    if sizes_mm is None:
        refuse("size_mm, such as 12 or 40x25", text, "Write it in mm")
        return (10.0, 10.0) if kind in TWO_SIZES else (10.0,)
    return sizes_mm


def _fit(text: str, refuse: Refuse) -> Grade:
    if length_mm(text.removeprefix("gap")) is not None:
        todo = "A printed gap is for joints of one pair of faces: write a fit, such as slide"
        refuse(f"fit {', '.join(FITS)}", text, todo)
        return Grade.SLIDE
    if text not in FITS:
        refuse(f"fit {', '.join(FITS)}", text, near_miss(text, FITS, "Such as slide"))
        return Grade.SLIDE
    return Grade(text)


def _pitch(text: str, refuse: Refuse) -> float | None:
    pitch_mm = length_mm(text) if text else None
    if text and pitch_mm is None:
        refuse("pitch_mm in mm", text, "Such as 60")
        return 60.0
    return pitch_mm
