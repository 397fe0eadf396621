"""The entry page in low windows, without a mouse, and in a reader's own colours."""

import pytest
from click.testing import CliRunner
from support.entry_pages import bring_in, listed_page, printed, results, rows_of, saved, settle
from support.page_coupon import make_record, write_run
from support.screens import DESK, NARROW, PHONE, assert_nothing_runs_over

from coupons.cli import main

pytestmark = pytest.mark.browser

ON_ITS_SIDE = {"viewport": {"width": 844, "height": 390}, "has_touch": True, "is_mobile": True}
AT_200 = {"viewport": {"width": 640, "height": 400}, "device_scale_factor": 2}
GRADES = ("no-go", "force", "push", "slide", "loose")


@pytest.fixture
def path(tmp_path):
    return listed_page(write_run(tmp_path, printed("bench-1", "a", make_record())))


def in_sight(page, selector):
    """Whether an element is whole within the window and above the bar, without scrolling."""
    box, bar = page.locator(selector).bounding_box(), page.locator(".bar").bounding_box()
    width = page.viewport_size["width"]
    fits_across = box["x"] >= 0 and box["x"] + box["width"] <= width
    return box["y"] >= 0 and box["y"] + box["height"] <= bar["y"] + 1 and fits_across


@pytest.mark.parametrize("size", [PHONE, ON_ITS_SIDE, AT_200], ids=["phone", "side", "200 %"])
def test_the_question_and_all_grades_are_in_sight(visit, path, size):
    page = visit(path, size).page
    hidden = [
        one
        for one in ("#step-title", *(f"[data-result={grade}]" for grade in GRADES))
        if not in_sight(page, one)
    ]
    assert hidden == []
    assert_nothing_runs_over(page)


@pytest.mark.parametrize(
    "size", [PHONE, ON_ITS_SIDE, AT_200, NARROW], ids=["phone", "side", "200 %", "narrow"]
)
def test_a_hint_is_in_sight_before_enter_keeps_what_it_warns_of(visit, path, size):
    page = visit(path, size).page
    page.click("#stage-size")
    page.fill("#reading", "9.3")
    for time in range(2):  # also when it was scrolled away again after it was shown
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        was_in_sight = in_sight(page, "#hint")
        page.keyboard.press("Enter")
        kept = not page.inner_text("#count-size").startswith("0")
        assert kept == (was_in_sight and time == 1)
        if kept:
            return
        assert in_sight(page, "#hint")
    page.keyboard.press("Enter")
    assert page.inner_text("#count-size").startswith("1")
    assert "9.3" in [row["result"] for row in rows_of(saved(page))]


@pytest.mark.parametrize("size", [NARROW, ON_ITS_SIDE, AT_200], ids=["narrow", "side", "200 %"])
def test_nothing_runs_over_the_side(visit, path, size):
    page = visit(path, size).page
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert_nothing_runs_over(page)
    page.click("#stage-size")
    page.fill("#reading", "9.3")
    assert_nothing_runs_over(page)


def test_to_look_again_is_the_stronger_way(visit, path):
    page = visit(path, PHONE).page
    page.tap("#stage-size")
    assert "strong" in page.get_attribute("#keep", "class")
    assert page.is_hidden("#look-again")
    page.fill("#reading", "9.3")
    assert "strong" in page.get_attribute("#look-again", "class")
    assert "strong" not in page.get_attribute("#keep", "class")
    page.tap("#look-again")
    assert page.evaluate("getSelection().toString()") == "9.3"


def test_a_wrong_id_is_said_where_it_was_typed(visit, path):
    page = visit(path, PHONE).page
    page.fill("#jump-to", "Q7")
    page.keyboard.press("Enter")
    assert page.inner_text("#jump-says") == "There is no feature Q7 on this coupon."
    assert page.locator("#jump-says").bounding_box()["height"] > 10
    page.fill("#jump-to", "A2")
    assert page.inner_text("#jump-says") == ""


def contradict(page):
    settle(page)
    page.click("[data-result=slide]")  # AG1 in A1, the narrowest
    page.fill("#jump-to", "A3")
    page.keyboard.press("Enter")
    settle(page)
    page.click("[data-result=no-go]")


def test_a_contradiction_leads_to_both_trials_and_goes_when_one_is_put_right(visit, path):
    page = visit(path, PHONE).page
    contradict(page)
    assert "A3 has a wider gap than A1" in page.inner_text("#step-warning")
    for feature in ("A1", "A3"):
        page.tap(f"#step-warning >> text=To {feature}")
        assert page.inner_text("#step-title") == f"Try AG1 in {feature}"
    page.tap("#kept button")  # the no-go of A3
    assert page.is_hidden("#step-warning")


def test_a_contradiction_goes_with_undo(visit, path):
    page = visit(path, PHONE).page
    contradict(page)
    page.tap("#undo")
    assert page.is_hidden("#step-warning")
    assert results(page, "A3", "AG1") == [""]


def focused(page):
    return page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")


def test_the_focus_never_falls_to_the_bare_page(visit, tmp_path):
    coupon = make_record(rows=1, features=2)
    page = visit(listed_page(write_run(tmp_path, coupon)), DESK).page
    page.focus("[data-result=slide]")
    for _ in coupon.trials:
        settle(page)  # a press of Enter is a click, which the guard counts too
        page.keyboard.press("Enter")
        assert focused(page) not in ("", "BODY")
    page.locator("#siblings button").first.press("Enter")  # rebuilt by its own press
    assert focused(page) == "step-title"
    page.locator("#kept button").first.press("Enter")  # gone with what it removes
    assert focused(page) == "step-title"
    while page.is_enabled("#undo"):
        page.locator("#undo").press("Enter")
        assert page.evaluate("document.activeElement !== document.body")
    page.locator("#ask-later").press("Enter")
    assert focused(page) == "about-open"


def test_what_has_the_focus_is_not_under_the_bar(visit, path):
    page = visit(path, PHONE).page
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.focus("#save-file")
    bar = page.locator(".bar").bounding_box()["y"]
    for _ in range(60):
        page.keyboard.press("Tab")
        under = page.evaluate(
            """(bar) => {
            const one = document.activeElement;
            const box = one.getBoundingClientRect();
            return one.closest('.bar') || one === document.body ? '' :
                box.top >= bar ? one.id || one.textContent : '';
        }""",
            bar,
        )
        assert under == ""


def test_hover_changes_nothing_where_there_is_no_hover(visit, path):
    page = visit(path, PHONE).page
    page.evaluate("document.querySelector('style').textContent")  # the one style
    rules = page.evaluate("""() => [...document.styleSheets[0].cssRules]
        .filter((rule) => rule.selectorText?.includes(':hover')).map((rule) => rule.cssText)""")
    assert rules == []


def test_forced_colours_keep_every_state(visit, path):
    page = visit(path, DESK, forced_colors="active").page

    def border(selector):
        return page.evaluate("(s) => getComputedStyle(document.querySelector(s)).border", selector)

    assert border("#stage-fit") != border("#stage-size")
    settle(page)
    page.click("[data-result=slide]")
    page.click("#back")
    assert border("[data-result=slide]") != border("[data-result=push]")
    assert border("#save-file") != border("#back")
    bar = page.evaluate("""() => {
        const style = getComputedStyle(document.querySelector('progress'));
        return [style.forcedColorAdjust, style.borderTopStyle];
    }""")
    assert bar == ["none", "solid"]


def test_names_on_the_map_stay_readable_when_everything_is_done(visit, tmp_path):
    folder = tmp_path / "run"
    for words in (["make", "first", "-o"], ["rehearse"]):
        assert CliRunner().invoke(main, [*words, str(folder)]).exit_code == 0
    page = visit(folder / "entry.html", DESK).page
    bring_in(page, (folder / "entries.csv").read_bytes())
    covered = page.evaluate("""() => {
        const boxes = (selector) => [...document.querySelectorAll(selector)]
            .map((one) => [one.parentNode.dataset.id, one.getBoundingClientRect()]);
        const common = (a, b, low, high) =>
            Math.max(0, Math.min(a[high], b[high]) - Math.max(a[low], b[low]));
        const share = (name, disc) => common(name, disc, 'left', 'right')
            * common(name, disc, 'top', 'bottom') / (name.width * name.height);
        const discs = boxes('#marks .done').map(([, box]) => box);
        return boxes('#picture [data-id] path[fill=none]')
            .filter(([, name]) => discs.some((disc) => share(name, disc) > 0.1)).map(([id]) => id);
    }""")
    assert covered == []
