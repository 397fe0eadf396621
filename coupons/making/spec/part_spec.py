"""A part that exists already, as a spec: which of its sizes are read, with which instrument.

Nothing of such a part is made, so nothing is rounded: a drawn size is what stands in its drawing.
Everything that is wrong with a file is reported at once, each problem with its path.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from coupons.errors import Problem, SpecError
from coupons.making.spec.coupon_spec import (
    PrintedWith,
    Spec,
    as_asked,
    find_spec,
    parse_spec,
    spec_bytes,
    spec_name,
    spec_table,
)
from coupons.making.spec.row_kinds import Line, Number, SpecModel, possible
from coupons.making.spec.spec_problems import NAME
from coupons.terms import INTERNAL, ROUND, Direction, Form, Jaws

MOST_SIZES = 300
LEAST_MM, MOST_MM = 0.5, 500.0  # sizes about which a profile can be asked
_OWN_KEYS = ("kind", "size", "instrument", "printed")

Name = Annotated[str, Field(pattern=NAME)]


class Instrument(SpecModel):
    """What reads the sizes.

    ``uncertainty_mm`` is the standard uncertainty of one reading (one standard deviation, k = 1):
    half of the expanded uncertainty that a certificate gives for k = 2.
    """

    name: Annotated[Line, Field(max_length=60)]
    resolution_mm: Annotated[Number, Field(ge=0.0001, le=1)]
    uncertainty_mm: Annotated[Number, Field(gt=0, le=1)]
    jaw_land_mm: Annotated[Number, Field(ge=0, le=5)] | None = None


class PartSize(SpecModel):
    """One size of the part.

    ``on_bed`` tells whether the lower of its faces is the first layer, ``at_bed`` whether it is
    read at the first layer, swell included. A round one is read once, or once along each axis in
    ``along``. Sizes with the same ``datum`` are all counted from one face, which that names.
    """

    name: Name
    form: Form
    direction: Direction
    drawn_mm: Annotated[Number, Field(ge=LEAST_MM, le=MOST_MM)]
    on_bed: Annotated[bool | None, Field(strict=True, validate_default=True)] = None
    at_bed: Annotated[bool, Field(strict=True)] = False
    jaws: Annotated[Jaws | None, Field(validate_default=True)] = None
    along: Annotated[tuple[Literal["x", "y", "z"], ...], Field(max_length=2)] = ()
    datum: Name | None = None

    @field_validator("direction")
    @classmethod
    def _possible(cls, direction: Direction, info: ValidationInfo) -> Direction:
        return possible(info.data.get("form"), direction)

    @field_validator("on_bed")
    @classmethod
    def _has_a_lower_face(cls, on_bed: bool | None, info: ValidationInfo) -> bool | None:
        form, direction = _lies(info)
        if form is None or direction is None:
            return on_bed
        if on_bed is None and form is Form.TONGUE and direction is Direction.Z:
            raise ValueError("true or false: is the lower face the first layer?, got nothing")
        if on_bed and (form in ROUND) is (direction is Direction.Z):
            raise ValueError(f"false, as no face of the {form} looks down, got true")
        return bool(on_bed)

    @field_validator("at_bed")
    @classmethod
    def _meets_the_first_layer(cls, at_bed: bool, info: ValidationInfo) -> bool:
        form, direction = _lies(info)
        stands = (form in ROUND) is (direction is Direction.Z)
        if at_bed and None not in (form, direction) and not stands:
            raise ValueError(f"false for a {form} with {direction}, which crosses layers, got true")
        return at_bed

    @field_validator("jaws")
    @classmethod
    def _reach(cls, jaws: Jaws | None, info: ValidationInfo) -> Jaws | None:
        form, direction = _lies(info)
        if form is None or direction is None:
            return jaws
        usual = Jaws.INSIDE if form in INTERNAL else Jaws.OUTSIDE
        is_step = form not in ROUND and direction is Direction.Z
        if jaws not in (None, usual) and not (jaws is Jaws.DEPTH and is_step):
            raise ValueError(f"{usual}{' or depth' if is_step else ''} for a {form}, got {jaws}")
        return jaws or usual

    @field_validator("along")
    @classmethod
    def _across_its_axis(cls, along: tuple[str, ...], info: ValidationInfo) -> tuple[str, ...]:
        form, direction = _lies(info)
        if not along or form is None or direction is None:
            return along
        if form not in ROUND:
            raise ValueError(f"no such key for a {form}, got {', '.join(along)}")
        axes = [axis for axis in "xyz" if axis != direction]
        if len(set(along)) < len(along) or not set(along) <= set(axes):
            raise ValueError(f"{' or '.join(axes)}, each once, got {', '.join(along)}")
        return along

    @field_validator("datum")
    @classmethod
    def _is_a_flat_face(cls, datum: str | None, info: ValidationInfo) -> str | None:
        form, _ = _lies(info)
        if datum is not None and form in ROUND:
            raise ValueError(f"no such key for a {form}, which starts from no face, got {datum}")
        return datum


def _lies(info: ValidationInfo) -> tuple[Form | None, Direction | None]:
    """Return form and direction of a size as far as they are valid."""
    return info.data.get("form"), info.data.get("direction")


class PartSpec(SpecModel):
    """A whole part that exists already."""

    kind: Literal["part"]
    title: Line
    about: Annotated[str, Field(max_length=2000)] = ""
    printed: PrintedWith = PrintedWith()
    instrument: Instrument
    sizes: Annotated[tuple[PartSize, ...], Field(alias="size", min_length=1, max_length=MOST_SIZES)]
    name: str = "part"
    digest: str = ""


def load_asked(name_or_path: str | Path) -> Spec | PartSpec:
    """Read a shipped spec by name, or a spec or a part that exists already by path.

    Raises
    ------
    SpecError
        If there is no such file, or with every problem of its text at once.
    """
    path = find_spec(name_or_path)
    data, name = spec_bytes(path), spec_name(path)
    if any(key in spec_table(data, path.name) for key in _OWN_KEYS):
        return parse_part(data, name, path.name)
    return parse_spec(data, name, path.name)


def parse_part(data: bytes, name: str, where: str) -> PartSpec:
    """Read a part from the bytes of a TOML file; ``where`` names it in messages.

    Raises
    ------
    SpecError
        With every problem at once.
    """
    table = spec_table(data, where)
    problems = [*_used_twice(table, where), *_turned_datums(table, where)]
    try:
        part = as_asked(PartSpec, table, data, name, where)
    except SpecError as error:
        raise SpecError([*error.problems, *problems]) from None
    if problems:
        raise SpecError(problems)
    return part


def _sizes(table: dict[str, Any], key: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Yield number, text under a key and all of each size that has such a text."""
    sizes = table.get("size")
    for number, size in enumerate(sizes if isinstance(sizes, list) else [], start=1):
        if isinstance(size, dict) and isinstance(size.get(key), str):
            yield number, size[key], size


def _used_twice(table: dict[str, Any], where: str) -> Iterator[Problem]:
    """Yield the names that several sizes have: entries tell no capitals from small letters."""
    first: dict[str, int] = {}
    for number, name, _ in _sizes(table, "name"):
        before = first.setdefault(name.lower(), number)
        if before != number:
            got = f"{name[:40]!r}, the name of size {before}"
            yield Problem(f"{where} size {number} name", "a different name", got, "Rename it")


def _turned_datums(table: dict[str, Any], where: str) -> Iterator[Problem]:
    """Yield the sizes that lie in another direction than others from the same face."""
    first: dict[str, tuple[int, object]] = {}
    for number, datum, size in _sizes(table, "datum"):
        before, direction = first.setdefault(datum, (number, size.get("direction")))
        if size.get("direction") != direction:
            expected = f"direction {direction}, as of size {before} from the same face"
            todo = "Correct the direction, or give each face a datum of its own"
            got = str(size.get("direction"))[:20]
            yield Problem(f"{where} size {number} datum", expected, got, todo)
