"""How long it takes to read and check a sheet, and to try a coupon on a virtual machine.

Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_measuring.py --json results/bench/measuring.json
"""

import argparse
import csv
import json
import platform
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from support.truth import threshold_gap_mm

from coupons.making.plan import plan_coupon, record
from coupons.making.record import Coupon, write_coupon
from coupons.making.spec.coupon_spec import load_spec, shipped_specs
from coupons.measuring.checks.run_checks import check_run
from coupons.measuring.run.folder import load_run, start_run
from coupons.measuring.run.sheet import read_rows, write_rows
from coupons.measuring.virtual.machine import load_machine, random_machine
from coupons.measuring.virtual.rehearsal import rehearse, try_out, work_list
from coupons.terms import Direction, Form, Grade, Joint

ROWS = (100, 1_000, 10_000, 99_000)


def seconds(work: Callable[[], object], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def coupon_of(spec: str) -> Coupon:
    return record(plan_coupon(load_spec(spec)))


def sheets(repeats: int) -> list[dict[str, float]]:
    """Sheets of growing length: rows of a rehearsed coupon again and again, each with its note."""
    figures = []
    with tempfile.TemporaryDirectory() as name:
        folder, coupon = Path(name), coupon_of("first")
        start_run(folder, coupon)
        write_coupon(coupon, folder / "coupon.json")
        rehearse(folder)
        path = folder / "entries.csv"
        rows, _ = read_rows(path)
        for count in ROWS:
            write_rows(path, [replace(rows[i % len(rows)], note=f"{i}") for i in range(count)])
            bare = seconds(lambda: list(csv.reader(path.open(encoding="utf-8"))), repeats)
            load = seconds(lambda: load_run(folder), repeats)
            check = seconds(lambda: check_run(folder), repeats)
            figures.append(
                {
                    "rows": count,
                    "csv_reader_s": bare,
                    "load_s": load,
                    "load_per_csv_reader": load / bare,
                    "check_s": check,
                    "check_us_per_row": check / count * 1e6,
                }
            )
    return figures


def virtual(repeats: int) -> dict[str, float]:
    """Milliseconds to print and try each shipped coupon, draw a machine and know its truth."""
    machine, rng = load_machine("bench-1"), np.random.default_rng(1)
    figures = {}
    for spec in shipped_specs():
        work = work_list(coupon_of(spec))
        figures[f"try {spec}"] = 1e3 * seconds(lambda w=work: try_out(machine, w, rng), repeats)
    joint = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    figures["draw a machine"] = 1e3 * seconds(lambda: random_machine(rng), repeats)
    figures["know a slide gap"] = 1e3 * seconds(
        lambda: threshold_gap_mm(machine, joint, Grade.SLIDE), repeats
    )
    return figures


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, help="write the figures here")
    parser.add_argument("--repeats", type=int, default=5)
    chosen = parser.parse_args()
    figures = {
        "command": "PYTHONPATH=tests python tests/bench/bench_measuring.py",
        "python": platform.python_version(),
        "machine": platform.machine(),
        "repeats": chosen.repeats,
        "sheets": sheets(chosen.repeats),
        "virtual_ms": virtual(20 * chosen.repeats),
    }
    print(f"{'rows':>8}{'load s':>9}{'× csv':>7}{'check s':>9}{'µs a row':>10}")
    for line in figures["sheets"]:
        print(
            f"{line['rows']:>8}{line['load_s']:>9.3f}{line['load_per_csv_reader']:>7.1f}"
            f"{line['check_s']:>9.3f}{line['check_us_per_row']:>10.1f}"
        )
    for name, value in figures["virtual_ms"].items():
        print(f"{name:<20}{value:8.3f} ms")
    if chosen.json:
        chosen.json.parent.mkdir(parents=True, exist_ok=True)
        chosen.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
