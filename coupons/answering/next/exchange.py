"""The search for a coupon: rows are added, dropped and exchanged until nothing improves.

Information adds up over rows, so that a row's effect on what is known is a downdate of the
covariance of what all rows have in common, of low rank: one small solve a row and printer.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.answering.next.goal import Goal
from coupons.answering.next.priced_rows import PricedRow, PriceList, Reach, minutes_of
from coupons.answering.next.row_options import RowOptions
from coupons.making.spec.row_kinds import ROW_LETTERS, Row

Array = NDArray[np.floating]

LEAST_GAIN = 5e-4
"""Of the loss, a sum of logarithms: exchanges that gain less are not made."""
MINUTE = 3e-4
"""What a minute counts in the loss: one that narrows no interval by so much is not used."""
# The search begins with dear minutes, which only rows that teach much for their time are worth, and
# goes on from there: a coupon that fills the minutes from the start leaves no room for exchanges.
_PRICES = (4e-3, 1e-3, MINUTE)
_MOST_ROUNDS = 12


@dataclass(frozen=True)
class Draft:
    """Rows of a coupon.

    Parameters
    ----------
    rows : tuple of PricedRow
    state : ndarray of shape (n_printers, N_SHARED, N_SHARED)
        Covariance of what all rows have in common, after the print.
    loss : float
        See `Goal.loss`; a little for each minute is added.
    minute : float
        What was added for each minute.
    """

    rows: tuple[PricedRow, ...]
    state: Array
    loss: float
    minute: float


def with_row(state: Array, roots: Array) -> Array:
    """Return a covariance after the information of a row is added.

    Parameters
    ----------
    state : ndarray of shape (n_printers, N_SHARED, N_SHARED)
    roots : ndarray of shape (n_printers, N_SHARED, r)
    """
    seen = state @ roots
    inner = np.eye(roots.shape[-1]) + np.swapaxes(roots, 1, 2) @ seen
    return np.asarray(state - seen @ np.linalg.solve(inner, np.swapaxes(seen, 1, 2)))


class Search:
    """The search for one goal at one budget.

    Parameters
    ----------
    goal : Goal
    options : RowOptions
    prices : PriceList
    minutes : float
        Of one print, its trials and readings together.
    prints : int
        How often the coupon is printed, each time as a job of its own. Only what is known of the
        machine after all of them counts. Prints of the same rows tell of it as one print does of
        which every row tells so many times as much, and whose own effects and zeros have so many
        times less variance: with these eliminated, both say ``prints`` times the same.
    start : ndarray of shape (n_printers, N_SHARED, N_SHARED), optional
        Covariance before the prints, if not as `goal.profile` believes; what prints have of their
        own as `Printers.state` gives it for so many prints.
    already : frozenset of Reach
        What was measured beside what the profile says.
    """

    def __init__(
        self,
        goal: Goal,
        options: RowOptions,
        prices: PriceList,
        minutes: float,
        start: Array | None = None,
        already: frozenset[Reach] = frozenset(),
        prints: int = 1,
    ) -> None:
        self.goal, self.options, self.prices = goal, options, prices
        self.minutes, self.already, self.prints = minutes, already, prints
        self.start = prices.printers.state(prints=prints) if start is None else start

    def run(self) -> Draft:
        """Return the best coupon found; it has no rows where the budget holds none."""
        draft = self.draft(())
        for minute in _PRICES:
            draft = self.improved(self.draft(draft.rows, minute))
        return draft

    def improved(self, draft: Draft) -> Draft:
        """Add, drop and exchange rows of a coupon as long as any of it improves it."""
        draft = self._filled(draft)
        for _ in range(_MOST_ROUNDS):
            before = draft.loss
            draft = self._exchanged(draft)
            draft = self._filled(draft)
            if before - draft.loss < LEAST_GAIN:
                draft = self._refilled(draft)
            if before - draft.loss < LEAST_GAIN:
                break
        return draft

    def draft(self, rows: Sequence[PricedRow], minute: float = MINUTE) -> Draft:
        """Return a coupon of some rows, where a minute counts so much in the loss."""
        state = self.start
        for row in rows:
            state = self._with(state, row)
        return self._draft(tuple(rows), state, minute)

    def _with(self, state: Array, row: PricedRow) -> Array:
        return with_row(state, np.sqrt(self.prints) * row.roots)

    def _draft(self, rows: tuple[PricedRow, ...], state: Array, minute: float) -> Draft:
        loss = self._loss(self.goal.variances(state)[None], [self._reaches(rows)])[0]
        return Draft(rows, state, float(loss) + minute * self.prints * self._minutes(rows), minute)

    def _minutes(self, rows: Sequence[PricedRow]) -> float:
        return sum(minutes_of(rows, self.prices.assumed.layer_height_mm))

    def _reaches(self, rows: Iterable[PricedRow]) -> frozenset[Reach]:
        return self.already.union(*(row.reaches for row in rows))

    def _loss(self, variances: Array, reaches: Sequence[frozenset[Reach]]) -> Array:
        """Return the loss of each of some coupons with these variances, (n_coupons, n_cases)."""
        halves = [
            self.goal.halves_mm(each, reach) for each, reach in zip(variances, reaches, strict=True)
        ]
        return self.goal.loss(np.array(halves))

    def _priced(self, rows: Iterable[Row]) -> list[PricedRow]:
        return [priced for row in rows if (priced := self.prices(row)) is not None]

    def losses_with(self, draft: Draft, more: Sequence[PricedRow]) -> Array:
        """Return the loss of a coupon with each of some rows added, in turn; inf beyond budget."""
        losses = np.full(len(more), np.inf)
        minutes = [self._minutes((*draft.rows, row)) for row in more]
        fits = [n for n, each in enumerate(minutes) if each <= self.minutes]
        if len(draft.rows) >= len(ROW_LETTERS) or not fits:
            return losses
        most = max(more[n].roots.shape[-1] for n in fits)
        shape = (len(fits), *draft.state.shape[:2], most)
        roots = np.zeros(shape)
        for place, n in enumerate(fits):
            roots[place, :, :, : more[n].roots.shape[-1]] = more[n].roots
        roots *= np.sqrt(self.prints)
        seen = np.swapaxes(roots, 2, 3) @ draft.state
        inner = np.eye(most) + seen @ roots
        aimed = seen @ self.goal.rows.T
        gained = (aimed * np.linalg.solve(inner, aimed)).sum(axis=2).mean(axis=1)
        variances = self.goal.variances(draft.state) - gained
        reaches = [self._reaches((*draft.rows, more[n])) for n in fits]
        losses[fits] = self._loss(variances, reaches)
        losses += draft.minute * self.prints * np.array(minutes)
        return losses

    def _filled(self, draft: Draft) -> Draft:
        """Add what gains most a minute, as long as there is room for it."""
        while True:
            more = self._priced(self.options.starts())
            losses = self.losses_with(draft, more)
            longer = [self._minutes((*draft.rows, row)) - self._minutes(draft.rows) for row in more]
            worth = (draft.loss - losses) / np.maximum(longer, 0.1)
            worth[draft.loss - losses < LEAST_GAIN] = 0.0
            if not len(worth) or worth.max() <= 0:
                return draft
            row = more[int(np.argmax(worth))]
            draft = self._draft((*draft.rows, row), self._with(draft.state, row), draft.minute)

    def _exchanged(self, draft: Draft) -> Draft:
        """Drop each row, or exchange it for a better one, as long as any of it improves."""
        place = 0
        while place < len(draft.rows):
            row = draft.rows[place]
            rest = self._without(draft, place)
            others = self._priced((*self.options.near(row.row), *self.options.starts()))
            losses = self.losses_with(rest, others)
            best = int(np.argmin(losses))
            found = rest if rest.rows else draft
            if losses[best] < found.loss:
                state = self._with(rest.state, others[best])
                rows = (*rest.rows[:place], others[best], *rest.rows[place:])
                found = self._draft(rows, state, draft.minute)
            if found.loss < draft.loss - LEAST_GAIN:
                draft = found  # the row in this place is looked at again
            else:
                place += 1
        return draft

    def _refilled(self, draft: Draft) -> Draft:
        """Leave each row out in turn and fill its room anew; return the best of all that."""
        tried = [self._filled(self._without(draft, n)) for n in range(len(draft.rows))]
        return min([draft, *tried], key=lambda one: one.loss)

    def _without(self, draft: Draft, place: int) -> Draft:
        rows = (*draft.rows[:place], *draft.rows[place + 1 :])
        return self.draft(rows, draft.minute)  # taking information away again would lose digits
