"""A direction in words: across the two faces of a flat form, along the axis of a round one.

Questions have one word for both, ``across``: the option, the column of a list and the argument.
"""

from collections.abc import Sequence

from coupons.answering.standards.hardware import Hardware
from coupons.terms import FLAT, Direction, Form, Joint


def way(form: Form, direction: Direction) -> str:
    """Say how a form lies to a printer axis.

    Examples
    --------
    >>> way(Form.SLOT, Direction.X), way(Form.HOLE, Direction.Z)
    ('across x', 'axis along z')
    """
    return f"across {direction}" if form in FLAT else f"axis along {direction}"


def joint_way(joint: Joint) -> str:
    """Say how the bodies of a joint lie to the printer axes: internal/external where they differ.

    Examples
    --------
    >>> joint_way(Joint(Form.SLOT, Form.TONGUE, 12, Direction.X))
    'across x'
    >>> joint_way(Joint(Form.HOLE, Form.PIN, 8, Direction.Z, Direction.X))
    'axis along z/x'
    """
    said = way(joint.internal, joint.direction)
    said = f"{said}/{joint.directions[1]}" if joint.lies_unlike else said
    return said if joint.slant is None else f"{said}, slanted {joint.slant.angle_deg:g} degrees"


def across_of(joint: Joint) -> str:
    """Write the directions of a joint as they are asked for: ``x``, ``z/x``, ``xz/xy``."""
    sides: list[tuple[Direction, ...]] = [(lies,) for lies in joint.directions]
    if joint.slant is not None and joint.internal in FLAT:
        sides = list(zip(joint.directions, joint.slant.pulls, strict=True))
    return written_across(sides)


def written_across(sides: Sequence[tuple[Direction, ...]]) -> str:
    """Write the directions of the internal and the external body as they are asked for.

    Examples
    --------
    >>> written_across([(Direction.Z, Direction.XY_PLUS), (Direction.X, Direction.Y)])
    'z,x+y/xy'
    """
    said = [("," if any(len(d) > 1 for d in side) else "").join(side) for side in sides]
    return "/".join(dict.fromkeys(said))


def sizes_in(form: Form, direction: Direction) -> str:
    """Name all features of a form that lie in one way.

    Examples
    --------
    >>> sizes_in(Form.SLOT, Direction.X), sizes_in(Form.HOLE, Direction.Z)
    ('slots across x', 'holes with their axis along z')
    """
    between = "" if form in FLAT else "with their "
    return f"{form}s {between}{way(form, direction)}"


def flats_hint(piece: Hardware | None, direction: Direction) -> str:
    """Say what a direction means for hardware with flats; empty for others.

    People who have just asked about the screw often give the axis of the screw.
    """
    if piece is None or piece.form not in FLAT:
        return ""
    others = " or ".join(axis for axis in ("x", "y", "z") if axis != direction)
    return (
        f"For {piece.name}, across {direction} means from flat to flat. If {direction} is the axis "
        f"of the screw, use across {others}."
    )


def face_hint(form: Form, direction: Direction) -> str:
    """Say what a direction means for a flat form; empty for a round one."""
    if form not in FLAT:
        return ""
    return f"For a flat joint, across {direction} means from face to face."
