"""What a lab reads on the terminal after a fit."""

from dataclasses import replace

import pytest
from support.learned import LOOK, PATH, learned
from support.rehearsed import rehearsed_run

from coupons.showing.words.fit_summary import WIDTH, summary_lines
from coupons.terms import Grade

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def run():
    return rehearsed_run(3, "bench-2")


@pytest.fixture(scope="module")
def lines(run):
    sizes = list(run.sizes)
    sizes[20] = replace(sizes[20], value_mm=sizes[20].value_mm + 0.3)
    slipped = replace(run, sizes=tuple(sizes))
    return summary_lines(learned([slipped], ("7",), [[LOOK]]), PATH)


def test_it_fits_a_terminal(lines):
    assert max(map(len, lines)) <= WIDTH
    surprising = [line for line in lines if line.startswith("  row ")]
    assert len(lines) <= 41 + len(surprising)


def test_it_says_what_to_do_first(lines, run):
    at = lines.index("Do first:")
    slip = run.sizes[20]
    assert lines[at + 1].startswith(f"  1. Look at {slip.feature} again. Row {slip.row} says ")


def test_it_names_the_surprising_entry_and_how_to_leave_it_out(lines, run):
    text = "\n".join(lines)
    assert f"row {run.sizes[20].row} ({run.sizes[20].feature}): " in text
    assert f"--without {run.sizes[20].row}." in text
    assert "`coupons check` lists 1 more thing to look at." in text


def test_a_decision_and_a_rehearsal_are_said(lines):
    text = " ".join(lines)
    assert "Left out by --without: row 7" in text
    assert lines[0].startswith("REHEARSED")


def test_it_says_what_to_ask_next(lines):
    assert lines[-3:-1] == ["For an offset:", f"  coupons offset {PATH} \\"]
    assert lines[-1] == "    --joint hole/pin --size 5 --across z"


def test_without_fits_it_says_so(run):
    text = " ".join(summary_lines(learned([replace(run, fits=())]), PATH))
    assert "No printed pair was tried by hand" in text
    assert "grades predicted" not in text


def test_rows_of_several_runs_carry_the_runs_name(run):
    other = rehearsed_run(8, "bench-2", folder="run-b")
    sizes = list(other.sizes)
    sizes[20] = replace(sizes[20], value_mm=sizes[20].value_mm + 0.3)
    text = "\n".join(summary_lines(learned([run, replace(other, sizes=tuple(sizes))]), PATH))
    assert f"--without run-b:{sizes[20].row}." in text


@pytest.mark.parametrize(
    ("grade", "says"),
    [
        (Grade.NO_GO, "Every trial was no-go. The trials do not show where a slide begins"),
        (Grade.LOOSE, "Every trial was loose. The trials do not show where a slide ends"),
    ],
)
def test_trials_of_one_grade_are_a_doubt_and_no_licence_to_draw(run, grade, says):
    fits = tuple(replace(fit, tightest=grade, loosest=grade) for fit in run.fits)
    text = " ".join(summary_lines(learned([replace(run, fits=fits)]), PATH))
    assert says in text
    assert "Nothing to change" not in text


def test_with_too_little_measured_it_says_what_to_ask(run):
    text = " ".join(summary_lines(learned([replace(run, sizes=(), fits=run.fits[:1])]), PATH))
    assert "1 trial and 0 readings of 2 sizes in 1 run." in text
    assert f"`coupons next {PATH}`" in " ".join(text.split())
    assert "Nothing to change" not in text


def test_all_clear_slips_are_named_first(run):
    sizes, slipped = list(run.sizes), (12, 20, 28)
    for at in slipped:
        sizes[at] = replace(sizes[at], value_mm=sizes[at].value_mm + 1.0)
    lines = summary_lines(learned([replace(run, sizes=tuple(sizes))]), PATH)
    at = lines.index("Do first:")
    first = " ".join(lines[at + 1 : at + 4])
    assert all(f"{sizes[at].feature}" in first for at in slipped)
    assert all(str(sizes[at].row) in first for at in slipped)


def test_a_fault_with_all_of_the_budget_keeps_its_columns_apart(run):
    one = learned([run])
    only = replace(one.causes.found[0], share=1.0)
    lines = summary_lines(replace(one, causes=replace(one.causes, found=(only,))), PATH)
    (line,) = [line for line in lines if line.startswith(f"  {only.says}")]
    assert " mm 100 % " in line
    assert len(line) <= WIDTH
