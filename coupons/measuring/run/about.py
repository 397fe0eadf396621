"""Answers about the print, given on the entry page and saved in its ``entries.csv``.

Each answer is a row of kind ``about``: what it is about in the column ``feature``, the answer in
the column ``note``. Results stay blank, so that nothing that counts entries counts them. They fill
in what conditions.toml leaves out; where the two differ, conditions.toml is used, and the checks
say so.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from pydantic import BaseModel, ConfigDict, ValidationError

from coupons.errors import Problem
from coupons.making.record import Coupon
from coupons.measuring.run.conditions import FILE as CONDITIONS_FILE
from coupons.measuring.run.conditions import (
    CaliperStep,
    Compensation,
    Conditions,
    Flow,
    JawLand,
    LayerHeight,
    Name,
    Place,
    WallOrder,
)
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.sheet import FILE, Row
from coupons.measuring.validation import problems_of

KIND = "about"
# Where each answer stands in conditions.toml.
PLACES: dict[str, Place] = {
    "machine": ("", "machine"),
    "material": ("", "material"),
    "printed_on": ("", "printed_on"),
    "first_layer_height_mm": ("", "first_layer_height_mm"),
    "resolution_mm": ("caliper", "resolution_mm"),
    "jaw_land_mm": ("caliper", "jaw_land_mm"),
    "outlines_mm": ("slicing", "outlines_mm"),
    "holes_mm": ("slicing", "holes_mm"),
    "first_layer_mm": ("slicing", "first_layer_mm"),
    "wall_order": ("slicing", "wall_order"),
    "flow_percent": ("slicing", "flow_percent"),
}
_IDENTITY = ("coupon", "run")  # which coupon and which print the page was made for


class _Told(BaseModel):
    """The answers as they must be; numbers and dates come as text."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)

    coupon: Name | None = None
    run: Name | None = None
    machine: Name | None = None
    material: Name | None = None
    printed_on: date | None = None
    first_layer_height_mm: LayerHeight | None = None
    resolution_mm: CaliperStep | None = None
    jaw_land_mm: JawLand | None = None
    outlines_mm: Compensation | None = None
    holes_mm: Compensation | None = None
    first_layer_mm: Compensation | None = None
    wall_order: WallOrder | None = None
    flow_percent: Flow | None = None


@dataclass(frozen=True)
class About:
    """The answers of a sheet by key, the row of each, and their problems."""

    values: Mapping[str, object]
    rows: Mapping[str, int]
    problems: tuple[Problem, ...] = ()

    @property
    def conditions(self) -> dict[Place, object]:
        """The answers by their place in conditions.toml."""
        return {PLACES[key]: value for key, value in self.values.items() if key in PLACES}


NOTHING = About({}, {})


def read_about(rows: Iterable[Row], coupon: Coupon | None) -> About:
    """Read the rows of kind ``about``.

    A sheet from the page of another coupon or print is a problem: its ids mean other pieces.
    """
    told: dict[str, str] = {}
    at: dict[str, int] = {}
    problems: list[Problem] = []
    for row in rows:
        text = row.note or row.result
        key = row.feature.lower()
        if row.kind.lower() != KIND or not text:
            continue
        if told.setdefault(key, _plain(key, text)) != _plain(key, text):
            expected = f"one answer about {key}"
            got = f"{text!r}, after {told[key]!r} in row {at[key]}"
            problems.append(Problem(_where(row.number), expected, got, "Clear the wrong one"))
        at.setdefault(key, row.number)
    try:
        found = _Told.model_validate(told)
    except ValidationError as error:
        problems += _placed(error, at)
        return About({}, at, tuple(problems))
    values = {key: value for key, value in found if value is not None}
    return About(values, at, (*problems, *_of_another(values, at, coupon)))


def identity(coupon: Coupon) -> dict[str, str]:
    """Return the answers that identify the coupon and the print of a sheet."""
    own = {"coupon": f"{coupon.spec.name} {coupon.spec.digest[:12]}"}
    return own | ({"run": coupon.run.id} if coupon.run is not None else {})


def limits(key: str) -> dict[str, float]:
    """Return the limits of a numeric answer: above or least, and most. Empty for words."""
    rules = _Told.model_json_schema()["properties"][key]["anyOf"][0]
    names = {"exclusiveMinimum": "above", "minimum": "least", "maximum": "most"}
    return {short: rules[name] for name, short in names.items() if name in rules}


def _placed(error: ValidationError, at: Mapping[str, int]) -> Iterator[Problem]:
    """Yield the problems of the answers with their rows in the sheet."""
    for problem, found in zip(problems_of(error, _Told, FILE), error.errors(), strict=True):
        row = at[str(found["loc"][0])]
        yield Problem(
            f"{_where(row)} (about {found['loc'][0]})", problem.expected, problem.got, problem.todo
        )


def _where(row: int) -> str:
    return f"{FILE} row {row}"


def _plain(key: str, text: str) -> str:
    """Return a decimal comma as a point, and a date of day, month and year the other way round."""
    if key == "printed_on":
        day_first = re.fullmatch(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", text)
        return "{2}-{1:0>2}-{0:0>2}".format(*day_first.groups()) if day_first else text
    if key.endswith(("_mm", "_percent")):
        return re.sub(r"^([+-]?\d*),(\d+)$", r"\1.\2", text.replace("−", "-"))
    return text


def _of_another(
    values: Mapping[str, object], at: Mapping[str, int], coupon: Coupon | None
) -> list[Problem]:
    if coupon is None:
        return []
    own = identity(coupon)
    todo = "Move this file to the folder of its own run, and put this run's file here"
    for key in _IDENTITY:
        if key in values and key in own and values[key] != own[key]:
            got = f"entries of another {key}{_whose(values)}"
            return [Problem(_where(at[key]), f"entries of this {key}", got, todo)]
    return []


def _whose(values: Mapping[str, object]) -> str:
    names = [str(values[key]) for key in ("machine", "material") if key in values]
    return f" ({', '.join(names)})" if names else ""


def disagreements(conditions: Conditions, about: About, coupon: Coupon | None) -> list[Finding]:
    """Find answers that differ from conditions.toml or from the coupon's record."""
    found = []
    for key, value in about.values.items():
        if key not in PLACES:
            continue
        table, name = PLACES[key]
        stated = getattr(getattr(conditions, table) if table else conditions, name)
        if stated != value:
            what = f"{name} is {stated} here, but {value} on the entry page"
            todo = f"{CONDITIONS_FILE} is used; correct it there, or clear the row in {FILE}"
            where = f"{CONDITIONS_FILE} at {'.'.join(filter(None, (table, name)))}"
            found.append(Finding("look", where, what, todo))
    if coupon is not None and coupon.run is not None:
        found += _renamed(conditions, coupon, about)
    return found


def _renamed(conditions: Conditions, coupon: Coupon, about: About) -> Iterator[Finding]:
    """Find machine and material names that differ between the coupon and the conditions."""
    for key in ("machine", "material"):
        made, stated = getattr(coupon.run, key), getattr(conditions, key)
        if made and made != stated and key not in about.values:
            what = f"{key} is {stated} here, but the coupon was made for {made}"
            todo = f"{CONDITIONS_FILE} is used; check that each file is in the folder of its run"
            yield Finding("look", f"{CONDITIONS_FILE} at {key}", what, todo)
