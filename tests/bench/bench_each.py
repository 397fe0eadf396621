"""How much faster two workers fit a tree of runs than one.

Run from the root of the project, at a quiet moment, for example

    PYTHONPATH=tests nice python tests/bench/bench_each.py --runs 60 --json results/bench/each.json

Each number of workers starts from the same tree without profiles. The clock tells little on a
machine that others use: beside it stands the processor's time of all workers, what the whole
machine did meanwhile, and the ratio that two free processors would give if no worker had to wait.
"""

import argparse
import json
import os
import resource
import shutil
import tempfile
import time
from pathlib import Path

from joblib.externals.loky import get_reusable_executor

from coupons import make_coupon
from coupons.batch import BatchOutcome, fit_each
from coupons.measuring.virtual.rehearsal import rehearse

COUPON = "recheck"
JOBS = (1, 2)


def tree(folder: Path, runs: int) -> None:
    """Make one run and copy it, each with the entries of another print."""
    made = make_coupon(COUPON, folder / "run-1", machine="bench-1", material="grey").folder
    for number in range(2, runs + 1):
        shutil.copytree(made, folder / f"run-{number}")
    for number in range(1, runs + 1):
        rehearse(folder / f"run-{number}", seed=number)


def _spent_s() -> float:
    """Processor time of this process and of all that it started and that have ended."""
    each = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(one.ru_utime + one.ru_stime for one in each)


def _machine_s() -> float:
    """Seconds for which the processors of this machine were busy, by whatever."""
    fields = Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]
    user, niced, system, _idle, _waiting, irq, softirq, _stolen = map(int, fields)
    return (user + niced + system + irq + softirq) / os.sysconf("SC_CLK_TCK")


def fitted(source: Path, jobs: int) -> dict[str, float]:
    """Fit a fresh copy of a tree with so many workers; return what it took, in s."""
    folder = source.with_name(f"jobs-{jobs}")
    shutil.copytree(source, folder)
    start, spent, machine = time.perf_counter(), _spent_s(), _machine_s()
    done = fit_each([folder], jobs=jobs)
    clock_s = time.perf_counter() - start
    get_reusable_executor().shutdown(wait=True)  # so that the workers' time is known
    if any(one.outcome is not BatchOutcome.FITTED for one in done):
        raise SystemExit("A run was not fitted.")
    spent_s = _spent_s() - spent
    return {
        "clock_s": round(clock_s, 2),
        "processor_s": round(spent_s, 2),
        "processor_s_of_others": round(max(0.0, _machine_s() - machine - spent_s), 2),
    }


def main() -> None:
    """Fit a tree with one worker and with two."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        source = Path(place) / "runs"
        tree(source, asked.runs)
        took = {jobs: fitted(source, jobs) for jobs in JOBS}
    one, two = (took[jobs] for jobs in JOBS)
    found = {
        "command": "PYTHONPATH=tests nice python tests/bench/bench_each.py "
        f"--runs {asked.runs} --json {asked.json}",
        "coupon": COUPON,
        "runs": asked.runs,
        "processors": os.cpu_count(),
        "by_jobs": {str(jobs): each for jobs, each in took.items()},
        "ratio_by_clock": round(one["clock_s"] / two["clock_s"], 2),
        "ratio_if_no_worker_waits": round(2 * one["processor_s"] / two["processor_s"], 2),
    }
    print(json.dumps(found, indent=1))
    if asked.json:
        asked.json.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
