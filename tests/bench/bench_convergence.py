"""Whether the fit settles on thousands of data sets that nobody would wish for.

The sets are those of tests/support/random_sets.py: sparse, separated, contradictory, wild. Run
from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_convergence.py --sets 10000 \\
        --json results/convergence/from-0.json
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

from coupons.errors import CouponError
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import fit_design

sys.path.insert(0, str(Path(__file__).parent.parent))
from support.random_sets import random_set

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


def study(first: int, sets: int, workers: int, minutes: float) -> dict[str, object]:
    """Fit many sets from seed ``first`` on, as many as the time allows; sum them up by kind."""
    seconds, faults = defaultdict(list), []
    end = time.monotonic() + 60 * minutes
    with multiprocessing.Pool(workers) as pool:
        seeds = range(first, first + sets)
        for seed, (kind, spent, fault) in zip(seeds, pool.imap(fit_one, seeds, CHUNK), strict=True):
            seconds[kind].append(spent)
            if fault:
                faults.append({"seed": seed, "kind": kind, "fault": fault})
                print(f"\n{faults[-1]}", file=sys.stderr)
            if time.monotonic() > end:
                break
            if seed % 100 == 99:
                done = seed + 1 - first
                print(f"\r{done} of {sets}, {len(faults)} faults", end="", file=sys.stderr)
    print(file=sys.stderr)
    return {
        "first": first,
        "sets": sum(map(len, seconds.values())),
        "faults": faults,
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
    parser.add_argument("--minutes", type=float, default=600.0, help="stop after this long")
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    found = study(asked.first, asked.sets, asked.workers, asked.minutes)
    text = json.dumps(found, indent=1) + "\n"
    if asked.json is None:
        print(text, end="")
    else:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(text, encoding="utf-8")
    raise SystemExit(1 if found["faults"] else 0)


if __name__ == "__main__":
    main()
