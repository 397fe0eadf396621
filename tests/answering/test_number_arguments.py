"""Values of a wrong type are refused by their names, all at once."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from coupons.answering.number_arguments import takes
from coupons.errors import AnswerError, PlanError, Problem


@takes()
def ask(
    size_mm: float,
    count: int = 1,
    bed_mm: tuple[float, float] | None = None,
    path: Path | str | None = None,
    name: str = "a",
    free: list[str] | None = None,
) -> str:
    """Return what was asked."""
    return f"{size_mm:g} {count} {bed_mm} {path} {name} {free}"


@pytest.mark.parametrize(
    "given",
    [
        {"size_mm": 12},
        {"size_mm": np.float64(12.5)},
        {"size_mm": float(Fraction(1, 2)), "count": np.int64(3)},
        {"size_mm": 1.0, "bed_mm": (220, 220.5)},
        {"size_mm": 1.0, "bed_mm": [220, 220]},
        {"size_mm": 1.0, "bed_mm": None, "path": None},
        {"size_mm": 1.0, "path": Path("run")},
        {"size_mm": 1.0, "path": "run", "name": ""},
        {"size_mm": 1.0, "free": "anything"},
    ],
)
def test_values_of_the_right_type_are_taken(given):
    assert ask(**given).startswith(f"{given['size_mm']:g} ")


NUMBER = ("a number", "Write it without quotes, such as 12.5")
COUNT = ("a whole number", "Write it without quotes, such as 3")
PAIR = ("two numbers", "Write them in round brackets, such as (220, 220)")
PATH = ("a path", 'Write it in quotes, such as "results/my-run"')
TEXT = ("a text", 'Write it in quotes, such as "x"')


@pytest.mark.parametrize(
    ("name", "value", "wanted"),
    [
        ("size_mm", "12", NUMBER),
        ("size_mm", None, NUMBER),
        ("size_mm", True, NUMBER),
        ("size_mm", (1, 2), NUMBER),
        ("count", 1.0, COUNT),
        ("count", False, COUNT),
        ("bed_mm", (1,), PAIR),
        ("bed_mm", (1, 2, 3), PAIR),
        ("bed_mm", (1, "2"), PAIR),
        ("bed_mm", (1, True), PAIR),
        ("bed_mm", 220, PAIR),
        ("path", 3, PATH),
        ("name", 3, TEXT),
        ("name", None, TEXT),
    ],
)
def test_values_of_a_wrong_type_are_refused_by_name(name, value, wanted):
    with pytest.raises(AnswerError) as refused:
        ask(**({"size_mm": 1.0} | {name: value}))
    assert refused.value.problems == (Problem(name, wanted[0], repr(value), wanted[1]),)


def test_all_that_is_wrong_is_said_at_once_and_long_values_are_cut():
    with pytest.raises(PlanError) as refused:
        _made("x" * 100, None)
    first, second = refused.value.problems
    assert (first.where, second.where) == ("size_mm", "count")
    assert first.got == "'" + "x" * 59


@takes(PlanError)
def _made(size_mm: float, count: int) -> float:
    return size_mm * count


def test_arguments_that_a_function_lacks_stay_an_error_of_python():
    assert _made(2.0, 3) == 6
    assert _made.__name__ == "_made"
    with pytest.raises(TypeError):
        _made(2.0, 3, 4)
    with pytest.raises(TypeError):
        _made(2.0)
