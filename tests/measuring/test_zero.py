"""A caliper that does not read zero with closed jaws, from the sheet to what is learned."""

from dataclasses import replace

import pytest
from support.rehearsed import rehearsed_run
from support.small_coupon import small_coupon

from coupons.learning.design import design_of
from coupons.measuring.run.entries import ZeroEntry, with_zero
from coupons.measuring.run.folder import load_run, start_run
from coupons.measuring.run.sheet import read_rows, write_rows


def test_a_known_zero_is_taken_off_every_reading_before_anything_is_learned():
    run = rehearsed_run(3)
    off = tuple(replace(size, value_mm=size.value_mm + 0.15) for size in run.sizes)
    known = tuple(with_zero(size, [ZeroEntry(200, 0.15)]) for size in off)
    sound, mended, spoiled = (
        design_of([replace(run, sizes=sizes)]).readings.value for sizes in (run.sizes, known, off)
    )
    assert mended == pytest.approx(sound, abs=1e-12)
    assert spoiled == pytest.approx(sound + 0.15, abs=2e-3)  # the chord in a bore is bent


def test_a_new_sheet_asks_for_the_closed_jaws_and_leaves_all_as_it_was_if_that_stays_blank(
    tmp_path,
):
    start_run(tmp_path, small_coupon(), machine="bench-1", material="grey")
    rows, _ = read_rows(tmp_path / "entries.csv")
    assert (rows[-1].kind, rows[-1].jaws, rows[-1].result) == ("zero", "outside", "")
    (tmp_path / "coupon.json").write_text(small_coupon().model_dump_json(), encoding="utf-8")
    typed = [replace(row, result="79.85") if row.feature == "D1" else row for row in rows]
    for sheet in (typed, typed[:-1]):  # a sheet made before there was such a row
        write_rows(tmp_path / "entries.csv", sheet)
        (size,) = load_run(tmp_path).sizes
        assert size.size_mm == 79.85
