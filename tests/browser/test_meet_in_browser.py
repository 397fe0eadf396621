"""The page of meetings: whole on each screen, nothing leaves it, names of bodies stay text."""

import pytest
from support.drawn_bodies import drawn
from support.meeting_cases import legs, pocket
from support.screens import DESK, HOSTILE, NARROW, PHONE, assert_nothing_runs_over

from coupons.answering.meet.meetings import meet
from coupons.showing.bodies.meet_page import met_page

pytestmark = pytest.mark.browser


@pytest.fixture
def page(tmp_path):
    bodies = pocket(0.2, 0.2, radius=4.0) | {
        n: s.translate((0, 0, 60)) for n, s in legs(0.2).items()
    }
    names = {"frame": HOSTILE}
    met = meet([drawn(solid, names.get(name, name)) for name, solid in bodies.items()])
    path = tmp_path / "meetings.html"
    path.write_text(met_page(met, [HOSTILE]), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("size", "scheme"),
    [(PHONE, "dark"), (NARROW, "light"), (DESK, "light")],
    ids=["phone", "narrow", "desk"],
)
def test_axe_finds_nothing_serious_and_nothing_runs_over(visit, page, size, scheme, axe_findings):
    seen = visit(page, size, color_scheme=scheme, bypass_csp=True)
    assert axe_findings(seen.page) == []
    assert_nothing_runs_over(seen.page)
    seen.assert_clean()


def test_the_gap_and_the_direction_of_each_joint_are_seen_on_a_phone(visit, page):
    seen = visit(page, PHONE)
    table = seen.page.locator("table.joints")
    for text in ("drawn gap 0.2 × 0.2 mm", "across x and y"):
        box = table.get_by_text(text, exact=True).bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= PHONE["viewport"]["width"]


def test_names_of_bodies_stay_text(visit, page):
    seen = visit(page, DESK)
    assert HOSTILE in seen.page.locator("h2").all_inner_texts()
    seen.assert_clean()
