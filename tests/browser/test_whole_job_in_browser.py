"""The whole job with a real coupon: made, typed on a phone, saved, checked and fitted."""

import shutil

import pytest
from click.testing import CliRunner
from support.screens import PHONE

from coupons.cli import main
from coupons.making.record import read_coupon
from coupons.measuring.run.entries import read_entries
from coupons.measuring.run.sheet import read_rows

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def coupons(*words):
    result = CliRunner().invoke(main, [*map(str, words)])
    assert result.exit_code == 0, result.output
    return result.stdout


def typed(sizes, fits):
    """What was found, without who typed it."""
    return (
        [(one.feature, one.value_mm, one.jaws, one.along) for one in sizes],
        [(one.feature, one.mate, one.tightest, one.loosest) for one in fits],
    )


def test_first_typed_by_taps_is_read_checked_and_fitted(visit, tmp_path):
    folder, wanted = tmp_path / "run", tmp_path / "rehearsed"
    coupons("make", "first", "-o", folder, "--machine", "bench-1", "--material", "pale")
    shutil.copytree(folder, wanted)
    coupons("rehearse", wanted)

    seen = visit(folder / "entry.html", PHONE)
    page = seen.page
    page.tap("#choose [data-choice=listed]")
    for row in read_rows(wanted / "entries.csv")[0]:
        if row.is_blank:  # the closed jaws, which the virtual person does not close
            page.tap("#skip")
            continue
        assert row.feature in page.inner_text("#step-title")
        if row.kind == "fit":
            page.wait_for_timeout(320)  # the guard against a bouncing finger
            page.tap(f"[data-result={row.result}]")
        else:
            page.fill("#reading", row.result)
            page.tap("#keep")
            if page.input_value("#reading"):  # held back once, as doubtful
                page.tap("#keep")
    assert page.is_visible("#finished")
    with page.expect_download() as download:
        page.tap("#save-file")
    download.value.save_as(folder / "entries.csv")
    seen.assert_clean()

    coupon = read_coupon(folder / "coupon.json")
    assert typed(*read_entries(folder / "entries.csv", coupon)) == typed(
        *read_entries(wanted / "entries.csv", coupon)
    )
    coupons("check", folder)
    coupons("fit", folder)
    assert {"profile.json", "report.html", "wall-card.html"} <= {p.name for p in folder.iterdir()}


def test_a_filled_sheet_goes_through_the_page_unchanged(visit, tmp_path):
    folder = tmp_path / "run"
    coupons("make", "first", "-o", folder, "--machine", "bench-1", "--material", "pale")
    coupons("rehearse", folder)
    coupon = read_coupon(folder / "coupon.json")
    before = read_entries(folder / "entries.csv", coupon)
    page = visit(folder / "entry.html", PHONE).page
    page.click("#files summary")
    page.set_input_files("#bring", folder / "entries.csv")
    page.wait_for_selector("#step-title:has-text('Close the jaws')")
    page.tap("#skip")
    page.wait_for_selector("#finished:visible")
    with page.expect_download() as download:
        page.tap("#save-last")
    download.value.save_as(tmp_path / "again.csv")
    assert read_entries(tmp_path / "again.csv", coupon) == before


def test_the_pages_of_first_are_small_and_their_map_answers_a_finger(visit, tmp_path):
    folder = tmp_path / "run"
    coupons("make", "first", "-o", folder)
    assert (folder / "entry.html").stat().st_size <= 300_000
    seen = visit(folder / "entry.html", PHONE)
    ids = {feature.id for feature in read_coupon(folder / "coupon.json").features}
    assert (
        set(seen.page.eval_on_selector_all("[data-id]", "all => all.map(one => one.dataset.id)"))
        == ids
    )
    seen.page.locator('[data-id="B3"]').tap()
    assert "B3" in seen.page.inner_text("#step-title")
    seen.assert_clean()
