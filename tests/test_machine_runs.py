"""Which runs of a machine are fitted together, and which are re-checks of them."""

from dataclasses import replace
from datetime import date

import pytest
from click.testing import CliRunner
from support.small_coupon import READINGS, TRIALS, small_coupon

from coupons import batch
from coupons.batch import BatchOutcome, Done, fit_each
from coupons.cli import main
from coupons.errors import RunError
from coupons.job.machine_runs import MachineRuns, by_machine
from coupons.making.record import write_coupon
from coupons.measuring.run import sheet
from coupons.measuring.run.conditions import conditions_text, set_value
from coupons.measuring.run.folder import load_run
from coupons.measuring.run.tree import find_runs
from coupons.progress import steps, told_to

FULL = small_coupon()
FEW = small_coupon("d2", trials=TRIALS[:2], readings=READINGS[:3])
FEW_ALONG_Z = small_coupon("d3", trials=TRIALS[:2], readings=READINGS[5:6])
JANUARY, MARCH = date(2026, 1, 5), date(2026, 3, 5)


def printed(
    folder,
    coupon=FULL,
    day=JANUARY,
    *,
    machine="bench-1",
    material="grey",
    job="",
    nozzle_mm=0.4,
    rows=99,
):
    """Write a run whose first rows are filled in."""
    folder.mkdir(parents=True)
    write_coupon(coupon, folder / "coupon.json")
    text = conditions_text(machine, material, nozzle_mm, 0.2, job=job)
    if day is not None:
        text = set_value(text, "", "printed_on", day.isoformat())
    (folder / "conditions.toml").write_text(text, encoding="utf-8")
    blank = sheet.blank_rows(coupon)
    filled = [
        replace(row, result={"fit": "slide", "size": "4.1"}.get(row.kind, ""))
        for row in blank[:rows]
    ]
    sheet.write_rows(folder / sheet.FILE, [*filled, *blank[rows:]])
    return folder


def only(*runs):
    (found,), failed = by_machine(runs)
    assert failed == {}
    return found


def test_a_later_smaller_print_of_the_same_is_a_recheck(tmp_path):
    full = printed(tmp_path / "full")
    check = printed(tmp_path / "check", FEW, MARCH)
    expected = MachineRuns("bench-1", "grey", (full,), ((check,),))
    assert only(full, check) == only(check, full) == expected


@pytest.mark.parametrize(
    "later",
    [
        {"coupon": FULL},  # as large as the first
        {"day": JANUARY},  # printed with it
        {"day": date(2025, 12, 1)},  # before it
        {"coupon": FEW_ALONG_Z},  # tells what the first does not
        {"nozzle_mm": 0.6},  # another machine, so to say
        {"rows": 0},  # blank
    ],
)
def test_any_other_print_is_fitted_with_the_first(tmp_path, later):
    full = printed(tmp_path / "full", rows=len(TRIALS) + 5)
    other = printed(tmp_path / "other", **({"coupon": FEW, "day": MARCH} | later))
    assert only(full, other) == MachineRuns("bench-1", "grey", (full, other))


def test_the_jobs_of_a_set_are_one_print(tmp_path):
    jobs = [
        printed(tmp_path / f"job-{n}", coupon, date(2026, 1, n), job=f"f38bc1-{n}")
        for n, coupon in ((1, FULL), (2, FEW))
    ]
    check = printed(tmp_path / "check", FEW, MARCH)
    assert only(*jobs, check) == MachineRuns("bench-1", "grey", tuple(jobs), ((check,),))


def test_without_dates_nothing_is_told_to_be_later(tmp_path):
    full = printed(tmp_path / "full")
    check = printed(tmp_path / "check", FEW, None)
    assert only(full, check) == MachineRuns("bench-1", "grey", (full, check), (), (check,))


def test_runs_that_cannot_be_read_hide_no_other(tmp_path):
    full = printed(tmp_path / "full")
    spoiled = printed(tmp_path / "spoiled", FEW, MARCH)
    (spoiled / "entries.csv").write_text("kind;\n")
    nameless = printed(tmp_path / "nameless", machine="")
    (found,), failed = by_machine([full, spoiled, nameless])
    assert found == MachineRuns("bench-1", "grey", (full, spoiled))
    assert list(failed) == [nameless]
    assert "machine" in failed[nameless].message


@pytest.mark.parametrize("lost", ["coupon.json", "entries.csv", "conditions.toml"])
@pytest.mark.parametrize("by_machine", [False, True])
def test_a_run_that_lost_a_file_stands_in_the_table_with_the_cure(tmp_path, lost, by_machine):
    run = printed(tmp_path / "tree" / "run")
    printed(tmp_path / "tree" / "blank", machine="bench-2", rows=0)
    (run / lost).unlink()
    done = {one.where.name: one for one in fit_each([tmp_path], by_machine=by_machine)}
    assert {name: one.outcome for name, one in done.items()} == {
        "blank": BatchOutcome.EMPTY,
        "run": BatchOutcome.FAILED,
    }
    said = " ".join(done["run"].said)
    assert lost in said
    assert "no such file. " in said  # and what to do about it


def test_a_folder_with_one_file_of_that_name_is_no_run(tmp_path):
    printed(tmp_path / "run")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "entries.csv").write_text("name;address")
    assert find_runs([tmp_path]) == (tmp_path / "run",)


@pytest.mark.parametrize("command", ["fit", "check"])
def test_a_folder_of_runs_is_told_from_a_run(tmp_path, command):
    for name in ("a", "b"):
        printed(tmp_path / "tree" / name)
    said = CliRunner().invoke(main, [command, str(tmp_path / "tree")])
    assert said.exit_code == 1
    assert said.stderr.count("\n") == 1
    assert "tree: expected a run folder, got a folder that holds 2 runs." in said.stderr
    assert "`coupons fit --each`" in said.stderr
    (tmp_path / "empty").mkdir()
    with pytest.raises(RunError, match="expected a coupon record, got no such file"):
        load_run(tmp_path / "empty")


def test_one_material_in_two_spellings_is_said_of_both(tmp_path):
    for name, material in (("a", "black"), ("b", "Black "), ("c", "grey")):
        printed(tmp_path / name, material=material, rows=0)
    done = fit_each([tmp_path], by_machine=True)
    told = "spelt in 2 ways: bench-1, black; bench-1, Black. If they are the same"
    assert [any(told in text for text in one.said) for one in done] == [True, True, False]


def test_profiles_are_named_as_their_runs_were_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("a", "b"):
        printed(tmp_path / "tree" / name, rows=0)
    (done,) = fit_each(["tree"], by_machine=True)
    assert str(done.where) == "tree/bench-1-grey.json"
    (done,) = fit_each([tmp_path / "tree"], by_machine=True)
    assert done.where == tmp_path / "tree" / "bench-1-grey.json"
    said = CliRunner().invoke(main, ["fit", "--each-machine", "tree"]).stdout
    assert said.splitlines()[1:] == [
        "tree/bench-1-grey.json  nothing entered",
        "",
        "1 profile: 1 nothing entered",
    ]


def test_each_run_and_each_machine_are_two_things():
    said = CliRunner().invoke(main, ["fit", "--each", "--each-machine", "."])
    assert said.exit_code == 2
    assert "--each cannot go with --each-machine" in said.stderr


def test_a_batch_that_is_stopped_says_how_far_it_came(tmp_path, monkeypatch):
    for name in ("a", "b", "c"):
        printed(tmp_path / name, rows=0)
    fit = batch._fit

    def stopped_at_the_second(task, public):
        if task.folders[0].name == "b":
            raise KeyboardInterrupt
        return fit(task, public)

    monkeypatch.setattr(batch, "_fit", stopped_at_the_second)
    said = CliRunner().invoke(main, ["fit", "--each", str(tmp_path)])
    assert (said.exit_code, said.stdout) == (1, "")
    assert said.stderr == "Stopped; 1 of 3 done. The same command goes on from here.\n"
    with pytest.raises(KeyboardInterrupt):
        fit_each([tmp_path])


def test_a_batch_tells_no_steps_of_its_single_fits(tmp_path, monkeypatch):
    for name in ("a", "b"):
        printed(tmp_path / name, rows=0)

    def with_steps(task, _public):
        return Done(task, BatchOutcome.EMPTY, tuple(steps(("x", "y"), "steps of one")))

    told = []
    monkeypatch.setattr(batch, "_fit", with_steps)
    with told_to(lambda *step: told.append(step)):
        fit_each([tmp_path])
    assert told == [("profiles", 1, 2), ("profiles", 2, 2)]
