"""``coupons try``: one task at a time, each entry on disk at once."""

import csv

import pytest
from click.testing import CliRunner

from coupons.answering.next.bench import open_bench
from coupons.cli import main
from coupons.errors import EntriesError
from coupons.job.make import make_coupon
from coupons.making.record import CouponTrial


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return make_coupon("starter", tmp_path_factory.mktemp("runs") / "run", machine="bench-1").folder


@pytest.fixture
def folder(made, tmp_path):
    for name in ("coupon.json", "entries.csv", "conditions.toml"):
        (tmp_path / name).write_bytes((made / name).read_bytes())
    return tmp_path


def tried(folder, *typed, options=()):
    text = "".join(f"{line}\n" for line in typed)
    return CliRunner().invoke(main, ["try", str(folder), *options], input=text)


def results(folder):
    with (folder / "entries.csv").open(encoding="utf-8-sig", newline="") as file:
        return [row for row in csv.DictReader(file) if row["result"]]


def test_it_asks_for_what_teaches_most_and_keeps_each_entry(folder):
    bench = open_bench(folder)
    first = bench.tasks[bench.next_task()]
    done = tried(folder, "s", "banana", "p", "quit", options=("--by", "mk"))
    assert done.exit_code == 0
    assert f"Try {first.mate} in {first.feature}" in done.output
    assert [row["result"] for row in results(folder)].count("slide") == 1
    assert {row["by"] for row in results(folder)} == {"mk"}
    assert "2 entries added" in done.output
    lines = done.output.replace("grade: ", "grade: \n").splitlines()
    assert all(len(line) <= 80 for line in lines if str(folder) not in line)


def test_nothing_is_lost_when_the_input_breaks_off(folder):
    done = tried(folder, "s", "l")
    assert done.exit_code == 0
    assert len(results(folder)) == 2
    assert "2 entries added" in done.output


def test_undo_brings_back_what_was_there(folder):
    before = (folder / "entries.csv").read_bytes()
    done = tried(folder, "s", "undo", "u", "q")
    assert (folder / "entries.csv").read_bytes() == before
    assert "Nothing to undo" in done.output


def test_a_skipped_task_is_not_asked_again_and_an_id_leads_there(folder):
    done = tried(folder, "skip", "B3", "force", "q")
    assert [row["feature"] for row in results(folder)] == ["B3"]
    titles = [line for line in done.output.splitlines() if line.startswith(("Try", "Measure"))]
    assert titles[0] not in titles[1:]


def test_a_reading_that_looks_mistyped_is_typed_twice(folder):
    bench = open_bench(folder, "screw")
    number = bench.next_task()
    assert not isinstance(bench.tasks[number], CouponTrial)
    tried(folder, "99", "q", options=("--for", "screw"))
    assert results(folder) == []
    tried(folder, "99", "99", "q", options=("--for", "screw"))
    assert [row["result"] for row in results(folder)] == ["99"]


def test_inches_keep_their_unit(folder):
    bench = open_bench(folder, "screw")
    typed = f"{bench.guide.drawn_mm[bench.next_task()] / 25.4:.3f}"
    tried(folder, f"{typed} in", "q", options=("--for", "screw"))
    assert [(row["result"], row["unit"]) for row in results(folder)] == [(typed, "in")]


@pytest.mark.parametrize("typed", ["slid", "X9", "3.98", "-1", "="])
def test_what_is_no_entry_is_refused_and_asked_again(folder, typed):
    done = tried(folder, typed, "s", "q")
    assert done.exit_code == 0
    assert "expected" in done.output
    assert [row["result"] for row in results(folder)] == ["slide"]


def test_it_goes_on_from_what_is_there(folder):
    tried(folder, "s", "q")
    done = tried(folder, "p", "q")
    assert "1 entry added" in done.output
    assert len(results(folder)) == 2


def fill(folder, blank=()):
    """Fill the sheet but for some features, as another program may; return the tasks' rows."""
    lines = (folder / "entries.csv").read_text(encoding="utf-8-sig").splitlines()
    sizes = {one.id: one.size_mm for one in open_bench(folder).sheet.coupon.features}
    head = lines[0].split(",")
    rows = [dict(zip(head, line.split(","), strict=True)) for line in lines[1:]]
    for row in rows:
        typed = {"fit": "slide", "zero": "0.00", "size": f"{sizes.get(row['feature'], 0):.2f}"}
        row["result"] = "" if row["feature"] in blank else typed[row["kind"]]
    text = "\n".join([lines[0], *(",".join(row[name] for name in head) for row in rows)])
    (folder / "entries.csv").write_text(f"{text}\n", encoding="utf-8")
    return [row for row in rows if row["kind"] != "zero"]


def test_a_filled_sheet_says_that_nothing_is_left_and_what_comes_next(folder):
    tasks = fill(folder)
    before = (folder / "entries.csv").read_bytes()
    done = tried(folder)
    told = " ".join(done.output.split())
    assert done.exit_code == 0
    assert f"All {len(tasks)} trials and readings are done" in told
    assert f"Next: coupons check {folder}, then coupons fit {folder}" in done.output
    assert "Provisional" in told, "what is known so far"
    assert "go, or stop" not in told, "nothing is asked, so nothing can be typed"
    assert "Close the jaws" not in told, "that was done"
    assert (folder / "entries.csv").read_bytes() == before


def test_the_last_entry_says_that_all_is_done(folder):
    tasks = fill(folder, blank=("B3",))
    left = sum(row["feature"] == "B3" for row in tasks)
    typed = ["push" if row["kind"] == "fit" else "8.0" for row in tasks if row["feature"] == "B3"]
    done = tried(folder, *typed)
    assert f"{left} {'entry' if left == 1 else 'entries'} added" in done.output
    assert f"All {len(tasks)} trials and readings are done" in done.output


def test_who_stops_is_told_how_much_is_left(folder):
    told = tried(folder, "s", "q").output
    assert "51 of 52 trials and readings are left; you may stop here" in told
    assert f"Next: coupons check {folder}, then coupons fit {folder}" in told


def test_nothing_entered_is_nothing_to_fit(folder):
    assert tried(folder, "q").output.endswith(
        f"Nothing is entered yet. Next: coupons try {folder}\n"
    )


def test_the_rest_of_a_row_stays_blank(folder):
    bench = open_bench(folder)
    number = bench.next_task()
    letter = bench.guide.row_letters[number]
    tried(folder, "row", "s", "q")
    (row,) = results(folder)
    assert not row["feature"].startswith(letter)


def test_a_sheet_with_columns_of_ones_own_is_not_rewritten(folder):
    text = (folder / "entries.csv").read_text(encoding="utf-8-sig")
    lines = text.splitlines()
    odd = "\n".join([lines[0] + ",weather", lines[1] + ",sunny", *(f"{one}," for one in lines[2:])])
    (folder / "entries.csv").write_text(odd)
    done = tried(folder, "s")
    assert done.exit_code == 1
    assert "no columns of your own, got weather" in done.output
    assert (folder / "entries.csv").read_text() == odd
    with pytest.raises(EntriesError):
        open_bench(folder)


def test_a_folder_that_is_none_is_told(tmp_path):
    done = tried(tmp_path / "nowhere")
    assert done.exit_code == 1
    assert "coupon.json" in done.output
