"""How coupons are compared, with prices and knowledge put in as plain numbers."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from coupons.answering.next import judged
from coupons.answering.next.judged import Judge, shipped_beside
from coupons.answering.next.row_information import N_SHARED
from coupons.learning.effects import TERMS

N_TERMS = len(TERMS)


@dataclass(frozen=True)
class Row:
    """Tells of one term, of this precision, in so many minutes of print."""

    term: int
    precision: float
    minutes: float

    @property
    def reaches(self):
        return frozenset({self.term})

    @property
    def roots(self):
        roots = np.zeros((2, N_SHARED, 1))
        roots[:, self.term, 0] = np.sqrt(self.precision)
        return roots


class Goal:
    """Wants to know the first two terms."""

    wants = tuple(SimpleNamespace(asked=SimpleNamespace(known_to_mm=mm)) for mm in (1.0, 1.0))
    reached = None

    def known_to_mm(self, covariance, reaches):
        self.reached = reaches
        return tuple(np.sqrt(np.diag(covariance)[:2]).tolist())

    def loss(self, halves_mm):
        return np.log(halves_mm).sum()


class Printers:
    """Two printers, whose terms have unit variance before any print."""

    def state(self, covariance=None):
        state = np.tile(np.eye(N_SHARED), (2, 1, 1))
        if covariance is not None:
            state[:, :N_TERMS, :N_TERMS] = covariance
        return state


class Prices:
    assumed = SimpleNamespace(layer_height_mm=0.2)
    printers = Printers()

    def __call__(self, row):
        return row if row.precision else None


@pytest.fixture
def judge(monkeypatch):
    # A plate takes a minute beside its rows.
    monkeypatch.setattr(
        judged, "minutes_of", lambda rows, _: (1.0 + sum(one.minutes for one in rows), 0.0)
    )
    return Judge(Goal(), Prices())


FIRST, SECOND, IDLE = Row(0, 3.0, 4.0), Row(1, 8.0, 5.0), Row(2, 1.0, 2.0)


def test_precisions_of_rows_and_prints_add_up(judge):
    assert judge.known_to_mm([]) == (1.0, 1.0)
    assert judge.known_to_mm([[FIRST, SECOND]]) == pytest.approx((1 / 2, 1 / 3))
    assert judge.goal.reached == {0, 1}
    assert judge.known_to_mm([[FIRST], [FIRST, SECOND]]) == pytest.approx((7**-0.5, 1 / 3))
    assert judge.left([[FIRST, SECOND]]) == pytest.approx(-np.log(6))


def test_rows_that_tell_nothing_are_left_out(judge):
    assert judge.priced([FIRST, Row(1, 0.0, 3.0), SECOND]) == (FIRST, SECOND)


def test_rows_that_are_not_worth_their_minutes_are_left_out(judge):
    assert judge.without_idle([FIRST, IDLE, SECOND], 2) == (FIRST, SECOND)
    # A minute counts 3e-4, and a gain of log1p(1e-4)/2 = 5e-5 is worth a sixth of one.
    assert judge.without_idle([FIRST, Row(1, 1e-4, 0.01)], 1) == (FIRST, Row(1, 1e-4, 0.01))
    dear = Row(1, 1e-4, 0.25)
    assert judge.without_idle([FIRST, dear], 1) == (FIRST,)
    assert judge.without_idle([FIRST, dear], 2) == (FIRST,)
    assert judge.without_idle([IDLE], 1) == (IDLE,), "one row stays"


def shipped(monkeypatch, **coupons):
    monkeypatch.setattr(judged, "shipped_specs", lambda: list(coupons))
    monkeypatch.setattr(judged, "load_spec", lambda name: SimpleNamespace(rows=coupons[name]))


def test_short_coupons_are_printed_as_often_as_the_minutes_allow(judge, monkeypatch):
    shipped(monkeypatch, short=(FIRST,), other=(SECOND,))
    best, next_best = shipped_beside(judge, 16.0)
    # 16 minutes hold three prints of 5 and two of 6.
    assert (best.name, best.prints, best.minutes) == ("other", 2, 12.0)
    assert best.known_to_mm == pytest.approx((1.0, 17**-0.5))
    assert (next_best.prints, next_best.minutes) == (3, 15.0)
    assert next_best.known_to_mm == pytest.approx((10**-0.5, 1.0))
    assert (best.rows, best.of_rows) == (1, 1)


def test_long_coupons_leave_out_what_teaches_least_for_its_time(judge, monkeypatch):
    shipped(monkeypatch, long=(FIRST, IDLE, SECOND))
    (whole,) = shipped_beside(judge, 12.0)
    assert (whole.rows, whole.of_rows, whole.minutes) == (3, 3, 12.0)
    (cut,) = shipped_beside(judge, 11.9)
    assert (cut.rows, cut.of_rows, cut.minutes) == (2, 3, 10.0)
    # log(2) in 4 minutes is less a minute than log(3) in 5.
    (one,) = shipped_beside(judge, 9.0)
    assert (one.rows, one.known_to_mm) == (1, pytest.approx((1.0, 1 / 3)))
    assert shipped_beside(judge, 5.0) == ()
