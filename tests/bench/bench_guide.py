"""How long the entry page's guide takes for one step, on a slow phone.

    PYTHONPATH=tests nice python tests/bench/bench_guide.py

The page's own script runs in Chromium with the processor throttled to a quarter, on ``first`` with
its 140 candidates. A step is: take in one entry, weigh all candidates, look five more ahead, weigh
what the rest of a row would bring, and work out what is known. The picture and the card are apart.
"""

import argparse
import json
import re
import tempfile
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from coupons.job.make import make_coupon
from coupons.showing.pages.page import TEMPLATES

THROTTLE = 4
# What the guide takes from the page's other scripts.
AROUND = """
const stepKey = (row) => JSON.stringify([row.kind, row.feature, row.mate, row.jaws, row.along]);
const listedSteps = record.steps.map((step) => ({ ...step, key: stepKey(step) }));
const plainNumber = Number, MM_PER_INCH = 25.4;
const ranksOf = (result) => [Number(result), Number(result)];
"""
STEPS = """
const entries = [], times = [];
let left = guide.rows.map((_, task) => task), held = null;
const row = left.filter((task) => record.features[listedSteps[task].feature].row === "A");
for (let count = 0; count < COUNT; count += 1) {
  const start = performance.now();
  const now = learned(entries), task = bestOf(now, left, held, "all");
  knownOf(lookAhead(now, left, held, "all"), "all");
  knownOf(afterAll(now, row), "all");
  knownOf(now, "all");
  times.push(performance.now() - start);
  const step = listedSteps[task], isTrial = step.kind === "fit";
  entries.push({ ...step, result: isTrial ? "3" : String(guide.drawn[task]), unit: "mm", by: "" });
  held = inHand(task);
  left = left.filter((one) => one !== task);
}
return times;
"""


def steps_ms(spec, count):
    """Return the milliseconds of each of the first steps."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        page_file = make_coupon(spec, Path(folder) / "run").folder / "entry.html"
        found = re.search(r'id="record">(.*?)</script>', page_file.read_text("utf-8"), re.S)
        record, guide = json.loads(found[1]), (TEMPLATES / "entry" / "guide.js").read_text("utf-8")
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--headless", "--no-sandbox"]
        )
        page = browser.new_page()
        chrome = page.context.new_cdp_session(page)
        chrome.send("Emulation.setCPUThrottlingRate", {"rate": THROTTLE})
        steps = STEPS.replace("COUNT", str(count))
        times = page.evaluate(f"(record) => {{ {AROUND}\n{guide}\n{steps} }}", record)
        browser.close()
    return len(record["guide"]["rows"]), np.array(times)


def main():
    """Print the times."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=40)
    options = parser.parse_args()
    for spec in ("first", "starter"):
        candidates, times = steps_ms(spec, options.steps)
        print(
            f"{spec}, {candidates} candidates, at a quarter of the speed: median "
            f"{np.median(times):.1f} ms, 90 % within {np.quantile(times, 0.9):.1f} ms, "
            f"slowest {times.max():.1f} ms"
        )


if __name__ == "__main__":
    main()
