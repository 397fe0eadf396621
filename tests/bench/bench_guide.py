"""How long the entry page's guide takes for one step, on a slow phone.

    PYTHONPATH=tests nice python tests/bench/bench_guide.py --json results/bench/guide.json

The page's own script runs in Chromium on ``first`` with its 140 candidates and on ``starter``. A
step is: take in one entry, weigh all candidates, look five more ahead, weigh what the rest of a row
would bring, and work out what is known. The picture and the card are apart. Three undos follow.
*Opening* is what the guide does before the page asks anything, its script not yet compiled. All of
it runs on several fresh pages.

*Undisturbed*: four times the shortest time of each step at full speed; whatever else the machine
does only makes a step longer. *Throttled*: the browser's own throttle to a quarter, the middle one
of the pages, on the machine as busy as it is.
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
let left = guide.rows.map((_, task) => task), held = null, task = 0;
const row = left.filter((task) => record.features[listedSteps[task].feature].row === "A");
function step() {
  const start = performance.now(), now = learned(entries);
  task = bestOf(now, left, held, "all");
  narrowing(now, lookAhead(now, left, held, "all"), "all");
  if (entries.length) bringLittle(now, row.filter((one) => left.includes(one)), "all");
  knownOf(now, "all");
  times.push(performance.now() - start);
}
step();
for (let count = 0; count < COUNT && left.length > 1; count += 1) {
  const done = listedSteps[task];
  const result = done.kind === "fit" ? "3" : String(guide.drawn[task]);
  entries.push({ ...done, result, unit: "mm", by: "" });
  held = inHand(task);
  left = left.filter((one) => one !== task);
  step();
}
for (let count = 0; count < UNDONE; count += 1) {
  entries.pop();
  step();
}
return times;
"""
UNDONE = 3


def steps_ms(page_file, count, pages, throttle):
    """Return how many candidates there are, and milliseconds of each step on each fresh page."""
    found = re.search(r'id="record">(.*?)</script>', page_file.read_text("utf-8"), re.S)
    record, guide = json.loads(found[1]), (TEMPLATES / "entry" / "guide.js").read_text("utf-8")
    steps = STEPS.replace("COUNT", str(count)).replace("UNDONE", str(UNDONE))
    times = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--headless", "--no-sandbox"]
        )
        for _ in range(pages):
            page = browser.new_page()
            chrome = page.context.new_cdp_session(page)
            chrome.send("Emulation.setCPUThrottlingRate", {"rate": throttle})
            times.append(page.evaluate(f"(record) => {{ {AROUND}\n{guide}\n{steps} }}", record))
            page.close()
        browser.close()
    return len(record["guide"]["rows"]), np.array(times)


def figures(times):
    """Return what is told of the steps, with the longest undo and the opening."""
    opening, steps, undone = times[0], times[1:-UNDONE], times[-UNDONE:]
    told = {"median": np.median(steps), "95 %": np.quantile(steps, 0.95), "longest": steps.max()}
    told |= {"undo": undone.max(), "opening": opening}
    return {name: round(float(ms), 1) for name, ms in told.items()}


def main():
    """Print the times."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--steps", type=int, default=40)
    parser.add_argument("--pages", type=int, default=7)
    parser.add_argument("--json", type=Path, help="File to write the figures into.")
    options = parser.parse_args()
    told = {"throttle": THROTTLE, "steps": options.steps, "pages": options.pages, "ms": {}}
    with tempfile.TemporaryDirectory() as folder:
        for spec in ("first", "starter"):
            made = make_coupon(spec, Path(folder) / spec)
            page_file = made.folder / "entry.html"
            _, alone = steps_ms(page_file, options.steps, options.pages, 1)
            candidates, slowed = steps_ms(page_file, options.steps, options.pages, THROTTLE)
            told["ms"][spec] = {
                "candidates": candidates,
                "undisturbed": figures(THROTTLE * alone.min(axis=0)),
                "throttled": figures(np.median(slowed, axis=0)),
            }
            print(spec, json.dumps(told["ms"][spec]), flush=True)
    if options.json:
        options.json.write_text(f"{json.dumps(told, indent=1)}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
