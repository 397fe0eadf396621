"""Numbers that are given from Python: a text in the place of one is told by its name."""

from collections.abc import Callable
from functools import wraps
from numbers import Real
from typing import ParamSpec, TypeVar

from coupons.errors import AnswerError, Problem

Given = ParamSpec("Given")
Answered = TypeVar("Answered")


def takes_numbers(ask: Callable[Given, Answered]) -> Callable[Given, Answered]:
    """Have a function refuse what is no number where its keyword says that one belongs.

    Those are the keywords that end in ``_mm``, and ``at_least``.

    Raises
    ------
    AnswerError
        With all of them at once.
    """

    @wraps(ask)
    def asked(*args: Given.args, **named: Given.kwargs) -> Answered:
        problems = [
            Problem(name, "a number", repr(value)[:60], "Write it without quotes, such as 12.5")
            for name, value in named.items()
            if name.endswith("_mm") or name == "at_least"
            if value is not None and not isinstance(value, Real)
        ]
        if problems:
            raise AnswerError(problems)
        return ask(*args, **named)

    return asked
