import pytest
from markupsafe import Markup
from support.page_coupon import make_record, write_run

from coupons.answering.next.guide import enough_after, fixed_order, guide_of
from coupons.making.estimate import PRINT_ADVICE
from coupons.making.record import CouponRun
from coupons.showing.pages.entry_page import write_entry_page
from coupons.showing.pages.paper_sheet import place_on_paper, write_sheet
from coupons.showing.pages.picture import Picture


@pytest.mark.parametrize(
    ("width", "height", "size", "turned", "reduced"),
    [
        (100, 70, (100, 70), False, 1),
        (186, 215, (186, 215), False, 1),
        (200, 150, (150, 200), True, 1),
        (220, 220, (110, 110), False, 2),
        (400, 300, (150, 200), True, 2),
    ],
)
def test_a_map_keeps_its_scale_as_long_as_the_paper_allows(width, height, size, turned, reduced):
    placed = place_on_paper(Picture(Markup(), (0, 0, width, height)))
    assert (placed.width_mm, placed.height_mm) == size
    assert (placed.turned, placed.reduced) == (turned, reduced)


def test_every_trial_and_reading_has_its_box(tmp_path):
    coupon = make_record()
    html = write_sheet(write_run(tmp_path, coupon)).read_text(encoding="utf-8")
    trials, readings = html.split("<h2>Measure</h2>")
    assert trials.count("<i></i>") == 5 * len(coupon.trials)
    assert readings.count("<i></i>") == len(coupon.readings)


def test_a_reading_at_the_bed_says_so(tmp_path):
    coupon = make_record()
    feature = coupon.features[0].model_copy(update={"at_bed": True})
    coupon = coupon.model_copy(update={"features": (feature, *coupon.features[1:])})
    html = write_sheet(write_run(tmp_path, coupon)).read_text(encoding="utf-8")
    assert html.count(", at the bed</span>") == 1


def test_the_sheet_holds_the_names_that_make_was_told(tmp_path):
    run = CouponRun(id="0" * 16, machine="bench-1", material="grey")
    coupon = make_record().model_copy(update={"run": run})
    html = write_sheet(write_run(tmp_path, coupon)).read_text(encoding="utf-8")
    assert '<span>machine</span><b dir="auto">bench-1</b>' in html
    assert '<span>material</span><b dir="auto">grey</b>' in html
    assert '<span>nozzle, mm</span><b dir="auto">0.4</b>' in html
    assert '<span>layer height, mm</span><b dir="auto">0.2</b>' in html
    assert "<span>speed, mm/s</span></p>" in html


def test_a_sheet_without_a_map_says_where_the_ids_are(tmp_path):
    folder = write_run(tmp_path)
    (folder / "map.svg").unlink()
    assert "find the ids on the part" in write_sheet(folder).read_text(encoding="utf-8")


def test_sheet_page_and_print_advice_say_that_the_pieces_must_be_solid(tmp_path):
    folder = write_run(tmp_path)
    for write in (write_sheet, write_entry_page):
        assert "four walls and 100 % infill" in write(folder).read_text(encoding="utf-8")
    assert any("100 % infill" in advice for advice in PRINT_ADVICE)


def test_the_sheet_says_what_to_begin_with_and_where_to_stop(tmp_path):
    coupon = make_record(rows=3)
    html = write_sheet(write_run(tmp_path, coupon)).read_text(encoding="utf-8")
    guide = guide_of(coupon)
    stop = enough_after(guide, fixed_order(guide, count=40))
    assert f"After these {stop} you may stop" in html
    first = html[html.index('<ol class="columns first">') : html.index("</ol>")]
    assert first.count("<li>") == stop
    # Each of them has its number beside its box, once.
    assert [html.count(f"<small>{place}</small>") for place in range(1, stop + 1)] == [1] * stop


def test_a_coupon_of_which_nobody_wants_to_know_goes_by_its_list(tmp_path):
    coupon = make_record(rows=1).model_copy(update={"trials": (), "readings": ()})
    html = write_sheet(write_run(tmp_path, coupon)).read_text(encoding="utf-8")
    assert "Begin with these" not in html
