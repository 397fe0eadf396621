"""A report of a run that is not whole says what is missing and what it would add."""

from dataclasses import replace

import pytest
from support.page_coupon import fill_run, make_record, write_run

from coupons.learning.fit import fit_runs
from coupons.learning.profile_of_fit import profile_of
from coupons.showing.pages.report import write_report
from coupons.showing.words.fit_summary import learned_from
from coupons.showing.words.half_filled import (
    blank_entries,
    blank_sentence,
    coarse_sentence,
    is_hardly_begun,
)
from coupons.terms import GRADES, Grade


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return fill_run(write_run(tmp_path_factory.mktemp("run"), make_record(rows=3, features=6)))


def as_said_coarsely(run):
    fits = tuple(
        replace(fit, tightest=GRADES[0], loosest=Grade.FORCE)
        if GRADES.index(fit.tightest) < 2
        else replace(fit, tightest=Grade.PUSH, loosest=GRADES[-1])
        for fit in run.fits
    )
    return replace(run, fits=fits, sizes=())


def head_of(run, tmp_path):
    fitted = fit_runs([run])
    learned = learned_from(profile_of(fitted, [run]), fitted, [run], [[]])
    html = write_report(tmp_path / "report.html", learned, fitted).read_text(encoding="utf-8")
    return html.split("</header>")[0]


@pytest.mark.slow
def test_a_whole_run_is_told_nothing(whole, tmp_path):
    assert blank_sentence([whole]) == coarse_sentence([whole]) == ""
    head = head_of(whole, tmp_path)
    assert "blank" not in head


@pytest.mark.slow
def test_blank_entries_are_counted_and_asked_for_before_another_print(whole, tmp_path):
    asked = len(whole.coupon.trials) + len(whole.coupon.readings)
    half = replace(whole, fits=whole.fits[:-5], sizes=whole.sizes[:-2])
    assert blank_entries([half]) == (7, asked)
    assert blank_entries([half, whole]) == (7, 2 * asked)
    repeated = replace(half, fits=(*half.fits, half.fits[0]))
    assert blank_entries([repeated]) == (7, asked)  # a repeat fills in nothing
    said = f"7 of {asked} entries are still blank. They cost no plastic; the entry page says when"
    assert said in head_of(half, tmp_path)


def test_a_print_with_a_handful_of_entries_is_tried_further_first(whole):
    asked = len(whole.coupon.trials) + len(whole.coupon.readings)
    few, some = replace(whole, fits=whole.fits[:11], sizes=()), replace(whole, sizes=())
    assert asked > 24
    assert blank_sentence([few]).endswith(
        "Fill in more before you print again: that costs no plastic."
    )
    assert is_hardly_begun(few)
    assert not is_hardly_begun(replace(whole, fits=whole.fits[:12], sizes=()))
    assert "Fill in more" not in blank_sentence([some])
    fitted = fit_runs([few])
    learned = learned_from(profile_of(fitted, [few]), fitted, [few], [[]])
    head, text = learned.steps[-1]
    assert head == f"Try and measure more of {few.folder.name}"
    assert text.startswith(f"{asked - 11} of its {asked} trials and readings are blank.")


def test_a_flat_reading_counts_with_its_axis_written_or_not(whole):
    flat = next(at for at, size in enumerate(whole.sizes) if size.feature.startswith("A"))
    sizes = list(whole.sizes)
    sizes[flat] = replace(sizes[flat], along=None)
    assert blank_entries([replace(whole, sizes=tuple(sizes))])[0] == 0


@pytest.mark.slow
def test_a_run_of_go_and_stop_alone_is_told_what_readings_would_add(whole, tmp_path):
    coarse = as_said_coarsely(whole)
    head = head_of(coarse, tmp_path)
    assert "Only go and stop were entered and nothing was measured" in head
    assert "which part to move" in head
    assert coarse_sentence([replace(coarse, sizes=whole.sizes)]) == ""
    assert coarse_sentence([replace(coarse, fits=whole.fits)]) == ""
