"""The entry page and its print: whose entries they are, and what it takes from a file."""

import pytest
from support.entry_pages import bring_in, listed_page, printed, rows_of, saved, settle
from support.page_coupon import make_record, write_run
from support.screens import DESK, PHONE

from coupons.making.record import CouponReading, CouponTrial
from coupons.measuring.run.about import read_about
from coupons.measuring.run.entries import survey_entries, understand
from coupons.measuring.run.sheet import Row, read_rows
from coupons.terms import Direction

pytestmark = pytest.mark.browser


def entry_page(parent, coupon, name="first"):
    parent.mkdir(exist_ok=True)
    return listed_page(write_run(parent, coupon, name=name))


def test_one_coupon_made_for_two_machines_in_folders_of_one_name_keeps_two_journals(
    visit, tmp_path
):
    one = visit(entry_page(tmp_path / "a", printed("bench-1", "a")), DESK)
    page = one.page
    settle(page)
    page.click("[data-result=slide]")
    of_bench_1 = saved(page)
    other = entry_page(tmp_path / "b", printed("bench-2", "b"))
    page.goto(other.as_uri())  # the same browser, the same folder name
    assert "bench-2 · grey · first" in page.inner_text(".top")
    assert not any(row["result"] for row in rows_of(saved(page)))
    said = bring_in(page, of_bench_1)
    assert said == (
        "It holds entries of another run (bench-1, grey), but this is the page of bench-2 · grey ·"
        " first. Nothing was loaded from entries.csv."
    )
    assert not any(row["result"] for row in rows_of(saved(page)))
    one.assert_clean()


def test_the_file_says_which_print_it_is_of_and_the_run_reads_it(visit, tmp_path):
    coupon = printed("bench-1", "a")
    path = entry_page(tmp_path, coupon)
    page = visit(path, PHONE).page
    (path.parent / "entries.csv").write_bytes(saved(page))
    about = read_about(read_rows(path.parent / "entries.csv")[0], coupon)
    assert about.values["machine"] == "bench-1"
    assert about.problems == ()
    other = read_about(read_rows(path.parent / "entries.csv")[0], printed("bench-2", "b"))
    assert [problem.got for problem in other.problems] == ["entries of another run (bench-1, grey)"]


def test_a_file_of_another_coupon_is_refused_whole_and_by_name(visit, tmp_path):
    page = visit(entry_page(tmp_path / "a", printed("bench-1", "a")), DESK).page
    larger = make_record(rows=4, features=6)
    spec = larger.spec.model_copy(update={"name": "spans", "digest": "1" * 16})
    other = printed("bench-1", "b", larger.model_copy(update={"spec": spec}))
    told = visit(entry_page(tmp_path / "b", other), DESK).page
    settle(told)
    told.click("[data-result=slide]")
    assert bring_in(page, saved(told)) == (
        "It holds entries of coupon spans (bench-1, grey), but this is the page of bench."
        " Nothing was loaded from entries.csv."
    )
    # Without what our page says of the print, its pieces tell.
    bare = b"kind,feature,mate,result\n" + b"".join(
        f"size,{feature.id},,{feature.size_mm}\n".encode() for feature in larger.features
    )
    said = bring_in(page, bare, "old.csv")
    assert "this coupon has no feature “A5”" in said
    assert "the file may be of another coupon. Nothing was loaded from old.csv." in said
    assert not any(row["result"] for row in rows_of(saved(page)))


ROWS = [
    ("fit,A1,AG1,slide,,,", True),
    ("FIT,a1,ag1,Slide,,,", True),
    ("fit,A1,AG1,slid,,,", False),
    ("fit,A1,AG1,no go,,,", True),
    ("fit,A1,AG1,no_go,,,", True),
    ("fit,A1,AG1,slide..push,,,", True),
    ("fit,A1,AG1,push...loose,,,", True),
    ("fit,A1,AG1,go..loose,,,", False),
    ("fit,A1,AG1,push..slide..loose,,,", False),
    ("fit,A1,AG1,go,,,", True),
    ("fit,A1,AG1,stop,,,", True),
    ("fit,A1,BG1,slide,,,", True),
    ("fit,A1,CG1,slide,,,", False),
    ("fit,A1,A2,slide,,,", False),
    ("fit,A1,,slide,,,", False),
    ("fit,A9,AG1,slide,,,", False),
    ("fit,A1,XG1,slide,,,", False),
    ("fit,C1,dowel,slide,,,", True),
    ("fit,A1,dowel,slide,,,", False),
    ("fits,A1,AG1,slide,,,", False),
    (",A1,AG1,slide,,,", False),
    ("size,A1,,3.97,mm,,", True),
    ("size,A1,,3;97,mm,,", False),
    ('size,A1,,"3,97",mm,,', True),
    ("size,A1,,+3.97,mm,,", True),
    ("size,A1,,3.97e0,mm,,", True),
    ("size,A1,,3.97 mm,mm,,", False),
    ("size,A1,,about 4,mm,,", False),
    ("size,A1,,=A4+1,mm,,", False),
    ("size,A1,,0,mm,,", False),
    ("size,A1,,-3.97,mm,,", False),
    ("size,A1,,2001,mm,,", False),
    ("size,A1,,78.9,in,,", False),
    ("size,A1,,0.156,in,,", True),
    ("size,A1,,0.156,IN,,", True),
    ("size,A1,,0.156,inch,,", False),
    ("size,A1,AG1,3.97,mm,,", False),
    ("size,A9,,3.97,mm,,", False),
    ("size,dowel,,5,mm,,", False),
    ("size,A1,,3.97,mm,inside,", True),
    ("size,A1,,3.97,mm,Inside,X", True),
    ("size,A1,,3.97,mm,outside,", False),
    ("size,A1,,3.97,mm,depth,", False),
    ("size,A1,,3.97,mm,teeth,", False),
    ("size,A1,,3.97,mm,,x", True),
    ("size,A1,,3.97,mm,,y", False),
    ("size,C1,,5,mm,,x", True),
    ("size,C1,,5,mm,,z", False),
    ("size,C1,,5,mm,,w", False),
    ("zero,,,0,mm,outside,", True),
    ("zero,,,-0.02,,,", True),
    ("zero,,,0.001,in,inside,", True),
    ("zero,,,7.98,mm,,", False),
    ("zero,,,ok,mm,,", False),
    ("zero,,,0,inch,,", False),
    ("zero,,,0,mm,teeth,", False),
    ("zero,A1,,0,mm,,", False),
    ("zero,,AG1,0,mm,,", False),
    ("zero,,,0,mm,,x", False),
]


@pytest.fixture(scope="module")
def page_and_coupon(chromium, tmp_path_factory):
    coupon = make_record(rows=3, features=4)
    context = chromium.new_context(**DESK)
    page = context.new_page()
    page.goto(entry_page(tmp_path_factory.mktemp("rows"), coupon).as_uri())
    yield page, coupon
    context.close()


@pytest.mark.parametrize(("row", "is_good"), ROWS, ids=[row for row, _ in ROWS])
def test_the_page_takes_what_the_checks_take(page_and_coupon, tmp_path, row, is_good):
    page, coupon = page_and_coupon
    sheet = tmp_path / "entries.csv"
    sheet.write_text(f"kind,feature,mate,result,unit,jaws,along\n{row}\n", encoding="utf-8")
    assert (survey_entries(sheet, coupon).problems == ()) == is_good
    said = bring_in(page, sheet.read_bytes())
    assert ("Nothing was loaded" not in said) == is_good, said


def test_a_depth_reading_of_a_step_is_taken_by_both(visit, tmp_path):
    record = make_record(rows=1, features=2)
    step = record.features[0].model_copy(update={"direction": Direction.Z})
    coupon = record.model_copy(
        update={
            "features": (step, *record.features[1:]),
            "trials": (CouponTrial(feature="A2", mate="AG1", gap_mm=0.0),),
            "readings": (CouponReading(feature="A1", jaws="inside"),),
        }
    )
    page = visit(entry_page(tmp_path, coupon), DESK).page
    rows, refused = understand([Row(2, "size", "A1", result="3.9", jaws="depth")], coupon)
    assert (len(rows), refused) == (1, [])
    said = bring_in(page, b"kind,feature,result,jaws\nsize,A1,3.9,depth\n")
    assert said.startswith("1 entries loaded")


def test_each_row_that_cannot_be_is_named_and_nothing_comes_in(visit, tmp_path):
    page = visit(entry_page(tmp_path, make_record()), DESK).page
    said = bring_in(
        page, b"kind,feature,mate,result\nfit,A1,AG1,slide\nfit,A2,AG1,slid\nsize,A1,,5.21 mm\n"
    )
    assert "Line 3: “slid” is not a grade." in said
    assert "Line 4: “5.21 mm” is not a plain number." in said
    assert page.is_disabled("#undo")


@pytest.mark.parametrize(
    ("answer", "kept"),
    [
        ("Keep both", ["slide", "push"]),
        ("Only what is here", ["slide"]),
        ("Only the file's", ["push"]),
    ],
)
def test_a_grade_that_contradicts_a_kept_one_is_asked_about(visit, tmp_path, answer, kept):
    seen = visit(entry_page(tmp_path, make_record()), PHONE)
    page = seen.page
    settle(page)
    page.tap("[data-result=slide]")
    file = b"kind,feature,mate,result\nfit,A1,AG1,push\nfit,A1,AG2,slide\nfit,A2,AG1,slide\n"
    assert bring_in(page, file).startswith("2 entries loaded")
    assert "AG1 with A1: slide here, push in the file" in page.inner_text("#bring-ask")
    of_a1 = [
        r["result"] for r in rows_of(saved(page)) if (r["feature"], r["mate"]) == ("A1", "AG1")
    ]
    assert of_a1 == ["slide"]
    page.click(f"#bring-ask >> text={answer}")
    of_a1 = [
        r["result"] for r in rows_of(saved(page)) if (r["feature"], r["mate"]) == ("A1", "AG1")
    ]
    assert of_a1 == kept
    assert page.is_hidden("#bring-ask")
    seen.assert_clean()


def test_a_half_typed_reading_stays_with_its_step(visit, tmp_path):
    page = visit(entry_page(tmp_path, make_record()), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", "3,9")
    page.tap("#skip")
    assert page.input_value("#reading") == ""
    page.fill("#jump-to", "A1")
    page.keyboard.press("Enter")
    assert page.inner_text("#step-title") == "Measure A1"
    assert page.input_value("#reading") == "3,9"
    page.keyboard.press("Enter")  # a key pressed on the way keeps nothing elsewhere
    assert not any(row["result"] for row in rows_of(saved(page)) if row["feature"] != "A1")


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ('0.156"', ("0.156", "in")),
        ("0,156 in", ("0.156", "in")),
        ("0.156 inch", ("0.156", "in")),
        ("3.97 mm", ("3.97", "mm")),
        ("3.97", ("3.97", "mm")),
    ],
)
def test_a_unit_typed_behind_the_number_is_the_unit(visit, tmp_path, typed, kept):
    page = visit(entry_page(tmp_path, make_record()), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", typed)
    assert page.inner_text("#hint") == ""
    page.tap("#keep")
    row = next(row for row in rows_of(saved(page)) if row["kind"] == "size")
    assert (row["result"], row["unit"]) == kept


def test_a_hint_names_the_nearest_feature_of_the_whole_coupon(visit, tmp_path):
    page = visit(entry_page(tmp_path, make_record()), PHONE).page
    page.tap("#stage-size")
    page.fill("#reading", "5.33")  # A1 is 3.9 mm; C4 of 5.2 and C5 of 5.3 mm are near
    assert "It would fit C5: is this A1?" in page.inner_text("#hint")
