"""Which of the holes tried hold a screw or an insert.

Found directly: a hole is drawn as the tried ones that held. No model stands behind it, so nothing
is said of other sizes, pieces or directions.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from coupons.making.record import Coupon
from coupons.measuring.run.entries import HoldEntry
from coupons.measuring.run.folder import Run
from coupons.terms import Direction, Held, Hold


@dataclass(frozen=True)
class HeldIn:
    """What was found of one piece in holes along one direction.

    Parameters
    ----------
    name : str
        Of the piece, as the coupon has it.
    held_by : Held
    direction : Direction
        Along the axis of the holes.
    tried_mm : tuple of float
        Holes that were tried, rising.
    held_mm : tuple of float
        Those that held each time, without a hole between that did not.
    is_ordered : bool
        Whether each wider hole was found as loose or looser; if not, nothing is to be drawn.
    """

    name: str
    held_by: Held
    direction: Direction
    tried_mm: tuple[float, ...]
    held_mm: tuple[float, ...]
    is_ordered: bool

    @property
    def drawn_mm(self) -> float | None:
        """The hole to draw: the middle of those that held; None if none is known."""
        if not self.held_mm or not self.is_ordered:
            return None
        return round((self.held_mm[0] + self.held_mm[-1]) / 2, 2)


def held_in(runs: Iterable[Run]) -> tuple[HeldIn, ...]:
    """Return what was found of each piece that holds itself, in the order of the coupons."""
    found: dict[tuple[str, Held, Direction], list[tuple[float, Hold]]] = {}
    for run in runs:
        for key, size_mm, hold in _keyed(run.coupon, run.holds):
            found.setdefault(key, []).append((size_mm, hold))
    return tuple(_of_one(*key, tries) for key, tries in found.items())


def _keyed(
    coupon: Coupon, holds: Sequence[HoldEntry]
) -> Iterable[tuple[tuple[str, Held, Direction], float, Hold]]:
    features = {feature.id: feature for feature in coupon.features}
    names = {piece.id: piece.name for piece in coupon.hardware}
    kinds = {(hold.feature, hold.mate): hold.held_by for hold in coupon.holds}
    for entry in holds:
        feature = features[entry.feature]
        kind = kinds[entry.feature, entry.mate]
        yield (names[entry.mate], kind, feature.direction), feature.size_mm, entry.found


def _of_one(
    name: str, held_by: Held, direction: Direction, tries: list[tuple[float, Hold]]
) -> HeldIn:
    order = list(Hold)
    by_size: dict[float, list[int]] = {}
    for size_mm, hold in sorted(tries, key=lambda one: one[0]):
        by_size.setdefault(size_mm, []).append(order.index(hold))
    ranks = list(by_size.values())
    is_ordered = all(max(a) <= min(b) for a, b in pairwise(ranks))
    middle = order.index(Hold.HOLDS)
    held = tuple(size for size, found in by_size.items() if set(found) == {middle})
    return HeldIn(name, held_by, direction, tuple(by_size), held, is_ordered)
