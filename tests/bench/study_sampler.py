"""The fit against a sampler on the same posterior, printer by printer.

    PYTHONPATH=tests python tests/bench/study_sampler.py --json results/study/sampler.json

Prints and tries ``first`` on printers drawn from the prior and compares what answers are made of:
growths, and the gaps at which grades begin as far as the coupon's own gaps reach.
"""

import argparse
import json
from pathlib import Path

import numpy as np
from support.naive_posterior import first_design, sample
from support.sampled import FLAT, GROWTHS, ROUND, compare

from coupons.learning.fit import fit_design


def main():
    """Compare and write each question's figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3, 4, 5], help="of printers")
    parser.add_argument("--draws", type=int, default=24_000, help="6,000 leave an error of 0.04 sd")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rows = []
    for seed in options.seeds:
        design = first_design(seed)
        draws, diverged = sample(design, options.draws, seed)
        for one in compare(fit_design(design), draws, GROWTHS | FLAT | ROUND):
            rows.append(
                {
                    "printer": seed,
                    "diverged": diverged,
                    "question": one.what,
                    "mean_off_sds": round(float(one.off_sds), 3),
                    "sd_ratio": round(float(one.sd_ratio), 3),
                    "error": round(float(one.error), 3),
                }
            )
            print(rows[-1])
    off = np.abs([row["mean_off_sds"] for row in rows])
    ratio = np.abs(np.array([row["sd_ratio"] for row in rows]) - 1)
    found = {
        "draws": options.draws,
        "questions": len(rows),
        "mean_off_sds": {"median": float(np.median(off)), "largest": float(off.max())},
        "sd_off": {"median": float(np.median(ratio)), "largest": float(ratio.max())},
        "rows": rows,
    }
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
