"""Validation errors of data models as problems in plain words."""

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, Field, ValidationError

from coupons.errors import Problem

_EXPECTED = {
    "bool_type": "true or false",
    "date_from_datetime_inexact": "a date such as 2026-01-31",
    "date_from_datetime_parsing": "a date such as 2026-01-31",
    "dict_type": "a table of names and values",
    "int_from_float": "a whole number",
    "int_type": "a whole number",
    "json_invalid": "valid JSON text, not nested too deep",
    "model_type": "a table of names and values",
    "string_pattern_mismatch": "words on one line, without control characters",
    "string_type": "text",
    "tuple_type": "a list",
}
NotNegative = Annotated[float, Field(ge=0), AfterValidator(abs)]
"""A number from 0 on; −0, which counts as negative where random numbers are drawn, becomes 0."""

_MOST = 60  # characters shown of what came


def problems_of(error: ValidationError, model: type[BaseModel], file: str) -> list[Problem]:
    """Return one problem for each finding, with its place in the file and what to do."""
    return [_problem(found, model, file) for found in error.errors()]


def _problem(found: Any, model: type[BaseModel], file: str) -> Problem:
    place = [_short(str(part)) for part in found["loc"]]
    where = f"{file} at {'.'.join(place)}" if place else file
    match found["type"]:
        case "missing":
            return Problem(where, "a value", "none", f"Add a line {place[-1]} = …")
        case "extra_forbidden":
            return _unknown_key(where, place, model)
        case "string_too_short":
            expected = f"the name of the {place[-1]}"
            return Problem(where, expected, "nothing", "Write it between the quotes")
        case "string_too_long":
            expected = f"at most {found['ctx']['max_length']} characters"
            return Problem(where, expected, f"{len(found['input'])}", "Shorten it")
        case "value_error":
            # Raised by our own models, worded as `expected`.
            return Problem(where, str(found["ctx"]["error"]), "", "Correct the values")
        case kind:
            expected = _EXPECTED.get(kind) or found["msg"].removeprefix("Input should be ")
    expected = expected.replace("a valid ", "a ")
    if expected.startswith(("greater", "less")):
        expected = f"a number {expected}"
    return Problem(where, expected, _short(repr(found["input"])), "Correct the value")


def _short(text: str) -> str:
    return text if len(text) <= _MOST else text[: _MOST - 1] + "…"


def _unknown_key(where: str, place: Sequence[str], model: type[BaseModel]) -> Problem:
    known = _keys(model, place[:-1])
    near = get_close_matches(place[-1], known, 1)
    todo = f"Did you mean {near[0]}?" if near else "Remove it, or make it a # comment"
    return Problem(where, "one of " + ", ".join(known), place[-1], todo)


def _keys(model: type[BaseModel], place: Sequence[str]) -> list[str]:
    """Return the keys that a model, or the table of it at ``place``, may have."""
    for table in place:
        if table not in model.model_fields:  # a step into a list, or to one of many names
            continue
        kinds = model.model_fields[table].annotation
        choices = [kinds, *getattr(kinds, "__args__", ())]
        model = next(kind for kind in choices if hasattr(kind, "model_fields"))
    return list(model.model_fields)
