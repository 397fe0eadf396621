"""Spoiled files of every kind through every command: no traceback, nothing outside, no waiting.

A seed and a number make one file: a good one of its kind, spoiled in one to four ways, some of them
no plain file at all. Each goes through the commands that read its kind; those that take seconds
take every so-manieth file, as `PLANS` states.

    PYTHONPATH=tests python tests/bench/fuzz.py --json results/bench/fuzz.json
"""

import argparse
import json
import os
import platform
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from bench.spoil import spoiled
from click.testing import CliRunner, Result

from coupons.cli import main
from coupons.making.spec.coupon_spec import specs_folder

COMMAND = "PYTHONPATH=tests python tests/bench/fuzz.py"
LATE_S = 90  # longer than any of these takes on a busy machine
MOST_FAULTS = 20  # told in full
BLANK = "blank"
IN_A_PROCESS = 100  # one file in so many also goes through a process of its own
SLIDING = ["--joint", "slot/tongue", "--size", "4", "--across", "x"]


@dataclass(frozen=True)
class Plan:
    """What is done with files of one kind.

    Parameters
    ----------
    share : float
        Of all files.
    name : str
        What the file is called in the folder of a run.
    commands : dict of str to int
        Command lines with ``{}`` for the folder; each takes one file in so many.
    """

    share: float
    name: str
    commands: dict[str, int]


PLANS = {
    "profile": Plan(
        0.30,
        "profile.json",
        {
            "offset {}/profile.json --joint slot/tongue --size 4 --across x": 1,
            "offset {}/profile.json --form hole --prints 5 --across z --json": 2,
            "joints {}/profile.json {}/joints.csv": 4,
            "compare {}/profile.json {}/good.json": 4,
            "still {}/good.json {}/profile.json": 4,
            "next {}/profile.json --joint hole/pin --size 5 --across z": 60,
            "board {} -o {}/board": 10,
        },
    ),
    "joints": Plan(
        0.24,
        "joints.csv",
        {
            "joints {}/profile.json {}/joints.csv": 1,
            "joints {}/profile.json {}/joints.csv --json -o {}/part": 10,
            "next {}/profile.json --joints {}/joints.csv": 60,
            "compare {}/profile.json {}/profile.json --joints {}/joints.csv": 4,
        },
    ),
    "conditions": Plan(
        0.14, "conditions.toml", {"check {}": 1, "rehearse {}": 2, "fit {}": 16, "make {}": 60}
    ),
    "entries": Plan(
        0.14,
        "entries.csv",
        {"check {}": 1, "check {} --json": 2, "rehearse {}": 8, "fit {}": 16, "make {}": 60},
    ),
    "record": Plan(
        0.10, "coupon.json", {"check {}": 1, "rehearse {}": 2, "fit {}": 8, "make {}": 60}
    ),
    "spec": Plan(0.04, "spec.toml", {"make {}/spec.toml -o {}/new": 1}),
    "machine": Plan(0.03, "own.toml", {"rehearse {} --machine {}/own.toml": 1}),
    "map": Plan(0.01, "map.svg", {"check {}": 1, "make {}": 4}),
}


@dataclass(frozen=True)
class Fault:
    """One way in which a command did not end as it must."""

    number: int
    kind: str
    command: str
    what: str


class Guard:
    """Watches everything that this process opens for writing, moves, makes or removes."""

    def __init__(self) -> None:
        self.room: str | None = None
        self.seen: list[str] = []
        sys.addaudithook(self._look)

    @contextmanager
    def within(self, room: Path) -> Iterator[None]:
        """Take note of every change outside of a folder."""
        self.room, self.seen = os.path.realpath(room), []
        try:
            yield
        finally:
            self.room = None

    def _look(self, event: str, arguments: tuple[object, ...]) -> None:
        if self.room is None or event not in _CHANGES:
            return
        room, self.room = self.room, None  # looking at a path is no change
        try:
            for path in _changed(event, arguments):
                folder = os.path.realpath(Path(path).parent)
                if path != os.devnull and not f"{folder}{os.sep}".startswith(room + os.sep):
                    self.seen.append(f"{event} {path}")
        finally:
            self.room = room


_CHANGES = {
    "open",
    "os.rename",
    "os.remove",
    "os.mkdir",
    "os.rmdir",
    "os.link",
    "os.symlink",
    "os.truncate",
    "os.chmod",
    "os.utime",
}
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def _changed(event: str, arguments: tuple[object, ...]) -> list[str]:
    if event == "open":
        path, _, flags = arguments
        if not (isinstance(flags, int) and flags & _WRITING):
            return []
        return [os.fsdecode(path)] if isinstance(path, str | bytes | os.PathLike) else []
    if event in ("os.remove", "os.rmdir") and isinstance(arguments[1], int) and arguments[1] >= 0:
        # The path starts from a folder that is open.
        return [str(Path(f"/proc/self/fd/{arguments[1]}").readlink() / str(arguments[0]))]
    taken = arguments[1:2] if event == "os.symlink" else arguments[:2]
    return [os.fsdecode(path) for path in taken if isinstance(path, str | bytes | os.PathLike)]


def good_files(folder: Path) -> None:
    """Make a small run with everything in it that a command reads, and one with nothing typed."""
    runner = CliRunner()
    for line in (
        ["make", "recheck", "-o", str(folder), "--machine", "bench-1", "--material", "grey"],
        ["rehearse", str(folder)],
        ["fit", str(folder)],
    ):
        done = runner.invoke(main, line, catch_exceptions=False)
        assert done.exit_code == 0, done.output
        if line[0] == "make":
            shutil.copytree(folder, folder.with_name(BLANK))
    shutil.copy(folder / "profile.json", folder / "good.json")
    shutil.copy(specs_folder() / "recheck.toml", folder / "spec.toml")
    machines = (
        Path(sys.modules["coupons.measuring.virtual.machine"].__file__ or "").parent / "machines"
    )
    shutil.copy(machines / "attic-1.toml", folder / "own.toml")
    (folder / "joints.csv").write_text(
        "name,internal,external,size_mm,across,fit,move,hardware\n"
        "drawer,slot,tongue,4,x,slide,external,\n"
        "lid,hole,pin,5,z,push,internal,\n"
        "dowel,,,,z,push,,pin 5 m6\n",
        encoding="utf-8",
    )


def kind_of(number: int, plans: Mapping[str, Plan] = PLANS) -> str:
    """Return the kind of the file of this number, in the shares of the plans."""
    at = (number * 0.6180339887498949) % 1.0  # spreads any run of numbers evenly
    for kind, plan in plans.items():
        at -= plan.share
        if at < 0:
            return kind
    return next(reversed(plans))


def arguments_of(command: str, folder: Path) -> list[str]:
    """Return the words of a command line of `PLANS` for a folder."""
    words = command.split()
    if words[0] == "make" and len(words) == 2:
        words = ["make", "recheck", "-o", "{}"]
    return [word.replace("{}", str(folder)) for word in words]


class Bench:
    """Runs spoiled files through commands in one folder, and keeps count."""

    def __init__(
        self,
        good: Path,
        room: Path,
        seed: int,
        plans: Mapping[str, Plan] = PLANS,
        spoil: Callable[[Path, np.random.Generator], None] = spoiled,
    ) -> None:
        self.good, self.room, self.seed = good, room, seed
        self.plans, self.spoil = plans, spoil
        self.guard = Guard()
        self.runs: Counter[str] = Counter()
        self.exits: Counter[int] = Counter()
        self.faults: list[Fault] = []
        self.slowest_s = (0.0, "")
        signal.signal(signal.SIGALRM, _late)

    def try_file(self, number: int) -> None:
        """Spoil the file of this number and send it through its commands."""
        kind = kind_of(number, self.plans)
        plan = self.plans[kind]
        for turn, (command, every) in enumerate(plan.commands.items()):
            if (number + turn) % every:
                continue
            folder = self._fresh(plan.name, number, command)
            self._run(number, kind, command, folder)
        if number % IN_A_PROCESS == 0:
            command = next(iter(plan.commands)).split(" && ")[0]
            folder = self._fresh(plan.name, number, command)
            self._run_process(number, kind, command, folder)

    def _fresh(self, name: str, number: int, command: str) -> Path:
        """Lay out the good files with one of them spoiled; the same number, the same file."""
        folder = self.room / "run"
        shutil.rmtree(folder, ignore_errors=True)
        verb = command.split()[0]
        skip = shutil.ignore_patterns("print") if verb != "make" else None
        shutil.copytree(self.good, folder, ignore=skip)
        if verb in ("make", "rehearse"):  # which refuse a sheet that somebody filled in
            shutil.copytree(self.good.with_name(BLANK), folder, ignore=skip, dirs_exist_ok=True)
        self.spoil(folder / name, np.random.default_rng([self.seed, number]))
        return folder

    def _run(self, number: int, kind: str, command: str, folder: Path) -> None:
        narrow = number % 3 == 0
        runner = CliRunner(charset="cp1252" if narrow else "utf-8")
        before = _typed(folder)
        start = time.perf_counter()
        signal.alarm(LATE_S)
        with self.guard.within(self.room):
            done = _one_after_the_other(runner, command, folder)
        signal.alarm(0)
        took_s = time.perf_counter() - start
        self.slowest_s = max(self.slowest_s, (round(took_s, 2), command))
        self.runs[f"{kind}: {command}"] += 1
        self.exits[done.exit_code] += 1
        error = done.exception
        if error is not None and not isinstance(error, SystemExit):
            tail = "".join(traceback.format_exception(error)[-3:])
            self._fault(number, kind, command, f"{type(error).__name__}: {error}\n{tail}")
        elif done.exit_code not in (0, 1, 2):
            self._fault(number, kind, command, f"exit code {done.exit_code}")
        elif done.exit_code and not done.stderr.strip() and not done.stdout.strip():
            self._fault(number, kind, command, "it fails and says nothing")
        if any(unicodedata.category(c)[0] == "C" and c != "\n" for c in done.output):
            self._fault(number, kind, command, f"says {done.output[:200]!r}")
        if self.guard.seen:
            self._fault(number, kind, command, f"outside: {self.guard.seen[:3]}")
        if "rehearse" not in command and _typed(folder) != before:
            self._fault(number, kind, command, "a file that a person types was changed")

    def _run_process(self, number: int, kind: str, command: str, folder: Path) -> None:
        outside = sorted(self.room.parent.rglob("*"))
        try:
            done = subprocess.run(
                [sys.executable, "-m", "coupons", *arguments_of(command, folder)],
                capture_output=True,
                timeout=LATE_S,
                check=False,
                cwd=self.room,
                env={**os.environ, "PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"},
            )
        except subprocess.TimeoutExpired:
            self._fault(number, kind, command, "a process that does not end")
            return
        self.runs["in a process of its own"] += 1
        if done.returncode not in (0, 1, 2) or b"Traceback" in done.stderr:
            self._fault(number, kind, command, done.stderr.decode("cp1252", "replace")[-2000:])
        new = {path for path in self.room.parent.rglob("*") if self.room not in path.parents}
        if new - set(outside):
            self._fault(number, kind, command, f"outside: {sorted(new - set(outside))[:3]}")

    def _fault(self, number: int, kind: str, command: str, what: str) -> None:
        self.faults.append(Fault(number, kind, command, what))
        print(f"file {number}, {kind}, {command}: {what[-300:]}", file=sys.stderr)


def _one_after_the_other(runner: CliRunner, command: str, folder: Path) -> Result:
    """Run command lines joined by ``&&``, up to the first that ends with another code than 0."""
    for one in command.split(" && "):
        done = runner.invoke(main, arguments_of(one, folder))
        if done.exit_code:
            break
    return done


def _typed(folder: Path) -> dict[str, bytes]:
    names = ("entries.csv", "conditions.toml", "joints.csv", "spec.toml", "own.toml")
    plain = (folder / name for name in names if (folder / name).is_file())
    return {path.name: path.read_bytes() for path in plain}


def _late(*_: object) -> None:
    raise TimeoutError(f"not done after {LATE_S} s")


def fuzz(numbers: Sequence[int], seed: int, room: Path, *, talk: bool = False) -> Bench:
    """Send the files of these numbers through their commands.

    Parameters
    ----------
    numbers : sequence of int
    seed : int
        With it a number makes the same file each time.
    room : Path
        An empty folder to work in.
    talk : bool
        Say on stderr how far it has come.
    """
    good, inside = room / "good", room / "work" / "inside"
    inside.mkdir(parents=True)
    good_files(good)
    bench = Bench(good, inside, seed)
    said = time.monotonic()
    for n, number in enumerate(numbers):
        bench.try_file(number)
        if talk and time.monotonic() - said > 20:
            said = time.monotonic()
            print(f"{n} of {len(numbers)} files, {len(bench.faults)} faults", file=sys.stderr)
    return bench


def report(bench: Bench, files: int, seed: int, took_s: float) -> dict[str, object]:
    """Return the figures to keep."""
    return {
        "command": f"{COMMAND} --files {files} --seed {seed}",
        "python": platform.python_version(),
        "files": files,
        "seed": seed,
        "runs": sum(bench.runs.values()),
        "cpu_s": round(took_s),
        "slowest_s": list(bench.slowest_s),
        "exit_codes": {str(code): count for code, count in sorted(bench.exits.items())},
        "runs_by_kind_and_command": dict(sorted(bench.runs.items())),
        "faults": len(bench.faults),
        "told": [vars(fault) for fault in bench.faults[:MOST_FAULTS]],
    }


def _main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first file")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path, help="write the figures here")
    chosen = parser.parse_args()
    start = time.process_time()
    fast = Path("/dev/shm")  # where a flush to disk costs nothing
    with tempfile.TemporaryDirectory(dir=fast if fast.is_dir() else None) as room:
        numbers = range(chosen.first, chosen.first + chosen.files)
        bench = fuzz(numbers, chosen.seed, Path(room), talk=True)
    figures = report(bench, chosen.files, chosen.seed, time.process_time() - start)
    print(json.dumps(figures, indent=1, ensure_ascii=False))
    if chosen.json:
        text = json.dumps(figures, indent=1, ensure_ascii=False)
        chosen.json.write_text(text + "\n", encoding="utf-8")
    raise SystemExit(bool(bench.faults))


if __name__ == "__main__":
    _main()
