"""The report on a screen: nothing leaves, nothing runs over, nothing hides from a reader."""

import pytest
from support.page_coupon import fill_run, make_record, write_run
from support.screens import DESK, HOSTILE, NARROW, PHONE, assert_nothing_runs_over

from coupons.learning.fit import fit_runs
from coupons.learning.profile_of_fit import profile_of
from coupons.measuring.run.findings import Finding
from coupons.showing.pages.report import write_report
from coupons.showing.words.fit_summary import learned_from

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    parent = tmp_path_factory.mktemp("report")
    coupon = make_record(rows=4, features=6, title=HOSTILE)
    run = fill_run(write_run(parent, coupon), rehearsed=True, machine=HOSTILE)
    fitted = fit_runs([run])
    finding = Finding("look", f"entries.csv row 3 ({HOSTILE})", HOSTILE, "Try again")
    path = parent / "report.html"
    findings = [[finding] * 20]
    learned = learned_from(profile_of(fitted, [run]), fitted, [run], findings)
    return write_report(path, learned, fitted, findings)


@pytest.mark.parametrize("size", [PHONE, NARROW, DESK], ids=["phone", "narrow", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_and_nothing_runs_over(visit, report, size, scheme, axe_findings):
    seen = visit(report, size, color_scheme=scheme, bypass_csp=True)
    assert axe_findings(seen.page) == []
    assert_nothing_runs_over(seen.page)
    seen.assert_clean()


def test_hostile_names_are_words_and_no_script_runs(visit, report):
    seen = visit(report, DESK)
    assert HOSTILE in seen.page.inner_text("h1")
    assert seen.page.locator("script").count() == 0
    seen.assert_clean()


def test_every_plot_says_what_it_shows(visit, report):
    page = visit(report, DESK).page
    plots = page.locator("figure svg")
    assert plots.count() >= 5
    for at in range(plots.count()):
        assert plots.nth(at).get_attribute("aria-label")


def test_in_print_no_plot_is_cut_and_ink_is_dark(visit, report):
    page = visit(report, DESK, color_scheme="dark").page
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert (
        page.evaluate("getComputedStyle(document.querySelector('figure')).breakInside") == "avoid"
    )


def test_forced_colours_leave_every_word_on_a_ground_of_another_colour(visit, report):
    page = visit(report, DESK, forced_colors="active", color_scheme="dark").page
    same = page.evaluate("""() => [...document.querySelectorAll('body *')]
        .filter((one) => !one.closest("svg"))
        .filter((one) => [...one.childNodes]
            .some((node) => node.nodeType === 3 && node.data.trim()))
        .filter((one) => {
            let ground = one;
            const clear = 'rgba(0, 0, 0, 0)';
            while (ground && getComputedStyle(ground).backgroundColor === clear) {
                ground = ground.parentElement;
            }
            const under = ground ? getComputedStyle(ground).backgroundColor : 'rgb(0, 0, 0)';
            // Words stand on a plate of the reader's own ground colour, whatever lies below it.
            return [under, 'rgb(0, 0, 0)'].includes(getComputedStyle(one).color);
        }).map((one) => one.textContent.slice(0, 30))""")
    assert same == []
