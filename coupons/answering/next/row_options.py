"""Which rows a new coupon may have: rows to start from, and rows that differ a little from one."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from coupons.making.bodies.proportions import nearest_layers
from coupons.making.built_rows import MATES
from coupons.making.printable import row_problems
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import FitRow, Row, SizesRow, SpansRow
from coupons.terms import FLAT, Direction, Form

Made = TypeVar("Made", FitRow, SizesRow)

SIZES_MM = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0)
"""Sizes of features that a row may take, beside those that are wanted."""
STEP_MM = 0.05
"""Step of the gaps; across layers it is a layer."""
NEVER_MORE = 99
"""A row that reads every 99th feature reads its first alone."""
_OF_ROUNDS = (Direction.X, Direction.Y, Direction.Z)
_READ_EVERY = (1, 2, 3, NEVER_MORE)
_MOST_GAPS, _MOST_GAUGES, _MOST_SIZES = 10, 5, 8
# Less than the usual depth and length, as the shipped `recheck` has them: less plastic. Where a
# row needs more to be stiff, the next is taken.
_DEPTHS_AND_WALLS_MM = ((3.0, 3.0), (3.0, 3.4), (3.6, 4.0), (4.0, 4.0), (5.0, 5.0), (6.0, 6.0))
_LENGTH_MM = 6.0
# Blocks and notches of rules from short to long; the shipped specs have the like.
_RULES: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...] = (
    ((5, 8), (20,)),
    ((8, 10), (34,)),
    ((6, 3, 8), (12, 20)),
    ((6, 3, 8, 12), (12, 34, 7)),
    ((5, 3, 10, 20), (20, 50, 12)),
)


@dataclass(frozen=True)
class Target:
    """A joint that rows are made for.

    Parameters
    ----------
    forms : tuple of Form
        Its printed forms.
    direction : Direction
    size_mm : float
    gap_mm : float
        The gap that is believed to be the wanted one.
    """

    forms: tuple[Form, ...]
    direction: Direction
    size_mm: float
    gap_mm: float


class RowOptions:
    """Rows for a machine.

    Parameters
    ----------
    assumed : Assumed
    targets : sequence of Target
    """

    def __init__(self, assumed: Assumed, targets: Sequence[Target]) -> None:
        self.assumed, self.targets = assumed, targets
        wanted = {round(t.size_mm, 1) for t in targets if t.size_mm <= SIZES_MM[-1]}
        self.sizes_mm = tuple(sorted({*SIZES_MM, *wanted}))

    def starts(self) -> tuple[Row, ...]:
        """Return rows to start from: of each target, graded ones and ones for the caliper."""
        found = dict.fromkeys(row for each in self.targets for row in self._starts_of(each))
        return tuple(found)

    def near(self, row: Row) -> tuple[Row, ...]:
        """Return the rows that differ from one by a single step."""
        rows: Iterator[Row] = iter(())
        if isinstance(row, FitRow):
            rows = self._near_fit(row)
        elif isinstance(row, SizesRow):
            rows = self._near_sizes(row)
        return tuple(dict.fromkeys(one for one in rows if one != row))

    def fit(
        self,
        form: Form,
        direction: Direction,
        size_mm: float,
        gaps_mm: Iterable[float],
        gauges: int = 2,
        read_every: int = 3,
    ) -> Iterator[FitRow]:
        """Yield the row as slightly built as it can be; nothing where no such row can be made."""
        step = self._step_mm(form, direction)
        gaps = tuple(sorted({self._rounded(gap, step) for gap in gaps_mm}))
        if not 0 < len(gaps) <= _MOST_GAPS or not -1 <= gaps[0] <= gaps[-1] <= 3:
            return
        if step != STEP_MM:
            size_mm = nearest_layers(size_mm, step)
        row = FitRow(
            kind="fit",
            form=form,
            direction=direction,
            size_mm=size_mm,
            gaps_mm=gaps,
            gauges=gauges,
            read_every=read_every,
        )
        yield from self._built(row)

    def sizes(self, form: Form, direction: Direction, sizes: Iterable[float]) -> Iterator[SizesRow]:
        """Yield a row for the caliper; nothing where no such row can be made."""
        if form in FLAT and direction is Direction.Z:
            layer = self.assumed.layer_height_mm
            sizes = (nearest_layers(size, layer) for size in sizes)
        taken = tuple(sorted(set(sizes)))
        if 0 < len(taken) <= _MOST_SIZES:
            row = SizesRow(kind="sizes", form=form, direction=direction, sizes_mm=taken)
            yield from self._built(row)

    def _built(self, row: Made) -> Iterator[Made]:
        for depth, wall in _DEPTHS_AND_WALLS_MM:
            made = row.model_copy(
                update={"depth_mm": depth, "wall_mm": wall, "length_mm": _LENGTH_MM}
            )
            if not row_problems(made, "A", self.assumed, ""):
                yield made
                return

    def _step_mm(self, form: Form, direction: Direction) -> float:
        across_layers = form in FLAT and direction is Direction.Z
        return self.assumed.layer_height_mm if across_layers else STEP_MM

    def _rounded(self, gap_mm: float, step_mm: float) -> float:
        return round(round(gap_mm / step_mm) * step_mm, 4)

    def missing(self) -> tuple[Target, ...]:
        """Return the joints that no row can try."""
        return tuple(
            target
            for target in self.targets
            if not any(isinstance(row, FitRow) for row in self._starts_of(target))
        )

    def _starts_of(self, target: Target) -> Iterator[Row]:
        if target.direction not in _OF_ROUNDS and not set(target.forms) & FLAT:
            return  # no round form lies across a diagonal
        near_mm = min(self.sizes_mm, key=lambda size: abs(size - target.size_mm))
        for form in dict.fromkeys((*target.forms, *(MATES[one] for one in target.forms))):
            step = self._step_mm(form, target.direction)
            for size_mm in dict.fromkeys((4.0, near_mm)):
                for count, apart in ((1, 0), (2, 2), (3, 2), (4, 3)):
                    first = target.gap_mm - (count - 1) / 2 * apart * step
                    gaps = [first + n * apart * step for n in range(count)]
                    yield from self.fit(form, target.direction, size_mm, gaps)
        yield from self._caliper_rows(target, near_mm)

    def _caliper_rows(self, target: Target, near_mm: float) -> Iterator[Row]:
        for form in target.forms:
            for sizes in ((4.0,), (near_mm,), (4.0, near_mm), (4.0, near_mm, 20.0)):
                yield from self.sizes(form, target.direction, sizes)
        if not set(target.forms) & FLAT or target.direction is Direction.Z:
            return
        for tongues, slots in _RULES:
            rule = SpansRow(
                kind="spans", direction=target.direction, tongues_mm=tongues, slots_mm=slots
            )
            if not row_problems(rule, "A", self.assumed, ""):
                yield rule

    def _near_fit(self, row: FitRow) -> Iterator[FitRow]:
        def like(
            form: Form = row.form,
            size_mm: float = row.size_mm,
            gaps_mm: Iterable[float] = row.gaps(),
            gauges: int = row.gauges,
            read_every: int = row.read_every,
        ) -> Iterator[FitRow]:
            return self.fit(form, row.direction, size_mm, gaps_mm, gauges, read_every)

        for gaps in self._near_gaps(row):
            yield from like(gaps_mm=gaps)
        for gauges in (row.gauges - 1, row.gauges + 1):
            if 1 <= gauges <= _MOST_GAUGES:
                yield from like(gauges=gauges)
        for read_every in _READ_EVERY:
            yield from like(read_every=read_every)
        for size_mm in self._next_sizes(row.size_mm):
            yield from like(size_mm=size_mm)
        yield from like(form=MATES[row.form])

    def _near_gaps(self, row: FitRow) -> Iterator[tuple[float, ...]]:
        gaps, step = row.gaps(), self._step_mm(row.form, row.direction)
        middle = (gaps[0] + gaps[-1]) / 2
        for by in (-step, step):
            yield tuple(gap + by for gap in gaps)
            if len(gaps) > 1:
                widest = (gaps[-1] - gaps[0]) / 2
                yield tuple(middle + (gap - middle) * (1 + by / widest) for gap in gaps)
            for n, gap in enumerate(gaps):
                yield (*gaps[:n], gap + by, *gaps[n + 1 :])
        for n in range(len(gaps)):
            yield (*gaps[:n], *gaps[n + 1 :])
        apart = gaps[-1] - gaps[-2] if len(gaps) > 1 else 2 * step
        yield (gaps[0] - apart, *gaps)
        yield (*gaps, gaps[-1] + apart)
        if len(gaps) > 1:
            low, high = max(pairwise(gaps), key=lambda pair: pair[1] - pair[0])
            yield (*gaps, (low + high) / 2)

    def _near_sizes(self, row: SizesRow) -> Iterator[SizesRow]:
        taken = row.sizes_mm
        for n, size in enumerate(taken):
            rest = (*taken[:n], *taken[n + 1 :])
            for changed in (rest, *((*rest, other) for other in self._next_sizes(size))):
                yield from self.sizes(row.form, row.direction, changed)
        for size in (3.0, 4.0, 8.0, 12.0, 20.0):
            yield from self.sizes(row.form, row.direction, (*taken, size))

    def _next_sizes(self, size_mm: float) -> tuple[float, ...]:
        below = [size for size in self.sizes_mm if size < size_mm - 1e-6]
        above = [size for size in self.sizes_mm if size > size_mm + 1e-6]
        return (*below[-1:], *above[:1])
