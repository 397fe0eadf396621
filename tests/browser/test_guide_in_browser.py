"""The guide on the entry page against its twin in Python, and what a thumb does with it."""

import json
import re

import numpy as np
import pytest
from support.entry_pages import bring_in, saved, settle
from support.screens import DESK, NARROW, PHONE, assert_nothing_runs_over

from coupons.answering.next.guide import (
    ENOUGH,
    MORE,
    best_task,
    guide_of,
    in_hand,
    known,
    learned,
    look_ahead,
    narrowing,
    worths,
)
from coupons.job.make import make_coupon
from coupons.making.record import CouponTrial, read_coupon
from coupons.measuring.run.entries import FitEntry, SizeEntry, read_entries
from coupons.terms import GRADES, Grade

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = make_coupon("starter", tmp_path_factory.mktemp("runs") / "job-1", machine="bench-1")
    return made.folder


@pytest.fixture(scope="module")
def guide(folder):
    return guide_of(read_coupon(folder / "coupon.json"))


def title_of(guide, number):
    task = guide.tasks[number]
    if isinstance(task, CouponTrial):
        return f"Try {task.mate} in {task.feature}"
    return f"Measure {task.feature}" + (f", along {task.along}" if task.along else "")


def shown_task(page, guide):
    """Return the number of the task that the page shows."""
    title = page.inner_text("#step-title")
    return next(n for n in range(len(guide.tasks)) if title_of(guide, n) == title)


def shown_known(page):
    return np.array(
        page.eval_on_selector_all(
            "#known-rows tr",
            "rows => rows.map(r => [+r.dataset.value, +r.dataset.half, +r.dataset.chance])",
        )
    )


def found_by(guide, number, rng, shift_mm):
    """Return what somebody finds whose printer is off by a shift, as the page takes it."""
    drawn = guide.drawn_mm[number]
    if number >= guide.n_trials:
        return f"{drawn - shift_mm / 2 + rng.normal(0, 0.02):.2f}"
    felt = drawn - shift_mm + rng.normal(0, 0.05)
    return GRADES[int(np.searchsorted([-0.1, 0.0, 0.1, 0.3], felt))]


def entry_of(guide, number, found):
    task = guide.tasks[number]
    if number >= guide.n_trials:
        return SizeEntry(0, task.feature, float(found), task.jaws, task.along)
    return FitEntry(0, task.feature, task.mate, Grade(found), Grade(found))


def enter(page, number, guide, found):
    if number >= guide.n_trials:
        page.fill("#reading", found)
        page.keyboard.press("Enter")
        if page.input_value("#reading"):  # a doubtful one is asked for twice
            page.keyboard.press("Enter")
    else:
        page.keyboard.press(str(1 + GRADES.index(found)))


@pytest.mark.parametrize("shift_mm", [0.05, 0.2, 0.45])
@pytest.mark.parametrize("choice", ["all", "push"])
def test_the_page_chooses_and_knows_what_its_twin_does(visit, folder, guide, choice, shift_mm):
    seen = visit(folder / "entry.html", DESK)
    page, rng = seen.page, np.random.default_rng(int(100 * shift_mm))
    page.click(f"#choose [data-choice={choice}]")
    entries, left, held = [], set(range(len(guide.tasks))), None
    chosen = guide.weights(choice).astype(bool)
    for _ in range(14):
        now = learned(guide, entries)
        number, worth = shown_task(page, guide), worths(guide, now, held, choice)
        assert worth[number] >= 0.98 * worth[best_task(guide, now, left, held, choice)]
        twin, on_page = known(guide, now), shown_known(page)
        assert np.allclose(on_page[:, 1], twin.halves_mm[chosen], rtol=0.01)
        assert np.allclose(on_page[:, 2], twin.chances[chosen], atol=0.005, equal_nan=True)
        assert np.allclose(on_page[:, 0], twin.values_mm[chosen], atol=0.01 * on_page[:, 1].min())
        if entries:
            later = look_ahead(guide, now, left, held, choice).known[-1]
            share = narrowing(guide, now, later, choice)
            told = re.search(r"by ([\d.]+)\s%", page.inner_text("#known-says"))
            assert abs(float(told[1]) / 100 - share) <= 0.011
        found = found_by(guide, number, rng, shift_mm)
        enter(page, number, guide, found)
        entries.append(entry_of(guide, number, found))
        left.remove(number)
        held = in_hand(guide.tasks[number])
    seen.assert_clean()


def test_a_whole_coupon_and_its_undo_are_known_as_the_twin_knows_them(visit, folder, guide):
    """The page keeps sums as entries come: they must not drift from what they stand for."""
    rng = np.random.default_rng(7)
    page = visit(folder / "entry.html", DESK).page
    page.click("#choose [data-choice=all]")
    numbers = range(len(guide.tasks) - 2)
    found = [found_by(guide, number, rng, 0.2) for number in numbers]
    entries = [entry_of(guide, number, one) for number, one in zip(numbers, found, strict=True)]
    text = "kind,feature,mate,result,unit,jaws,along\n"
    for one, result in zip(entries, found, strict=True):
        if isinstance(one, FitEntry):
            text += f"fit,{one.feature},{one.mate},{result},,,\n"
        else:
            text += f"size,{one.feature},,{result},mm,{one.jaws},{one.along or ''}\n"
    bring_in(page, text.encode())
    number = shown_task(page, guide)
    assert number >= len(numbers)
    for drawn_mm in (guide.drawn_mm[number], None):  # one more entry, then without it again
        if drawn_mm is None:
            page.click("#undo")
            entries.pop()
        else:
            result = f"{drawn_mm:.2f}"
            enter(page, number, guide, result)
            entries.append(entry_of(guide, number, result))
        twin = known(guide, learned(guide, entries))
        assert np.allclose(shown_known(page)[:, 1], twin.halves_mm, rtol=0.01)
        assert np.allclose(shown_known(page)[:, 2], twin.chances, atol=0.005, equal_nan=True)


def test_undo_and_going_back_leave_the_guide_as_it_was(visit, folder, guide):
    page = visit(folder / "entry.html", PHONE).page
    page.tap("#choose [data-choice=all]")
    before, first = shown_known(page), page.inner_text("#step-title")
    settle(page)
    page.tap("[data-result=no-go]")
    assert not np.allclose(shown_known(page), before, equal_nan=True)
    page.tap("#undo")
    assert np.allclose(shown_known(page), before, equal_nan=True)
    assert page.inner_text("#step-title") == first
    settle(page)
    page.tap("[data-result=slide]")
    second = page.inner_text("#step-title")
    page.tap("#back")
    assert page.inner_text("#step-title") == first
    settle(page)
    page.tap("[data-result=push]")
    page.tap("#step-warning >> text=Only push")
    number = next(n for n in range(len(guide.tasks)) if title_of(guide, n) == first)
    twin = known(guide, learned(guide, [entry_of(guide, number, "push")]))
    assert np.allclose(shown_known(page)[:, 1], twin.halves_mm, rtol=0.01)
    assert second != first


def test_what_is_unsaved_is_what_stands_and_not_what_was_undone(visit, folder):
    page = visit(folder / "entry.html", PHONE).page
    page.tap("#choose [data-choice=all]")
    told = [page.inner_text("#save-count")]
    for what in ("slide", "undo", "slide", "loose", "save", "undo", "no-go", "save"):
        settle(page)
        if what == "save":
            saved(page)
        else:
            page.tap("#undo" if what == "undo" else f"[data-result={what}]")
        told.append(page.inner_text("#save-count"))
    undone = ["entries.csv", "1 unsaved", "entries.csv", "1 unsaved", "2 unsaved"]
    assert told == [*undone, "saved", "1 unsaved", "2 unsaved", "saved"]


def test_two_hands_and_a_file_are_taken_as_the_twin_takes_them(visit, folder, guide):
    page = visit(folder / "entry.html", DESK).page
    page.click("#choose [data-choice=all]")
    text = "kind,feature,mate,result,unit,jaws,along,by\n" + "".join(
        f"fit,{task.feature},{task.mate},{grade},,,,{by}\n"
        for task, grade, by in (
            (guide.tasks[0], "slide", "mk"),
            (guide.tasks[9], "go", "jo"),
            (guide.tasks[3], "force..push", "mk"),
        )
    )
    text += (
        "size,B1,,0.158,in,inside,,mk\nsize,AG,,3.99,mm,outside,,mk\nzero,,,0.02,mm,outside,,mk\n"
    )
    bring_in(page, text.encode())
    (folder / "entries.csv").write_bytes(saved(page))
    sizes, fits = read_entries(folder / "entries.csv", read_coupon(folder / "coupon.json"))
    by_row = sorted([*sizes, *fits], key=lambda entry: entry.row)
    hands_first = sorted(by_row, key=lambda entry: getattr(entry, "by", "") != "mk")
    twin = known(guide, learned(guide, hands_first))
    # The order of entries moves an approximation a little.
    assert np.allclose(shown_known(page)[:, 1], twin.halves_mm, rtol=0.03)


def test_it_says_enough_once_and_stopping_and_going_on_are_one_tap(visit, folder, guide):
    seen = visit(folder / "entry.html", PHONE)
    page, rng = seen.page, np.random.default_rng(2)
    page.tap("#choose [data-choice=slide]")
    count = 0
    while count < 40:
        if page.is_visible("#step-warning") and "Enough" in page.inner_text("#step-warning"):
            break
        settle(page)
        number = shown_task(page, guide)
        found = found_by(guide, number, rng, 0.2)
        if number < guide.n_trials:
            page.tap(f"[data-result={found}]")
        else:
            page.fill("#reading", found)
            page.tap("#keep")
        count += 1
    assert 5 <= count <= 30
    told = page.inner_text("#step-warning")
    assert f"{MORE} more entries would narrow these by" in told
    assert f"less than {100 * ENOUGH:.0f}" in told
    page.tap("#step-warning >> text=Go on")
    assert page.is_hidden("#step-warning")
    page.tap("#stop")
    if page.is_visible("#size-form"):
        page.tap("#skip")  # the closed jaws
    assert page.inner_text("#finished-title").startswith("Stopped with")
    assert page.is_visible("#known-rows")
    page.tap("#go-on")
    assert page.is_visible("#card")
    rows = [row for row in saved(page).decode().splitlines() if ",slide," in row]
    assert len(rows) <= count
    seen.assert_clean()


def test_any_other_feature_may_be_tapped_and_a_skipped_step_is_not_asked_again(visit, folder):
    page = visit(folder / "entry.html", PHONE).page
    page.tap("#choose [data-choice=all]")
    first = page.inner_text("#step-title")
    page.tap("#skip")
    second = page.inner_text("#step-title")
    assert second != first
    page.fill("#jump-to", "B1")
    page.keyboard.press("Enter")
    assert page.inner_text("#step-title").endswith("in B1")
    settle(page)
    page.tap("[data-result=force]")
    assert page.inner_text("#step-title") not in (first,)
    page.reload()
    assert page.is_hidden("#choose")
    assert page.inner_text("#choice").splitlines()[0] == "Everything, best first"


def test_the_rest_of_a_row_is_left_out_by_one_tap_and_stays_blank(visit, folder, guide):
    page = visit(folder / "entry.html", DESK).page
    page.click("#choose [data-choice=screw]")
    for _ in range(3):
        number = shown_task(page, guide)
        page.fill("#reading", f"{guide.drawn_mm[number] - 0.12:.2f}")
        page.keyboard.press("Enter")
    page.fill("#jump-to", "A1")  # trials teach next to nothing about the size of a hole
    page.keyboard.press("Enter")
    assert page.inner_text("#leave-row").startswith("Leave out the rest of row A")
    page.click("#leave-row")
    assert "stay blank" in page.inner_text("#step-warning")
    page.click("#all summary")
    page.wait_for_selector("#all-steps button")
    left = page.locator("#all-steps button", has_text="left out").count()
    assert left == guide.row_letters.count("A")
    page.click("#step-warning >> text=Bring them back")
    page.click("#all summary")
    page.click("#all summary")
    page.wait_for_selector("#all-steps button:not(:has-text('left out'))")
    page.wait_for_function("!document.getElementById('all-steps').textContent.includes('left out')")
    rows = saved(page).decode().splitlines()
    assert sum(bool(re.search(r",\d+\.\d+,mm,", row)) for row in rows) == 3


def test_stopping_shows_what_to_do_and_names_a_reading_that_was_not_kept(visit, folder):
    page = visit(folder / "entry.html", PHONE).page
    page.tap("#choose [data-choice=screw]")  # holes for screws are read
    page.fill("#reading", "4.2")
    label = page.inner_text("#step-title").removeprefix("Measure ").split(",")[0]
    page.tap("#stop")
    finished = page.locator("#finished").bounding_box()
    assert finished["y"] < PHONE["viewport"]["height"] / 2, "what to do now stands in sight"
    assert page.locator("#known").bounding_box()["y"] > finished["y"]
    assert "Typed but not kept:" in page.inner_text("#not-kept")
    page.tap("#not-kept button")
    assert page.input_value("#reading") == "4.2"
    assert label in page.inner_text("#step-title")
    page.fill("#reading", "")
    page.tap("#stop")
    assert page.is_hidden("#not-kept")


def test_going_to_no_label_asks_for_one_until_the_next_step(visit, folder):
    page = visit(folder / "entry.html", DESK).page
    page.click("#choose [data-choice=all]")
    page.press("#jump-to", "Enter")
    assert page.inner_text("#jump-says") == "Type a label, such as A3."
    page.click("#skip")
    assert page.inner_text("#jump-says") == ""


def test_a_page_without_storage_guides_as_well(visit, folder):
    seen = visit(folder / "entry.html", PHONE)
    seen.page.add_init_script(
        "Storage.prototype.setItem = () => { throw new DOMException('full'); }"
    )
    seen.page.goto((folder / "entry.html").as_uri())
    seen.page.tap("#choose [data-choice=push]")
    assert seen.page.input_value("#choice") == "push"
    settle(seen.page)
    seen.page.tap("[data-result=slide]")
    assert "more" in seen.page.inner_text("#step-place")


def test_what_an_older_page_stored_is_taken_over(visit, folder):
    page = visit(folder / "entry.html", DESK).page
    page.click("#choose [data-choice=all]")
    page.keyboard.press("4")
    key = page.evaluate("JSON.parse(document.getElementById('record').textContent).key")
    # An older page knows of no plan in its draft, a newer one may add acts that this one lacks.
    page.evaluate(
        """(key) => {
            localStorage.setItem(key + "-draft", JSON.stringify({ here: null, by: "mk" }));
            const acts = JSON.parse(localStorage.getItem(key));
            localStorage.setItem(key, JSON.stringify([...acts, { do: "of a later page" }]));
        }""",
        key,
    )
    page.reload()
    assert page.input_value("#by") == "mk"
    assert sum(",slide," in row for row in saved(page).decode().splitlines()) == 1


def test_the_script_of_the_guide_is_small():
    from coupons.showing.pages.page import TEMPLATES

    assert len((TEMPLATES / "entry" / "guide.js").read_bytes()) <= 15_000


@pytest.mark.parametrize("size", [PHONE, DESK, NARROW], ids=["phone", "desk", "narrow"])
def test_guided_pages_fit_their_screens(visit, folder, size, axe_findings):
    page = visit(folder / "entry.html", size, bypass_csp=True).page
    assert axe_findings(page) == []
    assert_nothing_runs_over(page)
    page.click("#choose [data-choice=all]")
    settle(page)
    page.click("[data-result=slide]")
    assert axe_findings(page) == []
    assert_nothing_runs_over(page)
    page.click("#stop")
    assert_nothing_runs_over(page)


def test_without_script_the_best_fixed_order_is_told(folder):
    html = (folder / "entry.html").read_text(encoding="utf-8")
    told = html[html.index("<noscript>") : html.index("</noscript>")]
    record = json.loads(re.search(r'id="record">(.*?)</script>', html, re.S)[1])
    assert f"After these {record['guide']['stop']} you may stop." in told
