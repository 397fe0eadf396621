"""What the entry page asks once about the print, from the form into the run."""

import datetime

import pytest
from support.entry_pages import bring_in, listed_page, printed, rows_of, saved
from support.page_coupon import make_record, write_run
from support.screens import DESK, PHONE, assert_nothing_runs_over

from coupons.measuring.run.conditions import conditions_text
from coupons.measuring.run.folder import load_run

pytestmark = pytest.mark.browser

ANSWERS = {
    "printed_on": "2026-05-03",
    "first_layer_height_mm": "0,3",
    "resolution_mm": "0.02",
    "jaw_land_mm": "0.4",
    "outlines_mm": "-0,05",
    "wall_order": "outer first",
    "flow_percent": "96",
}


@pytest.fixture
def folder(tmp_path):
    made = write_run(tmp_path, printed("bench-1", "a"))
    (made / "conditions.toml").write_text(conditions_text("bench-1", "grey", 0.4, 0.2))
    return made


def answer(page):
    for key, value in ANSWERS.items():
        field = page.locator(f"[data-about={key}]")
        field.select_option(value) if key == "wall_order" else field.fill(value)
    page.fill("#about-by", "mk")


def test_answers_given_once_reach_the_run(visit, folder):
    seen = visit(listed_page(folder), PHONE)
    page = seen.page
    assert page.is_visible("#ask")
    page.tap("#ask-now")
    page.tap("#about-none")  # three answers at one tap
    answer(page)
    page.tap("#about-keep")
    assert page.is_hidden("#ask")
    page.wait_for_timeout(320)
    page.tap("[data-result=slide]")
    (folder / "entries.csv").write_bytes(saved(page))
    run = load_run(folder)
    assert run.fits[0].by == "mk"
    assert run.conditions.printed_on == datetime.date(2026, 5, 3)
    assert run.conditions.first_layer_height_mm == 0.3
    assert (run.conditions.caliper.resolution_mm, run.conditions.caliper.jaw_land_mm) == (0.02, 0.4)
    assert run.conditions.slicing.model_dump() == {
        "outlines_mm": -0.05,
        "holes_mm": 0.0,
        "first_layer_mm": 0.0,
        "wall_order": "outer first",
        "flow_percent": 96.0,
    }
    seen.assert_clean()


def test_it_is_skipped_by_one_tap_and_not_asked_again(visit, folder):
    page = visit(listed_page(folder), PHONE).page
    page.tap("#ask-later")
    assert page.is_hidden("#ask")
    page.reload()
    assert page.is_hidden("#ask")
    assert page.inner_text("#about-count") == "9 open"
    about = [row for row in rows_of(saved(page)) if row["kind"] == "about"]
    assert [row["feature"] for row in about] == ["coupon", "run", "machine", "material"]


def test_a_machine_without_a_name_is_asked_for(visit, tmp_path):
    made = write_run(tmp_path, printed("", "a"))
    (made / "conditions.toml").write_text(conditions_text("", "", 0.4, 0.2))
    page = visit(listed_page(made), PHONE).page
    page.tap("#ask-now")
    page.fill("[data-about=machine]", "attic-1")
    page.fill("[data-about=material]", "grey")
    page.tap("#about-keep")
    page.wait_for_timeout(320)
    page.tap("[data-result=slide]")
    (made / "entries.csv").write_bytes(saved(page))
    assert load_run(made).conditions.machine == "attic-1"


@pytest.mark.parametrize(
    ("key", "typed", "says"),
    [
        ("resolution_mm", "0", "From 0.0001, at most 1."),
        ("outlines_mm", "3", "From -2, at most 2."),
        ("flow_percent", "all", "Type only a number"),
    ],
)
def test_an_answer_that_cannot_be_is_said_beside_its_field_and_not_kept(
    visit, folder, key, typed, says
):
    page = visit(listed_page(folder), DESK).page
    page.click("#about-open")
    page.fill(f"[data-about={key}]", typed)
    page.click("#about-keep")
    assert page.is_visible("#about")
    label = page.locator("label", has=page.locator(f"[data-about={key}]"))
    assert says in label.inner_text()
    assert page.evaluate("document.activeElement.dataset.about") == key


def test_what_was_typed_and_not_kept_waits_and_undo_takes_answers_back(visit, folder):
    page = visit(listed_page(folder), DESK).page
    page.click("#about-open")
    page.fill("[data-about=jaw_land_mm]", "0.4")
    page.keyboard.press("Escape")
    page.reload()
    page.click("#about-open")
    assert page.input_value("[data-about=jaw_land_mm]") == "0.4"
    page.click("#about-keep")
    assert page.inner_text("#about-count") == "8 open"
    page.click("#undo")
    assert page.inner_text("#about-count") == "9 open"


def test_answers_of_a_file_are_taken_over_and_others_kept_as_said_here(visit, folder):
    page = visit(listed_page(folder), DESK).page
    page.click("#about-open")
    page.fill("[data-about=jaw_land_mm]", "0.4")
    page.click("#about-keep")
    said = bring_in(
        page,
        b"kind,feature,result,note\nabout,jaw_land_mm,,0.3\nabout,printed_on,,2026-05-03\n",
    )
    assert (
        "the answers here are kept: Flat on its inside jaws, mm: 0.4 here, 0.3 in the file." in said
    )
    notes = {row["feature"]: row["note"] for row in rows_of(saved(page))}
    assert (notes["jaw_land_mm"], notes["printed_on"]) == ("0.4", "2026-05-03")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_in_the_form(visit, tmp_path, size, scheme, axe_findings):
    path = listed_page(write_run(tmp_path, make_record()))
    page = visit(path, size, color_scheme=scheme, bypass_csp=True).page
    page.click("#about-open")
    page.fill("[data-about=resolution_mm]", "0")
    assert axe_findings(page) == []
    assert_nothing_runs_over(page)
