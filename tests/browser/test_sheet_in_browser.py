"""The paper sheet, printed to PDF and measured."""

import numpy as np
import pytest
from support.page_coupon import make_record, write_run
from support.screens import DESK, NARROW, PHONE, assert_nothing_runs_over

from coupons.showing.pages.paper_sheet import write_sheet

pytestmark = pytest.mark.browser

PAPER_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
DOTS_PER_MM = 20


def printed_pages(page, tmp_path, paper):
    """Return the pages as arrays of grey, ``DOTS_PER_MM`` to the millimetre."""
    import pypdfium2 as pdfium

    path = tmp_path / f"{paper}.pdf"
    page.pdf(path=path, format=paper)
    document = pdfium.PdfDocument(path)
    scale = DOTS_PER_MM * 25.4 / 72
    return [
        document[at].render(scale=scale, grayscale=True).to_numpy() for at in range(len(document))
    ]


def longest_line_mm(page, expected_mm, room_mm=5.0):
    """Return the lengths of straight dark runs within ``room_mm`` of what is expected."""
    dark = np.squeeze(page) < 128
    edges = np.diff(np.pad(dark, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    starts, ends = np.nonzero(edges == 1), np.nonzero(edges == -1)
    lengths = (ends[1] - starts[1]) / DOTS_PER_MM
    return lengths[np.abs(lengths - expected_mm) < room_mm]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_ruler_is_100_mm_on_paper(visit, tmp_path, paper, scheme):
    page = visit(write_sheet(write_run(tmp_path)), DESK, color_scheme=scheme).page
    pages = printed_pages(page, tmp_path, paper)
    assert pages[1].shape[1] / DOTS_PER_MM == pytest.approx(PAPER_MM[paper][0], abs=0.3)
    found = longest_line_mm(pages[1], 100.0)
    assert found.size
    assert found == pytest.approx(100.0, abs=0.3)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("columns", [6, 13], ids=["upright", "turned"])
def test_the_map_is_at_true_scale_on_one_page(visit, tmp_path, paper, columns):
    coupon = make_record(rows=3, features=columns)
    folder = write_run(tmp_path, coupon)
    # A bar of known length across the map, the only one of that length on its page.
    text = (folder / "map.svg").read_text()
    bar = '<rect x="10" y="2" width="62.5" height="1"/>'
    upright = '<rect x="2" y="2" width="1" height="30"/>'
    (folder / "map.svg").write_text(text.replace("</svg>", bar + upright + "</svg>"))
    page = visit(write_sheet(folder), DESK).page
    pages = printed_pages(page, tmp_path, paper)
    turned = "turned by 90°" in page.inner_text("main")
    wanted = 30.0 if turned else 62.5
    found = longest_line_mm(pages[1], wanted, room_mm=1.0)
    assert found.size
    assert found == pytest.approx(wanted, abs=0.15)
    assert turned == (columns == 13)


@pytest.mark.parametrize("size", [PHONE, NARROW, DESK], ids=["phone", "narrow", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(visit, tmp_path, size, scheme, axe_findings):
    seen = visit(write_sheet(write_run(tmp_path)), size, color_scheme=scheme, bypass_csp=True)
    assert axe_findings(seen.page) == []
    assert_nothing_runs_over(seen.page)
    seen.assert_clean()
