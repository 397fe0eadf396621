"""The pages that ship with the demo run are the ones that this code writes."""

import shutil
from pathlib import Path

import pytest

from coupons.learning.profile_file import read_profile
from coupons.showing.pages.entry_page import write_entry_page
from coupons.showing.pages.paper_sheet import write_sheet
from coupons.showing.pages.wall_card import write_wall_card

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"

WRITE = {
    "entry.html": write_entry_page,
    "sheet.html": write_sheet,
    "wall-card.html": lambda run: write_wall_card(
        run / "wall-card.html", read_profile(run / "profile.json")
    ),
}


@pytest.mark.parametrize("name", WRITE)
def test_the_demo_shows_the_pages_as_they_are_now(tmp_path, name):
    run = tmp_path / DEMO.name  # a page tells the name of its run
    run.mkdir()
    for file in ("coupon.json", "map.svg", "profile.json"):
        shutil.copy(DEMO / file, run / file)
    written = WRITE[name](run).read_text(encoding="utf-8")
    same = written == (DEMO / name).read_text(encoding="utf-8")
    assert same, f"write {name} of results/filter-drawer again"
