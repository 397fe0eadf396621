import numpy as np
import pytest

from coupons.answering.drift import individuals_chart
from coupons.errors import AnswerError


def test_a_jump_signals_and_a_steady_printer_does_not():
    steady = [0.20, 0.22, 0.21, 0.19, 0.21, 0.20, 0.22, 0.20]
    assert individuals_chart(steady).signals == ()
    (signal,) = individuals_chart([*steady, 0.32]).signals
    assert signal.run == 8
    assert "beyond" in signal.why


def test_a_slow_drift_signals_by_eight_on_one_side():
    values = [0.2 + 0.001 * (-1) ** n + (0.004 if n >= 8 else 0) for n in range(16)]
    chart = individuals_chart(values)
    assert [s.run for s in chart.signals if "in a row" in s.why] == [7, 15]


def test_false_alarms_are_as_rare_as_three_sigma_promises():
    # 400 charts of 20 independent runs; a normal value is beyond 3 sd in 0.27 % of cases, and
    # limits that are themselves estimated from 20 runs make it a little more often.
    rng = np.random.default_rng(8)
    beyond = [
        sum("beyond" in s.why for s in individuals_chart(rng.normal(0.2, 0.03, 20)).signals)
        for _ in range(400)
    ]
    share = sum(beyond) / (400 * 20)
    assert 0.0005 < share < 0.008


def test_few_runs_are_called_rough():
    assert individuals_chart([0.2, 0.21, 0.2]).is_rough
    assert not individuals_chart([0.2, 0.21] * 4).is_rough


@pytest.mark.parametrize("values", [[], [0.2], [0.2, 0.21]])
def test_too_few_runs(values):
    with pytest.raises(AnswerError, match="at least 3 runs, got"):
        individuals_chart(values)
