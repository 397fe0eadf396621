"""The page of a comparison on a screen, with names that a stranger chose."""

import pytest
from support.known_profile import known_profile
from support.screens import DESK, HOSTILE, PHONE, assert_nothing_runs_over

from coupons.answering.compare.side_by_side import compare
from coupons.answering.next.coupon import USUAL
from coupons.showing.pages.compare_page import write_compare_page

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_before_and_after_is_words_only_and_axe_finds_nothing_serious(
    visit, tmp_path, size, scheme, axe_findings
):
    before = known_profile({"growth_ext": 0.12}, machine=HOSTILE, material="y" * 60)
    after = known_profile({"growth_ext": 0.0, "scale_x": 0.005}, machine=HOSTILE, nozzle_mm=0.6)
    changes = compare(before, after, {one.name: one for one in USUAL[:2]})
    path = tmp_path / "compare.html"
    write_compare_page(path, before, after, changes)
    seen = visit(path, size, color_scheme=scheme, bypass_csp=True)
    page = seen.page
    assert axe_findings(page) == []
    assert page.locator("img, script").count() == 0
    assert HOSTILE in page.inner_text("main")
    assert page.locator("tr.cured").count() == 1
    assert_nothing_runs_over(page)
    seen.assert_clean()
