"""The bar of a rule: blocks and notches between two rails, stiff enough for a caliper.

Jaws press a rule together, or apart in a notch. On a strip under the blocks they would press far
above its middle and bend it: an 82 mm rule on a strip of 1.4 mm reads 0.3 mm short, more than most
plastics shrink. Here the jaws press on the axis of the bar, and what is left is mostly compression.
"""

from dataclasses import dataclass
from functools import cached_property

from coupons.making.bodies.proportions import EDGE_MM, JAW_CLEAR_MM, Measures
from coupons.making.bodies.series import Item
from coupons.making.bodies.shapes import Outline
from coupons.making.bodies.stiffness import (
    JAW_FORCE_N,
    MODULUS_MPA,
    BarSection,
    lean_mm,
    pressed_mm,
    section_of,
    spreading_mm,
)

LOWEST_MM, HIGHEST_MM = 4.8, 10.0  # jaws stand askew unseen in deeper notches
OFF_MM = 0.01  # no size may read farther off
SLOPE = 5e-5  # nor may what all read off grow faster with their length,
UNSEEN_MM = 0.0025  # unless that comes to less over the whole rule: a quarter of a caliper's step


@dataclass(frozen=True)
class Ladder:
    """Blocks and notches in turn, the first and last a block, between rails of one width."""

    items: tuple[Item, ...]
    rail_mm: float
    high_mm: float
    foot_mm: float

    @property
    def wide_mm(self) -> float:
        """Width of the whole bar."""
        return round(2 * self.rail_mm + JAW_CLEAR_MM, 6)

    @property
    def jaws_mm(self) -> tuple[float, float]:
        """Where jaws press, as (across, up): the middle of the notches' faces."""
        return (self.wide_mm / 2, self.high_mm / 2)

    @cached_property
    def at_notch(self) -> BarSection:
        """Section of the two rails."""
        return section_of((self._rail(0.0, self.rail_mm), self._rail(self.wide_mm, -self.rail_mm)))

    @cached_property
    def at_block(self) -> BarSection:
        """Section through a block and the rails."""
        c, high, wide = self.foot_mm, self.high_mm, self.wide_mm
        whole = ((c, 0.0), (wide - c, 0.0), (wide, c), (wide, high), (0.0, high), (0.0, c))
        return section_of((whole,))

    @property
    def whole_mm(self) -> float:
        """Length from the first face to the last."""
        return round(sum(item.size_mm for item in self.items), 6)

    def _rail(self, outer: float, inward: float) -> Outline:
        """Return a rail's outline from its outer face, whose foot is chamfered, inwards."""
        c = self.foot_mm if inward > 0 else -self.foot_mm
        inner, high = outer + inward, self.high_mm
        corners = ((outer + c, 0.0), (inner, 0.0), (inner, high), (outer, high), (outer, abs(c)))
        return corners if inward > 0 else corners[::-1]


def ladder_for(
    items: tuple[Item, ...], wall_mm: float, depth_mm: float, measures: Measures
) -> Ladder:
    """Return the lowest ladder that keeps both limits, or the highest one that there may be."""
    rail = max(wall_mm, measures.cap_mm + 2 * EDGE_MM)  # it carries a line of labels
    high = measures.layers_up(max(depth_mm, LOWEST_MM))
    while True:
        ladder = Ladder(items, rail, high, measures.foot_mm)
        higher = measures.layers_up(high + measures.layer_height_mm / 2)
        off = reads_off_mm(ladder)
        stiff = max(map(abs, off)) <= OFF_MM and abs(slope(ladder, off)) <= SLOPE
        if stiff or higher > HIGHEST_MM:
            return ladder
        high = higher


def reads_off_mm(ladder: Ladder) -> tuple[float, ...]:
    """Return the reading error of each item, and last of the whole length, under the jaws.

    Below zero it reads short, as all lengths do; notches are pressed apart and read long.
    """
    blocks = ladder.items[::2]
    off = []
    for place, item in enumerate(ladder.items):
        beside = ladder.items[place - 1 : place + 2 : 2] if place % 2 else ()
        off.append(_notch_mm(ladder, item, beside) if beside else -_block_mm(ladder, item))
    along = sum(_along_mm(ladder, item, place) for place, item in enumerate(ladder.items))
    ends = sum(_end_mm(ladder, block) for block in (blocks[0], blocks[-1]))
    return (*off, -(along + ends))


def slope(ladder: Ladder, off_mm: tuple[float, ...]) -> float:
    """Return the slope of the least-squares line through what all sizes read off, by drawn size."""
    sizes = [item.size_mm for item in ladder.items] + [ladder.whole_mm]
    mean = sum(sizes) / len(sizes)
    spread = sum((size - mean) ** 2 for size in sizes)
    return sum((s - mean) * off for s, off in zip(sizes, off_mm, strict=True)) / spread


def _along_mm(ladder: Ladder, item: Item, place: int) -> float:
    section = ladder.at_notch if place % 2 else ladder.at_block
    return pressed_mm(item.size_mm, section, ladder.jaws_mm)


def _face_mm(ladder: Ladder) -> float:
    return spreading_mm(JAW_CLEAR_MM, ladder.wide_mm, ladder.high_mm)


def _end_mm(ladder: Ladder, block: Item) -> float:
    return lean_mm(block.size_mm, JAW_CLEAR_MM, ladder.high_mm) + _face_mm(ladder)


def _notch_mm(ladder: Ladder, notch: Item, beside: tuple[Item, ...]) -> float:
    return _along_mm(ladder, notch, 1) + sum(_end_mm(ladder, block) for block in beside)


def _block_mm(ladder: Ladder, block: Item) -> float:
    """Return how much a block yields between its own faces; a short one carries the load alone."""
    alone = JAW_FORCE_N * block.size_mm / (MODULUS_MPA * JAW_CLEAR_MM * ladder.high_mm)
    return min(alone, _along_mm(ladder, block, 0) + 2 * _face_mm(ladder))
