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

DRAWS = 6000


def main():
    """Compare and write each question's figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=8)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rows = []
    for seed in range(1, options.printers + 1):
        design = first_design(seed)
        draws, diverged = sample(design, DRAWS, seed)
        for one in compare(fit_design(design), draws, GROWTHS | FLAT | ROUND):
            rows.append(
                {
                    "printer": seed,
                    "diverged": diverged,
                    "question": one.what,
                    "mean_off_sds": round(one.off_sds, 3),
                    "sd_ratio": round(one.sd_ratio, 3),
                    "error": round(one.error, 3),
                }
            )
            print(rows[-1])
    off = np.abs([row["mean_off_sds"] for row in rows])
    ratio = np.abs(np.array([row["sd_ratio"] for row in rows]) - 1)
    found = {
        "questions": len(rows),
        "mean_off_sds": {"median": float(np.median(off)), "largest": float(off.max())},
        "sd_off": {"median": float(np.median(ratio)), "largest": float(ratio.max())},
        "rows": rows,
    }
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
