"""Rules that keep a row printable, stiff and measurable, and the problems of breaking them."""

from collections.abc import Iterator
from dataclasses import dataclass

from coupons.errors import Problem
from coupons.making.bodies.proportions import (
    BRIDGE_MM,
    LARGEST_MM,
    MIN_WALL_MM,
    NOTCH_MM,
    SLENDER,
    SMALLEST_MM,
    TIP_MM,
    line_width_mm,
)
from coupons.making.bodies.ruler import label_texts, labels_clash
from coupons.making.bodies.ruler_bar import (
    OFF_MM,
    SLOPE,
    UNSEEN_MM,
    Ladder,
    ladder_for,
    reads_off_mm,
    slope,
)
from coupons.making.bodies.series import Item
from coupons.making.bodies.stiffness import (
    FORCE_N,
    JAW_FORCE_N,
    STIFF_MM,
    round_length_mm,
    window_deflection_mm,
)
from coupons.making.bodies.tiles import narrowest_mm
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
from coupons.making.spec.settle import SPLITTING_MM, settled
from coupons.terms import EXTERNAL, INTERNAL, ROUND, Direction

EDGE_SHARE = 1.0
"""Wall around a screw or an insert, as a share of its own size (common practice, no source)."""


def row_problems(row: Row, letter: str, assumed: Assumed, where: str) -> list[Problem]:
    """Return every rule that a row breaks, as stated or as the machine prints it."""
    problems = [*_thin_walls(row, where), *_gaps_in_one(row, assumed, where)]
    row = settled(row, assumed)
    match row:
        case SpansRow():
            problems += _rule_problems(row, letter, assumed, where)
        case SwellRow():
            problems += _tile_problems(row, letter, assumed, where)
        case FitRow() | HardwareRow():
            problems += _fit_problems(row, assumed, where)
        case HeldRow():
            problems += _held_problems(row, assumed, where)
        case SizesRow():
            problems += _form_problems(_Formed(row, row.sizes_mm, "sizes_mm", assumed, where))
    return problems


def rule_items(row: SpansRow, letter: str) -> tuple[Item, ...]:
    """Return the blocks and notches of a rule in turn, without readings."""
    last = row.tongues_mm[-1]
    pairs = zip(row.tongues_mm, row.slots_mm, strict=False)
    sizes = [size for pair in pairs for size in pair] + [last]
    return tuple(Item(f"{letter}{number}", size) for number, size in enumerate(sizes, start=1))


def _thin_walls(row: Row, where: str) -> Iterator[Problem]:
    if row.wall_mm < MIN_WALL_MM - 1e-9:
        yield Problem(
            f"{where} wall_mm",
            f"at least {MIN_WALL_MM:g} mm (walls of six lines; a wide nozzle makes them thicker)",
            f"{row.wall_mm:g}",
        )


def _gaps_in_one(row: Row, assumed: Assumed, where: str) -> Iterator[Problem]:
    """Find gaps across z that become equal once they are rounded to layers."""
    if not isinstance(row, FitRow | HardwareRow):
        return
    now = settled(row, assumed)
    if isinstance(now, FitRow | HardwareRow) and len(row.gaps()) > 1 == len(now.gaps()):
        yield Problem(
            f"{where} gaps_mm",
            f"gaps across z that differ by a layer of {assumed.layer_height_mm:g} mm",
            f"{', '.join(f'{gap:g}' for gap in row.gaps()[:4])}, which all round to "
            f"{now.gaps()[0]:g}",
            "Use gaps further apart, or thinner layers",
        )


def _rule_problems(row: SpansRow, letter: str, assumed: Assumed, where: str) -> Iterator[Problem]:
    for number, slot in enumerate(row.slots_mm, start=1):
        if slot < NOTCH_MM:
            yield Problem(
                f"{where} slots_mm {number}",
                f"at least {NOTCH_MM:g} mm, so that a caliper jaw reaches in",
                f"{slot:g}",
            )
    items = rule_items(row, letter)
    if label_texts(items, assumed.measures) is None:
        ids = tuple(item.id for item in items)
        clash = labels_clash(items, ids, assumed.measures) or (ids[0], ids[1])
        yield Problem(
            f"{where} tongues_mm, slots_mm",
            "room for every label beside its block or notch",
            f"{clash[0]} and {clash[1]} overlapping",
            "Put a wide slot beside a narrow tongue",
        )
    made = settled(row, assumed)
    ladder = ladder_for(items, made.wall_mm, made.depth_mm, assumed.measures)
    yield from _bending_rule(ladder, letter, where)


def _bending_rule(ladder: Ladder, letter: str, where: str) -> Iterator[Problem]:
    off = reads_off_mm(ladder)
    names = [*(item.id for item in ladder.items), f"{letter}W"]
    worst, name = max(zip(off, names, strict=True), key=lambda pair: abs(pair[0]))
    if abs(worst) > OFF_MM:
        yield Problem(
            f"{where} wall_mm",
            f"a rule that reads within {OFF_MM:g} mm when jaws press with {JAW_FORCE_N:g} N",
            f"{name} {abs(worst):.3f} mm {'long' if worst > 0 else 'short'}",
            "Make wall_mm larger, which widens its rails, or the rule shorter",
        )
    grows = slope(ladder, off)
    if abs(grows) > SLOPE and abs(grows) * ladder.whole_mm > UNSEEN_MM:
        yield Problem(
            f"{where} tongues_mm",
            f"a rule with a scale error within {100 * SLOPE:g} % when jaws press with "
            f"{JAW_FORCE_N:g} N",
            f"{100 * abs(grows):.4f} %",
            "Make its first and last block longer, or wall_mm larger",
        )


def _tile_problems(row: SwellRow, letter: str, assumed: Assumed, where: str) -> Iterator[Problem]:
    for number, size in enumerate(row.tongues_mm, start=1):
        least = narrowest_mm(Item(f"{letter}{number}", size), assumed.measures)
        if size < least:
            yield Problem(
                f"{where} tongues_mm {number}",
                f"at least {least:g} mm, the width of the tile's own label",
                f"{size:g}",
            )


@dataclass(frozen=True)
class _Formed:
    """A row of one form with all its drawn sizes, and the key that a bad size came from."""

    row: FitRow | HardwareRow | HeldRow | SizesRow
    sizes: tuple[float, ...]
    key: str
    assumed: Assumed
    where: str

    @property
    def flat(self) -> bool:
        """Whether the form is flat."""
        return self.row.form not in ROUND

    @property
    def has_windows(self) -> bool:
        """Whether the fixed or the loose side is a window."""
        return self.row.form in INTERNAL or isinstance(self.row, FitRow)

    @property
    def has_posts(self) -> bool:
        """Whether the fixed or the loose side is a post."""
        return self.row.form in EXTERNAL or isinstance(self.row, FitRow)


def _fit_problems(row: FitRow | HardwareRow, assumed: Assumed, where: str) -> Iterator[Problem]:
    sign = 1 if row.form in INTERNAL else -1
    gaps = row.gaps()
    sizes = (*(round(row.size_mm + sign * gap, 6) for gap in gaps), row.size_mm)
    if isinstance(row, HardwareRow):
        sizes = sizes[:-1]  # the bought side is not printed
        if gaps[0] < SPLITTING_MM:
            yield Problem(
                f"{where} gaps_mm",
                f"no gap below {SPLITTING_MM:g} mm for hardware, or it splits the printed wall",
                f"{gaps[0]:g}",
            )
    yield from _form_problems(_Formed(row, sizes, "gaps_mm", assumed, where))


def _held_problems(row: HeldRow, assumed: Assumed, where: str) -> Iterator[Problem]:
    least_mm = EDGE_SHARE * row.nominal_mm
    if row.wall_mm < least_mm - 1e-9:
        yield Problem(
            f"{where} wall_mm",
            f"a wall of at least {least_mm:g} mm around what holds itself in a hole of "
            f"{row.nominal_mm:g} mm",
            f"{row.wall_mm:g}",
            "Make wall_mm larger: a thinner wall bulges or splits",
        )
    yield from _form_problems(_Formed(row, row.holes_mm, "holes_mm", assumed, where))


def _form_problems(formed: _Formed) -> Iterator[Problem]:
    least = max(SMALLEST_MM, 2 * line_width_mm(formed.assumed.nozzle_mm))
    outside = [size for size in formed.sizes if not least <= size <= LARGEST_MM]
    if outside:
        yield Problem(
            f"{formed.where} {formed.key}",
            f"features between {least:g} and {LARGEST_MM:g} mm",
            f"{outside[0]:g} mm",
        )
        return
    yield from _long_roofs(formed)
    yield from _slender_posts(formed)
    yield from _bending_walls(formed)


def _long_roofs(formed: _Formed) -> Iterator[Problem]:
    """Find windows in upright walls, fixed or loose, whose roof is too long to bridge."""
    sideways = formed.flat == (formed.row.direction is Direction.Z)
    span = formed.row.length_mm if formed.flat else max(formed.sizes)
    if sideways and formed.has_windows and span > BRIDGE_MM:
        yield Problem(
            f"{formed.where} {'length_mm' if formed.flat else 'size_mm'}",
            f"at most {BRIDGE_MM:g} mm, the longest roof that prints without support",
            f"{span:g}",
        )


def _slender_posts(formed: _Formed) -> Iterator[Problem]:
    tall, thin = formed.row.depth_mm + TIP_MM, min(formed.sizes)
    if formed.has_posts and tall > SLENDER * thin + 1e-9:
        yield Problem(
            f"{formed.where} depth_mm",
            f"posts at most {SLENDER:g} times as tall as thick",
            f"{tall:g} mm tall and {thin:g} mm thick",
            "Make depth_mm smaller or the size larger",
        )


def _bending_walls(formed: _Formed) -> Iterator[Problem]:
    row = formed.row
    length = row.length_mm if formed.flat else round_length_mm(max(formed.sizes))
    bend = window_deflection_mm(length, row.wall_mm, row.depth_mm)
    if formed.has_windows and bend > STIFF_MM:
        yield Problem(
            f"{formed.where} wall_mm",
            f"walls that bend less than {STIFF_MM:g} mm under {FORCE_N:g} N",
            f"{bend:.3f} mm on a wall {length:.1f} mm long",
            "Make wall_mm or depth_mm larger, or the window shorter",
        )
