"""Spoiled bodies of every format through `meet` and `relieve`, as `fuzz` does with all other files.

PYTHONPATH=tests python tests/bench/fuzz_meshes.py --json results/bench/fuzz_meshes.json
"""

import argparse
import json
import resource
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from bench.fuzz import Bench, Plan, good_files, report
from bench.spoil_meshes import spoiled_mesh
from click.testing import CliRunner
from support.drawn_bodies import as_trimesh, threemf, threemf_object, write
from support.meeting_cases import pin_in_plate

from coupons.cli import main

COMMAND = "PYTHONPATH=tests python tests/bench/fuzz_meshes.py"


def _plan(share: float, name: str) -> Plan:
    met = f"meet {{}}/{name} {{}}/pin.stl --units mm -o {{}}/new"
    relieved = "relieve {}/profile.json {}/new/meetings.csv -o {}/out"
    return Plan(share, name, {f"{met} && {relieved}": 1, f"meet {{}}/{name} {{}}/pin.stl": 4})


_RELIEVE = {
    "relieve {}/profile.json {}/met/meetings.csv -o {}/out": 1,
    "joints {}/profile.json {}/met/meetings.csv": 3,
}
PLANS = {
    "binary STL": _plan(0.22, "plate.stl"),
    "text STL": _plan(0.14, "text.stl"),
    "3MF": _plan(0.22, "plate.3mf"),
    "OBJ": _plan(0.12, "plate.obj"),
    "binary PLY": _plan(0.10, "plate.ply"),
    "text PLY": _plan(0.08, "text.ply"),
    "list": Plan(0.07, "met/meetings.csv", _RELIEVE),
    "record": Plan(0.05, "met/meetings.json", _RELIEVE),
}


def good_bodies(folder: Path) -> None:
    """Write a plate and its pin in every format, met once, beside a profile."""
    good_files(folder)
    bodies = pin_in_plate(0.1, 24)
    write(bodies["pin"], folder / "pin.stl")
    for kind in ("stl", "obj", "ply"):
        write(bodies["plate"], folder / f"plate.{kind}")
    mesh = as_trimesh(bodies["plate"])
    (folder / "text.stl").write_text(mesh.export(file_type="stl_ascii"))
    (folder / "text.ply").write_bytes(mesh.export(file_type="ply", encoding="ascii"))
    placed = threemf(threemf_object(bodies["plate"], 1, "plate"), '<item objectid="1"/>')
    (folder / "plate.3mf").write_bytes(placed)
    line = ["meet", str(folder / "plate.stl"), str(folder / "pin.stl"), "-o", str(folder / "met")]
    done = CliRunner().invoke(main, line, catch_exceptions=False)
    assert done.exit_code == 0, done.output


def fuzz_meshes(numbers: Sequence[int], seed: int, room: Path) -> Bench:
    """Send the files of these numbers through their commands, in an empty folder."""
    good, inside = room / "good", room / "work" / "inside"
    inside.mkdir(parents=True)
    good_bodies(good)
    bench = Bench(good, inside, seed, PLANS, spoiled_mesh)
    usual, tempfile.tempdir = tempfile.tempdir, str(inside)  # `relieve` reads back what it wrote
    try:
        for number in numbers:
            bench.try_file(number)
    finally:
        tempfile.tempdir = usual
    return bench


def _main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=1_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first file")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    start = time.process_time()
    with tempfile.TemporaryDirectory() as room:
        numbers = range(chosen.first, chosen.first + chosen.files)
        bench = fuzz_meshes(numbers, chosen.seed, Path(room))
    figures = report(bench, chosen.files, chosen.seed, time.process_time() - start)
    figures["command"] = f"{COMMAND} --files {chosen.files} --seed {chosen.seed}"
    figures["megabytes"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    text = json.dumps(figures, indent=1, ensure_ascii=False)
    print(text)
    if chosen.json:
        chosen.json.write_text(text + "\n", encoding="utf-8")
    raise SystemExit(bool(bench.faults))


if __name__ == "__main__":
    _main()
