"""How long the making room takes, and how its cost grows with the number of features.

Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_making.py --json results/bench/making.json
"""

import argparse
import json
import math
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from coupons.making.output.preview import preview_png
from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.output.threemf import threemf_bytes
from coupons.making.plan import Plan, plan_coupon
from coupons.making.spec.coupon_spec import load_spec, parse_spec

SIZES = (50, 100, 200, 500, 1000, 2000)
FORMS = (("hole", "z"), ("slot", "x"), ("slot", "y"), ("pin", "z"), ("hole", "x"), ("tongue", "x"))


def plan_of(features: int) -> Plan:
    """A coupon of about so many features: like rows of every kind, each with two gauges."""
    row_length = min(100, max(6, math.ceil(features / 20)))
    rows = ""
    for number in range(max(1, round(features / (row_length + 2)))):
        form, direction = FORMS[number % len(FORMS)]
        step = 0.6 / row_length
        gaps = [round(step * i, 4) for i in range(row_length)]
        rows += (
            f'[[row]]\nkind = "fit"\nform = "{form}"\ndirection = "{direction}"\nsize_mm = 5\n'
            f"gaps_mm = {gaps}\n"
        )
    spec = parse_spec(f'title = "bench"\n{rows}'.encode(), "bench", "bench.toml")
    return plan_coupon(spec, bed_mm=(300, 300))


def seconds(work: Callable[[], object], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)  # the least is what the work takes; more is what else the machine did


def growth(repeats: int) -> list[dict[str, float]]:
    """Times over the number of features, and the time per n log n against the first."""
    rows: list[dict[str, float]] = []
    for size in SIZES:
        plan = plan_of(size)
        count = sum(len(item.body.features) for item in plan.placed)
        planning = seconds(lambda size=size: plan_of(size), repeats)
        building = seconds(lambda plan=plan: build_solids(plan), repeats)
        share = building / (count * math.log(count))
        first = rows[0]["per_n_log_n"] if rows else share
        rows.append(
            {
                "features": count,
                "plan_s": planning,
                "solids_s": building,
                "per_n_log_n": share,
                "ratio_to_first": share / first,
            }
        )
    return rows


def first_coupon(repeats: int) -> dict[str, float]:
    plan = plan_coupon(load_spec("first"))
    solids = build_solids(plan)
    loose = frozenset(item.body.id for item in plan.placed if item.body.loose)
    return {
        "plan_s": seconds(lambda: plan_coupon(load_spec("first")), repeats),
        "solids_s": seconds(lambda: build_solids(plan), repeats),
        "stl_s": seconds(lambda: stl_bytes(solids, "bench", placed=True), repeats),
        "threemf_s": seconds(lambda: threemf_bytes(solids, "bench", {}), repeats),
        "preview_s": seconds(lambda: preview_png(solids, loose), repeats),
        "make_process_s": seconds(make_process, repeats),
        "empty_process_s": seconds(lambda: subprocess.run([sys.executable, "-c", "pass"]), repeats),
    }


def make_process() -> None:
    with tempfile.TemporaryDirectory() as folder:
        program = "from coupons.cli import main; main()"
        arguments = ["make", "first", "-o", str(Path(folder) / "run")]
        subprocess.run(
            [sys.executable, "-c", program, *arguments], check=True, stdout=subprocess.DEVNULL
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, help="write the figures here")
    parser.add_argument("--repeats", type=int, default=15)
    chosen = parser.parse_args()
    figures = {
        "command": "PYTHONPATH=tests python tests/bench/bench_making.py",
        "python": platform.python_version(),
        "machine": platform.machine(),
        "repeats": chosen.repeats,
        "load_before": round(os.getloadavg()[0], 1),
        "first": first_coupon(chosen.repeats),
        "growth": growth(max(2, chosen.repeats // 5)),
    }
    for name, value in figures["first"].items():
        print(f"first: {name:<16}{value:8.3f}")
    print(f"{'features':>10}{'plan s':>9}{'solids s':>10}{'n log n ratio':>15}")
    for line in figures["growth"]:
        print(
            f"{line['features']:>10}{line['plan_s']:>9.3f}{line['solids_s']:>10.3f}"
            f"{line['ratio_to_first']:>15.2f}"
        )
    if chosen.json:
        chosen.json.parent.mkdir(parents=True, exist_ok=True)
        chosen.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
