import pytest
from markupsafe import Markup

from coupons.showing.plots.plot import Scale, band, drawing, frame, mark, nice_step, number


@pytest.mark.parametrize(
    ("value", "place"), [(0.0, 10.0), (5.0, 60.0), (10.0, 110.0), (-3.0, 10.0), (99.0, 110.0)]
)
def test_a_scale_is_linear_and_ends_at_its_ends(value, place):
    assert Scale(0, 10, 10, 110)(value) == place


def test_a_log_scale_gives_equal_ratios_equal_room():
    scale = Scale(1, 100, 0, 200, is_log=True)
    assert [scale(v) for v in (1, 10, 100)] == [0, 100, 200]


@pytest.mark.parametrize(
    ("at_least", "step"), [(0.021, 0.05), (0.05, 0.05), (0.6, 1.0), (1.1, 2.0), (7, 10)]
)
def test_steps_are_one_two_five(at_least, step):
    assert nice_step(at_least) == pytest.approx(step)


def test_a_band_goes_there_on_top_and_back_below():
    area = frame((0, 10), (0, 1))
    path = band(area, [0, 10], [0, 0], [1, 1], "ext")
    left, right = area.x(0), area.x(10)
    low, high = area.y(0), area.y(1)
    corners = [(left, high), (right, high), (right, low), (left, low)]
    assert "L".join(f"{x:g} {y:g}" for x, y in corners) in path


def test_names_from_files_are_escaped_in_a_drawing():
    area = frame((0, 1), (0, 1))
    svg = drawing(area, '"><script>', mark(area, (0.5, 0.5), "ext", "<b>A1</b>"))
    assert isinstance(svg, Markup)
    assert "<script>" not in svg
    assert "<b>" not in svg


def test_numbers_have_a_real_minus():
    assert number(-0.25) == "−0.25"
