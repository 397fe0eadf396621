"""Build one row of a spec: its bodies, trials and hardware, or the rules that it breaks."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

from coupons.errors import Problem
from coupons.making.bodies.built_bodies import Along, BuiltBody, Turn, turn_for
from coupons.making.bodies.contact_area import contact_of
from coupons.making.bodies.hardware_mates import bought_piece, outside_mm
from coupons.making.bodies.posts import lying, standing, width_in_row_mm
from coupons.making.bodies.proportions import ROOM_MM, SHOULDER_MM, room_on
from coupons.making.bodies.ruler import rule
from coupons.making.bodies.ruler_bar import ladder_for
from coupons.making.bodies.series import Item, Series
from coupons.making.bodies.steps import steps
from coupons.making.bodies.tiles import tile
from coupons.making.bodies.windows import windowed_plate, windowed_wall
from coupons.making.printable import row_problems, rule_items
from coupons.making.record import CouponHardware, CouponHold, CouponTrial
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import (
    FitRow,
    HardwareRow,
    HeldRow,
    Row,
    SizesRow,
    SpansRow,
    SwellRow,
)
from coupons.making.spec.settle import settled
from coupons.terms import INTERNAL, ROUND, Direction, Form, Held, Jaws, Seam

GAUGE_LETTERS = "GHJKL"
HARDWARE_LETTER = "B"
MATES = {Form.HOLE: Form.PIN, Form.SLOT: Form.TONGUE, Form.PIN: Form.HOLE, Form.TONGUE: Form.SLOT}

Readings = tuple[tuple[Jaws, Along | None], ...]


@dataclass(frozen=True)
class BuiltRow:
    """What one row builds; ``bought`` are bodies of hardware, which is not printed."""

    letter: str
    bodies: tuple[BuiltBody, ...]
    trials: tuple[CouponTrial, ...] = ()
    hardware: tuple[CouponHardware, ...] = ()
    bought: tuple[BuiltBody, ...] = ()
    holds: tuple[CouponHold, ...] = ()


def build_row(row: Row, letter: str, assumed: Assumed, where: str) -> "BuiltRow | list[Problem]":
    """Return the row built as the machine will print it, or every rule that it breaks."""
    problems = row_problems(row, letter, assumed, where)
    if problems:
        return problems
    row = settled(row, assumed)
    match row:
        case FitRow():
            return _fit(row, letter, assumed)
        case HardwareRow():
            return _hardware(row, letter, assumed)
        case HeldRow():
            return _held(row, letter, assumed)
        case SizesRow():
            return BuiltRow(letter, _build_to_fit(_sizes_series(row, letter, assumed), assumed))
        case SpansRow():
            return BuiltRow(letter, (_rule(row, letter, assumed),))
        case SwellRow():
            return BuiltRow(letter, _tiles(row, letter, assumed))


def _build(series: Series) -> BuiltBody:
    """Choose the builder by form and direction."""
    if not series.on_bed:
        return steps(series)
    if series.form in INTERNAL:
        return windowed_wall(series) if series.lying else windowed_plate(series)
    return lying(series) if series.lying else standing(series)


def _build_to_fit(series: Series, assumed: Assumed) -> tuple[BuiltBody, ...]:
    """Build a series as one body, or as the fewest like ones that the bed holds."""
    room = room_on(assumed.bed_mm)
    whole = _build(series)
    bodies: tuple[BuiltBody, ...] = (whole,)
    count = 1
    while not all(_fits(body, room) for body in bodies):
        # No fewer bodies than the longest has lengths of bed in it can do.
        count = max(count + 1, math.ceil(_longest(bodies) / max(room) * count))
        if count > len(series.items):
            return (whole,)  # not even one feature fits: placing it says by how much
        bodies = tuple(_build(part) for part in _split(series, count))
    return bodies


def _longest(bodies: tuple[BuiltBody, ...]) -> float:
    return max(body.box[1][0] - body.box[0][0] for body in bodies)


def _split(series: Series, count: int) -> list[Series]:
    """Split the items over ``count`` bodies, as evenly as possible."""
    ends = [round(len(series.items) * k / count) for k in range(count + 1)]
    return [
        replace(
            series,
            body=f"{series.body}.{number}",
            items=series.items[start:stop],
            outer=number == 1,
        )
        for number, (start, stop) in enumerate(pairwise(ends), start=1)
    ]


def _fits(body: BuiltBody, room: tuple[float, float]) -> bool:
    low, high = body.cover()
    return high[0] - low[0] <= room[0] and high[1] - low[1] <= room[1]


def _turn(form: Form, direction: Direction) -> Turn:
    """Return how to turn a body so that its features lie along the printer direction."""
    if direction is Direction.Z:
        return 0
    if form in ROUND:  # the axis is the body's own y
        return 0 if direction is Direction.Y else 90
    return turn_for(direction)


def _series(
    row: FitRow | HardwareRow | HeldRow | SizesRow, letter: str, assumed: Assumed
) -> Series:
    return Series(
        body=letter,
        row=letter,
        form=row.form,
        direction=row.direction,
        role="fit",
        items=(),
        turn_deg=_turn(row.form, row.direction),
        loose=False,
        wall_mm=row.wall_mm,
        depth_mm=row.depth_mm,
        length_mm=row.length_mm,
        measures=assumed.measures,
    )


def _fixed_series(row: FitRow | HardwareRow, letter: str, assumed: Assumed) -> Series:
    sign = 1 if row.form in INTERNAL else -1
    items = tuple(
        Item(
            f"{letter}{number}",
            round(row.size_mm + sign * gap, 6),
            readings_for(row.form, row.direction)
            if number % row.read_every == 1 % row.read_every
            else (),
        )
        for number, gap in enumerate(row.gaps(), start=1)
    )
    return replace(
        _series(row, letter, assumed),
        items=items,
        seat_wide_mm=_seat_wide_mm(row),
    )


def _seat_wide_mm(row: FitRow | HardwareRow) -> float:
    """Return how far a mate's shoulder or head reaches over the rim of the widest window."""
    wide = SHOULDER_MM
    if isinstance(row, HardwareRow) and row.form is Form.HOLE:
        wide = (outside_mm(row.nominal_mm, row.outer_mm) - row.size_mm) / 2
    return wide - min(0.0, row.gaps()[-1]) / 2  # where all windows are narrower than their mate


def _spaced(series: Series, mate: BuiltBody) -> Series:
    """Set posts so far apart that a mate on one of them has its room beside the next."""
    if series.form in INTERNAL:
        return series
    (low, _, _), (high, _, _) = mate.box
    middle = mate.features[0].centre[0]  # the cut corner makes a wall longer at one end
    post = max(width_in_row_mm(series, item) for item in series.items)
    return replace(series, pitch_mm=max(high - middle, middle - low) + post / 2 + ROOM_MM)


def _gauge_series(row: FitRow, letter: str, assumed: Assumed, copy: int) -> Series:
    mate = MATES[row.form]
    name = letter + GAUGE_LETTERS[copy]
    item = Item(name, row.size_mm, readings_for(mate, row.direction))
    flat = mate not in ROUND
    series = _series(row, letter, assumed)
    # A gauge's seam is in every trial that it takes part in, and a designer's pin has one too: the
    # first gauge goes without, the next shows it, so that the two sides of it can be told apart.
    grooved = mate is Form.PIN and not series.lying and copy % 2 == 0
    return replace(
        series,
        body=name,
        form=mate,
        role="gauge",
        items=(item,),
        loose=True,
        seam=Seam.HIDDEN if grooved else Seam.SHOWN,
        mark=("≡" if row.direction is Direction.Z else "↔") if flat else "",
    )


def _fit(row: FitRow, letter: str, assumed: Assumed) -> BuiltRow:
    gauges = [_build(_gauge_series(row, letter, assumed, copy)) for copy in range(row.gauges)]
    fixed = _spaced(_fixed_series(row, letter, assumed), gauges[0])
    # From loose to tight, one loose piece after the other: nothing wears before it is judged.
    trials = [trial for gauge in gauges for trial in _trials(row, fixed, gauge.id)]
    return BuiltRow(letter, (*_build_to_fit(fixed, assumed), *gauges), tuple(trials))


def _trials(row: FitRow | HardwareRow, fixed: Series, mate: str) -> list[CouponTrial]:
    deep_mm, wide_mm = contact_of(fixed)
    return [
        CouponTrial(feature=item.id, mate=mate, gap_mm=gap, deep_mm=deep_mm, wide_mm=wide_mm)
        for item, gap in reversed(list(zip(fixed.items, row.gaps(), strict=True)))
    ]


def _hardware(row: HardwareRow, letter: str, assumed: Assumed) -> BuiltRow:
    fixed = _fixed_series(row, letter, assumed)
    outer = outside_mm(row.nominal_mm, row.outer_mm)
    mate = MATES[row.form]
    piece = bought_piece(fixed, letter + HARDWARE_LETTER, mate, row.size_mm, outer)
    low, high = row.limits_mm
    ware = CouponHardware(
        id=piece.id,
        name=row.name,
        form=mate,
        size_mm=row.size_mm,
        # A piece is taken to lie anywhere in its band alike: a uniform spread.
        sd_mm=round((high - low) / math.sqrt(12), 6),
    )
    trials = _trials(row, fixed, ware.id)
    bodies = _build_to_fit(_spaced(fixed, piece), assumed)
    return BuiltRow(letter, bodies, tuple(trials), (ware,), (piece,))


def _held(row: HeldRow, letter: str, assumed: Assumed) -> BuiltRow:
    items = tuple(
        Item(
            f"{letter}{number}", size, readings_for(row.form, row.direction) if number == 1 else ()
        )
        for number, size in enumerate(row.holes_mm, start=1)
    )
    outer = outside_mm(row.nominal_mm, row.outer_mm)
    fixed = replace(
        _series(row, letter, assumed), items=items, seat_wide_mm=(outer - row.holes_mm[0]) / 2
    )
    mate = MATES[row.form]
    piece = bought_piece(fixed, letter + HARDWARE_LETTER, mate, row.nominal_mm, outer)
    ware = CouponHardware(id=piece.id, name=row.name, form=mate, size_mm=row.nominal_mm, sd_mm=0.0)
    # From the widest hole to the narrowest: what splits a wall comes last.
    holds = tuple(
        CouponHold(feature=item.id, mate=ware.id, held_by=Held(row.kind))
        for item in reversed(items)
    )
    bodies = _build_to_fit(fixed, assumed)
    return BuiltRow(letter, bodies, (), (ware,), (piece,), holds)


def _sizes_series(row: SizesRow, letter: str, assumed: Assumed) -> Series:
    # Between two upper faces jaws have nothing to close on: the depth rod measures.
    by = readings_for(row.form, row.direction) if row.on_bed else ((Jaws.DEPTH, None),)
    items = tuple(
        Item(f"{letter}{number}", size, by) for number, size in enumerate(row.sizes_mm, start=1)
    )
    return replace(_series(row, letter, assumed), role="span", items=items, on_bed=row.on_bed)


def _tiles(row: SwellRow, letter: str, assumed: Assumed) -> tuple[BuiltBody, ...]:
    forms = [(Form.TONGUE, size) for size in row.tongues_mm]
    forms += [(Form.SLOT, size) for size in row.slots_mm]
    return tuple(
        tile(
            Item(f"{letter}{number}", size, readings_for(form, row.direction)),
            form,
            row.direction,
            row.wall_mm,
            assumed.measures,
        )
        for number, (form, size) in enumerate(forms, start=1)
    )


def _rule(row: SpansRow, letter: str, assumed: Assumed) -> BuiltBody:
    items = tuple(
        replace(item, readings=((_jaws(place % 2 == 1), None),))
        for place, item in enumerate(rule_items(row, letter))
    )
    ladder = ladder_for(items, row.wall_mm, row.depth_mm, assumed.measures)
    return rule(letter, row.direction, turn_for(row.direction), ladder, assumed.measures)


def _jaws(internal: bool) -> Jaws:
    return Jaws.INSIDE if internal else Jaws.OUTSIDE


def readings_for(form: Form, direction: Direction) -> Readings:
    """Return the readings worth taking of a feature: rounds two ways, flats one.

    A lying pin stands on a flat, so that its height is not its diameter: it is read level alone.
    """
    jaws = _jaws(form in INTERNAL)
    if form not in ROUND:
        return ((jaws, None),)
    if form is Form.PIN and direction is not Direction.Z:
        return ((jaws, "y" if direction is Direction.X else "x"),)
    across: dict[str, tuple[Along, Along]] = {"z": ("x", "y"), "x": ("y", "z"), "y": ("x", "z")}
    return tuple((jaws, along) for along in across[direction.value])
