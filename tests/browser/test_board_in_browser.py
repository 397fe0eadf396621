"""The board on a screen, with a profile that a stranger sent."""

from datetime import date

import pytest
from support.known_profile import known_profile
from support.screens import DESK, HOSTILE, PHONE, assert_nothing_runs_over

from coupons.errors import ProfileError
from coupons.showing.pages.board import Posted, write_board

pytestmark = pytest.mark.browser

# As high as the figures below a strip come out on the screen.
PX_OF_FIGURES = """[...document.querySelectorAll(".strip text")].map(
    (text) => parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().d)"""


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_strangers_profile_is_words_only_and_axe_finds_nothing_serious(
    visit, tmp_path, size, scheme, axe_findings
):
    posted = [
        Posted(known_profile(printed_on=date(2026, 6, 1)), "mine"),
        Posted(known_profile(machine=HOSTILE, material=HOSTILE, rehearsed=True), HOSTILE),
        Posted(known_profile(machine="x" * 60, material="y" * 60), "z" * 200),
    ]
    path = tmp_path / "board.html"
    write_board(path, posted, [ProfileError(HOSTILE * 3)], date(2026, 6, 30))
    seen = visit(path, size, color_scheme=scheme, bypass_csp=True)
    page = seen.page
    assert axe_findings(page) == []
    assert page.locator("img, script").count() == 0
    assert HOSTILE in page.inner_text("article:nth-child(2) h2")
    assert_nothing_runs_over(page)
    assert min(page.evaluate(PX_OF_FIGURES)) >= 11
    seen.assert_clean()
