"""How large the pages are, how long each takes to write, and how soon the entry page answers.

Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_pages.py --json results/bench/pages.json
"""

import argparse
import json
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from coupons.learning.fit import fit_runs
from coupons.learning.profile_of_fit import profile_of
from coupons.making.output.run_files import write_coupon_files
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.measuring.run.folder import load_run, start_run
from coupons.measuring.virtual.rehearsal import rehearse
from coupons.showing.pages.entry_page import write_entry_page
from coupons.showing.pages.paper_sheet import write_sheet
from coupons.showing.pages.report import write_report
from coupons.showing.pages.wall_card import write_wall_card
from coupons.showing.words.fit_summary import learned_from

sys.path.insert(0, str(Path(__file__).parent.parent))
from support.page_coupon import make_record, write_run

REPEATS = 5
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu"]


def best(work: Callable[[], object]) -> float:
    """Seconds of the quickest of a few: other work on the machine is not the page's fault."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def rehearsed_run(parent: Path) -> Path:
    """A run folder of `first`, filled by a virtual printer."""
    folder = parent / "run"
    plan = plan_coupon(load_spec("first"))
    start_run(folder, record(plan), machine="bench-1", material="pale")
    write_coupon_files(plan, folder)
    rehearse(folder)
    return folder


def pages_of(folder: Path) -> dict[str, dict[str, float]]:
    """Write every page of a run; return bytes and seconds of each."""
    runs = [load_run(folder)]
    fitted = fit_runs(runs)
    profile = profile_of(fitted, runs)
    learned = learned_from(profile, fitted, runs, [()])
    pages = {
        "entry.html": lambda: write_entry_page(folder),
        "sheet.html": lambda: write_sheet(folder),
        "report.html": lambda: write_report(folder / "report.html", learned, fitted),
        "wall-card.html": lambda: write_wall_card(folder / "wall-card.html", profile),
    }
    return {
        name: {"seconds": best(write), "bytes": (folder / name).stat().st_size}
        for name, write in pages.items()
    }


def seconds_until_ready(parent: Path) -> dict[str, float] | None:
    """Load the entry page of coupons of two sizes in a browser; None if there is none."""
    chromium = shutil.which("chromium")
    if chromium is None:
        return None
    from playwright.sync_api import sync_playwright

    found = {}
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        for rows, features in ((10, 6), (25, 18)):
            coupon = make_record(rows=rows, features=features)
            path = write_entry_page(write_run(parent, coupon, name=f"run-{rows}"))

            def load(address: str = path.as_uri()) -> None:
                page.goto(address)
                page.wait_for_selector("html[data-ready]")

            found[f"{len(coupon.features)} features"] = best(load)
        browser.close()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, help="Where to keep the figures.")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        parent = Path(name)
        figures = {"pages": pages_of(rehearsed_run(parent)), "ready": seconds_until_ready(parent)}
    for page, one in figures["pages"].items():
        print(f"{page:<16}{one['bytes'] / 1000:>8.0f} kB{1000 * one['seconds']:>8.0f} ms to write")
    for size, seconds in (figures["ready"] or {}).items():
        print(f"entry page, {size:<14}{1000 * seconds:>6.0f} ms until it answers")
    if arguments.json:
        arguments.json.parent.mkdir(parents=True, exist_ok=True)
        arguments.json.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
