"""A coupon spec: what to print, as rows of features, read from TOML.

Everything that is wrong with the shape of a file is reported at once, each problem with its path.
Whether the geometry can be made is for :mod:`coupons.making.plan` to say.
"""

import hashlib
from pathlib import Path
from typing import Annotated, Any, Self, TypeVar

from pydantic import Field, ValidationError, model_validator

from coupons.errors import Problem, SpecError
from coupons.making.bodies.proportions import THICKEST_LAYER, Measures
from coupons.making.spec.row_kinds import ROW_LETTERS, Line, Number, Row, SpecModel
from coupons.making.spec.spec_problems import problems_of, unknown_key
from coupons.reading import load_toml, read_plain, stands

MOST_BYTES = 1_000_000

Asked = TypeVar("Asked", bound=SpecModel)

BedSide = Annotated[Number, Field(ge=40, le=2000)]


class PrintedWith(SpecModel):
    """Nozzle and layers; options of ``make`` override each value."""

    layer_height_mm: Annotated[Number, Field(ge=0.04, le=1.0)] = 0.2
    nozzle_mm: Annotated[Number, Field(ge=0.1, le=1.5)] = 0.4

    @model_validator(mode="after")
    def _layers_hold(self) -> Self:
        most = THICKEST_LAYER * self.nozzle_mm
        if self.layer_height_mm > most + 1e-9:
            raise ValueError(
                f"layer_height_mm at most {most:g} mm, {THICKEST_LAYER:g} of the nozzle, "
                f"got {self.layer_height_mm:g} mm"
            )
        return self


class Assumed(PrintedWith):
    """The machine that the spec is made for; options of ``make`` override each value."""

    bed_mm: tuple[BedSide, BedSide] = (180.0, 180.0)

    @property
    def measures(self) -> Measures:
        """The proportions that follow nozzle and layers."""
        return Measures(self.nozzle_mm, self.layer_height_mm)


class Spec(SpecModel):
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

    @property
    def turns(self) -> int:
        """How many print jobs differ, before their rows come again; 1 where all are alike."""
        return max((job for row in self.rows for job in row.jobs), default=1)

    def of_job(self, job: int) -> "Spec":
        """Return what one of several print jobs holds; its rows keep their letters.

        Parameters
        ----------
        job : int
            From 1; after the last that differs the first comes again.
        """
        if self.turns == 1:
            return self
        turn = (job - 1) % self.turns + 1
        rows = tuple(
            row.model_copy(update={"id": letter, "jobs": ()})
            for letter, row in zip(self.row_ids(), self.rows, strict=True)
            if not row.jobs or turn in row.jobs
        )
        digest = hashlib.sha256(f"{self.digest} {turn}".encode()).hexdigest()[:16]
        return self.model_copy(update={"rows": rows, "digest": digest})

    @model_validator(mode="after")
    def _every_job_has_rows(self) -> "Spec":
        if self.turns > 1:
            for turn in range(1, self.turns + 1):
                if not any(not row.jobs or turn in row.jobs for row in self.rows):
                    raise ValueError(f"rows for every job up to {self.turns}, got none for {turn}")
        return self

    @model_validator(mode="after")
    def _ids_differ(self) -> "Spec":
        own = [row.id for row in self.rows if row.id]
        twice = sorted({letter for letter in own if own.count(letter) > 1})
        if twice:
            raise ValueError(f"a different id for each row, got {', '.join(twice)} twice")
        return self


def specs_folder() -> Path:
    """Return where the shipped specs are: beside the package in a checkout, in it in a wheel."""
    package = Path(__file__).resolve().parents[2]
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
    path = find_spec(name_or_path)
    return parse_spec(spec_bytes(path), name=spec_name(path), where=path.name)


def spec_bytes(path: Path) -> bytes:
    """Read the bytes of a spec.

    Raises
    ------
    SpecError
        If the file cannot be read.
    """
    try:
        return read_plain(path, MOST_BYTES)
    except OSError as error:
        raise SpecError([Problem(str(path), "a readable file", str(error.strerror))]) from None


def spec_name(path: Path) -> str:
    """Return the name of a spec, which goes into files that hold text and into names of files."""
    return "".join(sign if sign.isprintable() else "_" for sign in path.stem)


def parse_spec(data: bytes, name: str, where: str) -> Spec:
    """Read a spec from the bytes of a TOML file; ``where`` names it in messages.

    Raises
    ------
    SpecError
        With every problem at once.
    """
    return as_asked(Spec, spec_table(data, where), data, name, where)


def spec_table(data: bytes, where: str) -> dict[str, Any]:
    """Load the TOML of a spec without checking its values.

    Raises
    ------
    SpecError
        If it is not TOML, or holds a key that is not its own to say.
    """
    try:
        table = load_toml(data.decode("utf-8-sig"), where, SpecError)
    except UnicodeDecodeError:
        raise SpecError([Problem(where, "UTF-8 text", "other bytes")]) from None
    reserved = [key for key in ("name", "digest") if key in table]
    if reserved:
        raise SpecError([unknown_key(where, key) for key in reserved])
    return table


def as_asked(kind: type[Asked], table: dict[str, Any], data: bytes, name: str, where: str) -> Asked:
    """Return the table of a spec as what it asks for, with the digest of its bytes.

    The digest is the same for both ways to end a line.

    Raises
    ------
    SpecError
        With every problem of its values at once.
    """
    digest = hashlib.sha256(data.replace(b"\r\n", b"\n")).hexdigest()[:16]
    try:
        return kind.model_validate({**table, "name": name, "digest": digest})
    except ValidationError as error:
        raise SpecError(problems_of(where, error.errors())) from None


def find_spec(name_or_path: str | Path) -> Path:
    """Return the path of a shipped spec by name, or of any spec.

    Raises
    ------
    SpecError
        If there is no such spec.
    """
    if isinstance(name_or_path, str) and name_or_path in shipped_specs():
        return specs_folder() / f"{name_or_path}.toml"
    path = Path(name_or_path)
    if stands(path):
        return path
    todo = f"Give the path of a .toml file or one of {', '.join(shipped_specs())}"
    raise SpecError([Problem("coupon spec", "an existing spec", f"{str(path)!r}", todo)])
