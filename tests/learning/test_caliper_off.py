"""A stretch of readings with a common offset, on data whose evidence is a formula."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from coupons.learning.checking import caliper_off
from coupons.learning.checking.caliper_off import off_alike_mm, off_stretch
from coupons.learning.effects import EFFECTS

SD_MM = 0.02
# A caliper that was knocked is off by about so much.
OFF_SD_MM = 0.15


@dataclass(frozen=True)
class Readings:
    value: np.ndarray
    row: np.ndarray
    size: np.ndarray


@dataclass(frozen=True)
class Design:
    readings: Readings
    sizes: SimpleNamespace
    n_runs: int = 1


class Independent:
    """Readings around 0, each with noise of its own."""

    mixture = None

    def __init__(self, value, runs=None, rows=None):
        n = len(value)
        runs = np.zeros(n, int) if runs is None else np.array(runs)
        rows = np.arange(2, n + 2) if rows is None else np.array(rows)
        sizes = SimpleNamespace(run=runs)
        readings = Readings(np.array(value), rows, np.arange(n))
        self.design = Design(readings, sizes, len(set(runs.tolist())))

    def log_density(self, design):
        return -0.5 * float(np.sum(design.readings.value**2)) / SD_MM**2

    def log_odds(self, design):
        return self.log_density(design) - self.log_density(self.design)


@pytest.fixture(autouse=True)
def slopes(monkeypatch):
    """The log density's slope and curvature by the offset of a stretch of independent ones."""
    values = {}

    def score(_mixture, order, ends):
        at = np.concatenate([[0.0], np.cumsum(values["now"][order])])[ends]
        pull = (at[None, :] - at[:, None]) / SD_MM**2
        return pull, (ends[None, :] - ends[:, None]) / SD_MM**2

    monkeypatch.setattr(caliper_off, "_score", score)

    def found(evidence, n=0):
        values["now"] = evidence.design.readings.value
        return off_stretch(evidence, n)

    return found


def with_offset(count, start, stop, off_mm):
    value = 0.3 * SD_MM * np.where(np.arange(count) % 2, 1.0, -1.0)
    value[start:stop] += off_mm
    return value


def test_a_stretch_is_found_with_its_rows_and_its_offset(slopes):
    found = slopes(Independent(with_offset(24, 8, 16, 0.12)))
    assert found.run == 0
    assert found.rows == tuple(range(10, 18))
    # 8 readings of 0.12 mm with sd 0.02, prior sd 0.15: shrunk by a five-hundredth.
    precision = 8 / SD_MM**2
    guess = 0.12 * precision / (precision + OFF_SD_MM**-2)
    assert found.off_mm == pytest.approx(guess, rel=1e-9)
    gained = (0.12 * guess - guess**2 / 2) * precision
    occam = 0.5 * np.log1p(precision * OFF_SD_MM**2)
    expected = gained - (guess / OFF_SD_MM) ** 2 / 2 - occam
    assert found.log_odds == pytest.approx(expected, rel=1e-9)


def test_a_larger_offset_is_taken_where_the_evidence_asks_for_it(slopes):
    evidence = Independent(with_offset(24, 8, 16, 0.12))
    plain = evidence.log_odds

    # As if the slip had made the scatter larger: the slope is that of half of the offset.
    def steeper(design):
        moved = evidence.design.readings.value - design.readings.value
        return plain(design) if moved.max() > 0.16 else plain(design) - 1e4

    evidence.log_odds = steeper
    assert slopes(evidence).off_mm == pytest.approx(1.4 * 0.12, rel=0.01)


@pytest.mark.parametrize("share", [1.0, 1.2, 1.4])
def test_the_offset_is_one_of_three_shares_of_what_the_slope_says(slopes, share):
    evidence = Independent(with_offset(24, 8, 16, 0.12))

    def steep(design):
        moved = (evidence.design.readings.value - design.readings.value).max()
        return 100.0 if abs(moved / 0.12 - share) < 0.05 else -1e4

    evidence.log_odds = steep
    assert slopes(evidence).off_mm == pytest.approx(share * 0.12, rel=0.01)


def test_in_a_long_sheet_stretches_end_at_150_places(slopes):
    """In a sheet of 300 at every second row; in one of 150 at every row."""
    assert slopes(Independent(with_offset(300, 100, 200, 0.12))).rows == tuple(range(102, 202))
    assert slopes(Independent(with_offset(150, 51, 99, 0.12))).rows == tuple(range(53, 101))


@pytest.mark.parametrize(("second", "count"), [(0.46, 6), (0.51, 12)])
def test_a_longer_stretch_pays_for_what_it_might_have_been(slopes, second, count):
    """Six readings one sd off, six more by less: gains 3 and 1.5 (1 + b)² sds², costs ½ ln n + c.

    Twice as long costs 0.35 more. With b = 0.46 the longer one gains 0.20 more, with 0.51 it gains
    0.42.
    """
    value = np.zeros(24)
    value[6:12], value[12:18] = SD_MM, second * SD_MM
    # What the caliper may be off by says nothing here: sds of a fifth of a millimetre are wide.
    assert len(slopes(Independent(value)).rows) == count


@pytest.mark.parametrize(("count", "is_enough"), [(11, False), (12, True)])
def test_of_a_short_sheet_nothing_is_told_beside_another_one_either(slopes, count, is_enough):
    value = np.concatenate([with_offset(count, 0, count, 0.12), with_offset(24, 0, 0, 0.0)])
    both = Independent(value, [0] * count + [1] * 24)
    assert (slopes(both) is not None) is is_enough


@pytest.mark.parametrize(("count", "is_enough"), [(11, False), (12, True)])
def test_as_many_readings_must_be_left_outside_as_a_stretch_needs(slopes, count, is_enough):
    found = slopes(Independent(with_offset(count, 0, 6, 0.12)))
    assert (found is not None) is is_enough
    if is_enough:
        assert len(found.rows) == 6


def test_the_shortest_stretch_has_six_readings(slopes):
    # Three are off: three more go with them.
    found = slopes(Independent(with_offset(24, 8, 11, 0.3)))
    assert len(found.rows) == 6
    assert set(range(10, 13)) <= set(found.rows)


def test_a_whole_sheet_can_be_off_only_against_another(slopes):
    value = with_offset(12, 0, 12, 0.12)
    assert len(slopes(Independent(value)).rows) <= 6
    both = Independent(np.concatenate([value, with_offset(12, 0, 0, 0)]), [0] * 12 + [1] * 12)
    assert len(slopes(both).rows) == 12
    other = slopes(both, 1)
    assert other.run == 1
    assert other.log_odds < 0


def test_readings_are_taken_in_the_order_of_their_rows(slopes):
    value = with_offset(24, 8, 16, 0.12)
    shuffled = np.random.default_rng(1).permutation(24)
    found = slopes(Independent(value[shuffled], rows=shuffled + 2))
    assert found.rows == tuple(range(10, 18))


def fitted(outer_mm, inner_mm, sd_mm=0.005):
    mean = np.zeros(len(EFFECTS))
    mean[EFFECTS.index("growth_ext")], mean[EFFECTS.index("growth_int")] = outer_mm, inner_mm
    covariance = np.diag(np.full(len(EFFECTS), sd_mm**2))
    return SimpleNamespace(mean=mean, covariance=covariance)


SILENT = [SimpleNamespace(zeros=())]


def test_sizes_that_are_off_alike_are_asked_about_with_a_range():
    # Outer growth less inner growth is what all sizes are off by; lost motion takes 0 to 0.1 mm
    # of it, and 0.03 mm are allowed to each side.
    low, high = off_alike_mm(fitted(0.10, 0.02), SILENT)
    assert (low, high) == (pytest.approx(0.08 - 0.03), pytest.approx(0.08 + 0.13))
    low, high = off_alike_mm(fitted(-0.10, 0.10), SILENT)
    assert (low, high) == (pytest.approx(-0.23), pytest.approx(-0.07))


@pytest.mark.parametrize("alike_mm", [0.029, 0.0, -0.05, -0.129])
def test_what_lost_motion_explains_is_not_asked_about(alike_mm):
    assert off_alike_mm(fitted(alike_mm, 0.0), SILENT) is None


@pytest.mark.parametrize("alike_mm", [0.031, -0.131])
def test_what_lost_motion_does_not_explain_is(alike_mm):
    assert off_alike_mm(fitted(alike_mm, 0.0), SILENT) is not None


def test_nothing_is_asked_where_it_is_not_known_or_the_jaws_were_closed():
    # Of a difference of two with sd 0.022 each the sd is 0.031 mm.
    assert off_alike_mm(fitted(0.2, 0.0, 0.022), SILENT) is None
    assert off_alike_mm(fitted(0.2, 0.0, 0.020), SILENT) is not None
    assert off_alike_mm(fitted(0.2, 0.0), [SimpleNamespace(zeros=(0.0,))]) is None


def test_a_stretch_that_bends_the_other_way_is_none(monkeypatch):
    """Where outlying readings make the curvature negative, nothing follows of an offset."""

    def score(_mixture, _order, ends):
        length = ends[None, :] - ends[:, None]
        pull = np.where((ends[:, None] == 8) & (length == 8), 300.0, 1.0)
        return pull, np.where(length == 8, -50.0, 400.0 * length)

    monkeypatch.setattr(caliper_off, "_score", score)
    assert len(off_stretch(Independent(np.zeros(24)), 0).rows) != 8
    monkeypatch.setattr(
        caliper_off, "_score", lambda m, o, e: (score(m, o, e)[0], -np.ones((25, 25)))
    )
    assert off_stretch(Independent(np.zeros(24)), 0) is None
