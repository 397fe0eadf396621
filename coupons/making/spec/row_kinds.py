"""The kinds of rows that a spec can hold, and what each key of them may be."""

from itertools import pairwise
from typing import Annotated, Literal, TypeVar

from pydantic import (
    AfterValidator,
    Discriminator,
    Field,
    Tag,
    ValidationInfo,
    field_validator,
)

from coupons.making.bodies.proportions import LARGEST_MM, SMALLEST_MM
from coupons.models import FrozenModel
from coupons.terms import EXTERNAL, ROUND, Direction, Form

ROW_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # without I, O and Q, which read as 1 and 0
MOST_GAPS = 300
MOST_JOBS = 9

Values = TypeVar("Values", bound=tuple[float, ...])


def _rising(values: Values) -> Values:
    if any(b <= a for a, b in pairwise(values)):
        raise ValueError(f"rising values without repeats, got {list(values)}")
    return values


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError(f"one line of printable characters, got {text!r}")
    return text


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Size = Annotated[Number, Field(ge=SMALLEST_MM, le=LARGEST_MM)]
Gap = Annotated[Number, Field(ge=-1.0, le=3.0)]
Gaps = Annotated[
    tuple[Gap, ...], Field(min_length=1, max_length=MOST_GAPS), AfterValidator(_rising)
]
Line = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_printable)]
RowId = Annotated[str, Field(pattern=f"^[{ROW_LETTERS}]$")]


class SpecModel(FrozenModel):
    """A frozen part of a spec that knows all its keys."""


class GapRange(SpecModel):
    """Evenly stepped gaps, both ends included."""

    start: Gap
    stop: Gap
    step: Annotated[Number, Field(gt=0, le=1)]

    def values(self) -> tuple[float, ...]:
        """Return the gaps, rounded to 0.1 µm so that steps do not drift."""
        count = int((self.stop - self.start) / self.step + 1e-6) + 1
        return tuple(round(self.start + i * self.step, 4) for i in range(count))


def _few_gaps(gaps: GapRange) -> GapRange:
    if gaps.stop < gaps.start:
        raise ValueError(f"stop not below start, got {gaps.start:g} to {gaps.stop:g}")
    if len(gaps.values()) > MOST_GAPS:
        raise ValueError(f"at most {MOST_GAPS} gaps, got {len(gaps.values())}")
    return gaps


Job = Annotated[int, Field(ge=1, le=MOST_JOBS, strict=True)]


class _Row(SpecModel):
    """The keys that all rows have; ``jobs`` says on which print jobs of several, all if unsaid."""

    id: RowId | None = None
    jobs: Annotated[tuple[Job, ...], Field(max_length=MOST_JOBS), AfterValidator(_rising)] = ()
    wall_mm: Annotated[Number, Field(ge=0.5, le=50)] = 3.0
    depth_mm: Annotated[Number, Field(ge=2.0, le=40)] = 3.6
    length_mm: Annotated[Number, Field(ge=4.0, le=60)] = 7.0


def possible(form: Form | None, direction: Direction) -> Direction:
    """Return the direction of a form, or refuse one in which no axis of a round form lies."""
    if form in ROUND and direction not in ("x", "y", "z"):
        raise ValueError(f"one of x, y, z for a {form}, got {direction}")
    return direction


class _FormedRow(_Row):
    """A row of alike features."""

    form: Form
    direction: Direction

    @field_validator("direction")
    @classmethod
    def _possible(cls, direction: Direction, info: ValidationInfo) -> Direction:
        return possible(info.data.get("form"), direction)


class _GradedRow(_FormedRow):
    """A row of features graded by their gap to a mate."""

    gaps_mm: Annotated[
        Annotated[GapRange, AfterValidator(_few_gaps), Tag("range")] | Annotated[Gaps, Tag("list")],
        Discriminator(lambda given: "list" if isinstance(given, list | tuple) else "range"),
    ]
    read_every: Annotated[int, Field(ge=1, le=99, strict=True)] = 3

    def gaps(self) -> tuple[float, ...]:
        """Return the gaps in rising order."""
        return self.gaps_mm.values() if isinstance(self.gaps_mm, GapRange) else self.gaps_mm


class FitRow(_GradedRow):
    """Fixed features graded by gap, and loose gauges of one size to try in or on them."""

    kind: Literal["fit"]
    size_mm: Size
    gauges: Annotated[int, Field(ge=1, le=5, strict=True)] = 2


class HardwareRow(_GradedRow):
    """Fixed features graded by gap for hardware of known size.

    ``outer_mm`` is the width of its widest part: the outside of a ring that goes over a post, the
    head of what goes into a hole.
    """

    kind: Literal["hardware"]
    name: Line
    nominal_mm: Size
    limits_mm: tuple[Number, Number]
    outer_mm: Annotated[Size | None, Field(validate_default=True)] = None

    @field_validator("limits_mm")
    @classmethod
    def _limits_rise(cls, limits: tuple[float, float]) -> tuple[float, float]:
        low, high = limits
        if not -1 <= low <= high <= 1:
            raise ValueError(f"two deviations, lower first, got {low:g} and {high:g}")
        return limits

    @field_validator("outer_mm")
    @classmethod
    def _outer_with_posts(cls, outer: float | None, info: ValidationInfo) -> float | None:
        goes_over = info.data.get("form") in EXTERNAL
        if outer is None and goes_over:
            raise ValueError("the outside width of hardware that goes over a post, got nothing")
        nominal = info.data.get("nominal_mm")
        if outer is not None and nominal is not None and outer <= nominal - (not goes_over) * 1e-9:
            least = "more than" if goes_over else "at least"
            raise ValueError(f"{least} {nominal:g} mm, its own size, got {outer:g}")
        return outer

    @property
    def size_mm(self) -> float:
        """The middle of the tolerance band."""
        return round(self.nominal_mm + sum(self.limits_mm) / 2, 6)


class HeldRow(_Row):
    """Holes of several sizes for a piece that holds itself: by a thread that it cuts, or by heat.

    ``nominal_mm`` is the size that the piece is known by, ``outer_mm`` the width of its head.
    ``source`` says where the sizes come from.
    """

    kind: Literal["thread", "insert"]
    name: Line
    nominal_mm: Size
    holes_mm: Annotated[
        tuple[Size, ...], Field(min_length=1, max_length=60), AfterValidator(_rising)
    ]
    source: Line
    direction: Literal[Direction.X, Direction.Y, Direction.Z]
    outer_mm: Size | None = None
    depth_mm: Annotated[Number, Field(ge=2.0, le=40)] = 8.0

    @field_validator("holes_mm")
    @classmethod
    def _narrower(cls, holes: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
        nominal = info.data.get("nominal_mm")
        if nominal is not None and holes[-1] > nominal:
            raise ValueError(f"holes of at most {nominal:g} mm, the piece itself, got {holes[-1]}")
        return holes

    @property
    def form(self) -> Form:
        """What is printed: holes."""
        return Form.HOLE


class SizesRow(_FormedRow):
    """Features of several sizes to be measured by caliper or drill shanks.

    Heights of tongues across z stand on the bed unless ``on_bed`` is false: then they are steps
    between two upper faces.
    """

    kind: Literal["sizes"]
    sizes_mm: Annotated[
        tuple[Size, ...], Field(min_length=1, max_length=300), AfterValidator(_rising)
    ]
    on_bed: Annotated[bool, Field(strict=True)] = True

    @field_validator("on_bed")
    @classmethod
    def _heights_alone(cls, on_bed: bool, info: ValidationInfo) -> bool:
        form, direction = info.data.get("form"), info.data.get("direction")
        is_height = form is Form.TONGUE and direction is Direction.Z
        if not on_bed and None not in (form, direction) and not is_height:
            raise ValueError(f"false for tongues across z alone, got a {form} with {direction}")
        return on_bed


class SpansRow(_Row):
    """A castellated rule: blocks and notches in turn along one direction, and its whole length."""

    kind: Literal["spans"]
    direction: Direction
    tongues_mm: Annotated[tuple[Size, ...], Field(min_length=2, max_length=60)]
    slots_mm: Annotated[tuple[Size, ...], Field(min_length=1, max_length=59)]

    @field_validator("direction")
    @classmethod
    def _level(cls, direction: Direction) -> Direction:
        if direction is Direction.Z:
            raise ValueError("one of x, y, x+y, x-y (for heights use kind = 'sizes'), got z")
        return direction

    @field_validator("slots_mm")
    @classmethod
    def _alternate(cls, slots: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
        tongues = info.data.get("tongues_mm")
        if tongues is not None and len(slots) != len(tongues) - 1:
            raise ValueError(
                f"one slot fewer than tongues, got {len(tongues)} tongues and {len(slots)} slots"
            )
        return slots


class SwellRow(_Row):
    """Thin tiles without a chamfer, to measure the first layer and its swell."""

    kind: Literal["swell"]
    direction: Literal[Direction.X, Direction.Y]
    tongues_mm: Annotated[tuple[Size, ...], Field(min_length=1, max_length=30)]
    slots_mm: Annotated[tuple[Size, ...], Field(max_length=30)] = ()


Row = FitRow | HardwareRow | HeldRow | SizesRow | SpansRow | SwellRow
