"""The record of a coupon, ``coupon.json``: every feature, loose piece, trial and reading.

The later rooms know a coupon by its record alone; none of them reads a spec or a mesh.
"""

import json
import re
import secrets
from collections.abc import Iterable, Iterator, Sequence, Set
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationError

from coupons.atomic import write_text
from coupons.errors import Problem, RunError
from coupons.models import FrozenModel
from coupons.reading import read_plain
from coupons.terms import FLAT, Direction, Form, Grade, Held, Jaws, Seam

Length = Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)]
Moment = Annotated[float, Field(allow_inf_nan=False)]
Place = Annotated[float, Field(ge=-2000, le=2000, allow_inf_nan=False)]


class CouponFeature(FrozenModel):
    """One printed feature, with the id that is printed beside it on the part.

    ``role`` says what it is for: *fit* (fixed, mates are tried in or on it), *gauge* (the mating
    feature of a loose piece), *span* (for the caliper only) or *swell* (met at the first layer on
    purpose). ``place_mm`` is its centre on its plate as printed, None where the part was there
    before its record. ``seam`` says of a pin whether its seam stands proud (*shown*) or in a groove
    made for it (*hidden*), ``on_bed`` whether the lower of its faces across layers is the first
    layer; records of before that was recorded say nothing.
    """

    id: str
    form: Form
    direction: Direction
    size_mm: Length
    role: Literal["fit", "gauge", "span", "swell"]
    row: str
    body: str
    plate: Annotated[int, Field(ge=1)]
    place_mm: tuple[Place, Place, Place] | None
    at_bed: bool = False
    seam: Seam | None = None
    on_bed: bool | None = None


# A drawn size this far from whole layers is off the grid, not merely rounded.
OFF_LAYER_MM = 0.005


def off_layers(features: Iterable[CouponFeature], layer_height_mm: float) -> tuple[str, ...]:
    """Return the ids of the flat features whose size across z is not whole layers."""
    return tuple(
        feature.id
        for feature in features
        if feature.form in FLAT
        and feature.direction is Direction.Z
        and abs(feature.size_mm - round(feature.size_mm / layer_height_mm) * layer_height_mm)
        > OFF_LAYER_MM
    )


class CouponHardware(FrozenModel):
    """Hardware of known size: no printing error, a standard deviation from its tolerance."""

    id: str
    name: str
    form: Form
    size_mm: Length
    sd_mm: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False), AfterValidator(abs)]  # no −0


class _Pair(FrozenModel):
    feature: str
    mate: str


class CouponTrial(_Pair):
    """One pair worth trying: a fixed feature and the mate to try in or on it.

    ``deep_mm`` and ``wide_mm`` are over which depth and width they bear on each other; rounds have
    no width, and older records say neither.
    """

    gap_mm: float
    deep_mm: Length | None = None
    wide_mm: Length | None = None

    @property
    def contact_mm(self) -> float | None:
        """Length of the contact: the longer of depth and width; None where it was not recorded."""
        return None if self.deep_mm is None else max(self.deep_mm, self.wide_mm or 0.0)


LONG_CONTACT_MM = 20.0
"""A row whose pairs bear on each other over this length is a long one."""


def long_row_sentence(trials: Iterable[CouponTrial]) -> str:
    """Name the rows whose pairs bear on each other over a long way; empty if there are none.

    Examples
    --------
    >>> long_row_sentence([CouponTrial(feature="E1", mate="EG", gap_mm=0, deep_mm=3, wide_mm=21)])
    'Row E is the long one: its pairs bear on each other over 21 mm.'
    """
    lengths = {
        trial.feature[0]: trial.contact_mm
        for trial in trials
        if trial.contact_mm is not None and trial.contact_mm >= LONG_CONTACT_MM
    }
    return " ".join(
        f"Row {row} is the long one: its pairs bear on each other over {mm:.0f} mm."
        for row, mm in sorted(lengths.items())
    )


class CouponHold(_Pair):
    """A hole and the piece to be driven into it, which holds by what ``held_by`` says."""

    held_by: Held


class CouponReading(FrozenModel):
    """One size worth a caliper reading; ``along`` where a round feature is read two ways."""

    feature: str
    jaws: Jaws
    along: Literal["x", "y", "z"] | None = None


class CouponBody(FrozenModel):
    """One printed body as placed on its plate; ``origin_mm`` is the low corner of its box."""

    id: str
    plate: Annotated[int, Field(ge=1)]
    origin_mm: tuple[Place, Place, Place]
    extent_mm: tuple[Length, Length, Length]


class CouponSection(FrozenModel):
    """A bar's section: area, and second moments about its middle, across × across, up × up, mixed.

    *Across* is level, a quarter turn against the clock from the bar's direction.
    """

    area_mm2: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    middle_mm: tuple[Place, Place, Place]
    second_mm4: tuple[Moment, Moment, Moment]


class CouponBar(FrozenModel):
    """The sections of a rule, from which its bending under the jaws can be worked out.

    ``middle_mm`` of its sections are points of the bar's axis on the plate.
    """

    body: str
    direction: Direction
    at_notch: CouponSection
    at_block: CouponSection


class CouponSpecRef(FrozenModel):
    """Which spec the coupon was made from."""

    name: str
    title: str
    digest: str


class CouponAssumed(FrozenModel):
    """The machine that the coupon was made for; a part that exists already needs no bed."""

    bed_mm: tuple[Length, Length] | None
    layer_height_mm: Length
    nozzle_mm: Length


class CouponRun(FrozenModel):
    """The print that a record was made for: a unique id, the machine and the material.

    Names that `make` was not told are empty.
    """

    id: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    machine: Annotated[str, Field(max_length=60)] = ""
    material: Annotated[str, Field(max_length=60)] = ""


Chance = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class ProofTrial(FrozenModel):
    """What was expected of one trial before it was printed.

    ``chances`` are those of the five grades in their order; ``at_answer`` says that the pair is
    drawn by the answer itself, not a step beside it.
    """

    feature: str
    mate: str
    joint: Annotated[str, Field(max_length=60)]
    wanted: Grade
    at_answer: bool
    chances: Annotated[tuple[Chance, ...], Field(min_length=5, max_length=5)]


class CouponProof(FrozenModel):
    """Which profile a coupon puts to the proof, and the chances that it stated beforehand.

    ``usual_hits`` holds with 90 % probability how many of the answers' own trials are as wanted.
    """

    machine: Annotated[str, Field(max_length=60)]
    material: Annotated[str, Field(max_length=60)]
    entries_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    rehearsed: bool
    trials: tuple[ProofTrial, ...]
    usual_hits: tuple[Annotated[int, Field(ge=0)], Annotated[int, Field(ge=0)]]


class CouponPart(FrozenModel):
    """What says that a part existed already, so that there was nothing to print: its instrument.

    ``uncertainty_mm`` is the standard uncertainty of one of its readings. ``datums`` are the
    names of the faces from which sizes start, each with the ids of those features.
    """

    instrument: Annotated[str, Field(max_length=60)]
    resolution_mm: Annotated[float, Field(ge=0.0001, le=1, allow_inf_nan=False)]
    uncertainty_mm: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)]
    jaw_land_mm: Annotated[float, Field(ge=0, le=5, allow_inf_nan=False)] | None = None
    datums: dict[str, tuple[str, ...]] = Field(default_factory=dict)


class Coupon(FrozenModel):
    """The whole record. Trials and readings are in the order in which to do them.

    ``run`` is missing in records made before runs had an id, ``holds`` where there are none,
    ``proof`` in all that prove nothing, ``part`` in those of coupons.
    """

    format: Literal["coupon-record"] = "coupon-record"
    version: Literal[1] = 1
    run: CouponRun | None = None
    proof: CouponProof | None = None
    part: CouponPart | None = None
    spec: CouponSpecRef
    assumed: CouponAssumed
    bodies: tuple[CouponBody, ...]
    features: tuple[CouponFeature, ...]
    hardware: tuple[CouponHardware, ...] = ()
    bars: tuple[CouponBar, ...] = ()
    trials: tuple[CouponTrial, ...]
    readings: tuple[CouponReading, ...]
    holds: tuple[CouponHold, ...] = ()


def write_coupon(coupon: Coupon, path: Path) -> None:
    """Write the record as JSON, the same bytes for the same coupon."""
    data = coupon.model_dump(mode="json", exclude=left_out(coupon))
    write_text(path, json.dumps(data, indent=1) + "\n")


def left_out(coupon: Coupon) -> set[str]:
    """Return what a record does not mention, as it was before there was such a thing."""
    return {name for name in ("run", "holds", "proof", "part") if not getattr(coupon, name)}


def name_run(folder: Path, digest: str, machine: str, material: str) -> CouponRun:
    """Give the print of a folder its id.

    Parameters
    ----------
    folder : Path
        A folder that holds the same coupon already keeps its id, and with it what a browser keeps
        under that id.
    digest : str
        Of the spec that the coupon is made from.
    machine, material : str
    """
    try:
        made = read_coupon(folder / "coupon.json")
    except RunError:
        made = None
    if made is not None and made.run is not None and made.spec.digest == digest:
        return CouponRun(id=made.run.id, machine=machine, material=material)
    return CouponRun(id=secrets.token_hex(8), machine=machine, material=material)


def read_coupon(path: Path) -> Coupon:
    """Read a record.

    Raises
    ------
    RunError
        If the file is missing, truncated, of another format or breaks the schema, or if it names
        things that it does not hold.
    """
    make_again = "Make the coupon again with `coupons make` into a new folder"
    try:
        coupon = Coupon.model_validate_json(read_plain(path))
    except FileNotFoundError:
        raise RunError(
            [Problem(str(path), "a coupon record", "no such file", make_again)]
        ) from None
    except OSError as error:
        raise RunError(
            [Problem(str(path), "a file that can be read", error.strerror or "none")]
        ) from None
    except ValidationError as error:
        raise RunError(_problem(path, e, make_again) for e in error.errors()) from None
    problems = [
        Problem(f"{path.name} at {where}", expected, repr(got[:60]), make_again)
        for where, expected, got in _dangling(coupon)
    ]
    if problems:
        raise RunError(problems)
    return coupon


def _dangling(coupon: Coupon) -> Iterator[tuple[str, str, str]]:
    """Yield every id that is unknown or used twice: its place, what was expected, what came."""
    features = [feature.id for feature in coupon.features]
    mates = {*features, *(piece.id for piece in coupon.hardware)}
    seen: set[str] = set()
    for n, held in enumerate([*features, *(piece.id for piece in coupon.hardware)]):
        if held.lower() in seen:
            yield f"id {n + 1}", "a different id for each piece", held
        seen.add(held.lower())
    known = set(features)
    yield from _dangling_pairs("trials", coupon.trials, known, mates)
    yield from _dangling_pairs("holds", coupon.holds, known, mates)
    yield from _dangling_proof(coupon, known, mates)
    for face, started in coupon.part.datums.items() if coupon.part else ():
        for held in sorted(set(started) - known):
            yield f"part.datums.{face[:20]}", "a feature in the record", held
    for n, reading in enumerate(coupon.readings):
        if reading.feature not in known:
            yield f"readings.{n}.feature", "a feature in the record", reading.feature


def _dangling_pairs(
    name: str, pairs: Sequence[_Pair], features: Set[str], mates: Set[str]
) -> Iterator[tuple[str, str, str]]:
    for n, pair in enumerate(pairs):
        if pair.feature not in features:
            yield f"{name}.{n}.feature", "a feature in the record", pair.feature
        if pair.mate not in mates:
            yield f"{name}.{n}.mate", "a mate in the record", pair.mate


def _dangling_proof(
    coupon: Coupon, known: Set[str], mates: Set[str]
) -> Iterator[tuple[str, str, str]]:
    for n, proved in enumerate(coupon.proof.trials if coupon.proof else ()):
        if proved.feature not in known or proved.mate not in mates:
            yield f"proof.trials.{n}", "a pair in the record", f"{proved.feature} {proved.mate}"


def _problem(path: Path, error: Any, todo: str) -> Problem:
    """Return one error of a record as a problem; broken JSON is mostly a copy that was cut off."""
    if error["type"] == "json_invalid":
        found = re.search(r"line \d+", error["ctx"]["error"])
        got = f"one that breaks off at {found[0]}" if found else "another file"
        again = f"Make the same coupon in a new folder and copy its {path.name} here"
        return Problem(path.name, "a complete JSON file", got, again)
    where = f"{path.name} at {'.'.join(map(str, error['loc'])) or 'top'}"
    return Problem(where, error["msg"], repr(error["input"])[:60], todo)
