"""How a new coupon is put together, with searches and prices of plain numbers."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from coupons.answering.next import new_coupon
from coupons.answering.next.new_coupon import _best_split, _chosen, _that_fits, propose
from coupons.answering.next.row_information import N_SHARED
from coupons.errors import AnswerError
from coupons.learning.effects import TERMS

N_TERMS = len(TERMS)


@dataclass(frozen=True)
class Row:
    """Tells of one term, of this precision, in so many minutes of print and of bench."""

    term: int
    precision: float
    minutes: float
    bench: float = 0.0

    @property
    def row(self):
        return self

    @property
    def reaches(self):
        return frozenset({self.term})


class Judge:
    """Knows the first two terms to the root of one over 1 plus their precisions."""

    prices = SimpleNamespace(assumed=SimpleNamespace(layer_height_mm=0.2))

    def priced(self, rows):
        return tuple(rows)

    def reaches(self, prints):
        return frozenset(row.term for rows in prints for row in rows)

    def known_to_mm(self, prints):
        told = np.zeros(2)
        for rows in prints:
            for row in rows:
                told[row.term] += row.precision
        return tuple((1 + told) ** -0.5)

    def left(self, prints):
        return float(np.log(self.known_to_mm(prints)).sum())

    def least_mm(self, prints):
        return (0.01 * len(prints),) * 2

    def without_idle(self, rows, prints):
        assert prints
        return tuple(row for row in rows if row.precision)


@pytest.fixture(autouse=True)
def minutes(monkeypatch):
    def minutes_of(rows, layer_mm):
        assert layer_mm == 0.2
        start = 1.0 if rows else 0.0
        return start + sum(one.minutes for one in rows), sum(one.bench for one in rows)

    monkeypatch.setattr(new_coupon, "minutes_of", minutes_of)


FIRST, SECOND = Row(0, 3.0, 4.0, 2.0), Row(1, 8.0, 5.0, 3.0)


def test_a_row_is_there_for_the_want_that_it_helps_most():
    # Without the first the first want is known to 1 in place of 1/2, the second stays at 1/3.
    judge, after = Judge(), (0.5, 1 / 3)
    first = _chosen(judge, [FIRST, SECOND], 0, 1, after)
    assert (first.row, first.want, first.without_mm) == (FIRST, 0, pytest.approx(1.0))
    assert (first.print_minutes, first.bench_minutes) == (4.0, 2.0)
    second = _chosen(judge, [FIRST, SECOND], 1, 1, after)
    assert (second.row, second.want, second.without_mm) == (SECOND, 1, pytest.approx(1.0))
    assert (second.print_minutes, second.bench_minutes) == (5.0, 3.0)
    # Over two prints the others tell twice as much; the only row saves its plate too.
    two = [FIRST, Row(0, 1.0, 4.0)]
    assert _chosen(judge, two, 0, 2, (1 / 3, 1.0)).without_mm == pytest.approx(3**-0.5)
    assert _chosen(judge, [FIRST], 0, 1, (0.5, 1.0)).print_minutes == 5.0


class Search:
    """Finds all rows whose minutes fit; how long the plan takes is told by ``planned``."""

    asked: list

    def __init__(self, _goal, options, _prices, minutes, start=None, already=frozenset(), prints=1):
        self.rows = [row for row in options.rows if row.minutes <= minutes]
        Search.asked.append((minutes, prints, start, already))

    def run(self):
        return SimpleNamespace(rows=tuple(self.rows))


@pytest.fixture
def searches(monkeypatch):
    Search.asked = []
    monkeypatch.setattr(new_coupon, "Search", Search)
    return Search.asked


def options(*rows):
    return SimpleNamespace(rows=rows, starts=lambda: rows)


def planned(monkeypatch, *minutes):
    left = list(minutes)
    monkeypatch.setattr(new_coupon, "_planned_minutes", lambda _rows, _prices: left.pop(0))


def test_a_plan_that_takes_longer_is_searched_with_fewer_minutes(searches, monkeypatch):
    planned(monkeypatch, 31.0, 30.2, 29.9)
    found = _that_fits(None, options(FIRST), None, 60.0, 2)
    assert found.rows == (FIRST,)
    # Half an hour for each of two prints; less by what it took too long, and a tenth of a minute.
    assert [each[0] for each in searches] == pytest.approx([30.0, 28.9, 28.6])
    assert {each[1] for each in searches} == {2}


def test_after_four_searches_or_without_a_row_none_fits(searches, monkeypatch):
    planned(monkeypatch, *[31.0] * 9)
    assert _that_fits(None, options(FIRST), None, 30.0, 1) is None
    assert len(searches) == 4
    searches.clear()
    assert _that_fits(None, options(FIRST), None, 3.0, 1) is None
    assert len(searches) == 1
    planned(monkeypatch, 30.0)
    assert _that_fits(None, options(FIRST), None, 30.0, 1) is not None, "just as long as given"


def goal(n=2):
    return SimpleNamespace(wants=[SimpleNamespace(asked=SimpleNamespace(known_to_mm=1.0))] * n)


def split(monkeypatch, minutes, rows):
    """Return how often the best coupon is printed, and what each number of prints was given."""
    tried = []

    def that_fits(_goal, _options, _prices, given, prints):
        tried.append(prints)
        fits = tuple(row for row in rows if row.minutes <= given / prints)
        return SimpleNamespace(rows=fits) if fits else None

    monkeypatch.setattr(new_coupon, "_that_fits", that_fits)
    found, prints = _best_split(goal(), options(*rows), None, Judge(), minutes)
    return found.rows, prints, tried


def test_a_short_coupon_is_printed_up_to_five_times(monkeypatch):
    # Five prints tell five times as much; fewer would tell less.
    rows, prints, tried = split(monkeypatch, 50.0, [FIRST])
    assert (rows, prints, tried) == ((FIRST,), 5, [5, 4])


def test_one_long_print_is_chosen_where_it_tells_more(monkeypatch):
    # Two prints of the short row tell 6, one of both 3 and 80.
    long = Row(1, 80.0, 18.0)
    rows, prints, tried = split(monkeypatch, 20.0, [Row(0, 0.5, 9.0), long])
    assert (rows, prints) == ((Row(0, 0.5, 9.0), long), 1)
    assert tried == [5, 4, 3, 2, 1]


def test_each_print_more_must_narrow_by_a_hundredth_a_want(monkeypatch):
    # log(1 + 2p)/2 against log(1 + p)/2 with two wants: a gain of 0.02 is as much as it must be.
    for precision, best in ((0.06, 2), (0.03, 1)):
        _, prints, _ = split(monkeypatch, 20.0, [Row(0, precision, 10.0)])
        assert prints == best


def test_without_any_coupon_the_shortest_row_is_told(monkeypatch):
    shorter = Row(0, 1.0, 7.4, 1.0)
    monkeypatch.setattr(new_coupon, "_that_fits", lambda *_: None)

    class Prices:
        assumed = SimpleNamespace(layer_height_mm=0.2)

        def __call__(self, row):
            return row if row.precision else None

    rows = options(Row(0, 1.0, 20.0), shorter, Row(0, 0.0, 1.0))
    with pytest.raises(AnswerError) as refused:
        _best_split(goal(), rows, Prices(), Judge(), 2.5)
    assert str(refused.value).startswith(
        "2.5 minutes are too few for any row that would teach something: the shortest takes 9.4 "
        "minutes to print and try."
    )


def test_a_proposal_holds_what_each_further_print_would_bring(monkeypatch, searches):
    wants = [
        SimpleNamespace(asked=SimpleNamespace(known_to_mm=mm, name="lid"), target=n, within_mm=None)
        for n, mm in enumerate((1.0, 2.0))
    ]
    idle = Row(0, 0.0, 1.0)
    found = SimpleNamespace(rows=(FIRST, idle, SECOND))
    least = {}

    class Goal:
        def __init__(self, _profile, given):
            self.wants = given

        def known_to_mm(self, covariance, reaches):
            least["asked"] = covariance.shape, covariance.any(), reaches
            return (0.001, 0.002)

    fakes = {
        "Goal": Goal,
        "RowOptions": lambda _assumed, targets: SimpleNamespace(missing=tuple, targets=targets),
        "draw_printers": lambda _profile, count, seed=0: (count, seed),
        "PriceList": lambda _assumed, _speed, printers: printers,
        "Judge": lambda _goal, printers: (least.update(judged=printers), Judge())[1],
        "_best_split": lambda *_: (found, 2),
        "_another": lambda *_: [Row(1, 4.0, 3.0)],
        "shipped_beside": lambda _judge, given: (f"in {given:g} minutes",),
    }
    for name, fake in fakes.items():
        monkeypatch.setattr(new_coupon, name, fake)
    assumed = SimpleNamespace(layer_height_mm=0.2)
    proposal = propose(None, wants, 60.0, assumed)
    assert [one.row for one in proposal.rows] == [FIRST, SECOND], "what is idle is left out"
    assert (proposal.prints, proposal.minutes) == (2, 60.0)
    assert (proposal.print_minutes, proposal.bench_minutes) == (10.0, 5.0)
    assert proposal.before_mm == (1.0, 2.0)
    # Precisions of 3 and 8 add up over two prints, three, and two with one of the other coupon.
    assert proposal.after_mm == pytest.approx((7**-0.5, 17**-0.5))
    assert proposal.again_mm == pytest.approx((10**-0.5, 25**-0.5))
    assert proposal.new_mm == pytest.approx((7**-0.5, 21**-0.5))
    assert proposal.one_more_mm == (0.02, 0.02)
    assert proposal.least_mm == (0.001, 0.002)
    assert least["asked"] == ((N_TERMS, N_TERMS), False, {0, 1})
    assert proposal.shipped == ("in 60 minutes",)
    # What is found on 16 printers is judged on 64 others.
    assert least["judged"] == (64, 1)
    assert searches == []


def test_a_joint_that_no_row_can_try_is_refused_by_name(monkeypatch):
    wants = [
        SimpleNamespace(asked=SimpleNamespace(known_to_mm=1.0, name=name), target=name)
        for name in ("lid", "axle", "stem")
    ]
    monkeypatch.setattr(new_coupon, "Goal", lambda *_: None)
    missing = ("axle", "stem")
    monkeypatch.setattr(
        new_coupon, "RowOptions", lambda *_: SimpleNamespace(missing=lambda: missing)
    )
    with pytest.raises(AnswerError, match="No row of a coupon can try axle; stem: a round one"):
        propose(None, wants, 60.0, None)


def test_another_coupon_is_searched_from_where_the_prints_leave_off(searches):
    # One shared value of precision 3 a print: 1/4 after one print, 1/7 after two, and each print
    # starts with what prints have of their own anew.
    states = []

    def state(covariance=None, prints=1):
        assert prints == 1
        whole = np.tile(np.eye(N_SHARED), (2, 1, 1))
        if covariance is not None:
            whole[:, :N_TERMS, :N_TERMS] = covariance
        states.append(whole[0, 0, 0])
        return whole

    roots = np.zeros((2, N_SHARED, 1))
    roots[:, 0, 0] = 3**0.5
    roots[:, -1, 0] = 0.0
    row = SimpleNamespace(roots=roots, reaches=frozenset({"a"}), minutes=1.0)
    prices = SimpleNamespace(printers=SimpleNamespace(state=state))
    found = SimpleNamespace(rows=(row,))
    rows = new_coupon._another(None, options(FIRST, SECOND), prices, found, 2, 9.0)
    assert rows == [FIRST], "4.5 minutes are left for one print"
    ((given, prints, start, already),) = searches
    assert (given, prints, already) == (4.5, 1, {"a"})
    assert start[:, 0, 0] == pytest.approx([1 / 7] * 2)
    assert start[:, -1, -1] == pytest.approx([1.0] * 2)
    assert states == pytest.approx([1.0, 1 / 4, 1 / 7])
