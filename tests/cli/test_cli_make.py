import json
import re

import pytest
from click.testing import CliRunner

from coupons.cli import main
from coupons.making.record import read_coupon
from coupons.measuring.run.conditions import parse_conditions


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.mark.slow
def test_make_writes_a_whole_run_folder(tmp_path):
    folder = tmp_path / "run"
    done = run("make", "recheck", "-o", folder, "--machine", "bench-1", "--material", "PLA")
    assert done.exit_code == 0, done.output
    names = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert names >= {
        "coupon.json",
        "conditions.toml",
        "entries.csv",
        "map.svg",
        "preview.png",
        "entry.html",
        "sheet.html",
        "print/recheck-plate-1.3mf",
        "print/recheck-plate-1.stl",
        "print/bodies/AG.stl",
    }
    assert "min on 1 plate" in done.output
    assert "seam" in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines() if "/" not in line)


@pytest.mark.slow
def test_the_same_command_writes_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        assert run("make", "recheck", "-o", tmp_path / name).exit_code == 0
    for path in sorted((tmp_path / "one").rglob("*")):
        if path.is_file() and path.suffix != ".html":  # a page shows the folder's name
            twin = tmp_path / "two" / path.relative_to(tmp_path / "one")
            # Each print has an id of its own; nothing else differs.
            one, two = (re.sub(rb'"id": "[0-9a-f]{16}"', b"", p.read_bytes()) for p in (path, twin))
            assert one == two, path.name


def made_for(folder, machine):
    made = run("make", "recheck", "-o", folder, "--machine", machine, "--material", "grey")
    assert made.exit_code == 0
    return read_coupon(folder / "coupon.json").run


@pytest.mark.slow
def test_each_run_has_an_id_that_it_keeps_when_made_again(tmp_path):
    first = made_for(tmp_path / "a" / "first", "bench-1")
    other = made_for(tmp_path / "b" / "first", "bench-2")
    assert first.id != other.id
    assert (other.machine, other.material) == ("bench-2", "grey")
    assert made_for(tmp_path / "a" / "first", "bench-1") == first


@pytest.mark.slow
def test_a_folder_that_holds_entries_is_left_as_it_is(tmp_path):
    folder = tmp_path / "run"
    assert run("make", "recheck", "-o", folder).exit_code == 0
    sheet = folder / "entries.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("AG,,", "AG,slide,", 1), "utf-8")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    done = run("make", "recheck", "-o", folder)
    assert done.exit_code == 1
    assert "entries.csv" in done.output
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


@pytest.mark.slow
def test_the_bed_given_splits_the_coupon_over_plates(tmp_path):
    done = run("make", "first", "-o", tmp_path / "run", "--bed", "100x100")
    assert done.exit_code == 0, done.output
    coupon = read_coupon(tmp_path / "run" / "coupon.json")
    assert coupon.assumed.bed_mm == (100, 100)
    assert max(body.plate for body in coupon.bodies) > 1
    for body in coupon.bodies:
        for k in (0, 1):
            assert body.origin_mm[k] >= 5 - 1e-6
            assert body.origin_mm[k] + body.extent_mm[k] <= 95 + 1e-6


@pytest.mark.slow
def test_a_new_layout_leaves_no_print_file_of_the_old_one(tmp_path):
    folder = tmp_path / "run"
    assert run("make", "first", "-o", folder, "--bed", "100x100").exit_code == 0
    (folder / "print" / "sliced.gcode").write_text("G28")
    assert (folder / "print" / "first-plate-2.stl").exists()
    assert run("make", "first", "-o", folder).exit_code == 0
    plates = {path.name for path in (folder / "print").iterdir() if path.is_file()}
    assert plates == {"first-plate-1.3mf", "first-plate-1.stl", "sliced.gcode"}


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["make", "firsd", "-o", "run"], 1, "one of first, "),
        (["make", "first", "-o", "run", "--bed", "60x60"], 1, "too long along x"),
        (["make", "first", "-o", "run", "--bed", "big"], 2, "two lengths in mm"),
        (["make", "first", "-o", "run", "--bed", "22x22"], 1, "machine bed_mm 1: expected greater"),
        (["make", "first", "-o", "run", "--nozzle", "0.2"], 1, "layer_height_mm at most 0.16 mm"),
        (["make", "first"], 2, "Missing option"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_is_written(
    arguments, code, words, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    done = run(*arguments)
    assert done.exit_code == code
    assert words in done.output
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_time_is_stated_for_the_speed_that_the_conditions_hold(tmp_path):
    def minutes(*more: str) -> tuple[int, str]:
        folder = tmp_path / f"run{len(more)}"
        done = run("make", "recheck", "-o", folder, *more)
        assert done.exit_code == 0, done.output
        return int(re.search(r"about (\d+) min", done.output)[1]), done.output

    usual, said = minutes()
    fast, said_fast = minutes("--speed", "120")
    assert "solid plastic at 60 mm/s" in said
    assert "solid plastic at 120 mm/s" in said_fast
    # All but the layers (1.5 s) and the start of the plate (120 s) goes twice as fast.
    layers = max(b.extent_mm[2] for b in read_coupon(tmp_path / "run0/coupon.json").bodies) / 0.2
    still = (120 + 1.5 * layers) / 60
    assert fast - still == pytest.approx((usual - still) / 2, abs=1)
    # One default everywhere: the line that waits in the conditions names the speed of the estimate.
    assert "# speed_mm_s = 60 " in (tmp_path / "run0" / "conditions.toml").read_text()
    kept = (tmp_path / "run2" / "conditions.toml").read_text()
    assert "\nspeed_mm_s = 120  # speed" in kept
    names = kept.replace('machine = ""', 'machine = "a"').replace('material = ""', 'material = "b"')
    assert parse_conditions(names).speed_mm_s == 120


@pytest.mark.parametrize("speed", ["0", "-5", "fast", "5000"])
def test_a_speed_that_no_machine_has_is_wrong_usage(speed, tmp_path):
    done = run("make", "recheck", "-o", tmp_path / "run", "--speed", speed)
    assert done.exit_code == 2
    assert not (tmp_path / "run").exists()


def test_specs_are_listed_with_their_cost():
    done = run("specs")
    assert done.exit_code == 0
    assert all(len(line) <= 80 for line in done.output.splitlines())
    rows = {row["name"]: row for row in json.loads(run("specs", "--json").output)}
    assert set(rows) == {
        *("first", "starter", "round", "sliding", "upright", "hardware", "spans", "recheck"),
    }
    assert rows["first"]["minutes"] <= 125
    assert rows["recheck"]["minutes"] <= 30
    assert f"{rows['first']['plastic_cm3']} cm³" in done.output
