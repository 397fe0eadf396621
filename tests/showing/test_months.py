from datetime import date, timedelta

import pytest
from support.known_profile import EVERYTHING, known_profile

from coupons.answering.compare.drift import chart
from coupons.learning.profile_file import profile_text
from coupons.measuring.run.conditions import Slicing
from coupons.showing.board.collect import Posted
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.months import months_of
from coupons.showing.board.site import page_of, write_site
from coupons.terms import Direction

START = date(2026, 1, 5)
TODAY = date(2026, 12, 1)
FLAT_X = tuple(one for one in EVERYTHING if one.direction is Direction.X)


def printed(month, fatter_mm=0.0, **changes):
    profile = known_profile(
        {"growth_ext": 0.04 + fatter_mm},
        0.2,
        **{
            "measured": FLAT_X,
            "printed_on": START + timedelta(30 * month),
            "entries_sha256": f"{month:x}" * 64,
            "runs": 3,
        }
        | changes,
    )
    return Posted(profile, str(month), profile_text(profile).encode())


def months(*posted):
    rows = make_board(posted, TODAY).rows
    return months_of(rows[0], rows)


def trend(*posted):
    return months(*posted).trends[0]


def test_a_machine_that_stays_as_it_is_shows_no_change():
    found = trend(*(printed(k) for k in range(6)))
    assert not found.is_signal
    assert found.words.startswith("No change over 6 prints of this set-up")


def test_a_step_is_found_with_its_day():
    found = trend(*(printed(k, 0.0 if k < 4 else 0.08) for k in range(8)))
    assert found.is_signal
    assert f"from {START + timedelta(120)} on 0.1" in found.words


def test_a_slow_trend_is_found_by_the_month():
    # Two faces of one body: 0.03 mm of gap a month.
    found = trend(*(printed(k, 0.015 * k) for k in range(9)))
    assert found.is_signal
    assert "mm wider a month" in found.words
    assert "0.03" in found.words


def test_a_trend_counts_the_days_between_prints_and_not_the_prints():
    # Half a year without a print: by the run it looks like a step, by the day it is one slope.
    days = [0.0, 1.0, 2.0, 8.0, 9.0, 10.0]
    values = [0.2 + 0.02 * day for day in days]
    by_month = chart(values, [0.02] * 6, days).signal
    assert by_month.why == "0.020 mm wider a month"
    by_run = chart(values, [0.02] * 6).signal
    assert by_run.why == "from run 4 on 0.16 mm wider"


def test_changes_of_nozzle_layers_material_and_slicer_are_marked_with_their_day():
    plain, flow = Slicing(flow_percent=100.0), Slicing(flow_percent=96.0)
    found = months(
        printed(0, slicing=plain),
        printed(1, slicing=plain),
        printed(2, nozzle_mm=0.6, slicing=plain),
        printed(3, slicing=plain, material="white"),
        printed(4, slicing=plain, layer_height_mm=0.3),
        printed(5, slicing=flow, layer_height_mm=0.3),
    )
    assert [(one.day, one.words) for one in found.marks] == [
        (START + timedelta(60), "nozzle 0.4 mm → 0.6 mm"),
        (START + timedelta(90), "material grey → white; nozzle 0.6 mm → 0.4 mm"),
        (START + timedelta(120), "material white → grey; layer height 0.2 mm → 0.3 mm"),
        (START + timedelta(150), "flow 100 % → 96 %"),
    ]
    assert found.trends[0].drawing.count('class="changed"') == 4


def test_only_prints_of_one_set_up_are_held_against_one_another():
    posted = [printed(k, 0.1 * (k < 3), nozzle_mm=0.6 if k < 3 else 0.4) for k in range(6)]
    found = trend(*posted)
    assert found.words.startswith("No change over 3 prints of this set-up")
    # All prints are drawn all the same.
    assert found.drawing.count("<circle") == 6


def test_undated_future_and_rehearsed_prints_are_not_drawn():
    found = trend(
        printed(0),
        printed(1),
        printed(2, printed_on=None),
        printed(3, printed_on=TODAY + timedelta(5)),
        printed(4, rehearsed=True),
    )
    assert found.drawing.count("<circle") == 2


@pytest.mark.parametrize("posted", [[printed(0)], [printed(0), printed(1, printed_on=None)]])
def test_one_dated_print_has_no_months(posted):
    assert months(*posted).trends == ()


def test_the_page_of_a_machine_shows_its_months(tmp_path):
    posted = [printed(k, 0.0 if k < 4 else 0.08, nozzle_mm=0.4) for k in range(8)]
    write_site(tmp_path, make_board(posted, TODAY))
    html = (tmp_path / page_of("bench-1")).read_text(encoding="utf-8")
    assert "Over the months" in html
    assert html.count("<figure") == 2  # a slide and a push across x
    assert 'aria-label="slide slot/tongue 5 mm across x, gap in mm over months"' in html
