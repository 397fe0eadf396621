"""Words that people type: one of a few, or directions for two bodies."""

from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from enum import StrEnum
from typing import TypeAlias, TypeVar

from coupons.errors import AnswerError
from coupons.terms import Direction, Form, Joint, Slant

Word = TypeVar("Word", bound=StrEnum)

Sides: TypeAlias = tuple[tuple[Direction, ...], tuple[Direction, ...]]
"""Directions of the internal body and of the external one."""


def known(words: Iterable[Word], text: str, what: str) -> Word:
    """Return the allowed word that a text stands for.

    Raises
    ------
    AnswerError
        With all allowed words, and the nearest one.
    """
    allowed = {str(word): word for word in words}
    found = allowed.get(text.strip().lower())
    if found is None:
        near = get_close_matches(text.strip().lower(), allowed, 1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise AnswerError(f"Expected a {what} ({', '.join(allowed)}), got {text!r}.{hint}")
    return found


def read_across(text: str, axes: Sequence[str] = ("across",)) -> Sides:
    """Read the directions of a joint, one or more for each body: ``x``, ``z/x``, ``xy/xz``.

    Parameters
    ----------
    text : str
        Of the internal body, and after a slash of the external one if it lies otherwise. Several
        directions of a body follow one another, ``xy``; a comma may stand between, ``z,x+y``.
    axes : sequence of str
        What each direction of a body is, in words.

    Raises
    ------
    AnswerError
        If a word is no direction, or there are too few or too many.

    Examples
    --------
    >>> read_across("x"), read_across("z/x")
    (((<Direction.X: 'x'>,), (<Direction.X: 'x'>,)), ((<Direction.Z: 'z'>,), (<Direction.X: 'x'>,)))
    >>> [str(axis) for axis in read_across("z,x+y", ("axis", "pitch"))[0]]
    ['z', 'x+y']
    """
    sides = text.split("/")
    if len(sides) > 2:
        raise AnswerError(
            f"Write one direction for both bodies, such as x, or internal/external, such as z/x, "
            f"not {text!r}."
        )
    read = [_directions(side, text, axes) for side in sides]
    return read[0], read[-1]


def joint_with(
    internal: Form, external: Form, size_mm: float, sides: Sides, slant_deg: float | None = None
) -> Joint:
    """Return the joint of two forms whose bodies lie so; the second direction is the pull."""
    inner, outer = sides
    slant = None
    if slant_deg is not None:  # a round taper is pulled along its axis
        pull, other = inner[-1], outer[-1]
        slant = Slant(slant_deg, pull, other if other is not pull else None)
    other_way = outer[0] if outer[0] is not inner[0] else None
    return Joint(internal, external, size_mm, inner[0], other_way, slant)


def _directions(side: str, text: str, axes: Sequence[str]) -> tuple[Direction, ...]:
    words = [side] if len(axes) == 1 else side.split(",") if "," in side else list(side.strip())
    if len(words) != len(axes):
        such = "xy" if len(axes) == 2 else "x"
        raise AnswerError(
            f"Write {len(axes)} directions for each body, {' and '.join(axes)}, such as {such}, "
            f"not {text!r}."
        )
    found = tuple(known(Direction, word, "direction") for word in words)
    if len(set(found)) < len(found):
        raise AnswerError(f"The directions of a body must differ, {' and '.join(axes)}: {text!r}.")
    return found
