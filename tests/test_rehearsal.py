import time

import numpy as np
import pytest
from small_coupon import small_coupon

from coupons.errors import ConditionsError, RunError
from coupons.making.record import write_coupon
from coupons.measuring.checks import check_run
from coupons.measuring.machine import load_machine, shipped_machines
from coupons.measuring.rehearsal import (
    as_entries,
    rehearse,
    try_out,
    work_list,
)
from coupons.measuring.run import load_run, start_run
from coupons.terms import Grade


def started(folder, **names):
    start_run(folder, small_coupon(), **names)
    write_coupon(small_coupon(), folder / "coupon.json")
    return folder


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_rehearsed_run_is_full_marked_and_loads(tmp_path):
    rehearse(started(tmp_path), "bench-2", seed=7)
    run = load_run(tmp_path)
    assert len(run.fits) == len(small_coupon().trials)
    assert len(run.sizes) == len(small_coupon().readings)
    assert run.conditions.rehearsed
    assert run.conditions.rehearsal.virtual_machine == "bench-2"
    assert run.conditions.rehearsal.seed == 7
    assert (run.conditions.machine, run.conditions.material) == ("bench-2", "black")
    assert run.conditions.caliper.jaw_land_mm == 0.5


def test_the_same_seed_writes_the_same_bytes(tmp_path):
    folders = [started(tmp_path / name) for name in "abc"]
    for folder, seed in zip(folders, (3, 3, 4), strict=True):
        rehearse(folder, seed=seed)
    assert contents(folders[0]) == contents(folders[1])
    assert contents(folders[0])["entries.csv"] != contents(folders[2])["entries.csv"]


def test_what_the_conditions_state_is_kept_and_used(tmp_path):
    path = started(tmp_path, machine="mine", material="blue") / "conditions.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("# resolution_mm = 0.01", "resolution_mm = 0.1").replace("# Good", "# Mine")
    path.write_text(text, encoding="utf-8")
    rehearse(tmp_path, "attic-1")
    run = load_run(tmp_path)
    assert (run.conditions.machine, run.conditions.material) == ("mine", "blue")
    assert all(round(size.value_mm * 10, 6).is_integer() for size in run.sizes)
    assert "# Mine to know later" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("typed", ["slide,,,,,", ",,,,Ada,", ",,,,,stringy"])
def test_nothing_typed_is_written_over(tmp_path, typed):
    path = started(tmp_path) / "entries.csv"
    path.write_bytes(path.read_bytes().replace(b"fit,A1,G1,,,,,,", f"fit,A1,G1,{typed}".encode()))
    before = contents(tmp_path)
    with pytest.raises(RunError, match="got 1 row with something typed"):
        rehearse(tmp_path)
    assert contents(tmp_path) == before


def test_a_rehearsal_is_not_rehearsed_over(tmp_path):
    rehearse(started(tmp_path))
    with pytest.raises(RunError, match="got 22 rows with something typed"):
        rehearse(tmp_path)


def test_conditions_that_cannot_be_read_leave_all_as_it_was(tmp_path):
    path = started(tmp_path) / "conditions.toml"
    path.write_text("machine = bench", encoding="utf-8")
    before = contents(tmp_path)
    with pytest.raises(ConditionsError):
        rehearse(tmp_path)
    assert contents(tmp_path) == before


def test_a_machine_that_is_not_known_leaves_all_as_it_was(tmp_path):
    before = contents(started(tmp_path))
    with pytest.raises(RunError, match="got bench-9"):
        rehearse(tmp_path, "bench-9")
    assert contents(tmp_path) == before


def test_the_mark_cannot_be_taken_off_by_half(tmp_path):
    rehearse(started(tmp_path))
    path = tmp_path / "conditions.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("rehearsed = true", ""), "utf-8")
    with pytest.raises(ConditionsError) as caught:
        load_run(tmp_path)
    assert caught.value.message == (
        "conditions.toml: expected rehearsed = true above a table [rehearsal]. Correct the values."
    )


def test_a_plain_person_says_go_or_stop(tmp_path):
    machine = load_machine("bench-1")
    text = "\n".join(
        line if not line.startswith("plain") else "plain = true"
        for line in _toml_of(machine).splitlines()
    )
    (tmp_path / "plain.toml").write_text(text, encoding="utf-8")
    folder = started(tmp_path / "run")
    rehearse(folder, str(tmp_path / "plain.toml"))
    sets = {(fit.tightest, fit.loosest) for fit in load_run(folder).fits}
    assert sets == {(Grade.NO_GO, Grade.FORCE), (Grade.PUSH, Grade.LOOSE)}


def _toml_of(machine):
    from importlib.resources import files

    path = files("coupons.measuring") / "machines" / f"{machine.name}.toml"
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", shipped_machines())
def test_entries_without_files_are_those_of_the_files(tmp_path, name):
    rehearse(started(tmp_path), name, seed=11)
    run = load_run(tmp_path)
    machine, work = load_machine(name), work_list(small_coupon())
    sizes, fits = as_entries(work, try_out(machine, work, np.random.default_rng(11)))
    assert fits == run.fits
    assert [size.row for size in sizes] == [size.row for size in run.sizes]
    assert [size.value_mm for size in sizes] == pytest.approx([size.value_mm for size in run.sizes])


def test_sound_machines_are_rarely_called_odd(tmp_path):
    """What check says of 60 rehearsed runs without slips: the marks of a rehearsal, little else."""
    odd = 0
    for seed in range(60):
        rehearse(started(tmp_path / str(seed)), "bench-1", seed)
        odd += sum("row" in finding.where for finding in check_run(tmp_path / str(seed)))
    assert odd < 60


def test_trying_a_coupon_out_takes_milliseconds():
    work, machine = work_list(small_coupon()), load_machine("bench-1")
    rng = np.random.default_rng(1)
    start = time.perf_counter()
    for _ in range(50):
        try_out(machine, work, rng)
    assert (time.perf_counter() - start) / 50 < 0.005
