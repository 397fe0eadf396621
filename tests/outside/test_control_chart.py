import pytest

from coupons.answering.drift import individuals_chart


def test_flow_rates_of_the_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, ten batches (numbers from memory).
    rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    chart = individuals_chart(rates)
    assert chart.center_mm == pytest.approx(50.81, abs=5e-5)
    assert chart.high_mm == pytest.approx(55.8041, abs=5e-4)
    assert chart.low_mm == pytest.approx(45.8159, abs=5e-4)
    assert chart.signals == ()
