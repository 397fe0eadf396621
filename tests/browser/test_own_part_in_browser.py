"""The pages of a part that exists already: no map, no trials, its own instrument."""

import csv
import io

import pytest
from support.gauge_plate import READ, SIZES, part_text
from support.screens import DESK, NARROW, PHONE, assert_nothing_runs_over

from coupons import make_coupon

pytestmark = pytest.mark.browser


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plate.toml").write_text(part_text(SIZES[0] + '\ndatum = "left"', *SIZES[1:]))
    return make_coupon(tmp_path / "plate.toml", tmp_path / "run").folder


@pytest.mark.parametrize("screen", [PHONE, NARROW, DESK])
@pytest.mark.parametrize("name", ["entry", "sheet"])
def test_the_pages_stand_without_a_map(visit, axe_findings, folder, screen, name):
    seen = visit(folder / f"{name}.html", screen)
    assert_nothing_runs_over(seen.page)
    assert axe_findings(seen.page) == []
    seen.assert_clean()


def test_every_size_is_read_in_turn_and_stands_in_the_file(visit, folder):
    from playwright.sync_api import expect  # seconds to import

    seen = visit(folder / "entry.html", PHONE)
    page = seen.page
    assert page.locator("#choose").is_hidden()
    how = page.locator("#step-how").inner_text()
    assert how.startswith("Tongue of 24 mm across x, datum left.")
    for result in READ:
        page.fill("#reading", result)
        page.click("#keep")
    assert page.locator("#finished").is_visible()
    page.click("#files summary")
    expect(page.locator("#as-text")).not_to_have_value("")  # written once the files are open
    text = page.locator("#as-text").input_value().lstrip("\ufeff")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["kind"] != "about"]
    assert [row["result"] for row in rows] == list(READ)
    seen.assert_clean()
