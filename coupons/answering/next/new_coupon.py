"""A new coupon for what is wanted, within minutes of print and bench; shipped ones beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.next.coupon import WORTH_ANOTHER
from coupons.answering.next.exchange import Draft, Search, with_row
from coupons.answering.next.goal import Goal, JointWant
from coupons.answering.next.judged import Judge, Shipped, shipped_beside
from coupons.answering.next.priced_rows import PricedRow, PriceList, minutes_of
from coupons.answering.next.row_information import draw_printers
from coupons.answering.next.row_options import RowOptions
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS
from coupons.learning.profile import Profile
from coupons.making.bench_time import coupon_seconds
from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
from coupons.making.estimate import estimate
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import Assumed, Spec
from coupons.making.spec.row_kinds import Row

# Printers on which coupons are compared, and others on which the one that was found is judged: on
# those of the search it would look a little better than it is.
_SEARCHED, _JUDGED = 16, 64
_MOST_SEARCHES = 4
_MOST_PRINTS = 5
_PRINT_GAIN = 0.01  # each print more of a shorter coupon must narrow the intervals by this share
_N_TERMS = len(TERMS)


@dataclass(frozen=True)
class ChosenRow:
    """A row of a new coupon and why it is there.

    Parameters
    ----------
    row : Row
    print_minutes, bench_minutes : float
        Of this row alone.
    want : int
        Number of the want that it helps most.
    without_mm : float
        How far that would be known without this row.
    """

    row: Row
    print_minutes: float
    bench_minutes: float
    want: int
    without_mm: float


@dataclass(frozen=True)
class Proposal:
    """A new coupon with what it is expected to bring. Half widths of 90 % intervals, in mm.

    Parameters
    ----------
    wants : tuple of JointWant
    rows : tuple of ChosenRow
    assumed : Assumed
    minutes : float
        That were given.
    prints : int
        How often to print it within these minutes, each time as a job of its own.
    print_minutes, bench_minutes : float
        Of one print.
    before_mm, after_mm : tuple of float
        Now, and after these prints.
    again_mm, new_mm : tuple of float
        After one print more of it, and after one of another new coupon that takes as long.
    one_more_mm : tuple of float
        What one print more leaves at best, of any coupon, however large.
    least_mm : tuple of float
        What is left however much is learned of the machine, as prints differ.
    shipped : tuple of Shipped
        The most telling first.
    """

    wants: tuple[JointWant, ...]
    rows: tuple[ChosenRow, ...]
    assumed: Assumed
    minutes: float
    prints: int
    print_minutes: float
    bench_minutes: float
    before_mm: tuple[float, ...]
    after_mm: tuple[float, ...]
    again_mm: tuple[float, ...]
    new_mm: tuple[float, ...]
    one_more_mm: tuple[float, ...]
    least_mm: tuple[float, ...]
    shipped: tuple[Shipped, ...]

    def narrower(self, known_to_mm: Sequence[float]) -> float:
        """Return by which share the wanted intervals narrow on average, from now."""
        return float(np.mean(1 - np.divide(known_to_mm, self.before_mm)))

    def is_worth(self, after_mm: Sequence[float], before_mm: Sequence[float]) -> bool:
        """Tell whether a print narrows an interval enough that is not narrow enough yet."""
        return any(
            after < (1 - WORTH_ANOTHER) * before
            and not (want.within_mm and before <= want.within_mm)
            for want, after, before in zip(self.wants, after_mm, before_mm, strict=True)
        )


def propose(
    profile: Profile,
    wants: Sequence[JointWant],
    minutes: float,
    assumed: Assumed,
    speed_mm_s: float = DEFAULT_SPEED_MM_S,
) -> Proposal:
    """Choose rows, sizes, gaps and gauges of a new coupon.

    Parameters
    ----------
    profile : Profile
    wants : sequence of JointWant
        Those that are not met yet; one at least.
    minutes : float
        For print, trials and readings together.
    assumed : Assumed
        The machine that it is made for.
    speed_mm_s : float
        From which the time of the print is estimated.

    Raises
    ------
    AnswerError
        If no coupon can have one of the joints, or the minutes are too few for any row.
    """
    goal = Goal(profile, wants)
    options = RowOptions(assumed, [want.target for want in wants])
    _refuse_untried(wants, options)
    prices = PriceList(assumed, speed_mm_s, draw_printers(profile, _SEARCHED))
    judge = Judge(goal, PriceList(assumed, speed_mm_s, draw_printers(profile, _JUDGED, seed=1)))
    found, prints = _best_split(goal, options, prices, judge, minutes)
    rows = judge.without_idle([each.row for each in found.rows], prints)
    others = judge.priced(_another(goal, options, prices, found, prints, minutes))
    print_minutes, bench_minutes = minutes_of(rows, assumed.layer_height_mm)
    after_mm = judge.known_to_mm([rows] * prints)
    return Proposal(
        wants=tuple(wants),
        rows=tuple(_chosen(judge, rows, n, prints, after_mm) for n in range(len(rows))),
        assumed=assumed,
        minutes=minutes,
        prints=prints,
        print_minutes=print_minutes,
        bench_minutes=bench_minutes,
        before_mm=tuple(want.asked.known_to_mm for want in wants),
        after_mm=after_mm,
        again_mm=judge.known_to_mm([rows] * (prints + 1)),
        new_mm=judge.known_to_mm([*[rows] * prints, others]),
        one_more_mm=judge.least_mm([rows] * prints),
        least_mm=goal.known_to_mm(np.zeros((_N_TERMS, _N_TERMS)), judge.reaches([rows])),
        shipped=shipped_beside(judge, minutes),
    )


def _refuse_untried(wants: Sequence[JointWant], options: RowOptions) -> None:
    missing = options.missing()
    names = [want.asked.name for want in wants if want.target in missing]
    if names:
        raise AnswerError(
            f"No row of a coupon can try {'; '.join(names)}: a round one stands or lies along x, y "
            "or z."
        )


def _best_split(
    goal: Goal, options: RowOptions, prices: PriceList, judge: Judge, minutes: float
) -> tuple[Draft, int]:
    """Return the best coupon and how often to print it: what prints share is learned by prints.

    Many short prints come first: they are searched fastest.
    """
    best, least = None, np.inf
    for prints in range(_MOST_PRINTS, 0, -1):
        found = _that_fits(goal, options, prices, minutes, prints)
        if found is None:
            continue
        left = judge.left([judge.priced([each.row for each in found.rows])] * prints)
        cost = left + _PRINT_GAIN * len(goal.wants) * prints
        if cost > least:
            break
        best, least = (found, prints), cost
    if best is None:
        raise AnswerError(_too_few(options, prices, minutes))
    return best


def _another(
    goal: Goal, options: RowOptions, prices: PriceList, found: Draft, prints: int, minutes: float
) -> list[Row]:
    """Return the rows of the best coupon to print after the one that was found."""
    state = prices.printers.state()
    for n in range(prints):
        state = prices.printers.state(state[:, :_N_TERMS, :_N_TERMS]) if n else state
        for row in found.rows:
            state = with_row(state, row.roots)
    start = prices.printers.state(state[:, :_N_TERMS, :_N_TERMS])
    reached = frozenset().union(*(row.reaches for row in found.rows))
    search = Search(goal, options, prices, minutes / prints, start, reached)
    return [each.row for each in search.run().rows]


def _that_fits(
    goal: Goal, options: RowOptions, prices: PriceList, minutes: float, prints: int
) -> Draft | None:
    """Search with fewer minutes as long as the plan, on its plates, takes longer than given."""
    room = minutes / prints
    for _ in range(_MOST_SEARCHES):
        found = Search(goal, options, prices, room, prints=prints).run()
        if not found.rows:
            return None
        taken = _planned_minutes(found.rows, prices)
        if taken <= minutes / prints:
            return found
        room -= taken - minutes / prints + 0.1
    return None


def _too_few(options: RowOptions, prices: PriceList, minutes: float) -> str:
    alone = [
        sum(minutes_of([row], prices.assumed.layer_height_mm))
        for each in options.starts()
        if (row := prices(each)) is not None
    ]
    return (
        f"{minutes:g} minutes are too few for any row that would teach something: the shortest "
        f"takes {min(alone):.1f} minutes to print and try. Allow more minutes or print faster."
    )


def _planned_minutes(rows: Sequence[PricedRow], prices: PriceList) -> float:
    """Return the minutes of a coupon as it is laid out on the bed."""
    spec = Spec.model_construct(
        title="new",
        name="new",
        digest="",
        rows=tuple(each.row for each in rows),
        assumed=prices.assumed,
    )
    plan = plan_coupon(spec)
    return estimate(plan, prices.speed_mm_s).minutes + coupon_seconds(record(plan)) / 60


def _chosen(
    judge: Judge, rows: Sequence[PricedRow], place: int, prints: int, after_mm: Sequence[float]
) -> ChosenRow:
    rest = [row for n, row in enumerate(rows) if n != place]
    without_mm = judge.known_to_mm([rest] * prints)
    want = int(np.argmax(np.divide(without_mm, after_mm)))
    layer_mm = judge.prices.assumed.layer_height_mm
    whole, less = (minutes_of(one, layer_mm) for one in (rows, rest))
    return ChosenRow(
        rows[place].row, whole[0] - less[0], whole[1] - less[1], want, without_mm[want]
    )
