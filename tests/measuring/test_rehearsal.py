import math
from importlib.resources import files

import numpy as np
import pytest
from support.small_coupon import feature, small_coupon

from coupons.errors import ConditionsError, RunError
from coupons.making.record import CouponHardware, CouponReading, CouponTrial, write_coupon
from coupons.measuring.checks.run_checks import check_run
from coupons.measuring.run.folder import load_run, start_run
from coupons.measuring.virtual.machine import load_machine, shipped_machines
from coupons.measuring.virtual.printer import mean_sizes, shapes_of
from coupons.measuring.virtual.rehearsal import (
    as_entries,
    rehearse,
    try_out,
    work_list,
)
from coupons.terms import GRADES, Form, Grade, Jaws


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


def test_a_machine_may_be_given_itself(tmp_path):
    folders = [started(tmp_path / name) for name in "ab"]
    rehearse(folders[0], "bench-2", seed=3)
    rehearse(folders[1], load_machine("bench-2"), seed=3)
    assert contents(folders[0]) == contents(folders[1])


def test_what_the_conditions_state_is_kept_and_used(tmp_path):
    path = started(tmp_path, machine="mine", material="blue") / "conditions.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("# resolution_mm = 0.01", "resolution_mm = 0.1").replace(
        "# Helps", "# Mine"
    )
    path.write_text(text, encoding="utf-8")
    rehearse(tmp_path, "attic-1")
    run = load_run(tmp_path)
    assert (run.conditions.machine, run.conditions.material) == ("mine", "blue")
    assert all(round(size.value_mm * 10, 6).is_integer() for size in run.sizes)
    assert "# Mine to explain later" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("typed", ["slide,,,,,", ",,,,Ada,", ",,,,,stringy"])
def test_nothing_typed_is_written_over(tmp_path, typed):
    path = started(tmp_path) / "entries.csv"
    path.write_bytes(path.read_bytes().replace(b"fit,A1,G1,,,,,,", f"fit,A1,G1,{typed}".encode()))
    before = contents(tmp_path)
    with pytest.raises(RunError, match="got 1 row filled in"):
        rehearse(tmp_path)
    assert contents(tmp_path) == before


def test_a_rehearsal_is_not_rehearsed_over(tmp_path):
    rehearse(started(tmp_path))
    with pytest.raises(RunError, match="got 22 rows filled in"):
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


def quiet_machine(**bead):
    """Return bench-1 without any chance, with a seam of 0.1 mm on y and jaws of 0.8 mm."""
    machine = load_machine("bench-1")
    scatter = machine.scatter.model_copy(
        update=dict.fromkeys(type(machine.scatter).model_fields, 0.0)
    )
    caliper = machine.caliper.model_copy(
        update={"zero_mm": 0.0, "repeat_mm": 0.0, "jaw_land_mm": 0.8, "resolution_mm": 0.0001}
        | {"session_mm": 0.0, "session_inside_mm": 0.0}
    )
    person = machine.person.model_copy(update={"judgement_mm": 0.0, "lapse_chance": 0.0})
    bead = machine.bead.model_copy(update={"seam_mm": 0.1, "seam_along": "y"} | bead)
    return machine.model_copy(
        update={"scatter": scatter, "caliper": caliper, "person": person, "bead": bead}
    )


def readings(coupon, machine):
    found = try_out(machine, work_list(coupon), np.random.default_rng(1))
    keys = [(reading.feature, reading.along) for reading in coupon.readings]
    return dict(zip(keys, found.readings_mm, strict=True))


def test_each_reading_meets_its_own_diameter_seam_and_jaws():
    hole, pin, slot = (
        feature("A1", "hole", "z", 6.0),
        feature("B1", "pin", "z", 6.0, role="gauge"),
        feature("C1", "slot", "x", 6.0),
    )
    lines = [
        CouponReading(feature=part.id, jaws=jaws, along=along)
        for part, jaws in ((hole, Jaws.INSIDE), (pin, Jaws.OUTSIDE), (slot, Jaws.INSIDE))
        for along in ((None, "x", "y") if part is not slot else (None,))
    ]
    coupon = small_coupon(features=(hole, pin, slot), trials=(), readings=lines, hardware=())
    machine = quiet_machine()
    found = readings(coupon, machine)
    sizes = mean_sizes(machine, shapes_of(coupon.features))
    (hole_x, hole_y), (pin_x, pin_y), (slot_x, _) = sizes.across_mm

    def between_jaws(bore_mm):
        return pytest.approx(math.sqrt(bore_mm**2 - 0.8**2), abs=1e-4)

    assert found["A1", "x"] == between_jaws(hole_x)
    assert found["A1", "y"] == between_jaws(hole_y - 0.1)
    assert found["A1", None] == between_jaws((hole_x + hole_y) / 2)
    assert found["B1", "x"] == pytest.approx(pin_x, abs=1e-4)
    assert found["B1", "y"] == pytest.approx(pin_y + 0.1, abs=1e-4)
    assert found["C1", None] == pytest.approx(slot_x, abs=1e-4)


@pytest.mark.parametrize("fixed", ["hole", "pin"])
def test_a_trial_is_the_same_from_either_side(fixed):
    hole, pin = feature("A1", "hole", "z", 6.5), feature("B1", "pin", "z", 6.0)
    first, mate = (hole, pin) if fixed == "hole" else (pin, hole)
    trial = CouponTrial(feature=first.id, mate=mate.id, gap_mm=0.5)
    coupon = small_coupon(features=(hole, pin), trials=(trial,), readings=(), hardware=())
    found = try_out(quiet_machine(seam_mm=0.0), work_list(coupon), np.random.default_rng(1))
    assert GRADES[found.grades[0]] is Grade.SLIDE
    found = try_out(quiet_machine(seam_mm=0.1), work_list(coupon), np.random.default_rng(1))
    assert GRADES[found.grades[0]] is Grade.PUSH


def test_bought_mates_have_their_own_size_and_no_seam():
    hole = feature("A1", "hole", "z", 6.5)
    mates = [
        CouponHardware(id=f"pin-{size}", name="pin", form=Form.PIN, size_mm=size, sd_mm=0.0)
        for size in (5.0, 6.0, 7.0)
    ]
    trials = [CouponTrial(feature="A1", mate=mate.id, gap_mm=6.5 - mate.size_mm) for mate in mates]
    coupon = small_coupon(features=(hole,), trials=trials, readings=(), hardware=mates)
    found = try_out(quiet_machine(), work_list(coupon), np.random.default_rng(1))
    assert [GRADES[grade] for grade in found.grades] == [Grade.LOOSE, Grade.SLIDE, Grade.NO_GO]


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
    path = files("coupons.measuring.virtual") / "machines" / f"{machine.name}.toml"
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


@pytest.mark.slow
def test_sound_machines_are_rarely_called_odd(tmp_path):
    """What check says of 60 rehearsed runs without slips: the marks of a rehearsal, little else."""
    odd = 0
    for seed in range(60):
        rehearse(started(tmp_path / str(seed)), "bench-1", seed)
        odd += sum("row" in finding.where for finding in check_run(tmp_path / str(seed)))
    assert odd < 60
