"""The entry page in use: by taps and by keys, on a phone and at a desk."""

import csv
import io

import pytest
from support.entry_pages import listed_page
from support.page_coupon import make_record, write_run
from support.screens import DESK, HOSTILE, PHONE, assert_nothing_runs_over

from coupons.making.record import CouponReading, read_coupon
from coupons.measuring.checks.mistyped import is_plausible
from coupons.measuring.run.entries import read_entries

pytestmark = pytest.mark.browser

CELL = f"={HOSTILE},;"  # what a spreadsheet would take apart or run as a formula
GRADES = ("no-go", "force", "push", "slide", "loose")


def entry_page(tmp_path, coupon=None):
    return listed_page(write_run(tmp_path, coupon))


def saved_rows(page):
    with page.expect_download() as download:
        page.click("#save-file")
    assert download.value.suggested_filename == "entries.csv"
    text = download.value.path().read_text(encoding="utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def settle(page):
    """Wait out the guard against a bouncing finger."""
    page.wait_for_timeout(320)


def test_every_trial_takes_one_tap_and_every_reading_comes_back(visit, tmp_path):
    coupon = make_record(rows=3, features=2)
    seen = visit(entry_page(tmp_path, coupon), PHONE)
    page = seen.page
    wanted = [GRADES[at % 5] for at in range(len(coupon.trials))]
    for grade in wanted:
        settle(page)
        page.tap(f"[data-result={grade}]")
    sizes = {feature.id: feature.size_mm for feature in coupon.features}
    for reading in coupon.readings:
        page.fill("#reading", f"{sizes[reading.feature] + 0.03:.2f}".replace(".", ","))
        page.tap("#keep")
    page.tap("#skip")  # the closed jaws
    assert page.is_visible("#finished")
    rows = saved_rows(page)
    assert [
        (row["feature"], row["mate"], row["result"]) for row in rows if row["kind"] == "fit"
    ] == [
        (trial.feature, trial.mate, grade)
        for trial, grade in zip(coupon.trials, wanted, strict=True)
    ]
    assert [
        (row["feature"], row["jaws"], row["along"], row["unit"], float(row["result"]))
        for row in rows
        if row["kind"] == "size"
    ] == [
        (r.feature, r.jaws, r.along or "", "mm", round(sizes[r.feature] + 0.03, 2))
        for r in coupon.readings
    ]
    seen.assert_clean()


def through_all_but_the_closed_jaws(page, coupon):
    for _ in coupon.trials:
        settle(page)
        page.tap("[data-result=slide]")
    sizes = {feature.id: feature.size_mm for feature in coupon.features}
    for reading in coupon.readings:
        page.fill("#reading", f"{sizes[reading.feature]:.2f}")
        page.tap("#keep")


@pytest.mark.parametrize(
    ("shown", "kept"), [("-0.02", "-0.02"), ("−0,02", "-0.02"), ("0", "0"), ("+0.03", "+0.03")]
)
def test_closed_jaws_are_asked_for_once_after_the_readings(visit, tmp_path, shown, kept):
    coupon = make_record(rows=2, features=2)
    folder = write_run(tmp_path, coupon)
    seen = visit(listed_page(folder), PHONE)
    page = seen.page
    through_all_but_the_closed_jaws(page, coupon)
    assert page.inner_text("#step-title") == "Close the jaws: what does the caliper show?"
    assert page.get_attribute("#reading", "inputmode") == "text"  # a minus can be typed on phones
    page.fill("#reading", "7.98")
    page.tap("#keep")
    assert "Closed jaws show 1 mm at most" in page.inner_text("#hint")
    page.fill("#reading", shown)
    page.tap("#keep")
    assert page.is_visible("#finished")
    assert page.inner_text("#undo") == f"Undo closed jaws {kept}"
    rows = [row for row in saved_rows(page) if row["kind"] == "zero"]
    assert [(row["result"], row["unit"], row["jaws"]) for row in rows] == [(kept, "mm", "outside")]
    with page.expect_download() as download:
        page.click("#save-file")
    download.value.save_as(folder / "entries.csv")
    sizes, _ = read_entries(folder / "entries.csv", coupon)
    assert {size.zero_mm for size in sizes} == {float(kept)}
    seen.assert_clean()


def test_closed_jaws_may_be_skipped_and_leave_a_blank_row(visit, tmp_path):
    coupon = make_record(rows=2, features=2)
    seen = visit(entry_page(tmp_path, coupon), PHONE)
    through_all_but_the_closed_jaws(seen.page, coupon)
    seen.page.tap("#skip")
    assert seen.page.is_visible("#finished")
    rows = [row for row in saved_rows(seen.page) if row["kind"] == "zero"]
    assert [(row["result"], row["unit"], row["jaws"]) for row in rows] == [("", "mm", "outside")]
    seen.assert_clean()


def test_a_whole_coupon_by_keys_alone(visit, tmp_path):
    coupon = make_record(rows=2, features=2)
    seen = visit(entry_page(tmp_path, coupon), DESK)
    page = seen.page
    for at in range(len(coupon.trials)):
        page.keyboard.press(str(1 + at % 7))
    page.wait_for_selector("#size-form:visible")
    sizes = {feature.id: feature.size_mm for feature in coupon.features}
    for reading in coupon.readings:
        page.keyboard.type(f"{sizes[reading.feature]:.2f}")
        page.keyboard.press("Enter")
    page.keyboard.type("-0.01")
    page.keyboard.press("Enter")
    assert page.is_visible("#finished")
    words = [*GRADES, "stop", "go"]
    results = [row["result"] for row in saved_rows(page)]
    assert results[: len(coupon.trials)] == [words[at % 7] for at in range(len(coupon.trials))]
    seen.assert_clean()


def test_two_taps_from_anywhere_on_the_picture(visit, tmp_path):
    seen = visit(entry_page(tmp_path), PHONE)
    seen.page.locator('[data-id="B1"]').tap()
    assert seen.page.inner_text("#step-title") == "Try BG1 in B1"
    settle(seen.page)
    seen.page.tap("[data-result=push]")
    assert next(row for row in saved_rows(seen.page) if row["feature"] == "B1")["result"] == "push"
    seen.assert_clean()


def test_closing_the_tab_loses_nothing_typed(visit, tmp_path):
    seen = visit(entry_page(tmp_path), PHONE)
    page = seen.page
    page.fill("#by", "mk")
    settle(page)
    page.tap("[data-result=slide]")
    page.fill("#note", "half a thought")
    page.tap("#stage-size")
    page.fill("#reading", "3,9")
    page.reload()
    assert page.inner_text("#step-title") == "Measure A1"
    assert page.input_value("#reading") == "3,9"
    assert page.input_value("#note") == "half a thought"
    assert page.input_value("#by") == "mk"
    first = saved_rows(page)[0]
    assert (first["result"], first["by"]) == ("slide", "mk")
    seen.assert_clean()


def test_another_tab_takes_over_what_was_done_in_the_first(visit, tmp_path):
    path = entry_page(tmp_path)
    seen = visit(path, DESK)
    other = seen.page.context.new_page()
    other.goto(path.as_uri())
    settle(other)
    other.click("[data-result=slide]")
    seen.page.bring_to_front()
    seen.page.click("#skip")
    settle(seen.page)
    seen.page.click("[data-result=push]")
    assert [row["result"] for row in saved_rows(seen.page)[:2]] == ["slide", "push"]


def test_undo_takes_back_one_act_after_another(visit, tmp_path):
    seen = visit(entry_page(tmp_path), PHONE)
    page = seen.page
    for grade in ("slide", "push"):
        settle(page)
        page.tap(f"[data-result={grade}]")
    assert page.inner_text("#undo") == "Undo A1 push"
    page.tap("#undo")
    assert page.inner_text("#step-title") == "Try AG2 in A1"
    page.tap("#undo")
    assert page.is_disabled("#undo")
    assert not any(row["result"] for row in saved_rows(page))


def test_a_bouncing_finger_grades_one_trial(visit, tmp_path):
    seen = visit(entry_page(tmp_path), PHONE)
    settle(seen.page)
    seen.page.evaluate("""() => {
        const button = document.querySelector('[data-result=slide]');
        button.click(); button.click();
    }""")
    assert sum(bool(row["result"]) for row in saved_rows(seen.page)) == 1


@pytest.mark.parametrize(
    ("answer", "kept"), [("Only push", ["push"]), ("Keep all", ["slide", "push"])]
)
def test_a_second_grade_asks_whether_it_puts_a_slip_right(visit, tmp_path, answer, kept):
    seen = visit(entry_page(tmp_path), PHONE)
    page = seen.page
    settle(page)
    page.tap("[data-result=slide]")
    page.tap("#back")
    settle(page)
    page.tap("[data-result=push]")
    assert "AG1 with A1 now has slide, push." in page.inner_text("#step-warning")
    page.tap(f"#step-warning >> text={answer}")
    assert page.inner_text("#step-title") == "Try AG2 in A1"
    assert [row["result"] for row in saved_rows(page) if row["result"]] == kept
    seen.assert_clean()


def test_a_key_held_down_grades_one_trial(visit, tmp_path):
    page = visit(entry_page(tmp_path), DESK).page
    page.keyboard.down("4")
    page.keyboard.down("4")  # a second down without an up is a repeat
    page.keyboard.up("4")
    assert sum(bool(row["result"]) for row in saved_rows(page)) == 1


def test_readings_of_one_feature_may_be_many_and_each_can_go(visit, tmp_path):
    seen = visit(entry_page(tmp_path), PHONE)
    page = seen.page
    page.tap("#stage-size")
    for value in ("3.91", "3.93"):
        page.fill("#reading", value)
        page.tap("#keep-again")
    assert page.locator("#kept li").count() == 2
    page.tap("#kept li:first-child button")
    rows = [row for row in saved_rows(page) if row["kind"] == "size" and row["feature"] == "A1"]
    assert [row["result"] for row in rows] == ["3.93"]


@pytest.mark.parametrize(
    ("typed", "unit", "says"),
    [
        ("3,90", "mm", ""),
        ("4.2", "mm", ""),
        ("0.154", "mm", "This looks like inches."),
        ("3.9", "in", "This looks like millimetres."),
        ("39", "mm", "Is the decimal point in the wrong place?"),
        ("9.3", "mm", "Are two digits swapped?"),
        ("5.9", "mm", "2.00 mm over the drawn 3.9 mm."),
        ("3.9.1", "mm", "Type only a number"),
        ("-3.9", "mm", "Type only a number"),
        ("0", "mm", "A size must be more than 0."),
    ],
)
def test_hints_while_typing_a_reading_of_3_9_mm(visit, tmp_path, typed, unit, says):
    page = visit(entry_page(tmp_path), PHONE).page
    page.tap("#stage-size")
    page.check(f"[name=unit][value={unit}]")
    page.fill("#reading", typed)
    hint = page.inner_text("#hint")
    assert hint.startswith(says) if says else hint == ""


@pytest.mark.parametrize("typed", ["1.95", "1.96", "3.54", "3.55"])
def test_a_small_hole_has_the_limits_of_the_checks(visit, tmp_path, typed):
    """A 3 mm hole: by the checks 1.955 to 3.545 mm."""
    record = make_record()
    hole = next(part for part in record.features if part.id == "C1")
    hole_of_3 = hole.model_copy(update={"size_mm": 3.0})
    features = [hole_of_3 if part is hole else part for part in record.features]
    readings = (CouponReading(feature="C1", jaws="inside"),)
    coupon = record.model_copy(update={"features": tuple(features), "readings": readings})
    page = visit(entry_page(tmp_path, coupon), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", typed)
    assert (page.inner_text("#hint") == "") == is_plausible(float(typed), hole_of_3)


def test_a_doubtful_reading_is_kept_only_when_confirmed_and_as_typed(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", "9.3")
    page.keyboard.press("Enter")
    assert page.inner_text("#step-title") == "Measure A1"
    page.keyboard.press("Enter")
    assert page.inner_text("#step-title") == "Measure A4"
    assert "9.3" in [row["result"] for row in saved_rows(page)]


def test_an_offered_value_is_taken_by_a_tap(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", "0.154")
    page.tap("#hint button")
    page.tap("#keep")
    row = next(row for row in saved_rows(page) if row["kind"] == "size")
    assert (row["result"], row["unit"]) == ("0.154", "in")


def test_a_contradiction_is_pointed_out_and_kept(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    settle(page)
    page.tap("[data-result=slide]")  # A1, the narrowest
    page.fill("#jump-to", "a3")
    page.keyboard.press("Enter")
    settle(page)
    page.tap("[data-result=no-go]")
    assert "A3 has a wider gap than A1" in page.inner_text("#step-warning")
    assert [r["result"] for r in saved_rows(page) if r["result"]] == ["slide", "no-go"]


def bring_in(page, text, encoding="utf-8"):
    page.click("#files summary")
    data = text.encode(encoding)
    # What it said of an earlier file is no answer to this one.
    page.evaluate("document.getElementById('bring-says').textContent = ''")
    page.set_input_files("#bring", {"name": "entries.csv", "mimeType": "text/csv", "buffer": data})
    page.wait_for_function("document.getElementById('bring-says').textContent !== ''")
    return page.inner_text("#bring-says")


def test_an_earlier_file_is_added_once_and_blanks_do_not_count(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    text = (
        "\ufeffKIND;feature;mate;result;unit;jaws;along;by;note\r\n"
        'fit;a1;ag1;slide;;;;mk;"said ""fine""; twice"\r\n'
        "fit;A1;AG2;;;;;;\r\n"
        "size;A1;;3,97;;;;;\r\n"
        "size;A1;;3,97;;;;;\r\n"
    )
    assert bring_in(page, text).startswith("3 entries loaded, 0 were here already.")
    page.click("#files summary")
    assert bring_in(page, text).startswith("0 entries loaded, 3 were here already.")
    rows = [row for row in saved_rows(page) if row["result"]]
    assert [(row["feature"], row["result"], row["note"]) for row in rows] == [
        ("A1", "slide", 'said "fine"; twice'),
        ("A1", "3,97", ""),
        ("A1", "3,97", ""),
    ]
    assert rows[1]["jaws"] == "inside"


SHEET = "kind,feature,mate,result,unit,by\nsize,A1,,3.97,mm,Zoé\nsize,A4,,4.21,mm,Zoé\n"


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (SHEET, "utf-8"),
        (SHEET, "utf-8-sig"),
        (SHEET, "utf-16"),
        (SHEET, "cp1252"),
        (SHEET.replace("\n", "\r\n"), "utf-8"),
        (SHEET.replace("\n", "\r"), "utf-8"),
        (SHEET.replace(",", "\t"), "utf-8"),
        ("sep=;\n" + SHEET.replace(",", ";").replace(".", ","), "utf-8"),
        (SHEET.replace(".", ","), "utf-8"),  # bare decimal commas
    ],
    ids=["plain", "mark", "utf-16", "cp1252", "crlf", "cr", "tabs", "sep", "comma"],
)
def test_a_sheet_that_any_spreadsheet_saved_is_read_as_the_checks_read_it(
    visit, tmp_path, text, encoding
):
    folder = write_run(tmp_path)
    page = visit(listed_page(folder), PHONE).page
    assert bring_in(page, text, encoding).startswith("2 entries loaded")
    (folder / "entries.csv").write_bytes(text.encode(encoding))
    sizes, _ = read_entries(folder / "entries.csv", read_coupon(folder / "coupon.json"))
    assert [(one.feature, one.value_mm, one.by) for one in sizes] == [
        (row["feature"], float(row["result"].replace(",", ".")), row["by"])
        for row in saved_rows(page)
        if row["result"]
    ]


def test_pairs_that_the_coupon_does_not_list_are_kept_and_named(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    said = bring_in(page, "kind,feature,mate,result\nfit,A1,BG1,slide\n")
    assert "1 are not on this coupon's list" in said
    assert ("A1", "BG1", "slide") in [
        (row["feature"], row["mate"], row["result"]) for row in saved_rows(page)
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "The first line must name the columns; it lacks kind, feature, result."),
        ("a,b\n1,2\n", "The first line must name the columns"),
        ("kind,feature,result\nfitt,A1,slide\n", "Line 2: kind must be fit, size, zero or hold."),
    ],
)
def test_a_file_that_is_no_sheet_is_refused_in_words(visit, tmp_path, text, says):
    page = visit(entry_page(tmp_path), PHONE).page
    assert bring_in(page, text).startswith(says)
    assert page.is_disabled("#undo")


@pytest.mark.parametrize("field", ["#by", "#note"])
def test_hostile_words_come_back_as_they_were_typed(visit, tmp_path, field):
    coupon = make_record(title=HOSTILE, hardware_name=HOSTILE)
    seen = visit(entry_page(tmp_path, coupon), PHONE)
    page = seen.page
    page.fill(field, CELL)
    settle(page)
    page.tap("[data-result=slide]")
    page.tap("#back")
    page.reload()
    assert saved_rows(page)[0][field[1:]] == CELL
    assert page.inner_text("h1") == HOSTILE
    seen.assert_clean()


def test_a_script_that_slips_in_does_not_run(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    ran = page.evaluate("""() => new Promise((done) => {
        document.addEventListener("securitypolicyviolation", () => done(Boolean(window.ran)));
        const script = document.createElement("script");
        script.textContent = "window.ran = true";
        document.body.append(script);
        setTimeout(() => done("no violation seen"), 1000);
    })""")
    assert ran is False


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(visit, tmp_path, size, scheme, axe_findings):
    seen = visit(entry_page(tmp_path), size, color_scheme=scheme, bypass_csp=True)
    page = seen.page
    settle(page)
    page.click("[data-result=slide]")
    page.click("#back")
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert axe_findings(page) == []
    assert_nothing_runs_over(page)
    page.click("#stage-size")
    page.fill("#reading", "9.3")
    assert axe_findings(page) == []
    assert_nothing_runs_over(page)


def test_targets_are_large_enough_for_a_finger(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    small = page.evaluate("""() => [...document.querySelectorAll("button, summary")]
        .filter((one) => one.offsetParent)
        .map((one) => [one.textContent, one.getBoundingClientRect()])
        .filter(([, box]) => box.height < 44 || box.width < 44)
        .map(([words]) => words)""")
    assert small == []


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_all_five_grades_are_in_sight_and_nothing_runs_over_the_side(visit, tmp_path, size):
    page = visit(entry_page(tmp_path), size).page
    bar = page.locator(".bar").bounding_box()
    loose = page.locator("[data-result=loose]").bounding_box()
    assert loose["y"] + loose["height"] <= bar["y"] + 1
    assert_nothing_runs_over(page)


@pytest.mark.parametrize(
    ("size", "rows", "features", "is_close"),
    [(PHONE, 4, 4, False), (PHONE, 4, 20, True), (PHONE, 12, 4, True), (DESK, 4, 12, False)],
    ids=["small", "wide", "tall", "desk"],
)
def test_a_picture_too_small_for_a_finger_starts_close(
    visit, tmp_path, size, rows, features, is_close
):
    page = visit(entry_page(tmp_path, make_record(rows=rows, features=features)), size).page
    assert page.get_attribute("#closer", "aria-pressed") == str(is_close).lower()
    if is_close:
        finger = page.locator('[data-id="A1"]').bounding_box()
        window = page.locator("#window").bounding_box()
        assert min(finger["width"], finger["height"]) >= 36  # 6 mm, at 6 px each
        assert window["x"] <= finger["x"] <= window["x"] + window["width"]


def work_until_ready(visit, path):
    """Return how many layouts, style passes and nodes a page takes until it can be used."""
    page = visit(path, PHONE).page
    browser = page.context.new_cdp_session(page)
    browser.send("Performance.enable")
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]")
    told = {one["name"]: one["value"] for one in browser.send("Performance.getMetrics")["metrics"]}
    return [told[name] for name in ("LayoutCount", "RecalcStyleCount", "Nodes")]


def test_ten_times_the_features_are_laid_out_as_often(visit, tmp_path):
    few, many = make_record(rows=5, features=8), make_record(rows=25, features=18)
    assert (len(few.features), len(many.features)) == (50, 500)
    (tmp_path / "few").mkdir()
    (tmp_path / "many").mkdir()
    layouts, styles, nodes = work_until_ready(visit, entry_page(tmp_path / "few", few))
    more_layouts, more_styles, more_nodes = work_until_ready(
        visit, entry_page(tmp_path / "many", many)
    )
    assert more_layouts <= layouts + 5  # a layout a feature would be 450 more
    assert more_styles <= styles + 5
    assert more_nodes <= 15 * nodes


def test_a_browser_that_keeps_nothing_is_told_at_once(visit, tmp_path):
    path = entry_page(tmp_path)
    seen = visit(path, PHONE)
    seen.page.add_init_script(
        "Storage.prototype.setItem = () => { throw new DOMException('full'); }"
    )
    seen.page.goto(path.as_uri())
    assert "Save the file before you close it" in seen.page.inner_text("#unkept")


def test_what_closed_jaws_read_comes_in_and_goes_out_again(visit, tmp_path):
    page = visit(entry_page(tmp_path), PHONE).page
    bring_in(page, "kind,feature,mate,result,unit,jaws\nzero,,,0.15,mm,outside\n")
    assert page.inner_text("#bring-says").startswith("1 entries loaded, 0 were here already.")
    rows = [row for row in saved_rows(page) if row["kind"] == "zero"]
    assert [(row["result"], row["jaws"]) for row in rows] == [("0.15", "outside")]
