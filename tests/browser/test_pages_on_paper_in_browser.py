"""Sheet and wall card on paper: what is printed can be read, and no page is empty."""

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile
from support.screens import DESK

from coupons.cli import main
from coupons.learning.profile import MeasuredRange
from coupons.showing.pages.wall_card import write_wall_card
from coupons.terms import Direction, Form

pytestmark = pytest.mark.browser

POINTS_PER_PX = 0.75


@pytest.fixture(scope="module", params=["first", "recheck", "upright"])
def run(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / request.param
    made = CliRunner().invoke(main, ["make", request.param, "-o", str(folder)])
    assert made.exit_code == 0, made.output
    return folder


def pages_of(page, tmp_path, paper):
    import pypdfium2 as pdfium

    page.pdf(path=tmp_path / "page.pdf", format=paper)
    return [
        one.get_textpage().get_text_range().strip()
        for one in pdfium.PdfDocument(tmp_path / "page.pdf")
    ]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_page_of_a_sheet_is_empty_and_each_page_of_trials_names_its_row(
    visit, run, tmp_path, paper
):
    pages = pages_of(visit(run / "sheet.html", DESK).page, tmp_path, paper)
    assert all(pages)
    first = next(at for at, text in enumerate(pages) if text.startswith("Begin with these"))
    last = next(at for at, text in enumerate(pages) if text.startswith("Measure"))
    # The order to begin with stands above the first trials.
    trials = [pages[first].partition("\nTry\r\n")[2], *pages[first + 1 : last]]
    for text in trials:
        assert "Row " in text.removeprefix("Tick one box per line.")[:120]


def test_gap_figures_on_a_sheet_are_read_without_a_glass(visit, run):
    page = visit(run / "sheet.html", DESK).page
    page.emulate_media(media="print")
    # Text in the drawing is as large as its unit: the map is at true scale, one unit a millimetre.
    sizes = page.evaluate("""() => {
        const scale = (one) => one.ownerSVGElement
            ? Math.hypot(one.getScreenCTM().a, one.getScreenCTM().b) : 1;
        return [...document.querySelectorAll('.map .feature text, .gap')]
            .map((one) => parseFloat(getComputedStyle(one).fontSize) * scale(one));
    }""")
    assert sizes
    assert min(sizes) * POINTS_PER_PX >= 5.5


def flat_only():
    return tuple(
        MeasuredRange(form=form, direction=Direction.X, low_mm=3.0, high_mm=60.0)
        for form in (Form.SLOT, Form.TONGUE)
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("measured", "rehearsed"), [(flat_only(), False), (flat_only(), True), (None, True)]
)
def test_a_wall_card_fills_its_page_and_no_more(visit, tmp_path, paper, measured, rehearsed):
    import numpy as np
    import pypdfium2 as pdfium

    options = {"measured": measured} if measured else {}
    differing = ("layer_height_mm",) if rehearsed else ()
    profile = known_profile(rehearsed=rehearsed, differs_in=differing, **options)
    page = visit(write_wall_card(tmp_path / "card.html", profile), DESK).page
    page.pdf(path=tmp_path / "card.pdf", format=paper)
    (sheet,) = pdfium.PdfDocument(tmp_path / "card.pdf")
    grey = np.squeeze(sheet.render(grayscale=True).to_numpy())
    inked = np.flatnonzero((grey < 128).any(axis=1))
    assert inked[-1] > 0.9 * len(grey)
    page.emulate_media(media="print")
    figure = page.evaluate("parseFloat(getComputedStyle(document.querySelector('td b')).fontSize)")
    assert figure * POINTS_PER_PX >= (25 if measured else 13)
