"""Values given from Python: one of a wrong type is refused by its name."""

import inspect
from collections.abc import Callable
from functools import wraps
from numbers import Integral, Real
from pathlib import Path
from types import NoneType, UnionType
from typing import ParamSpec, TypeVar, get_args

from coupons.errors import AnswerError, CouponError, Problem

Given = ParamSpec("Given")
Answered = TypeVar("Answered")

_PAIR = tuple[float, float]
_WANTED: dict[object, tuple[str, str]] = {
    int: ("a whole number", "Write it without quotes, such as 3"),
    float: ("a number", "Write it without quotes, such as 12.5"),
    _PAIR: ("two numbers", "Write them in round brackets, such as (220, 220)"),
    Path: ("a path", 'Write it in quotes, such as "results/my-run"'),
    str: ("a text", 'Write it in quotes, such as "x"'),
}
_LONGEST = 60  # signs of a wrong value that are shown


def takes(
    error: type[CouponError] = AnswerError,
) -> Callable[[Callable[Given, Answered]], Callable[Given, Answered]]:
    """Have a function refuse, in words, numbers, texts and paths of another type than annotated.

    Parameters
    ----------
    error : type of CouponError
        What to raise, with every wrong value at once. Arguments that the function does not have
        stay a `TypeError`.
    """

    def checked(ask: Callable[Given, Answered]) -> Callable[Given, Answered]:
        signature = inspect.signature(ask)
        allowed = {
            name: kinds
            for name, parameter in signature.parameters.items()
            if (kinds := _kinds(parameter.annotation)) <= {*_WANTED, NoneType}
        }

        @wraps(ask)
        def asked(*args: Given.args, **named: Given.kwargs) -> Answered:
            problems = [
                _problem(name, value, allowed[name])
                for name, value in signature.bind(*args, **named).arguments.items()
                if name in allowed and not _is_one_of(value, allowed[name])
            ]
            if problems:
                raise error(problems)
            return ask(*args, **named)

        return asked

    return checked


def _kinds(annotation: object) -> frozenset[object]:
    """Return the types that an annotation such as ``float | None`` allows."""
    if isinstance(annotation, UnionType):
        return frozenset(get_args(annotation))
    return frozenset({annotation})


def _is_one_of(value: object, kinds: frozenset[object]) -> bool:
    if isinstance(value, list | tuple):
        return _PAIR in kinds and len(value) == 2 and all(map(_is_number, value))
    if isinstance(value, Real):
        whole = int in kinds and isinstance(value, Integral)
        return (float in kinds or whole) and _is_number(value)
    return isinstance(value, tuple(kind for kind in kinds if isinstance(kind, type)))


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _problem(name: str, value: object, kinds: frozenset[object]) -> Problem:
    expected, todo = next(_WANTED[kind] for kind in _WANTED if kind in kinds)
    return Problem(name, expected, repr(value)[:_LONGEST], todo)
