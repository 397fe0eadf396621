"""Screws and inserts on the entry page: their own hand test, and the way to the file and back."""

import pytest
from support.entry_pages import bring_in, results, saved, settle
from support.page_coupon import write_run
from support.screens import DESK, PHONE

from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import parse_spec
from coupons.measuring.run.entries import survey_entries
from coupons.showing.pages.entry_page import write_entry_page
from coupons.showing.pages.paper_sheet import write_sheet
from coupons.terms import HOLD_TESTS, Held, Hold

pytestmark = pytest.mark.browser

SPEC = b"""
title = "screws"
[[row]]
kind = "thread"
name = "screw M3"
direction = "z"
nominal_mm = 3
holes_mm = [2.4, 2.6]
source = "none"
[[row]]
kind = "insert"
name = "insert"
direction = "z"
nominal_mm = 4.6
holes_mm = [4.0, 4.2]
wall_mm = 5.0
source = "none"
"""


def coupon_of():
    return record(plan_coupon(parse_spec(SPEC, "screws", "screws")))


@pytest.fixture
def folder(tmp_path):
    return write_run(tmp_path, coupon_of())


def to_step(page, title):
    page.evaluate("document.getElementById('all').open = true")
    page.click(f"#all-steps button:has-text('{title}')")
    settle(page)


def test_each_piece_has_its_own_test_and_the_run_reads_what_was_found(visit, folder):
    seen = visit(write_entry_page(folder), PHONE)
    page = seen.page
    for title, held in (("Drive AB into A2", Held.THREAD), ("Drive BB into B1", Held.INSERT)):
        to_step(page, title)
        assert page.locator("#hold-form").is_visible()
        assert not page.locator("#fit-form").is_visible()
        shown = page.locator("#hold-form .test").all_inner_texts()
        assert shown == [HOLD_TESTS[held][hold] for hold in Hold]
        heights = page.evaluate(
            "[...document.querySelectorAll('#hold-form .grade')].map((one) => one.offsetHeight)"
        )
        assert max(heights) < 90  # the test stands beside its key, in two lines at most
        page.click("#hold-form [data-result=holds]")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["viewport"]["width"]
    data = saved(page)
    (folder / "entries.csv").write_bytes(data)
    typed = survey_entries(
        folder / "entries.csv", record(plan_coupon(parse_spec(SPEC, "screws", "screws")))
    )
    assert not typed.problems
    assert [(one.feature, one.mate, one.found) for one in typed.holds] == [
        ("A2", "AB", Hold.HOLDS),
        ("B1", "BB", Hold.HOLDS),
    ]
    seen.assert_clean()


def test_a_file_with_holds_comes_back_and_a_wrong_word_is_told(visit, folder):
    page = visit(write_entry_page(folder), DESK).page
    head = "kind,feature,mate,result\n"
    assert "1" in bring_in(page, (head + "hold,A1,AB,strips\n").encode())
    assert results(page, "A1", "AB") == ["strips"]
    assert "is none of splits" in bring_in(page, (head + "hold,A2,AB,slide\n").encode())


def test_the_keys_answer_the_test_that_is_shown(visit, folder):
    page = visit(write_entry_page(folder), DESK).page
    to_step(page, "Drive AB into A1")
    page.locator("#step-title").focus()
    page.keyboard.press("4")
    assert results(page, "A1", "AB") == ["strips"]


def test_the_paper_sheet_has_a_table_for_them(visit, folder):
    page = visit(write_sheet(folder), DESK).page
    text = page.inner_text("body")
    assert "Screws that cut their own thread" in text
    assert page.locator("th:has-text('splits')").count() >= 2
