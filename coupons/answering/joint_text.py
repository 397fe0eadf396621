"""Joints, hardware, limits and beds as people write them in a question."""

from coupons.answering.chances.pairs import odd_pair
from coupons.answering.standards.hardware import Hardware
from coupons.answering.standards.iso286 import Limits, limits
from coupons.answering.typed_words import joint_with, known, read_across
from coupons.errors import AnswerError
from coupons.terms import FLAT, INTERNAL, Bed, Form, Joint, MovingBody


def bed_of(text: str | None) -> Bed | None:
    """Return what stands on the bed, None where nobody said.

    Raises
    ------
    AnswerError
        If the word is not known.
    """
    return None if text is None else known(Bed, text, "body on the bed")


def joint_of(
    text: str | None, size_mm: float | None, across: str, slant_deg: float | None = None
) -> Joint:
    """Return the joint between two printed bodies.

    Raises
    ------
    AnswerError
        If its forms or its size are missing.
    """
    if text is None or size_mm is None:
        raise AnswerError("Give the joint, such as slot/tongue, and its size, or hardware.")
    return parse_joint(text, size_mm, across, slant_deg)


def hardware_joint(
    piece: Hardware,
    across: str,
    text: str | None = None,
    size_mm: float | None = None,
    move: MovingBody | None = None,
) -> Joint:
    """Return the joint that a piece of hardware makes, with its nominal size.

    Raises
    ------
    AnswerError
        If another joint or size is given, or a body to move that is not the printed one.
    """
    joint = parse_joint("/".join(piece.forms), piece.nominal_mm, across)
    wrong: list[str] = []
    if joint.lies_unlike:
        wrong.append(f"Only one body is printed with {piece.name}: give one direction.")
    if text is not None and parse_joint(text, piece.nominal_mm, across) != joint:
        wrong.append(f"{piece.name} makes a {'/'.join(piece.forms)} joint, not {text}.")
    if size_mm is not None and abs(size_mm - piece.nominal_mm) > 1e-6:
        wrong.append(f"{piece.name} is {piece.nominal_mm:g} mm, not {size_mm:g}: leave it out.")
    if move not in (None, piece.move):
        wrong.append(
            f"Only the printed body can move, and with {piece.name} that is the {piece.move} one, "
            f"not {move}."
        )
    if wrong:
        raise AnswerError("\n".join(wrong))
    return joint


def side_limits(code: str, form: Form) -> Limits:
    """Read limits such as ``8 H13`` or ``8 ±0.1`` for one form; a capital letter is for internal.

    Raises
    ------
    AnswerError
        If the code cannot be read, or is for the other side.
    """
    band = limits(code)
    if band.is_hole not in (None, form in INTERNAL):
        side = "a hole or a slot" if band.is_hole else "a pin or a tongue"
        raise AnswerError(f"{band.code} is a tolerance of {side}, not of a {form}.")
    return band


def parse_joint(text: str, size_mm: float, across: str, slant_deg: float | None = None) -> Joint:
    """Read ``slot/tongue`` with its size and direction, and with its slant if its faces lean.

    Raises
    ------
    AnswerError
        If the text is not two forms with a slash between.
    """
    parts = text.strip().lower().split("/")
    if len(parts) != 2:
        raise AnswerError(f"Write a joint as internal/external, such as slot/tongue, not {text!r}.")
    internal, external = (known(Form, part, "form") for part in parts)
    unlike = odd_pair(internal, external)
    if unlike:
        raise AnswerError(unlike)
    axes = (
        ("across", "along the pull") if slant_deg is not None and internal in FLAT else ("across",)
    )
    sides = read_across(across, axes)
    return joint_with(internal, external, size_mm, sides, slant_deg)
