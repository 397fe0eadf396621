import numpy as np
import pytest
from support.prints_of_first import prints_of_prior, prints_of_virtual

from coupons.answering.compare.drift import chart
from coupons.answering.compare.side_by_side import drifts
from coupons.answering.question import Question
from coupons.errors import AnswerError
from coupons.terms import Direction, Form, Grade, Joint

ASKED = {
    "x": Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE),
    "round": Question(Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z), Grade.SLIDE),
}


def test_a_step_a_run_alone_and_a_drift_are_told_apart():
    steady = [0.20, 0.22, 0.21, 0.19, 0.21, 0.20, 0.22, 0.20]
    assert chart(steady, [0.02] * 8).signal is None
    step = chart([0.2] * 5 + [0.3] * 3, [0.02] * 8).signal
    assert (step.run, step.why) == (5, "from run 6 on 0.10 mm wider")
    alone = chart([0.2] * 4 + [0.1] + [0.2] * 3, [0.02] * 8).signal
    assert (alone.run, alone.why) == (4, "run 5 alone 0.10 mm narrower")
    drift = chart([0.2 + 0.02 * k for k in range(8)], [0.02] * 8).signal
    assert drift.why == "0.02 mm wider from run to run"


def test_a_run_that_is_known_badly_counts_for_little():
    values = [0.20, 0.21, 0.20, 0.35]
    assert chart(values, [0.03] * 4).signal.run == 3
    assert chart(values, [0.03] * 3 + [0.15]).signal is None
    assert chart(values, [0.03] * 3 + [0.15]).center_mm == pytest.approx(0.205, abs=0.003)


@pytest.mark.parametrize("n_runs", [2, 3, 5, 10])
def test_one_chart_in_twenty_signals_by_chance(n_runs):
    # 2,000 charts of runs known more or less well: ± 0.5 % one standard error, 1.5 % three.
    rng = np.random.default_rng(n_runs)
    sds = rng.uniform(0.02, 0.08, n_runs)
    charts = 2000
    alarms = sum(_signals(rng.normal(0.3, sds), sds) for _ in range(charts))
    assert alarms / charts == pytest.approx(0.05, abs=0.015)


_KNOWN = {}


def _signals(values, sds):
    """Tell whether a chart of these values signals, its limit taken once for these sds."""
    key = sds.tobytes()
    if key not in _KNOWN:
        from coupons.answering.compare.drift import _contrasts

        rows = _contrasts(sds).rows
        _KNOWN[key] = rows / np.sqrt(rows**2 @ sds**2)[:, None], chart(values, sds).limit
    rows, limit = _KNOWN[key]
    return np.abs(rows @ values).max() > limit


@pytest.mark.parametrize(
    ("n_runs", "at", "sds", "least"), [(4, 3, 4, 0.7), (5, 4, 4, 0.75), (10, 4, 2.5, 0.85)]
)
def test_what_few_runs_find(n_runs, at, sds, least):
    # 1,000 charts, ± 1.5 % one standard error. A 4-sd step at run 5 was found in 6 % before.
    rng = np.random.default_rng(3)
    own = np.full(n_runs, 0.05)
    moved = np.where(np.arange(n_runs) >= at, sds * 0.05, 0.0)
    found = np.mean([_signals(rng.normal(moved, own), own) for _ in range(1000)])
    assert found > least


@pytest.mark.parametrize("n_runs", [2, 3, 5, 10])
def test_the_move_that_it_says_it_would_see_is_found_in_four_cases_of_five(n_runs):
    rng = np.random.default_rng(n_runs)
    own = rng.uniform(0.03, 0.07, n_runs)
    told = chart(np.zeros(n_runs), own)
    for at, step_mm in (
        (n_runs // 2, told.detectable_middle_mm),
        (n_runs - 1, told.detectable_last_mm),
    ):
        moved = np.where(np.arange(n_runs) >= at, step_mm, 0.0)
        found = np.mean([_signals(rng.normal(moved, own), own) for _ in range(2000)])
        # The other contrasts find a few more.
        assert 0.77 < found < 0.90


@pytest.mark.parametrize("values", [[], [0.2]])
def test_too_few_runs(values):
    with pytest.raises(AnswerError, match="at least 2 runs, got"):
        chart(values, [0.02] * len(values))


def _alarms(charts):
    """Share of charts that signal, with its standard error counted by machines."""
    shares = [np.mean([each.chart.signal is not None for each in found]) for found in charts]
    return np.mean(shares), np.std(shares) / np.sqrt(len(shares))


@pytest.mark.slow
def test_runs_of_one_printer_seldom_signal(shared_folder):
    # Ten printers from the prior, eight prints of `first` each, two charts: one in 20 may signal.
    charts = []
    for n in range(10):
        prints = prints_of_prior(shared_folder, [(n, k) for k in range(8)])
        charts.append(drifts([each.profile for each in prints], ASKED))
    share, error = _alarms([found for found in charts if found])
    assert share < 0.05 + 3 * max(error, 0.02)


@pytest.mark.slow
def test_runs_of_one_virtual_machine_seldom_signal(shared_folder):
    charts = []
    for n in range(12):
        prints = prints_of_virtual(shared_folder, [(n, k) for k in range(5)])
        charts.append(drifts([each.profile for each in prints], ASKED))
    share, _ = _alarms(charts)
    assert share <= 0.15
