"""The board on a screen, with a profile that a stranger sent."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from support.known_profile import EVERYTHING, known_profile
from support.screens import DESK, HOSTILE, PHONE, assert_nothing_runs_over

from coupons.answering.joints.rank import JobChance
from coupons.errors import ProfileError
from coupons.learning.profile import MeasuredRange
from coupons.showing.board.collect import Posted
from coupons.showing.board.figures import COLUMNS
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.site import page_of, write_site
from coupons.terms import Direction, Form

pytestmark = pytest.mark.browser

TODAY = date(2026, 6, 30)
FEW = known_profile().counts.model_copy(update={"trials": 12, "readings": 20})
FLAT_X = tuple(one for one in EVERYTHING if one.direction is Direction.X)


def posted(name, days=3, **changes):
    changes = {"measured": FLAT_X, "machine": name} | changes
    profile = known_profile(printed_on=TODAY - timedelta(days), **changes)
    return Posted(profile, name, f"{name} {days}".encode("utf-8", "backslashreplace"))


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_strangers_profile_is_words_only_and_axe_finds_nothing_serious(
    visit, tmp_path, size, scheme, axe_findings
):
    profiles = [
        posted("mine", measured=EVERYTHING),
        posted("mine", 200, nozzle_mm=0.6),
        posted("mine", 100, means={"growth_ext": 0.2}),
        posted(HOSTILE, 200, material=HOSTILE, rehearsed=True),
        posted("x" * 60, material="y" * 60),
    ]
    made = make_board(profiles, TODAY)
    write_site(tmp_path, made, [ProfileError(HOSTILE * 3)])
    for name in ("index.html", page_of("mine"), page_of(HOSTILE)):
        seen = visit(tmp_path / name, size, color_scheme=scheme, bypass_csp=True)
        page = seen.page
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        assert axe_findings(page) == []
        assert page.locator("img").count() == 0
        assert_nothing_runs_over(page)
        seen.assert_clean()
    assert HOSTILE in page.inner_text("h1")


def test_rows_are_found_sorted_and_led_on_without_a_server(visit, tmp_path):
    days = {f"bench-{n}": n for n in range(1, 13)} | {"attic-1": 200}
    profiles = [posted(name, n, means={"growth_ext": n / 5000}) for name, n in days.items()]
    write_site(tmp_path, make_board(profiles, TODAY))
    seen = visit(tmp_path / "index.html", PHONE)
    page = seen.page

    def names():
        return page.eval_on_selector_all(
            "#gaps tbody tr:not([hidden]) a", "(all) => all.map((one) => one.textContent)"
        )

    page.fill("#words", "bench-1")
    assert names() == ["bench-1", "bench-10", "bench-11", "bench-12"]
    assert page.locator("#rows details:visible").count() == 4
    page.fill("#words", "")
    page.select_option("#state", "stale")
    assert names() == ["attic-1"]
    assert page.inner_text("#count") == "1 of 13"
    page.select_option("#state", "")
    for _ in range(2):
        page.click("#gaps thead button >> text=machine")
    assert names()[:4] == ["bench-12", "bench-11", "bench-10", "bench-9"]
    page.click("#gaps thead button >> text=flat x >> nth=0")
    assert names()[-1] == "attic-1"
    page.click("#gaps tbody tr:not([hidden]) a >> nth=0")
    assert page.locator("h1").inner_text() == names_first(days)
    page.click("text=Board of machines")
    assert page.locator("#gaps").count() == 1
    seen.assert_clean()


def test_states_are_filtered_one_by_one_and_nothing_found_is_said(visit, tmp_path):
    profiles = [
        posted("bench-1"),
        posted("bench-2", rehearsed=True),
        posted("bench-3", 200, rehearsed=True),
        posted("bench-4", 200),
    ]
    write_site(tmp_path, make_board(profiles, TODAY))
    seen = visit(tmp_path / "index.html", PHONE)
    page = seen.page
    assert page.eval_on_selector_all(
        "#state option", "(all) => all.map((one) => one.textContent)"
    ) == [
        "any",
        "fresh",
        "rehearsed",
        "stale",
    ]
    for state, names in (("stale", "34"), ("rehearsed", "23"), ("fresh", "12"), ("any", "1234")):
        page.select_option("#state", label=state)
        assert page.locator("#gaps tbody tr:not([hidden]) a").all_text_contents() == [
            f"bench-{n}" for n in names
        ]
        assert not page.locator("#none").is_visible()
    page.fill("#words", "zzz")
    assert page.locator("#none").is_visible()
    assert page.inner_text("#count") == "0 of 4"
    seen.assert_clean()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_no_date_and_no_mark_breaks_in_two(visit, tmp_path, size):
    profiles = [posted("mine", days, counts=FEW, measured=EVERYTHING) for days in (3, 30, 60)]
    write_site(tmp_path, make_board([*profiles, posted("mine", 90, measured=EVERYTHING)], TODAY))
    lines = """(all) => all.map((one) => {
        const words = document.createRange();
        words.selectNodeContents(one);
        return new Set([...words.getClientRects()].map((box) => Math.round(box.top))).size;
    })"""
    page = visit(tmp_path / page_of("mine"), size).page
    assert set(page.eval_on_selector_all(".scroll tbody th, .scroll td.whole", lines)) == {1}
    assert page.locator(".wide").first.is_visible() is (size is PHONE)
    page = visit(tmp_path / "index.html", size).page
    assert set(page.eval_on_selector_all("#gaps .mark", lines)) == {1}


def test_the_words_of_a_state_break_between_words_alone(visit, tmp_path):
    write_site(tmp_path, make_board([posted("mine", 200, rehearsed=True)], TODAY))
    page = visit(tmp_path / "index.html", PHONE).page
    lines = page.locator("#gaps .mark").evaluate(
        """(one) => {
            const tops = new Map();
            const text = one.firstChild;
            for (let at = 0; at < text.length; at += 1) {
                const sign = document.createRange();
                sign.setStart(text, at);
                sign.setEnd(text, at + 1);
                const top = Math.round(sign.getBoundingClientRect().top / 8);
                tops.set(top, (tops.get(top) ?? "") + text.data[at]);
            }
            return [...tops.values()].map((line) => line.trim());
        }"""
    )
    assert lines in (["○\u00a0rehearsed,", "stale"], ["○\u00a0rehearsed, stale"])


def test_that_rows_follow_in_the_box_can_be_seen(visit, tmp_path):
    write_site(tmp_path, make_board([posted(f"bench-{n}") for n in range(1, 41)], TODAY))
    page = visit(tmp_path / "index.html", DESK).page
    box = page.locator("#gaps-title ~ .scroll")
    shade = "(box) => getComputedStyle(box, '::after').position"
    assert box.evaluate(shade) == "sticky"
    page.fill("#words", "bench-40")
    assert box.evaluate(shade) == "static"
    page.fill("#words", "")
    assert box.evaluate(shade) == "sticky"
    page.locator("#gaps tbody tr").last.scroll_into_view_if_needed()
    page.wait_for_selector(".scroll:not(.goes-on)")


def test_gaps_are_sorted_by_their_numbers_whatever_stands_beside_them(visit, tmp_path):
    small = tuple(
        MeasuredRange(form=form, direction=Direction.X, low_mm=low_mm, high_mm=high_mm)
        for form, low_mm, high_mm in ((Form.TONGUE, 4.0, 4.0), (Form.SLOT, 4.1, 9.0))
    )
    profiles = [
        posted(f"bench-{n}", means={"growth_ext": mm, "growth_int": 0.0}, measured=measured)
        for n, (mm, measured) in enumerate(
            zip((-0.12, -0.06, 0.0, 0.06), (FLAT_X, small, FLAT_X, small), strict=True), start=1
        )
    ]
    write_site(tmp_path, make_board([*profiles, posted("attic-1", measured=())], TODAY))
    page = visit(tmp_path / "index.html", PHONE).page
    push = [column.key for column in COLUMNS].index("push_flat_x") + 1
    for order in ((1, 2, 3, 4), (4, 3, 2, 1)):
        page.click(f"#gaps thead tr:nth-child(2) th:nth-child({push + 1}) button")
        cells = page.eval_on_selector_all(
            "#gaps tbody tr",
            f"(all) => all.map((one) => [0, {push}].map((at) => one.cells[at].textContent))",
        )
        assert [name.split()[0] for name, _ in cells] == [*(f"bench-{n}" for n in order), "attic-1"]
    assert any(told.startswith("−") for _, told in cells)
    assert sum("at 4" in told for _, told in cells) == 2


def names_first(days):
    return min(days, key=days.get)


def test_without_a_script_every_row_can_be_read(visit, tmp_path):
    profiles = [posted(f"bench-{n}") for n in range(1, 151)]
    write_site(tmp_path, make_board(profiles, TODAY))
    for script, shown in ((True, 100), (False, 150)):
        seen = visit(tmp_path / "index.html", PHONE, java_script_enabled=script)
        assert seen.page.locator("#rows details:visible").count() == shown
        assert seen.page.locator("#find").is_visible() is script
        assert seen.page.locator("#gaps tbody tr").count() == 150
    seen = visit(tmp_path / "index.html", PHONE)
    seen.page.click("#more")
    assert seen.page.locator("#rows details:visible").count() == 150
    assert not seen.page.locator("#more").is_visible()


def test_rows_out_of_view_are_not_laid_out_and_a_screen_reader_has_them_all(visit, tmp_path):
    write_site(tmp_path, make_board([posted(f"bench-{n}") for n in range(1, 151)], TODAY))
    page = visit(tmp_path / "index.html", PHONE).page
    drawn = page.eval_on_selector_all(
        "#gaps tbody th",
        "(all) => all.map((one) => one.checkVisibility({contentVisibilityAuto: true}))",
    )
    assert (drawn[0], drawn[-1]) == (True, False)
    assert sum(drawn) < 75
    for role, count in (("row", 152), ("rowheader", 150), ("cell", 150 * len(COLUMNS))):
        assert page.locator("#gaps").get_by_role(role).count() >= count
    page.locator("#gaps tbody tr").last.scroll_into_view_if_needed()
    last = page.locator("#gaps tbody tr").last
    edges = "(one) => [...one.cells].map((cell) => cell.getBoundingClientRect().left)"
    heads = page.locator("#gaps thead tr").last.evaluate(edges)
    assert last.evaluate(edges) == pytest.approx(heads, abs=1)


def test_numbers_beside_the_chance_of_a_job_do_not_touch_on_a_phone(visit, tmp_path):
    made = make_board([posted("bench-1", means={"growth_ext": -0.12, "growth_int": 0.0})], TODAY)
    (row,) = made.rows
    chances = {(row.machine, row.material): JobChance(row.head.profile, 0.99, 0.0, "lid", {})}
    write_site(tmp_path, made, job=chances)
    page = visit(tmp_path / "index.html", PHONE).page
    spans = page.eval_on_selector_all(
        "#gaps tbody td",
        """(all) => all.map((one) => {
            const words = document.createRange();
            words.selectNodeContents(one);
            const box = words.getBoundingClientRect();
            return [box.left, box.right, one.textContent];
        })""",
    )
    assert any(told.startswith("−") for *_, told in spans)
    assert all(right + 3 < left for (_, right, _), (left, _, _) in pairwise(spans))
    assert_nothing_runs_over(page)
