"""What a data model finds wrong with a file, in words for the person who typed it."""

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ValidationError

from coupons.errors import Problem


def problems_of(error: ValidationError, model: type[BaseModel], file: str) -> list[Problem]:
    """Return one problem for each finding, with its place in the file and what to do."""
    return [_problem(found, model, file) for found in error.errors()]


def _problem(found: Any, model: type[BaseModel], file: str) -> Problem:
    place = [str(part) for part in found["loc"]]
    where = f"{file} at {'.'.join(place)}" if place else file
    got = repr(found["input"])[:60]
    match found["type"]:
        case "missing":
            return Problem(where, "a value", "no such line", f"Add a line {place[-1]} = …")
        case "extra_forbidden":
            return _unknown_key(where, place, model)
        case "string_too_short":
            expected = f"the name of the {place[-1]}"
            return Problem(where, expected, "nothing", "Write it in the quotes")
        case "string_too_long":
            expected = f"at most {found['ctx']['max_length']} characters"
            return Problem(where, expected, f"{len(found['input'])}", "Shorten it")
        case "value_error":
            # Raised by our own models, worded as `expected`.
            return Problem(where, str(found["ctx"]["error"]), "", "Correct the values")
    expected = found["msg"].removeprefix("Input should be ").replace("a valid ", "a ")
    if expected.startswith(("greater", "less")):
        expected = f"a number {expected}"
    return Problem(where, expected, got, "Correct the value")


def _unknown_key(where: str, place: Sequence[str], model: type[BaseModel]) -> Problem:
    known = _keys(model, place[:-1])
    near = get_close_matches(place[-1], known, 1)
    todo = f"Did you mean {near[0]}?" if near else "Remove it, or make it a # comment"
    return Problem(where, "one of " + ", ".join(known), place[-1], todo)


def _keys(model: type[BaseModel], place: Sequence[str]) -> list[str]:
    """Return the keys that a model, or the table of it at ``place``, may have."""
    for table in place:
        kinds = model.model_fields[table].annotation
        choices = [kinds, *getattr(kinds, "__args__", ())]
        model = next(kind for kind in choices if hasattr(kind, "model_fields"))
    return list(model.model_fields)
