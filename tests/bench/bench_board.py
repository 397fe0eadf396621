"""How large the board is, how long it takes a profile, and how soon a phone shows it.

Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/bench_board.py --profiles 100 1000 3000 \
        --json results/bench/board.json
"""

import argparse
import json
import shutil
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from coupons.learning.profile import Profile
from coupons.learning.profile_file import read_profile, write_profile
from coupons.showing.board.collect import read_posted
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.site import HOME_FILE, write_site

if TYPE_CHECKING:
    from playwright.sync_api import Browser

TODAY = date(2026, 6, 30)
DEMO = Path("results/filter-drawer/profile.json")
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu"]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
# A phone of the middle class is taken to be four times slower than this machine (common practice,
# no source).
SLOWER = 4
VISITS = 5
SEARCH = (
    "const words = document.getElementById('words'); words.value = 'bench-77';"
    " words.dispatchEvent(new Event('input'))"
)
SORT = (
    SEARCH.replace("'bench-77'", "''") + "; document.querySelectorAll('#gaps th button')[1].click()"
)
DRAWN = "requestAnimationFrame(() => requestAnimationFrame(done))"


def fleet(folder: Path, n: int, prints: int = 1) -> None:
    """Write profiles of ``n`` machines, each with so many prints a month apart."""
    rng = np.random.default_rng(n)
    demo = read_profile(DEMO)
    for machine in range(1, n + 1):
        fat = rng.normal(0, 0.02, 2)
        for k in range(prints):
            own = fat + rng.normal(0, 0.01, 2)
            printed_on = TODAY - timedelta(int(rng.integers(0, 30)) + 30 * k)
            changes = {
                "machine": f"bench-{machine}",
                "material": ("grey", "white", "black")[machine % 3],
                "rehearsed": False,
                "printed_on": printed_on,
                "nozzle_mm": (0.4, 0.6)[machine % 7 == 0],
                "means": demo.means
                | {
                    "growth_ext": demo.means["growth_ext"] + float(own[0]),
                    "growth_int": demo.means["growth_int"] + float(own[1]),
                },
            }
            profile = Profile.model_validate(demo.model_dump() | changes)
            write_profile(profile, folder / f"{machine}-{k}" / "profile.json")


def size_of(folder: Path) -> int:
    """Bytes of all files in a folder."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def board_of(n: int, parent: Path) -> dict[str, float]:
    """Make a board of so many profiles; return its size and seconds a profile."""
    shelf, site = parent / f"shelf-{n}", parent / f"site-{n}"
    fleet(shelf, n)
    start, start_cpu = time.perf_counter(), time.process_time()
    posted, refused = read_posted([shelf])
    read = time.perf_counter()
    board = make_board(posted, TODAY)
    answered = time.perf_counter()
    write_site(site, board, refused)
    end, end_cpu = time.perf_counter(), time.process_time()
    return {
        "bytes": size_of(site),
        "index_bytes": (site / HOME_FILE).stat().st_size,
        # Of this process alone: other work on the machine does not count.
        "cpu_ms_a_profile": 1000 * (end_cpu - start_cpu) / n,
        "ms_a_profile": 1000 * (end - start) / n,
        "ms_a_profile_read": 1000 * (read - start) / n,
        "ms_a_profile_answered": 1000 * (answered - read) / n,
        "ms_a_profile_written": 1000 * (end - answered) / n,
    }


def on_a_phone(site: Path) -> dict[str, float] | None:
    """Open the index on a slowed phone; return when it first paints, in ms. None without one."""
    chromium = shutil.which("chromium")
    if chromium is None:
        return None
    from playwright.sync_api import sync_playwright

    paints, ready, tall = [], [], 0
    busy: dict[str, list[float]] = {"ready_busy_ms": [], "search_busy_ms": [], "sort_busy_ms": []}
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        for _ in range(VISITS):
            context = browser.new_context(**PHONE)
            page = context.new_page()
            session = context.new_cdp_session(page)
            session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
            address = (site / HOME_FILE).resolve().as_uri()
            page.goto(address)
            paints.append(
                page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
            )
            ready.append(
                page.evaluate(
                    "performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd"
                )
            )
            tall = page.evaluate("document.documentElement.scrollHeight")
            context.close()
            for name, ms in _busy_ms(browser, address).items():
                busy[name].append(ms)
        browser.close()
    return {
        "slower": SLOWER,
        "first_paint_ms": min(paints),
        "first_paint_median_ms": float(np.median(paints)),
        "ready_ms": min(ready),
        **{name: min(all_ms) for name, all_ms in busy.items()},
        "page_px": tall,
    }


def _busy_ms(browser: "Browser", address: str) -> dict[str, float]:
    """Return for how long a phone's processor is busy until the index can be used, and in use.

    Counted in processor time of the page's main thread at full speed, times `SLOWER`: other work on
    the machine does not count.
    """
    context = browser.new_context(**PHONE)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def spent_ms() -> float:
        metrics = session.send("Performance.getMetrics")["metrics"]
        spent_s = next(one["value"] for one in metrics if one["name"] == "TaskDuration")
        return 1000 * SLOWER * float(spent_s)

    steps = {"ready_busy_ms": "0", "search_busy_ms": SEARCH, "sort_busy_ms": SORT}
    before, found = spent_ms(), {}
    page.goto(address)
    for name, step in steps.items():
        page.evaluate(f"() => new Promise((done) => {{ {step}; {DRAWN} }})")
        now = spent_ms()
        found[name] = now - before
        before = now
    context.close()
    return found


def main() -> None:
    """Measure boards of several sizes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--profiles", type=int, nargs="+", default=[100, 1000])
    parser.add_argument("--keep", type=Path, help="Folder in which the sites stay")
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    parent = asked.keep or Path(tempfile.mkdtemp())
    found: dict[str, object] = {}
    for n in asked.profiles:
        found[str(n)] = {**board_of(n, parent), "phone": on_a_phone(parent / f"site-{n}")}
        print(n, found[str(n)], flush=True)
    if asked.json:
        asked.json.parent.mkdir(parents=True, exist_ok=True)
        asked.json.write_text(json.dumps(found, indent=1) + "\n")
    if asked.keep is None:
        shutil.rmtree(parent)


if __name__ == "__main__":
    main()
