"""What coupons bring, judged on printers that took no part in the search; shipped ones too."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.next.exchange import MINUTE, with_row
from coupons.answering.next.goal import Goal
from coupons.answering.next.priced_rows import PricedRow, PriceList, Reach, minutes_of
from coupons.answering.next.row_information import N_SHARED
from coupons.learning.effects import TERMS
from coupons.making.spec.coupon_spec import load_spec, shipped_specs
from coupons.making.spec.row_kinds import Row

Array = NDArray[np.floating]

_N_TERMS = len(TERMS)


@dataclass(frozen=True)
class Shipped:
    """A shipped coupon at the same minutes.

    Parameters
    ----------
    name : str
    prints : int
        How often it is printed.
    rows : int
        How many of its rows fit the minutes; fewer than ``of_rows`` where not all do.
    of_rows : int
    minutes : float
    known_to_mm : tuple of float
        How far each want is then known.
    """

    name: str
    prints: int
    rows: int
    of_rows: int
    minutes: float
    known_to_mm: tuple[float, ...]


class Judge:
    """What coupons bring, on printers that took no part in the search."""

    def __init__(self, goal: Goal, prices: PriceList) -> None:
        self.goal, self.prices = goal, prices

    def priced(self, rows: Sequence[Row]) -> tuple[PricedRow, ...]:
        """Return rows with their prices; those that break a rule are left out."""
        return tuple(found for row in rows if (found := self.prices(row)) is not None)

    def reaches(self, prints: Sequence[Sequence[PricedRow]]) -> frozenset[Reach]:
        """Return what some prints measure and try."""
        return frozenset().union(*(row.reaches for rows in prints for row in rows))

    def known_to_mm(self, prints: Sequence[Sequence[PricedRow]]) -> tuple[float, ...]:
        """Return how far each want is known after some prints, each of its rows."""
        covariance = self._after(prints)
        if covariance is None:
            return tuple(want.asked.known_to_mm for want in self.goal.wants)
        return self.goal.known_to_mm(covariance.mean(axis=0), self.reaches(prints))

    def least_mm(self, prints: Sequence[Sequence[PricedRow]], more: int = 1) -> tuple[float, ...]:
        """Return how far each want is known at best after some prints and more of any coupon.

        As if everything of the further prints were known exactly. A coupon tells of its own print;
        that print differs from the next, and no coupon changes that.
        """
        printers = self.prices.printers
        state = printers.state(self._after(prints))
        for _ in range(more):
            roots = np.broadcast_to(printers.exact_roots, (len(state), N_SHARED, _N_TERMS))
            state = printers.state(with_row(state, roots)[:, :_N_TERMS, :_N_TERMS])
        covariance = state[:, :_N_TERMS, :_N_TERMS]
        return self.goal.known_to_mm(covariance.mean(axis=0), self.reaches(prints))

    def _after(self, prints: Sequence[Sequence[PricedRow]]) -> Array | None:
        """Return the covariance of the terms after some prints; None if there are none."""
        covariance = None
        for rows in prints:
            state = self.prices.printers.state(covariance)
            for row in rows:
                state = with_row(state, row.roots)
            covariance = state[:, :_N_TERMS, :_N_TERMS]
        return covariance

    def without_idle(self, rows: Sequence[Row], prints: int) -> tuple[PricedRow, ...]:
        """Leave out rows that are not worth their minutes once the coupon is printed so often."""
        kept = self.priced(rows)
        while len(kept) > 1:
            fewer = [(*kept[:n], *kept[n + 1 :]) for n in range(len(kept))]
            costs = [self._cost(each, prints) for each in fewer]
            if min(costs) >= self._cost(kept, prints):
                break
            kept = fewer[int(np.argmin(costs))]
        return kept

    def _cost(self, rows: Sequence[PricedRow], prints: int) -> float:
        minutes = prints * sum(minutes_of(rows, self.prices.assumed.layer_height_mm))
        halves_mm = np.array(self.known_to_mm([rows] * prints))
        return float(self.goal.loss(halves_mm)) + MINUTE * minutes

    def left(self, prints: Sequence[Sequence[PricedRow]]) -> float:
        """Return what is left open: the sum of the logarithms of how far each want is known."""
        return float(np.sum(np.log(self.known_to_mm(prints))))


def shipped_beside(judge: Judge, minutes: float) -> tuple[Shipped, ...]:
    """Return the shipped coupons at equal minutes, the most telling first.

    A short one is printed as often as the minutes allow; a long one leaves out the rows that teach
    least for their time.
    """
    found = []
    for name in shipped_specs():
        whole = judge.priced(load_spec(name).rows)
        rows, taken = _cut_to(judge, whole, minutes)
        if rows:
            prints = int(minutes // taken)
            known_to_mm = judge.known_to_mm([rows] * prints)
            found.append(Shipped(name, prints, len(rows), len(whole), prints * taken, known_to_mm))
    return tuple(sorted(found, key=lambda one: float(np.sum(np.log(one.known_to_mm)))))


def _cut_to(
    judge: Judge, rows: tuple[PricedRow, ...], minutes: float
) -> tuple[tuple[PricedRow, ...], float]:
    """Leave out the rows that teach least for their time until the rest fits the minutes."""
    layer_mm = judge.prices.assumed.layer_height_mm
    while (taken := sum(minutes_of(rows, layer_mm))) > minutes:
        now, shorter = judge.left([rows]), []
        for n in range(len(rows)):
            rest = (*rows[:n], *rows[n + 1 :])
            saved = taken - sum(minutes_of(rest, layer_mm))
            shorter.append(((judge.left([rest]) - now) / saved, n, rest))
        if len(rows) <= 1:
            return (), 0.0
        rows = min(shorter)[2]
    return rows, taken
