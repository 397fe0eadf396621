"""What people type for a joint of several pairs of faces: two sizes, corners, legs, kinds."""

from typing import Any

from coupons.answering.lengths import length_mm
from coupons.answering.several.kinds import AXES, Corners, JointKind, Legs, Several, check_several
from coupons.answering.strength.quantities import parse_share
from coupons.answering.typed_words import Sides, read_across
from coupons.errors import AnswerError
from coupons.terms import Direction


def kind_of(text: str | None) -> JointKind | None:
    """Return the kind that a joint is called by; None if it is a joint of one pair.

    Examples
    --------
    >>> kind_of("pocket/plate"), kind_of("slot/tongue")
    (<JointKind.POCKET: 'pocket/plate'>, None)
    """
    word = (text or "").strip().lower()
    return next((kind for kind in JointKind if kind == word), None)


def read_sizes(text: str) -> tuple[float, ...] | None:
    """Read one size, or two as ``40x25``, in mm; None if they are none.

    Examples
    --------
    >>> read_sizes("40x25"), read_sizes("8"), read_sizes("wide")
    ((40.0, 25.0), (8.0,), None)
    """
    parts = [length_mm(part) for part in text.lower().replace("×", "x").split("x")]
    found = tuple(part for part in parts if part is not None)
    return found if len(found) == len(parts) <= 2 else None


def read_corners(text: str) -> Corners:
    """Read drawn corner radii, internal/external: ``2/0.5``, ``relief/0.5``.

    Raises
    ------
    AnswerError
        If they cannot be read.

    Examples
    --------
    >>> read_corners("2/0.5"), read_corners("relief/0").internal_mm is None
    (Corners(internal_mm=2.0, external_mm=0.5), True)
    """
    internal, slash, external = text.strip().lower().partition("/")
    inner = None if internal == "relief" else length_mm(internal)
    outer = length_mm(external)
    if not slash or outer is None or (inner is None and internal != "relief"):
        raise AnswerError(
            "Write corner radii in mm as internal/external, such as 2/0.5, or relief/0.5 where the "
            f"internal corners are cut free, not {text[:60]!r}."
        )
    return Corners(inner, outer)


def read_legs(leg: str | None, mouth: str | None, limit: str | None) -> Legs | None:
    """Read free length x thickness of a leg, the mouth and the strain limit; None without all.

    Raises
    ------
    AnswerError
        With everything that cannot be read.

    Examples
    --------
    >>> read_legs("20x2", "7.2", "2 %")
    Legs(length_mm=20.0, thickness_mm=2.0, mouth_mm=7.2, strain_limit=0.02)
    """
    if not (leg or mouth or limit):
        return None
    wrong = []
    sizes = read_sizes(leg or "")
    if sizes is None or len(sizes) != 2:
        wrong.append(
            f"Write a leg as free length x thickness in mm, such as 20x2, not {(leg or '')[:60]!r}."
        )
    mouth_mm = length_mm(mouth) if mouth else None
    if mouth and mouth_mm is None:
        wrong.append(f"Write the mouth in mm, such as 7.2, not {mouth[:60]!r}.")
    share = parse_share(limit) if limit else None
    if limit and share is None:
        wrong.append(f"Write the strain limit as 0.02 or 2 %, not {limit[:60]!r}.")
    if wrong or sizes is None:
        raise AnswerError("\n".join(wrong))
    return Legs(sizes[0], sizes[1], mouth_mm, share)


# What is looked at in place of what could not be read, so that all other faults are told as well.
_ANY = (Direction.X, Direction.Y)
_ANY_LEGS = Legs(20.0, 2.0)


def several_of(
    kind: JointKind,
    *,
    across: str,
    corners: str | None = None,
    leg: str | None = None,
    mouth: str | None = None,
    strain_limit: str | None = None,
    **rest: Any,
) -> Several:
    """Return the question about a joint of several pairs, from what was typed.

    Parameters
    ----------
    kind : JointKind
    across, corners, leg, mouth, strain_limit : str, optional
        As typed; see `read_sides`, `read_corners` and `read_legs`.
    **rest
        All other fields of `Several`, read.

    Raises
    ------
    AnswerError
        With everything that cannot be read or makes no sense.
    """
    wrong: list[str] = []
    sides: Sides = (_ANY, _ANY)
    read, legs = Corners(), None
    try:
        sides = read_sides(kind, across)
    except AnswerError as error:
        wrong.append(error.message)
    try:
        read = read_corners(corners) if corners else Corners()
    except AnswerError as error:
        wrong.append(error.message)
    try:
        legs = read_legs(leg, mouth, strain_limit)
    except AnswerError as error:
        wrong.append(error.message)
        legs = _ANY_LEGS if kind is JointKind.LEGS else None
    asked = Several(kind, sides=sides, corners=read, legs=legs, **rest)
    try:
        check_several(asked)
    except AnswerError as error:
        wrong.append(error.message)
    if wrong:
        raise AnswerError("\n".join(wrong))
    return asked


def read_sides(kind: JointKind, across: str) -> Sides:
    """Read the directions of both bodies of such a joint.

    Raises
    ------
    AnswerError
        If they are not as many as the kind has, or no directions.
    """
    return read_across(across, AXES[kind])
