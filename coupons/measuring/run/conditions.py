"""``conditions.toml``: what a coupon was printed with and which caliper read it."""

import json
import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import ConfigDict, Field, ValidationError, model_validator

from coupons.errors import ConditionsError, Problem
from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
from coupons.measuring.validation import problems_of
from coupons.models import StrictModel
from coupons.reading import load_toml, read_plain

FILE = "conditions.toml"
MOST_BYTES = 1_000_000

# One line, and nothing that steers a terminal or turns the direction of what stands beside it.
_PLAIN = r"^[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]*$"

Place = tuple[str, str]
"""Where a value stands in the file: its table, "" for none, and its key."""

Name = Annotated[str, Field(min_length=1, max_length=60, pattern=_PLAIN)]
Nozzle = Annotated[float, Field(gt=0.01, le=10)]
CaliperStep = Annotated[float, Field(ge=0.0001, le=1)]
LayerHeight = Annotated[float, Field(gt=0.001, le=5)]
JawLand = Annotated[float, Field(ge=0, le=5)]
Uncertainty = Annotated[float, Field(ge=0, le=1)]
Compensation = Annotated[float, Field(ge=-2, le=2)]
WallOrder = Literal["inner first", "outer first"]
Flow = Annotated[float, Field(ge=20, le=300)]


class _Table(StrictModel):
    model_config = ConfigDict(str_strip_whitespace=True)


class Caliper(_Table):
    """What reads the sizes: its last digit, and the width of the flat on its inside jaws.

    ``uncertainty_mm`` is the standard uncertainty of one reading, where a certificate says it.
    """

    resolution_mm: CaliperStep = 0.01
    jaw_land_mm: JawLand = 0.0
    uncertainty_mm: Uncertainty = 0.0


class Slicing(_Table):
    """Corrections that the slicer makes by itself: 0 for none, None if not filled in.

    Parameters
    ----------
    outlines_mm : float, optional
        How far it moves each face of every outline: + out of the material, − into it.
    holes_mm : float, optional
        How much it widens holes, on the diameter, in addition.
    first_layer_mm : float, optional
        How far it moves each face of the first layer into the material.
    wall_order : {"inner first", "outer first"}, optional
    flow_percent : float, optional
        Plastic laid, in percent of the line's width times height.
    """

    outlines_mm: Compensation | None = None
    holes_mm: Compensation | None = None
    first_layer_mm: Compensation | None = None
    wall_order: WallOrder | None = None
    flow_percent: Flow | None = None


class Rehearsal(_Table):
    """The virtual machine and the seed that the entries come from."""

    virtual_machine: Name
    seed: Annotated[int, Field(ge=0)]


class Conditions(_Table):
    """One machine, one material, one set of conditions. Lengths in mm, temperatures in °C."""

    machine: Name
    material: Name
    nozzle_mm: Nozzle
    layer_height_mm: LayerHeight
    nozzle_temp_c: Annotated[float, Field(ge=0, le=600)] | None = None
    bed_temp_c: Annotated[float, Field(ge=0, le=300)] | None = None
    speed_mm_s: Annotated[float, Field(gt=0, le=2000)] | None = None
    printed_on: date | None = None
    job: Name | None = None
    first_layer_height_mm: LayerHeight | None = None
    rehearsed: bool = False
    caliper: Caliper = Caliper()
    slicing: Slicing = Slicing()
    rehearsal: Rehearsal | None = None

    @model_validator(mode="after")
    def _a_rehearsal_says_so(self) -> Self:
        if self.rehearsal is not None and not self.rehearsed:
            raise ValueError("rehearsed = true above a table [rehearsal]")
        return self


OPTIONAL_KEYS = (
    "nozzle_temp_c",
    "bed_temp_c",
    "speed_mm_s",
    "printed_on",
)

_TEMPLATE = """\
# What this coupon was printed with. Write names between the quotes. Where a line starts with #,
# remove the # and put in your own value, with a decimal point.

machine = {machine}  # your name for the printer
material = {material}  # one material per run; add the colour if you keep several
nozzle_mm = {nozzle_mm}
layer_height_mm = {layer_height_mm}

# Helps to explain later why two runs differ.
# nozzle_temp_c = 210
# bed_temp_c = 60
# speed_mm_s = {default_speed:g}  # speed of the outer walls
# printed_on = 2026-01-31  # year-month-day
# job = "monday-1"  # one name for all that was printed in one go: it shares what a print differs by
# first_layer_height_mm = 0.2  # height of the first layer

# true only if `coupons rehearse` filled in the entries.
rehearsed = false

[caliper]
# resolution_mm = 0.01  # the smallest step of its display or scale
# jaw_land_mm = 0.3  # width of the flat on the edge of the inside jaws, 0 if they are sharp
# uncertainty_mm = 0.01  # standard uncertainty (k = 1) of a reading, if a certificate gives it

# Corrections that the slicer makes by itself; 0 if it makes none.
[slicing]
# outlines_mm = 0.0  # how far it moves each face of an outline: + out of the material, - into it
# holes_mm = 0.0  # how much it widens holes, on the diameter, in addition
# first_layer_mm = 0.0  # how far it moves each face of the first layer into the material
# wall_order = "inner first"  # or "outer first"
# flow_percent = 100
"""


def unsaid_of_slicing(conditions: Conditions) -> tuple[str, ...]:
    """Return the slicer's corrections that are not filled in; one word if it is all of them."""
    missing = [key for key, value in conditions.slicing if value is None]
    first = ["first_layer_height_mm"] if conditions.first_layer_height_mm is None else []
    if len(missing) == len(Slicing.model_fields):
        return (*first, "[slicing]")
    return (*first, *(f"slicing.{key}" for key in missing))


def toml_text(text: str) -> str:
    """Write text as a TOML string."""
    # JSON's escapes are TOML's, but for this one character that JSON leaves bare.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def conditions_text(
    machine: str,
    material: str,
    nozzle_mm: float,
    layer_height_mm: float,
    speed_mm_s: float | None = None,
    job: str = "",
) -> str:
    """Return a commented conditions.toml; a blank machine or material is left to fill in."""
    text = _TEMPLATE.format(
        machine=toml_text(machine),
        material=toml_text(material),
        nozzle_mm=nozzle_mm,
        layer_height_mm=layer_height_mm,
        default_speed=DEFAULT_SPEED_MM_S,
    )
    if speed_mm_s is not None:
        text = set_value(text, "", "speed_mm_s", f"{speed_mm_s:g}")
    return set_value(text, "", "job", toml_text(job)) if job else text


def read_conditions(path: Path, told: Mapping[Place, object] | None = None) -> Conditions:
    """Read the conditions of a run.

    Parameters
    ----------
    path : Path
    told : mapping of (table, key) to value, optional
        What was said elsewhere. It fills in what the file leaves out or blank and changes nothing
        that the file says. The table of keys that stand in none is "".

    Raises
    ------
    ConditionsError
        With every problem of the file at once.
    """
    return parse_conditions(read_text(path), told)


def read_text(path: Path) -> str:
    """Read the text of a conditions.toml.

    Raises
    ------
    ConditionsError
        If there is no such file, or it is not UTF-8.
    """
    try:
        return read_plain(path, MOST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        todo = "Copy it from a run of the same machine, or make the coupon again"
        problem = Problem(FILE, "the conditions of the print", "no such file", todo)
    except OSError as error:
        problem = Problem(FILE, "a file that can be read", error.strerror or "none")
    except UnicodeDecodeError:
        problem = Problem(FILE, "UTF-8 text", "other bytes", "Save it as UTF-8")
    raise ConditionsError([problem])


def parse_conditions(text: str, told: Mapping[Place, object] | None = None) -> Conditions:
    """Read the text of a conditions.toml; see `read_conditions`."""
    data = load_conditions(text)
    for (table, key), value in (told or {}).items():
        _fill_in(data, table, key, value)
    try:
        return Conditions.model_validate(data)
    except ValidationError as error:
        raise ConditionsError(problems_of(error, Conditions, FILE)) from None


def _fill_in(data: dict[str, Any], table: str, key: str, value: object) -> None:
    """Set a value that is missing or blank; anything but a table in place of one is kept."""
    within = data.setdefault(table, {}) if table else data
    if isinstance(within, dict) and not str(within.get(key, "")).strip():
        within[key] = value


def load_conditions(text: str) -> dict[str, Any]:
    """Load the TOML of a conditions.toml without checking its values.

    Raises
    ------
    ConditionsError
        With the line at which it stops being TOML.
    """
    return load_toml(text, FILE, ConditionsError)


def set_value(text: str, table: str, key: str, literal: str) -> str:
    """Set one value of a TOML text and leave every other line, with its comments, as it is.

    A line of that key is replaced, be it commented out or not; otherwise one is added at the end of
    the table, and the table at the end of the text if there is none.
    """
    lines = text.splitlines()
    starts = [at for at, line in enumerate(lines) if line.lstrip().startswith("[")]
    if table:
        heads = [at for at in starts if lines[at].split("#")[0].strip() == f"[{table}]"]
        if not heads:
            return "\n".join([*lines, "", f"[{table}]", f"{key} = {literal}"]) + "\n"
        first = heads[0] + 1
    else:
        first = 0
    last = next((at for at in starts if at >= first), len(lines))
    for at in range(first, last):
        match = re.fullmatch(rf"(?:#\s*)?{key}\s*=\s*(?:\"[^\"]*\"|[^\"#]*?)(\s+#.*)?", lines[at])
        if match:
            lines[at] = f"{key} = {literal}{match[1] or ''}"
            return "\n".join(lines) + "\n"
    while last > first and not lines[last - 1].strip():
        last -= 1
    return "\n".join([*lines[:last], f"{key} = {literal}", *lines[last:]]) + "\n"
