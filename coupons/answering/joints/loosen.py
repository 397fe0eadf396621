"""Which joint of a part to loosen, and by how much, so that fewer prints are too tight.

A joint drawn wider is too tight less often and too loose more often: the chance that no joint is
too tight grows, the chance that all joints fit soon falls. A joint is widened as long as the first
gains more than the second loses, counting both alike; the joint with the largest gain is named.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coupons.answering.chances.demand import Demand, OneOf, not_too_tight
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.shared import Shared
from coupons.answering.chances.together import DemandChange, chances_if_changed

# Less is not worth drawing anything anew.
_WORTH = 0.01


@dataclass(frozen=True)
class Wider:
    """One joint drawn wider: its place among the demands, and its new demand."""

    at: int
    wider_mm: float
    moves: tuple[FaceMove, ...]
    demand: Demand


@dataclass(frozen=True)
class Loosening:
    """The joint to loosen: its place, how much more gap it gets, what to draw, and the gain.

    ``not_too_tight`` and ``together`` are the changes of these chances of the whole part, the
    second mostly a loss. Their sampling error is far smaller than that of the chances.
    """

    at: int
    wider_mm: float
    moves: tuple[FaceMove, ...]
    not_too_tight: float
    together: float


def most_gained(
    demands: Sequence[Demand | OneOf], tried: Sequence[Wider], shared: Shared
) -> Loosening | None:
    """Choose, of joints drawn wider, the one that reduces the chance of a tight part most.

    Parameters
    ----------
    demands : sequence of Demand or OneOf
        Of all joints as drawn.
    tried : sequence of Wider
        Each by itself, in the order of how much wider.
    shared : Shared

    Returns
    -------
    Loosening or None
        None if no joint gains a point of chance.
    """
    if not tried:
        return None
    all_fit = [DemandChange(one.at, one.demand) for one in tried]
    none_tight = [DemandChange(one.at, not_too_tight(one.demand)) for one in tried]
    now, fits = chances_if_changed(demands, all_fit, shared)
    loose_enough, free = chances_if_changed(
        [not_too_tight(demand) for demand in demands], none_tight, shared
    )
    more_free, more_fits = free - loose_enough, fits - now
    gained = more_free + more_fits
    best = int(gained.argmax())
    if gained[best] < _WORTH:
        return None
    one = tried[best]
    return Loosening(
        one.at, one.wider_mm, one.moves, float(more_free[best]), float(more_fits[best])
    )
