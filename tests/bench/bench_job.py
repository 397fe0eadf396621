"""How long the main job takes: the command line, a fit and its cost curve, an answer, a whole part.

Run from the root of the project on a machine with nothing else to do:

    PYTHONPATH=tests python tests/bench/bench_job.py --json results/bench/job.json

Every time stands beside what it is compared with in the same run; nothing here passes or fails.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from support.known_profile import known_profile
from support.naive_posterior import first_design, sample
from support.synthetic import coupon_design, observed

from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.learning.fit import fit_design
from coupons.learning.profile_file import write_profile
from coupons.terms import Direction, Form, Grade, Joint

CLI = "from coupons.cli import main; main()"
# Runs fitted together: each is 56 sizes, 36 readings and 64 trials.
RUNS = (1, 2, 4, 9, 20)


def least_s(work, repeats=3):
    """Return the least time in seconds: what the work takes; more is what else the machine did."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def process_s(*arguments, repeats=3):
    command = [sys.executable, *arguments]
    return least_s(lambda: subprocess.run(command, check=True, capture_output=True), repeats)


def command_line(folder):
    """Times of whole processes against an empty one."""
    write_profile(known_profile(), folder / "profile.json")
    rows = (
        f"joint {n},slot,tongue,{5 + 0.25 * n},{'xy'[n % 2]},{['slide', 'push', 'loose'][n % 3]}"
        for n in range(200)
    )
    (folder / "joints.csv").write_text("\n".join((",".join(COLUMNS[:6]), *rows)))
    asked = [str(folder / name) for name in ("profile.json", "joints.csv")]
    empty = process_s("-c", "pass", repeats=9)
    times = {
        "--help": process_s("-c", CLI, "--help", repeats=9),
        "make first": process_s("-c", CLI, "make", "first", "-o", str(folder / "run")),
        "joints, 200 rows": process_s("-c", CLI, "joints", *asked, "-o", str(folder / "out")),
    }
    return (
        {"python -c pass": empty} | times | {f"{k}, × empty": t / empty for k, t in times.items()}
    )


def fits():
    """Times of a fit of ``first``, of several runs together, and of the sampler."""
    first = first_design(1)
    curve = []
    for runs in RUNS:
        design = observed(coupon_design(runs), 1)
        took = least_s(lambda design=design: fit_design(design), 1 if runs > 4 else 3)
        sizes, seen = len(design.sizes.drawn), len(design.readings.size) + len(design.trials.row)
        curve.append({"runs": runs, "sizes": sizes, "observations": seen, "fit_s": took})
    first_s = least_s(lambda: fit_design(first))
    # What the test of accuracy draws: enough to know a mean to 0.05 sd and an sd to 4 %.
    sampling = least_s(lambda: sample(first, 6000, 1), 1)
    return {
        "first_s": first_s,
        "large": large(),
        "curve": curve,
        "sampler_s": sampling,
        "sampler_over_fit": sampling / first_s,
    }


def large():
    """Time of 2,000 observations of 504 sizes: nine coupons, read and tried by two people."""
    design = coupon_design(9)
    readings, trials = (
        replace(part, **{f: getattr(part, f)[np.arange(count) % len(part.row)] for f in vars(part)})
        for part, count in ((design.readings, 720), (design.trials, 1280))
    )
    design = observed(replace(design, readings=readings, trials=trials), 1)
    took = least_s(lambda: fit_design(design), 2)
    return {"sizes": len(design.sizes.drawn), "observations": 2000, "fit_s": took}


def main():
    """Print the times and, if asked, keep them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    profile = known_profile()
    question = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)
    with tempfile.TemporaryDirectory() as folder:
        found = {
            "command": "PYTHONPATH=tests python tests/bench/bench_job.py",
            "load_before": os.getloadavg()[0],
            # Before the sampler is in this process, which slows everything after it.
            "answer_s": least_s(lambda: answer(profile, replace(question)), 500),
            "processes_s": command_line(Path(folder)),
            "fits": fits(),
        }
    text = json.dumps(found, indent=1)
    print(text)
    if options.json:
        options.json.write_text(text + "\n")


if __name__ == "__main__":
    main()
