"""Virtual machines: a printer, a caliper and a person, as numbers in a small TOML file."""

import tomllib
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, ValidationError, model_validator

from coupons.errors import Problem, RunError
from coupons.measuring.run.conditions import CaliperStep
from coupons.measuring.validation import NotNegative, problems_of
from coupons.models import StrictModel
from coupons.reading import load_toml, read_plain, stands

Length = Annotated[NotNegative, Field(le=5)]
Signed = Annotated[float, Field(ge=-5, le=5)]
Share = Annotated[float, Field(ge=0, le=1)]
Ratio = Annotated[float, Field(ge=-0.1, le=0.1)]
MOST_PEOPLE = 10


class Bead(StrictModel):
    """The line of plastic: planned and laid width, how it cuts corners, where its loops close."""

    planned_mm: Annotated[float, Field(gt=0, le=5)]
    laid_mm: Annotated[float, Field(gt=0, le=5)]
    drag_mm: Length
    support: Share
    seam_mm: Length
    seam_along: Literal["x", "y"]


class Axes(StrictModel):
    """What the axes do to faces across them, and how the cooled part departs from the path.

    They lose motion when they turn round, leave waves along walls, and lay walls across x wider
    than walls across y. Holes and slots may shrink less than what stands around them.
    """

    lost_x_mm: Length
    lost_y_mm: Length
    shrink_x: Ratio
    shrink_y: Ratio
    shrink_z: Ratio
    skew_mrad: Annotated[float, Field(ge=-50, le=50)]
    inner_shrink_less: Ratio = 0.0
    wider_x_mm: Signed = 0.0
    wave_x_mm: Length = 0.0
    wave_y_mm: Length = 0.0


class Layers(StrictModel):
    """Errors of the first layer, of top surfaces and of bridged roofs."""

    squeeze_mm: Signed
    swell_mm: Length
    proud_mm: Signed
    sag_mm: Length


class VirtualScatter(StrictModel):
    """Standard deviations from feature to feature and print to print, drift over 100 mm, blobs.

    From print to print there differ the width of the line, the height of the nozzle, what inner and
    outer sizes have alike, the scales in the plane and along z, and how far roofs hang.
    """

    feature_mm: Length
    feature_z_mm: Length
    print_mm: Length
    print_z_mm: Length
    drift_mm: Length
    blob_chance: Share
    blob_mm: Length
    print_alike_mm: Length = 0.0
    print_scale: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    print_scale_z: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    print_sag_mm: Length = 0.0


class VirtualCaliper(StrictModel):
    """The caliper and the hand that reads it.

    Inside jaws show ``inside_mm`` more than the others. The zero differs from session to session,
    and what the inside jaws show beyond it does too.
    """

    zero_mm: Signed
    repeat_mm: Length
    resolution_mm: CaliperStep
    jaw_land_mm: Length
    slip_chance: Share
    inside_mm: Signed = 0.0
    session_mm: Length = 0.0
    session_inside_mm: Length = 0.0


class Plastic(StrictModel):
    """How stiff the printed plastic is along its lines."""

    modulus_mpa: Annotated[float, Field(gt=0, le=1e6)] = 2500.0


class Person(StrictModel):
    """The clearances at which this person's grades begin, and how repeatable the hand is.

    ``jaw_force_n`` is how hard this hand closes the caliper; 0 if the jaws only touch.
    ``contact_mm`` is how much more clearance each grade needs where the two bodies touch over
    e times the length. ``others_mm`` holds, for each further person who takes a turn at the trials,
    how much more clearance that person asks of each grade.
    """

    force_mm: Signed
    push_mm: Signed
    slide_mm: Signed
    loose_mm: Signed
    judgement_mm: Length
    lapse_chance: Share
    plain: bool
    jaw_force_n: Annotated[float, Field(ge=0, le=100)] = 0.0
    contact_mm: Signed = 0.0
    # TOML has arrays only.
    others_mm: Annotated[tuple[Signed, ...], Field(strict=False, max_length=MOST_PEOPLE - 1)] = ()

    @property
    def thresholds_mm(self) -> tuple[float, float, float, float]:
        """Clearances from which force, push, slide and loose begin."""
        return self.force_mm, self.push_mm, self.slide_mm, self.loose_mm

    @model_validator(mode="after")
    def _grades_in_order(self) -> Self:
        if list(self.thresholds_mm) != sorted(set(self.thresholds_mm)):
            raise ValueError("force_mm < push_mm < slide_mm < loose_mm")
        return self


class Machine(StrictModel):
    """A whole virtual workshop. Lengths in mm, angles in mrad, shrinkage as a share."""

    name: str
    material: str
    layer_height_mm: Annotated[float, Field(gt=0, le=5)] = 0.2
    bead: Bead
    axes: Axes
    layers: Layers
    scatter: VirtualScatter
    caliper: VirtualCaliper
    person: Person
    plastic: Plastic = Plastic()


_SHIPPED = files("coupons.measuring.virtual") / "machines"
_RANGES = "ranges"
_TODO = "Give the name of a shipped one or the path of a TOML file of your own"
MOST_BYTES = 1_000_000


def shipped_machines() -> tuple[str, ...]:
    """Return the names of the virtual machines that come with the package."""
    names = {item.name.removesuffix(".toml") for item in _SHIPPED.iterdir()}
    return tuple(sorted(names - {_RANGES}))


def load_machine(name_or_path: str) -> Machine:
    """Load a virtual machine by the name of a shipped one or the path of a TOML file.

    Raises
    ------
    RunError
        If there is none of that name, or with every problem of the file at once.
    """
    if name_or_path in shipped_machines():
        name, text = name_or_path, (_SHIPPED / f"{name_or_path}.toml").read_text(encoding="utf-8")
    elif stands(path := Path(name_or_path)):
        name, text = path.stem, _text_of(path)
    else:
        expected = "one of " + ", ".join(shipped_machines())
        raise RunError([Problem("virtual machine", expected, name_or_path, _TODO)])
    return _parse(name, text)


def _text_of(path: Path) -> str:
    try:
        return read_plain(path, MOST_BYTES).decode("utf-8-sig", errors="replace")
    except OSError as error:
        got = (error.strerror or "none").lower()
        raise RunError([Problem(str(path), "a virtual machine", got, _TODO)]) from None


def _parse(name: str, text: str) -> Machine:
    values = load_toml(text, f"{name}.toml", RunError)
    try:
        return Machine.model_validate({"name": name, **values})
    except ValidationError as error:
        raise RunError(problems_of(error, Machine, f"{name}.toml")) from None


@lru_cache(maxsize=1)
def _ranges() -> dict[str, dict[str, tuple[float, float]]]:
    return tomllib.loads((_SHIPPED / f"{_RANGES}.toml").read_text(encoding="utf-8"))


def random_machine(rng: np.random.Generator, base: str = "bench-1") -> Machine:
    """Draw a machine, each value uniform within its range in ``machines/ranges.toml``.

    Values without a range there are those of the machine ``base``.
    """
    machine = _base(base)
    drawn = {
        table: getattr(machine, table).model_copy(
            update={key: float(rng.uniform(*ends)) for key, ends in ranges.items()}
        )
        for table, ranges in _ranges().items()
    }
    return machine.model_copy(update={"name": "random", **drawn})


@lru_cache(maxsize=8)
def _base(name: str) -> Machine:
    return load_machine(name)
