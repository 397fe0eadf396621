"""Size of an installation, and how soon a script and a command answer, beside an earlier state.

Two fresh virtual environments, of this tree and of a revision before it; the commands of both are
called in turn, so that other work on the machine hits both alike. Run from the root of the project:

    python tests/bench/bench_install.py --before 3083b2a --json results/bench/install.json
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

REPEATS = 15
CALLS = {
    "a bare interpreter": ["bin/python", "-c", "pass"],
    "import coupons": ["bin/python", "-c", "import coupons"],
    "coupons --help": ["bin/coupons", "--help"],
    "coupons specs": ["bin/coupons", "specs"],
    "coupons offset --help": ["bin/coupons", "offset", "--help"],
}


def run(command: list[str], folder: Path) -> None:
    """Run a command quietly; it must succeed."""
    subprocess.run(command, cwd=folder, check=True, capture_output=True)


def installed(tree: Path, folder: Path) -> Path:
    """Install a tree as a user would, into a fresh environment in a folder."""
    run([sys.executable, "-m", "venv", str(folder)], tree)
    run([str(folder / "bin/pip"), "install", "--quiet", str(tree)], tree)
    return folder


def size_mb(environment: Path) -> float:
    """Megabytes of all that was installed, the installer itself left out."""
    packages = next(environment.glob("lib/python*/site-packages"))
    files = (path for path in packages.rglob("*") if path.is_file())
    return sum(f.stat().st_size for f in files if f.relative_to(packages).parts[0] != "pip") / 1e6


def seconds(environments: dict[str, Path], call: list[str], folder: Path) -> dict[str, float]:
    """Median seconds of a call in each environment, called in turn, the first round not counted."""
    times: dict[str, list[float]] = {name: [] for name in environments}
    for _ in range(REPEATS + 1):
        for name, environment in environments.items():
            start = time.perf_counter()
            run([str(environment / call[0]), *call[1:]], folder)
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(of[1:]) for name, of in times.items()}


def main() -> None:
    """Measure both states and write their figures with the ratios of now to before."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", required=True, help="a revision to hold this tree against")
    parser.add_argument("--json", type=Path)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        run(["git", "worktree", "add", "--detach", str(folder / "tree"), asked.before], Path.cwd())
        try:
            both = {
                "before": installed(folder / "tree", folder / "before"),
                "now": installed(Path.cwd(), folder / "now"),
            }
        finally:
            run(["git", "worktree", "remove", "--force", str(folder / "tree")], Path.cwd())
        found = {"installed, MB": {name: round(size_mb(at), 1) for name, at in both.items()}}
        for name, call in CALLS.items():
            took = seconds(both, call, folder)
            found[f"{name}, s"] = {state: round(s, 3) for state, s in took.items()}
    for figures in found.values():
        figures["ratio"] = round(figures["now"] / figures["before"], 3)
    text = json.dumps({"before": asked.before, **found}, indent=1, ensure_ascii=False) + "\n"
    print(text)
    if asked.json:
        asked.json.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
