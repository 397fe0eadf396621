"""A coupon spec: what to print, as rows of features, read from TOML.

Everything that is wrong with the shape of a file is reported at once, each problem with its path.
Whether the geometry can be made is for :mod:`coupons.making.plan` to say.
"""

import hashlib
import itertools
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    ValidationError,
    model_validator,
)

from coupons.errors import Problem, SpecError
from coupons.making.proportions import LARGEST_MM, SMALLEST_MM
from coupons.terms import EXTERNAL, ROUND, Direction, Form

ROW_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # without I, O and Q, which read as 1 and 0

Size = Annotated[float, Field(ge=SMALLEST_MM, le=LARGEST_MM, allow_inf_nan=False)]
Gap = Annotated[float, Field(ge=-1.0, le=3.0, allow_inf_nan=False)]
Wall = Annotated[float, Field(ge=0.5, le=50, allow_inf_nan=False)]
Depth = Annotated[float, Field(ge=2.0, le=40, allow_inf_nan=False)]
Copies = Annotated[int, Field(ge=1, le=5, strict=True)]
Every = Annotated[int, Field(ge=1, le=99, strict=True)]
Gaps = Annotated[tuple[Gap, ...], Field(min_length=1, max_length=300)]
Line = Annotated[str, Field(min_length=1, max_length=200)]
RowId = Annotated[str, Field(pattern=f"^[{ROW_LETTERS}]$")]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class GapRange(_Model):
    """Evenly stepped gaps, both ends included."""

    start: Gap
    stop: Gap
    step: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]

    def values(self) -> tuple[float, ...]:
        """Return the gaps, rounded to 0.1 µm so that steps do not drift."""
        count = int((self.stop - self.start) / self.step + 1e-6) + 1
        return tuple(round(self.start + i * self.step, 4) for i in range(count))


class Assumed(_Model):
    """The machine that the spec has in mind; every value can be overridden when making."""

    bed_mm: tuple[Size, Size] = (180.0, 180.0)
    layer_height_mm: Annotated[float, Field(ge=0.04, le=1.0, allow_inf_nan=False)] = 0.2
    nozzle_mm: Annotated[float, Field(ge=0.1, le=1.5, allow_inf_nan=False)] = 0.4


class _Row(_Model):
    """What all rows can say."""

    id: RowId | None = None
    note: Line | None = None
    wall_mm: Wall = 3.0
    depth_mm: Depth = 3.6
    length_mm: Annotated[float, Field(ge=4.0, le=60, allow_inf_nan=False)] = 7.0


class _Gapped(_Row):
    form: Form
    direction: Direction
    gaps_mm: Annotated[
        Annotated[GapRange, Tag("range")] | Annotated[Gaps, Tag("list")],
        Discriminator(lambda given: "list" if isinstance(given, list | tuple) else "range"),
    ]
    read_every: Every = 3

    def gaps(self) -> tuple[float, ...]:
        """Return the gaps in rising order."""
        return self.gaps_mm.values() if isinstance(self.gaps_mm, GapRange) else self.gaps_mm

    @model_validator(mode="after")
    def _possible(self) -> "_Gapped":
        _check_direction(self.form, self.direction)
        _check_rising("gaps_mm", self.gaps())
        return self


class FitRow(_Gapped):
    """Fixed features graded by gap, and loose gauges of one size to try in or on them."""

    kind: Literal["fit"]
    size_mm: Size
    gauges: Copies = 2


class HardwareRow(_Gapped):
    """Fixed features graded by gap for a bought piece of known size."""

    kind: Literal["hardware"]
    name: Line
    nominal_mm: Size
    limits_mm: tuple[float, float]
    outer_mm: Size | None = None

    @model_validator(mode="after")
    def _outer_with_posts(self) -> "HardwareRow":
        if self.form in EXTERNAL and self.outer_mm is None:
            raise ValueError("outer_mm of a bought piece that goes over a post, got nothing")
        return self

    @model_validator(mode="after")
    def _limits_rise(self) -> "HardwareRow":
        low, high = self.limits_mm
        if not -1 <= low <= high <= 1:
            raise ValueError(f"limits_mm as two deviations, lower first, got {low} and {high}")
        return self

    @property
    def size_mm(self) -> float:
        """The middle of the tolerance band."""
        return round(self.nominal_mm + sum(self.limits_mm) / 2, 6)


class SizesRow(_Row):
    """Features of several sizes that only the caliper (or a drill shank) meets."""

    kind: Literal["sizes"]
    form: Form
    direction: Direction
    sizes_mm: Annotated[tuple[Size, ...], Field(min_length=1, max_length=300)]

    @model_validator(mode="after")
    def _possible(self) -> "SizesRow":
        _check_direction(self.form, self.direction)
        _check_rising("sizes_mm", self.sizes_mm)
        return self


class SpansRow(_Row):
    """A castellated rule: blocks and notches in turn along one direction, and its whole length."""

    kind: Literal["spans"]
    direction: Direction
    tongues_mm: Annotated[tuple[Size, ...], Field(min_length=2, max_length=60)]
    slots_mm: Annotated[tuple[Size, ...], Field(min_length=1, max_length=59)]

    @model_validator(mode="after")
    def _alternate(self) -> "SpansRow":
        if self.direction is Direction.Z:
            raise ValueError("a rule along x, y, x+y or x-y, got z; use kind = 'sizes' for heights")
        if len(self.slots_mm) != len(self.tongues_mm) - 1:
            raise ValueError(
                f"one slot fewer than tongues, got {len(self.tongues_mm)} tongues and "
                f"{len(self.slots_mm)} slots"
            )
        return self


class SwellRow(_Row):
    """Thin tiles met at the first layer, with no chamfer to hide its swell."""

    kind: Literal["swell"]
    direction: Literal[Direction.X, Direction.Y]
    tongues_mm: Annotated[tuple[Size, ...], Field(min_length=1, max_length=30)]
    slots_mm: Annotated[tuple[Size, ...], Field(max_length=30)] = ()


Row = FitRow | HardwareRow | SizesRow | SpansRow | SwellRow


class Spec(_Model):
    """A whole coupon spec."""

    title: Line
    about: Annotated[str, Field(max_length=2000)] = ""
    assumed: Assumed = Assumed()
    rows: Annotated[
        tuple[Annotated[Row, Field(discriminator="kind")], ...],
        Field(alias="row", min_length=1, max_length=len(ROW_LETTERS)),
    ]
    name: str = "spec"
    digest: str = ""

    def row_ids(self) -> tuple[str, ...]:
        """Return the letter of each row: its own, or the next one that nobody claims."""
        claimed = {row.id for row in self.rows if row.id}
        free = iter(letter for letter in ROW_LETTERS if letter not in claimed)
        return tuple(row.id or next(free) for row in self.rows)

    @model_validator(mode="after")
    def _ids_differ(self) -> "Spec":
        own = [row.id for row in self.rows if row.id]
        twice = sorted({letter for letter in own if own.count(letter) > 1})
        if twice:
            raise ValueError(f"row ids that differ, got {', '.join(twice)} twice")
        return self


def _check_direction(form: Form, direction: Direction) -> None:
    allowed = ("x", "y", "z") if form in ROUND else tuple(Direction)
    if direction not in allowed:
        raise ValueError(f"direction of a {form} as one of {', '.join(allowed)}, got {direction}")


def _check_rising(key: str, values: tuple[float, ...]) -> None:
    if any(b <= a for a, b in itertools.pairwise(values)):
        raise ValueError(f"{key} in rising order without repeats, got {list(values)}")


def specs_folder() -> Path:
    """Return where the shipped specs are: beside the package in a checkout, in it in a wheel."""
    package = Path(__file__).resolve().parent.parent
    packed = package / "_specs"
    return packed if packed.is_dir() else package.parent / "coupon_specs"


def shipped_specs() -> tuple[str, ...]:
    """Return the names of the shipped specs, `first` first."""
    names = sorted(path.stem for path in specs_folder().glob("*.toml"))
    return tuple(sorted(names, key=lambda name: (name != "first", name)))


def load_spec(name_or_path: str | Path) -> Spec:
    """Read a shipped spec by name, or any spec by path.

    Raises
    ------
    SpecError
        If there is no such spec, or with every problem of its text at once.
    """
    path = _find(name_or_path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SpecError([Problem(str(path), "a readable file", str(error.strerror))]) from None
    return parse_spec(data, name=path.stem, where=path.name)


def parse_spec(data: bytes, name: str, where: str) -> Spec:
    """Read a spec from the bytes of a TOML file; ``where`` names it in messages.

    Raises
    ------
    SpecError
        With every problem at once.
    """
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise SpecError([Problem(where, "UTF-8 text", "other bytes")]) from None
    except tomllib.TOMLDecodeError as error:
        raise SpecError([Problem(where, "TOML", str(error))]) from None
    digest = hashlib.sha256(data.replace(b"\r\n", b"\n")).hexdigest()[:16]
    reserved = [key for key in ("name", "digest") if key in table]
    if reserved:
        raise SpecError([_unknown_key(where, key) for key in reserved])
    try:
        return Spec.model_validate({**table, "name": name, "digest": digest})
    except ValidationError as error:
        raise SpecError(_problem(where, dict(e)) for e in _telling(error.errors())) from None


def _find(name_or_path: str | Path) -> Path:
    if isinstance(name_or_path, str) and name_or_path in shipped_specs():
        return specs_folder() / f"{name_or_path}.toml"
    path = Path(name_or_path)
    if path.is_file():
        return path
    todo = f"Give the path of a .toml file or one of {', '.join(shipped_specs())}"
    raise SpecError([Problem("coupon spec", "a spec that exists", f"{str(path)!r}", todo)])


def _unknown_key(where: str, key: str) -> Problem:
    return Problem(f"{where} {key}", "no such key", key, "Remove it or correct its spelling")


def _telling(errors: Sequence[Any]) -> list[Any]:
    """Drop "too short" where only the faults of its items made a list so."""
    places = [error["loc"] for error in errors]

    def has_faulty_items(loc: tuple[object, ...]) -> bool:
        return any(place[: len(loc)] == loc and len(place) > len(loc) for place in places)

    return [e for e in errors if e["type"] != "too_short" or not has_faulty_items(e["loc"])]


def _problem(where: str, error: dict[str, object]) -> Problem:
    """Word one finding of the validator in our own words."""
    loc = error["loc"]
    steps = list(loc) if isinstance(loc, tuple) else []
    place = f"{where} {_path(steps)}".strip()
    kind, message = str(error["type"]), str(error["msg"])
    if kind == "extra_forbidden":
        return _unknown_key(place.rsplit(" ", 1)[0], str(steps[-1]))
    if kind == "missing":
        return Problem(place, "a value", "nothing", "Add the key")
    if kind == "value_error":
        expected, _, got = message.removeprefix("Value error, ").partition(", got ")
        return Problem(place, expected, got)
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        kinds = "fit, hardware, sizes, spans or swell"
        return Problem(f"{place} kind", kinds, _short(error["input"], "kind"))
    return Problem(place, _expected(message), _short(error["input"]))


_TAGS = ("fit", "hardware", "sizes", "spans", "swell", "range", "list")


def _path(steps: list[object]) -> str:
    """Word a path such as ('row', 1, 'fit', 'size_mm') as 'row 2 size_mm'."""
    shown = []
    for step in steps:
        if isinstance(step, int):
            shown.append(str(step + 1))
        elif step not in _TAGS:
            shown.append(str(step))
    return " ".join(shown)


def _expected(message: str) -> str:
    for start in ("Input should be ", "Input should have ", "Value should have "):
        message = message.removeprefix(start)
    return message


def _short(value: object, key: str = "") -> str:
    if key:
        value = value.get(key, "nothing") if isinstance(value, dict) else value
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
