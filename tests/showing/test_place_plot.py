import re

import pytest
from support.page_coupon import make_record

from coupons.showing.plots.place_plot import place_plots
from coupons.showing.plots.residuals import LeftOver

FEATURES = make_record(rows=2, features=3).features


def left_over(at, mm, run=0, plate=1):
    feature = FEATURES[at].model_copy(update={"plate": plate})
    return LeftOver(run, feature, error_mm=mm, expected_mm=0.0)


def sizes_of_marks(svg):
    return {
        name: float(size)
        for size, name in re.findall(r'class="mark ext"[^>]* r="([\d.]+)"><title>(\w+):', svg)
    }


def test_a_plate_of_each_run_has_its_own_plot():
    plots = place_plots([left_over(0, 0.1), left_over(1, 0.1, plate=2), left_over(0, 0.2, run=1)])
    assert [(p.run, p.plate, p.largest_mm) for p in plots] == [
        (0, 1, 0.1),
        (0, 2, 0.1),
        (1, 1, 0.2),
    ]


def test_the_area_of_a_mark_stands_for_the_amount():
    (plot,) = place_plots([left_over(0, 0.2), left_over(1, 0.05)])
    assert plot.largest_mm == pytest.approx(0.2)
    sizes = sizes_of_marks(plot.drawing)
    assert (sizes["A2"] / sizes["A1"]) ** 2 == pytest.approx(0.25, rel=0.01)


def test_a_millimetre_is_as_long_along_y_as_along_x():
    ones = [left_over(at, 0.1) for at in range(len(FEATURES))]
    (plot,) = place_plots(ones)
    places = {
        name: (float(x), float(y))
        for x, y, name in re.findall(
            r'cx="([\d.]+)" cy="([\d.]+)"[^>]*><title>(\w+):', plot.drawing
        )
    }
    across = places["A2"][0] - places["A1"][0]
    down = places["A1"][1] - places["B1"][1]
    assert across == pytest.approx(down, abs=0.1)  # both one pitch; y counts upwards


def test_nothing_left_over_is_drawn_small_and_not_divided_by():
    (plot,) = place_plots([left_over(0, 0.0)])
    assert plot.largest_mm == 0
