"""Whether the fit settles on thousands of data sets that nobody would wish for.

The sets are those of tests/support/random_sets.py: sparse, separated, contradictory, wild. Run
from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_convergence.py --sets 10000 \\
        --rows rows.jsonl --json results/convergence/from-0.json

A run that was cut short goes on from its rows.
"""

import argparse
import json
import multiprocessing
import sys
import time
import warnings
from collections import defaultdict
from pathlib import Path

import numpy as np
from bench.kept_rows import add_rows, rows_of_whole_printers
from support.random_sets import random_set

from coupons.errors import CouponError
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import fit_design

CHUNK = 25


def fit_one(seed: int) -> tuple[str, float, str]:
    """Fit one set; return its kind, the processor's seconds and the fault, if any."""
    kind, design = random_set(seed)
    start = time.process_time()
    fault = ""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            fitted = fit_design(design)
            fault = fault_of(fitted.mean, fitted.covariance)
        except (CouponError, ArithmeticError, ValueError, Warning, np.linalg.LinAlgError) as error:
            fault = f"{type(error).__name__}: {error}"
    return kind, time.process_time() - start, fault


def fault_of(mean: np.ndarray, covariance: np.ndarray) -> str:
    """Say what is wrong with a posterior's moments, or nothing."""
    if not (np.isfinite(mean).all() and np.isfinite(covariance).all()):
        return "moments that are not finite"
    if np.linalg.eigvalsh(covariance)[0] <= 0:
        return "a covariance that is not positive"
    if not (np.diff(mean[len(EFFECTS) : len(EFFECTS) + 4]) > 0).all():
        return "thresholds out of order"
    return ""


def study(first: int, sets: int, workers: int, rows: Path) -> list[dict]:
    """Fit the sets from seed ``first`` on that are not among the rows yet; return all rows."""
    kept = rows_of_whole_printers(rows, 1)
    done = {row["printer"] for row in kept}
    seeds = [seed for seed in range(first, first + sets) if seed not in done]
    with multiprocessing.Pool(workers) as pool:
        found = pool.imap(fit_one, seeds, CHUNK)
        for seed, (kind, spent, fault) in zip(seeds, found, strict=True):
            row = {"printer": seed, "kind": kind, "seconds": round(spent, 3), "fault": fault}
            add_rows(rows, [row])
            kept.append(row)
            if fault:
                print(f"\n{row}", file=sys.stderr)
            if len(kept) % 100 == 0:
                print(f"\r{len(kept)} of {sets}", end="", file=sys.stderr)
    print(file=sys.stderr)
    return [row for row in kept if first <= row["printer"] < first + sets]


def summed_up(rows: list[dict]) -> dict[str, object]:
    """Sum up by kind."""
    seconds = defaultdict(list)
    for row in rows:
        seconds[row["kind"]].append(row["seconds"])
    return {
        "first": min(row["printer"] for row in rows),
        "sets": len(rows),
        "faults": [
            {"seed": row["printer"], "kind": row["kind"], "fault": row["fault"]}
            for row in rows
            if row["fault"]
        ],
        "kinds": {
            kind: {
                "sets": len(spent),
                "median_s": round(float(np.median(spent)), 3),
                "slowest_s": round(max(spent), 3),
            }
            for kind, spent in seconds.items()
        },
    }


def main() -> None:
    """Run the study and write what came out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0, help="seed of the first set")
    parser.add_argument("--sets", type=int, default=10_000)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--rows", type=Path, required=True, help="each set done; goes on from it")
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    found = summed_up(study(asked.first, asked.sets, asked.workers, asked.rows))
    text = json.dumps(found, indent=1) + "\n"
    if asked.json is None:
        print(text, end="")
    else:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(text, encoding="utf-8")
    raise SystemExit(1 if found["faults"] else 0)


if __name__ == "__main__":
    main()
