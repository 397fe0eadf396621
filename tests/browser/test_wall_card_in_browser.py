"""The wall card: one page on paper, whole on a phone."""

import pytest
from support.known_profile import known_profile
from support.screens import DESK, NARROW, PHONE, assert_nothing_runs_over

from coupons.showing.pages.wall_card import write_wall_card

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_with_everything_measured_it_is_one_page(visit, tmp_path, paper):
    import pypdfium2 as pdfium

    profile = known_profile(rehearsed=True, means={"scale_x": 0.001, "scale_y": -0.004})
    page = visit(write_wall_card(tmp_path / "card.html", profile), DESK).page
    page.pdf(path=tmp_path / "card.pdf", format=paper)
    assert len(pdfium.PdfDocument(tmp_path / "card.pdf")) == 1


@pytest.mark.parametrize("size", [PHONE, NARROW, DESK], ids=["phone", "narrow", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_and_nothing_runs_over(
    visit, tmp_path, size, scheme, axe_findings
):
    path = write_wall_card(tmp_path / "card.html", known_profile(rehearsed=True))
    seen = visit(path, size, color_scheme=scheme, bypass_csp=True)
    assert axe_findings(seen.page) == []
    assert_nothing_runs_over(seen.page)
    seen.assert_clean()
