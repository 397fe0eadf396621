"""The search for a coupon on plain numbers: two terms to be known, and rows with a price."""

from dataclasses import dataclass
from itertools import combinations_with_replacement
from types import SimpleNamespace

import numpy as np
import pytest

from coupons.answering.next import exchange
from coupons.answering.next.exchange import LEAST_GAIN, MINUTE, Search, with_row
from coupons.making.spec.row_kinds import ROW_LETTERS

PRINTERS = 2


@dataclass(frozen=True)
class Row:
    """Tells of both terms, by one direction or by two, in so many minutes."""

    name: str
    told: tuple[tuple[float, float], ...]
    minutes: float

    @property
    def row(self):
        return self

    @property
    def reaches(self):
        return frozenset({self.name})

    @property
    def roots(self):
        return np.tile(np.array(self.told, float).T, (PRINTERS, 1, 1))


def row(name, first, second, minutes):
    """Return a row with these precisions of the two terms, each by a direction of its own."""
    told = ((first**0.5, 0.0), (0.0, second**0.5))
    return Row(name, tuple(each for each in told if any(each)), minutes)


class Goal:
    """Wants to know both terms; a row of what was reached is remembered."""

    rows = np.eye(2)

    def __init__(self):
        self.reached = []

    def variances(self, state):
        return np.diagonal(state, axis1=1, axis2=2).mean(axis=0)

    def halves_mm(self, variances, reaches):
        self.reached.append(reaches)
        return np.sqrt(variances)

    def loss(self, halves_mm):
        return np.log(halves_mm).sum(axis=-1)


class Options:
    def __init__(self, *starts, near=None):
        self.found, self.beside = starts, near or {}

    def starts(self):
        return self.found

    def near(self, one):
        return self.beside.get(one, ())


class Prices:
    assumed = SimpleNamespace(layer_height_mm=0.2)
    printers = SimpleNamespace(state=lambda prints: np.tile(np.eye(2) / prints, (PRINTERS, 1, 1)))

    def __call__(self, one):
        return one if one.told else None


@pytest.fixture(autouse=True)
def minutes(monkeypatch):
    # A plate takes a minute of print beside its rows, and half of each row is at the bench.
    def minutes_of(rows, layer_mm):
        assert layer_mm == 0.2
        half = sum(one.minutes for one in rows) / 2
        return ((1.0 + half) if rows else 0.0, half)

    monkeypatch.setattr(exchange, "minutes_of", minutes_of)


def search(*rows, budget, near=None, **more):
    start = np.tile(np.eye(2), (PRINTERS, 1, 1))
    return Search(Goal(), Options(*rows, near=near), Prices(), budget, **({"start": start} | more))


FIRST, SECOND = row("first", 3, 0, 4.0), row("second", 0, 8, 5.0)


def test_information_lowers_a_covariance_as_its_inverse_says():
    state = np.array([[[1.0, 0.3], [0.3, 2.0]]])
    root = np.array([[[1.0, 0.5], [0.0, 2.0]]])
    expected = np.linalg.inv(np.linalg.inv(state[0]) + root[0] @ root[0].T)
    assert with_row(state, root)[0] == pytest.approx(expected)


def test_a_draft_costs_what_stays_open_and_a_little_for_its_minutes():
    # Variances of 1 become 1/4 and 1/9: log(1/2) + log(1/3), in 10 minutes with the plate's own.
    found = search(budget=20).draft([FIRST, SECOND])
    assert found.loss == pytest.approx(-np.log(6) + 3e-4 * 10)
    assert found.rows == (FIRST, SECOND)
    assert found.state[0] == pytest.approx(np.diag([1 / 4, 1 / 9]))
    dear = search(budget=20).draft([FIRST], minute=0.1)
    assert (dear.loss, dear.minute) == (pytest.approx(-np.log(2) + 0.1 * 5), 0.1)
    assert search(budget=20).draft([]).loss == 0


def test_prints_of_a_coupon_tell_so_many_times_as_much_and_take_as_long():
    found = search(budget=20, prints=3).draft([FIRST])
    assert found.state[0] == pytest.approx(np.diag([1 / 10, 1]))
    assert found.loss == pytest.approx(-np.log(10) / 2 + 3e-4 * 3 * 5)
    (quick,) = search(budget=20, prints=3).losses_with(search(budget=20).draft([]), [FIRST])
    assert quick == pytest.approx(found.loss)
    # Unless it is said, what prints have of their own is the mean over them.
    assert search(budget=20, prints=4, start=None).start[0] == pytest.approx(np.eye(2) / 4)


def test_each_row_added_in_turn_costs_what_the_whole_draft_would():
    mixed = Row("mixed", ((1.0, 1.0), (0.5, -0.2)), 3.0)
    one = search(budget=11.0)
    draft = one.draft([FIRST], minute=1e-2)
    more = [SECOND, mixed, row("both", 1, 2, 1.0)]
    found = one.losses_with(draft, more)
    expected = [one.draft([FIRST, other], minute=1e-2).loss for other in more]
    assert found == pytest.approx(expected)


def test_what_a_coupon_reaches_is_what_all_its_rows_and_earlier_ones_do():
    one = search(budget=20, already=frozenset({"earlier"}))
    one.losses_with(one.draft([FIRST]), [SECOND])
    assert one.goal.reached == [{"earlier", "first"}, {"earlier", "first", "second"}]


def test_a_row_beyond_the_minutes_or_the_letters_cannot_be_added():
    one = search(budget=6.0)
    # With the plate's minute 6.0 are just right, 6.01 are too many.
    right, over = row("right", 1, 0, 5.0), row("over", 1, 0, 5.01)
    found = one.losses_with(one.draft([]), [right, over])
    assert np.isfinite(found).tolist() == [True, False]
    free = search(budget=20)
    tiny = row("tiny", 1e-3, 0, 0.0)
    most = free.draft([tiny] * (len(ROW_LETTERS) - 1))
    assert np.isfinite(free.losses_with(most, [tiny])).all()
    assert not np.isfinite(free.losses_with(free.draft([tiny] * len(ROW_LETTERS)), [tiny])).any()
    assert np.isinf(free.losses_with(most, [row("long", 1, 0, 100)])).all()


def names(draft):
    return sorted(one.name for one in draft.rows)


def test_rows_are_added_by_what_they_gain_a_minute():
    # Gains of log(2)/2 in 2 minutes and of log(5)/2 in 7 of 8: the first is added as often as it
    # fits, though the second would be left with less open than one or two of the first.
    quick, slow = row("quick", 1, 0, 2.0), row("slow", 4, 0, 6.9)
    one = search(quick, slow, budget=8.0)
    assert names(one._filled(one.draft([]))) == ["quick"] * 3
    # A row of no time counts as a tenth of a minute.
    none, short = row("none", 0.1, 0, 0.0), row("short", 4, 0, 1.0)
    one = search(none, short, budget=2.0)
    assert one._filled(one.draft([])).rows[0] == short
    assert search(budget=8.0).run().rows == ()
    assert search(row("long", 9, 9, 8.0), budget=8.0).run().rows == ()


@pytest.mark.parametrize(("gain", "rows"), [(6e-4, 1), (4e-4, 0), (-1.0, 0)])
def test_a_row_that_gains_next_to_nothing_is_not_added(gain, rows):
    # An addition has to gain 5e-4 beside its minutes; one fits. The dearest minutes come first.
    precision = np.expm1(2 * (gain + 1.01 * MINUTE)) if gain > 0 else 0.0
    only = Row("only", ((precision**0.5, 0.0),), 0.01)
    assert pytest.approx(5e-4) == LEAST_GAIN
    found = search(only, budget=1.011)
    draft = found._filled(found.draft([]))
    assert len(draft.rows) == rows


def test_a_row_that_gains_less_than_its_minutes_count_is_not_added():
    # 10 minutes and the plate's own count 0.0033; log(1.01)/2 is 0.0050, log(1.004)/2 is 0.0020.
    for precision, rows in ((0.01, 1), (0.004, 0)):
        found = search(row("only", precision, 0, 10.0), budget=12.0).run()
        assert len(found.rows) == rows


def test_a_row_is_exchanged_for_a_better_one_beside_it():
    plain, better = row("plain", 1, 0, 4.0), row("better", 3, 0, 4.0)
    best = row("best", 4, 0, 4.5)
    one = search(plain, budget=5.0, near={plain: (better, best), better: (plain,)})
    assert names(one.run()) == ["better"], "the best one does not fit"
    one = search(plain, budget=5.5, near={plain: (better,), better: (best,)})
    assert names(one.run()) == ["best"], "and a step from there"
    # Each keeps its place.
    other = row("other", 0, 3, 4.0)
    one = search(plain, budget=9.0, near={plain: (better,)})
    found = one._exchanged(one.draft([plain, other]))
    assert found.rows == (better, other)
    assert found.loss == pytest.approx(one.draft([better, other]).loss)


def test_a_row_that_costs_more_than_it_tells_is_dropped():
    idle = row("idle", 1e-4, 0, 5.0)  # gains 5e-5, and its minutes count 15e-4
    one = search(FIRST, idle, budget=30.0)
    assert one._exchanged(one.draft([idle, FIRST, idle])).rows[:1] == (FIRST,)
    last = one._exchanged(one.draft([idle]))
    assert names(last) != ["idle"], "the only row is exchanged, not dropped"


def test_filling_anew_never_makes_it_worse():
    one = search(FIRST, SECOND, budget=11.0)
    draft = one.draft([row("poor", 0.5, 0, 5.0), SECOND])
    found = one._refilled(draft)
    assert found.loss < draft.loss
    assert names(found) == ["first", "second"]
    whole = one.draft([FIRST, SECOND])
    assert one._refilled(whole).loss == whole.loss


def test_the_search_comes_near_the_best_of_all_coupons():
    # 20 sets of six rows, two of which are near others only, against every coupon that fits. With
    # precisions 1 + Σ the loss is known outright. A search by single steps finds the best in half
    # of the cases, and on average it leaves less than 0.1 of a logarithm: 10 % of one interval.
    rng, short = np.random.default_rng(7), []
    for _ in range(20):
        told = rng.uniform(0, 6, (6, 2))
        lasts = np.round(rng.uniform(2, 8, 6), 2)
        rows = [row(str(n), *told[n], float(lasts[n])) for n in range(6)]
        one = search(*rows[:4], budget=14.0, near={rows[0]: rows[4:], rows[1]: rows[4:]})
        found = one.run()
        assert sum(each.minutes for each in found.rows) + 1 <= 14.0
        assert found.loss == pytest.approx(one.draft(found.rows).loss)
        least = min(
            -np.log(1 + told[list(chosen)].sum(axis=0)).sum() / 2
            + 3e-4 * (1 + lasts[list(chosen)].sum())
            for count in range(1, 7)
            for chosen in combinations_with_replacement(range(6), count)
            if lasts[list(chosen)].sum() <= 13.0
        )
        short.append(found.loss - least)
    assert min(short) > -1e-9
    assert np.mean(np.array(short) < 1e-6) >= 0.5
    assert np.mean(short) < 0.1
