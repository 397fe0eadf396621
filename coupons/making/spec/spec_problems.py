"""Validation errors of a spec as problems: the path of the value, and what is wrong with it."""

from collections.abc import Mapping, Sequence
from typing import Any

from coupons.errors import Problem

KINDS = ("fit", "hardware", "insert", "sizes", "spans", "swell", "thread")
NAME = r"^[^\W\d_][\w.-]{0,15}$"
"""A name of a size: a spreadsheet would take one of digits for a number or a date."""

_TAGS = (*KINDS, "range", "list")  # steps of the validator's path that no one wrote


# What TOML calls the shapes that a value can have.
_SHAPES = {"tuple_type": "a list", "model_type": "a table of keys and values"}


def problems_of(where: str, errors: Sequence[Any]) -> list[Problem]:
    """Return each finding as a problem of the file ``where``."""
    places = [error["loc"] for error in errors]

    def has_faulty_items(loc: tuple[object, ...]) -> bool:
        return any(place[: len(loc)] == loc and len(place) > len(loc) for place in places)

    # A list that is too short only because its items are at fault is not a finding of its own.
    telling = [e for e in errors if e["type"] != "too_short" or not has_faulty_items(e["loc"])]
    return [_problem(where, error) for error in telling]


def unknown_key(where: str, key: str) -> Problem:
    """Return the problem of a key that no spec has."""
    return Problem(f"{where} {key}", "a known key", key, "Remove it or correct its spelling")


def _problem(where: str, error: Mapping[str, Any]) -> Problem:
    place = f"{where} {_path(error['loc'])}".strip()
    kind, message = error["type"], error["msg"]
    if kind == "extra_forbidden":
        return unknown_key(place.rsplit(" ", 1)[0], str(error["loc"][-1]))
    if kind == "missing":
        return Problem(place, "a value", "nothing", "Add the key")
    if kind == "value_error":
        expected, _, got = message.removeprefix("Value error, ").partition(", got ")
        return Problem(place, expected, got)
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        given = error["input"]
        found = given.get("kind", "nothing") if isinstance(given, dict) else given
        return Problem(f"{place} kind", f"{', '.join(KINDS[:-1])} or {KINDS[-1]}", _short(found))
    return Problem(place, _expected(kind, message, error.get("ctx", {})), _short(error["input"]))


def _path(steps: Sequence[object]) -> str:
    """Word a path such as ('row', 1, 'fit', 'size_mm') as 'row 2 size_mm'."""
    counted = (str(step + 1) if isinstance(step, int) else str(step) for step in steps)
    return " ".join(step for step in counted if step not in _TAGS)


def _expected(kind: str, message: str, limits: Mapping[str, Any]) -> str:
    if kind in ("too_short", "string_too_short"):
        things = "character" if kind.startswith("string") else "item"
        return f"at least {limits['min_length']} {things}"
    if kind in ("too_long", "string_too_long"):
        things = "characters" if kind.startswith("string") else "items"
        return f"at most {limits['max_length']} {things}"
    if kind == "string_pattern_mismatch" and limits["pattern"] == NAME:
        return "a letter, then letters, digits, points or dashes, 16 characters at most"
    if kind == "string_pattern_mismatch":
        return "one letter from A to Z except I, O and Q, which look like digits"
    return _SHAPES.get(kind) or message.removeprefix("Input should be ")


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
