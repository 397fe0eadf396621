"""Would the tests notice? Faults planted in a sample of places, met by the tests that pass there.

    PYTHONPATH=tests nice python tests/bench/mutation.py --seed 2 --sample 252

A mutant is one module with one change: a comparison, a sign, a constant, and/or, a dropped not, a
returned value. The sample is drawn evenly over the rooms from all places where such a change can be
made. All tests but those of a browser, examples in docstrings among them, are run once on an
untouched copy with coverage by test. Then each mutant meets the tests that ran its line (a constant
of a module: those that ran any line of it, or whose file imports from it) and their neighbours in
the same file, which may share what one of them computed, until one fails: first those whose file
imports from the module, then those of its room, then all others; the quickest first. What survives
is listed with its place, and how many tests it did not meet for want of time: it wants a test, or a
word why it changes nothing, which then stands in ``equivalent.json`` beside this file.
With ``--kept`` a second seed costs its mutants alone: the untouched run is taken from the first.
"""

import argparse
import ast
import hashlib
import importlib
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator
from copy import deepcopy
from dataclasses import asdict, dataclass
from pathlib import Path

import coverage
import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("making", "measuring", "learning", "answering")
# What a run needs beside the package; the demo is what many tests read.
NEEDED = (
    "coupons",
    "coupon_specs",
    "tests",
    "results/filter-drawer",
    "results/MODEL.md",
    "results/INDEX.md",
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
)
# These compare the project's texts and files with its output: a change in any room shows in them,
# and they would hide what no other test sees.
LEFT_OUT = ("test_readme.py", "test_demo_pages.py")
MET = "not browser"  # of the marks
MOST_BYTES = 6 << 30
THIS = str(Path(__file__).relative_to(ROOT))
# Reads the source of every module, and so runs none of its lines.
OF_ALL = "tests/test_frozen_values.py"
# Imported once; each mutant is judged in a fork that has them already.
HEAVY = ("numpy", "scipy.stats", "scipy.optimize", "sklearn", "trimesh", "manifold3d", "pydantic")

COMPARED = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
RECKONED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


@dataclass(frozen=True)
class Mutant:
    """One change of one module, ``at`` counting the nodes of its tree."""

    module: str
    at: int
    kind: str
    line: int
    before: str
    after: str


def changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Yield what a node may be changed to, each with the kind of the change."""
    yield from _other_operators(node)
    yield from _other_values(node)
    if isinstance(node, ast.If | ast.IfExp) and ast.unparse(node.test) != "TYPE_CHECKING":
        changed = deepcopy(node)
        changed.test = ast.UnaryOp(ast.Not(), node.test)
        yield "condition", changed


def _other_operators(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    match node:
        case ast.Compare(ops=[op]) if type(op) in COMPARED:
            yield "comparison", ast.Compare(node.left, [COMPARED[type(op)]()], node.comparators)
        case ast.BinOp(op=op) if type(op) in RECKONED and not _is_text(node):
            yield "sign", ast.BinOp(node.left, RECKONED[type(op)](), node.right)
        case ast.UnaryOp(op=ast.USub() | ast.Not()):
            yield "dropped", node.operand
        case ast.BoolOp(op=op):
            other = ast.Or() if isinstance(op, ast.And) else ast.And()
            yield "and/or", ast.BoolOp(other, node.values)


def _other_values(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    match node:
        case ast.Constant(value=bool() as value):
            yield "constant", ast.Constant(not value)
        case ast.Constant(value=int() | float() as value):
            yield "constant", ast.Constant(value + 1)
            yield "constant", ast.Constant(value - 1)
        case ast.Return(value=ast.expr() as value) if not _is_none(value):
            yield "return", ast.Return(ast.Constant(None))


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(isinstance(s, ast.JoinedStr | ast.List | ast.Tuple) for s in sides) or any(
        isinstance(s, ast.Constant) and isinstance(s.value, str) for s in sides
    )


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _nodes(tree: ast.AST) -> list[ast.AST]:
    """Return the nodes that run, in one order: type annotations do not.

    Nor does ``strict`` of a zip, where lengths agree: it guards against later changes.
    """
    found = [tree]
    is_zip = isinstance(tree, ast.Call) and ast.unparse(tree.func) == "zip"
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "type_params") or (is_zip and name == "keywords"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                found += _nodes(child)
    return found


def mutants(path: Path) -> list[Mutant]:
    """Return every change that can be made to a module."""
    found = []
    for at, node in enumerate(_nodes(ast.parse(path.read_text(encoding="utf-8")))):
        for kind, new in changes(node):
            told = [_first_line(each) for each in (node, new)]
            module = str(path.relative_to(ROOT))
            found.append(Mutant(module, at, kind, getattr(node, "lineno", 0), *told))
    return found


def _first_line(node: ast.AST) -> str:
    return ast.unparse(ast.fix_missing_locations(deepcopy(node))).split("\n")[0][:100]


def mutated(source: str, mutant: Mutant) -> str:
    """Return a module's source with the change made."""
    tree = ast.parse(source)
    old = _nodes(tree)[mutant.at]
    new = next(n for k, n in changes(old) if k == mutant.kind and _first_line(n) == mutant.after)
    for parent in ast.walk(tree):
        for name, value in ast.iter_fields(parent):
            if value is old:
                setattr(parent, name, new)
            elif isinstance(value, list):
                value[:] = [new if child is old else child for child in value]
    return ast.unparse(ast.fix_missing_locations(tree))


def drawn(seed: int, count: int, rooms: Collection[str] = ROOMS) -> list[Mutant]:
    """Draw mutants evenly over the rooms, and within a room over all places.

    A room's share is the same whichever rooms are drawn beside it.
    """
    rng, found = random.Random(seed), []
    for room in ROOMS:
        paths = sorted((ROOT / "coupons" / room).rglob("*.py"))
        places = [mutant for path in paths for mutant in mutants(path)]
        of_room = rng.sample(places, count // len(rooms))
        found += of_room if room in rooms else []
    return found


class Bench:
    """A copy of the project to spoil, and which of its tests run which line.

    Parameters
    ----------
    folder : Path
        An empty folder to work in.
    limit_s : float
        The time that the tests of one mutant may take, untouched.
    kept : Path, optional
        Where what an untouched run found is kept. While the modules stay as they are, a later bench
        runs those files of tests alone that were changed since.
    """

    def __init__(self, folder: Path, limit_s: float, kept: Path | None = None) -> None:
        self.folder, self.limit_s = folder, limit_s
        for name in NEEDED:
            source, target = ROOT / name, folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            if source.is_dir():
                shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, target)
        self.took_s: dict[str, float] = {}
        self.ran: dict[str, dict[int, list[str]]] = {}
        self._know(kept)
        for name in HEAVY:
            importlib.import_module(name)
        self._compile()

    def _compile(self) -> None:
        """Keep the compiled modules and tests: each fork would compile them anew.

        A change gives a module another time than its compiled file has, so that it is read.
        """
        environment = self._environment() | {"PYTHONDONTWRITEBYTECODE": ""}
        command = [sys.executable, "-m", "pytest", "--collect-only", "-q", "tests", "coupons"]
        subprocess.run(command, cwd=self.folder, env=environment, capture_output=True, check=False)

    def _know(self, kept: Path | None) -> None:
        """Find which tests run which line, and keep it; what is kept and still true is taken."""
        digests = {**self._digests("coupons"), **self._digests("tests")}
        files = {name: each for name, each in digests.items() if Path(name).match("test_*.py")}
        # All else that a test rests on; this file plants and judges, and changes no test.
        rest = {n: each for n, each in digests.items() if n not in files and n != THIS}
        known = json.loads(kept.read_text(encoding="utf-8")) if kept and kept.exists() else {}
        if known.get("rest") != rest:
            known = {"files": {}, "took_s": {}, "ran": {}}
        fresh = {name for name, digest in files.items() if known["files"].get(name) != digest}
        stays = {name for name in known["took_s"] if _file(name) not in fresh}
        self.took_s = {name: s for name, s in known["took_s"].items() if name in stays}
        self.took_s |= self._try_untouched(
            sorted(fresh) if known["files"] else ["tests", "coupons"]
        )
        for module, lines in [*known["ran"].items(), *self._tests_by_line().items()]:
            here = self.ran.setdefault(module, {})
            for line, names in lines.items():
                here[int(line)] = sorted({*here.get(int(line), ()), *names} & self.took_s.keys())
        if kept:
            found = {"rest": rest, "files": files, "took_s": self.took_s, "ran": self.ran}
            kept.write_text(json.dumps(found), encoding="utf-8")

    def _digests(self, under: str) -> dict[str, str]:
        paths = sorted((self.folder / under).rglob("*.py"))
        return {
            str(path.relative_to(self.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in paths
        }

    def _try_untouched(self, tests: list[str]) -> dict[str, float]:
        """Run tests with coverage by test; return the seconds that each one took.

        The clock's are turned into the processor's, of which a busy machine gives but a part.
        """
        if not tests:
            return {}
        command = [sys.executable, "-m", "pytest", "-n", "2", "--dist", "loadfile", "-vv"]
        command += ["-p", "no:cacheprovider", "--durations=0", "--durations-min=0"]
        command += ["-m", MET]
        command += ["--cov=coupons", "--cov-context=test", "--cov-report=", "--cov-fail-under=0"]
        command += [*tests, *(f"--ignore-glob=*/{name}" for name in LEFT_OUT)]
        before_s = _processor_s()
        told = subprocess.run(
            command, cwd=self.folder, env=self._environment(), capture_output=True, text=True
        ).stdout
        used_s, took_s = _processor_s() - before_s, Counter[str]()
        for seconds, name in re.findall(r"^([0-9.]+)s (?:call|setup) +(.*)$", told, re.MULTILINE):
            took_s[name] += float(seconds)
        failed = re.findall(r"^(?:FAILED|ERROR) (.*?)(?: - .*)?$", told, re.MULTILINE)
        share = min(1.0, used_s / max(sum(took_s.values()), 1e-9))
        return {name: share * seconds for name, seconds in took_s.items() if name not in failed}

    def _tests_by_line(self) -> dict[str, dict[int, list[str]]]:
        path = self.folder / ".coverage"
        if not path.exists():
            return {}
        data = coverage.CoverageData(str(path))
        data.read()
        found = {}
        for path in data.measured_files():
            lines = data.contexts_by_lineno(path)
            names = {
                line: sorted({context.split("|")[0] for context in contexts} - {""})
                for line, contexts in lines.items()
            }
            found[str(Path(path).relative_to(self.folder))] = names
        return found

    def tests_of(self, mutant: Mutant) -> list[list[str]]:
        """Return the tests that a mutant meets, within the limit, in two parts.

        First those that run its line and whose file imports from its module, with their neighbours:
        what a fixture or a cache computed once was seen to run in one test alone. After them, of
        all others that run the line, those of the module's own room: many a module is tested
        through the one that uses it. The second part is what is left.
        """
        first, second = self._by_nearness(mutant)
        found, left_s = [], self.limit_s
        for part in (first, second):
            met = []
            for name in part:
                left_s -= self.took_s[name]
                if left_s < 0 and (found or met):
                    break
                met.append(name)
            found += [met] if met else []
        return found

    def left_out_of(self, mutant: Mutant) -> int:
        """Return how many tests that may notice a mutant do not meet it, for want of time."""
        return sum(map(len, self._by_nearness(mutant))) - sum(map(len, self.tests_of(mutant)))

    def _by_nearness(self, mutant: Mutant) -> tuple[list[str], list[str]]:
        """Return all tests that may notice a mutant, nearest first, the quick before the slow."""
        of_module, naming = self._of_module(mutant.module), self._naming(mutant.module)
        here = set(self.ran.get(mutant.module, {}).get(mutant.line, ())) or of_module
        files = {_file(name) for name in here}
        beside = {name for name in self.took_s if _file(name) in files}
        room = f"tests/{mutant.module.split('/')[1]}/"
        of_room = {name for name in self.took_s if name.startswith(room)}
        own = here & naming | {name for name in self.took_s if _file(name) == OF_ALL}
        parts = (own, beside & naming, here & of_room, here, beside)
        ordered: dict[int, list[str]] = {}
        known: set[str] = set()
        for at, part in enumerate(parts):
            new = (part - known) & self.took_s.keys()
            ordered[at] = sorted(new, key=self.took_s.__getitem__)
            known |= new
        return ordered[0] + ordered[1] + ordered[2], ordered[3] + ordered[4]

    def _of_module(self, module: str) -> set[str]:
        """Return the tests that run any line of a module, or whose file imports from it."""
        ran = {name for each in self.ran.get(module, {}).values() for name in each}
        return ran | self._naming(module)

    def _naming(self, module: str) -> set[str]:
        """Return the tests whose file imports from a module."""
        dotted = module.removesuffix(".py").replace("/", ".")
        room, _, own = dotted.rpartition(".")
        wanted = re.compile(
            rf"from {re.escape(dotted)} import |from {re.escape(room)} import .*\b{own}\b"
        )
        files = {_file(name) for name in self.took_s}
        naming = {file for file in files if wanted.search((self.folder / file).read_text("utf-8"))}
        return {name for name in self.took_s if _file(name) in naming}

    def is_killed(self, mutant: Mutant) -> bool | None:
        """Tell whether the tests of a mutant's line notice it; None if there are none."""
        tests = self.tests_of(mutant)
        if not tests:
            return None
        path = self.folder / mutant.module
        source = path.read_text(encoding="utf-8")
        try:
            path.write_text(mutated(source, mutant), encoding="utf-8")
            return any(self._fails(part) for part in tests)
        finally:
            path.write_text(source, encoding="utf-8")

    def _fails(self, tests: list[str]) -> bool:
        """Run tests in a fork; an endless loop ends at a limit, and counts as noticed."""
        child = os.fork()
        if child == 0:
            self._run_and_exit(tests)
        _, status = os.waitpid(child, 0)
        nothing_fails = (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
        return os.waitstatus_to_exitcode(status) not in nothing_fails

    def _run_and_exit(self, tests: list[str]) -> None:
        code = 1
        try:
            # Time of the processor: on a busy machine the clock would take slow tests for endless.
            most_s = int(2 * self.limit_s + 20)
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s))
            resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
            os.chdir(self.folder)
            os.environ.update(self._environment())
            sys.path[:0] = [str(self.folder), str(self.folder / "tests")]
            sys.dont_write_bytecode = True
            silent = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):
                os.dup2(silent, stream)
            # As in the untouched run: the settings of the project would leave out the slow ones.
            code = int(pytest.main(["-x", "-q", "-m", MET, "-p", "no:cacheprovider", *tests]))
        finally:
            os._exit(code)

    def _environment(self) -> dict[str, str]:
        ours = {"PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        return {**os.environ, **ours, "OPENBLAS_NUM_THREADS": "1"}


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _file(test: str) -> str:
    return test.split("::")[0]


def equivalents() -> dict[tuple[str, str, str, str], str]:
    """Return why some changes change nothing, by module, its line, what stood there and what came.

    The line is known by its text: numbers of lines move, and one module may hold many a ``1``.
    """
    kept = json.loads(Path(__file__).with_name("equivalent.json").read_text(encoding="utf-8"))
    names = ("module", "line", "before", "after")
    return {tuple(each[name] for name in names): each["why"] for each in kept}


def _line_of(mutant: Mutant) -> str:
    lines = (ROOT / mutant.module).read_text(encoding="utf-8").splitlines()
    return lines[mutant.line - 1].strip() if mutant.line else ""


def report(
    options: argparse.Namespace, told: list[tuple[Mutant, bool | None, int]]
) -> dict[str, object]:
    """Return the figures as they are kept; a change that changes nothing counts in none of them."""
    why = equivalents()
    rooms: dict[str, Counter[str]] = defaultdict(Counter)
    survivors, same = [], []
    for mutant, killed, left_out in told:
        reason = why.get((mutant.module, _line_of(mutant), mutant.before, mutant.after))
        if not killed and reason:
            same.append({**asdict(mutant), "why": reason})
            rooms[mutant.module.split("/")[1]]["equivalent"] += 1
            continue
        word = {True: "killed", False: "survived", None: "untested"}[killed]
        rooms[mutant.module.split("/")[1]][word] += 1
        if not killed:
            survivors.append({**asdict(mutant), "tests_left_out": left_out})
    shares = {
        room: round(counts["killed"] / (counts.total() - counts["equivalent"]), 3)
        for room, counts in rooms.items()
    }
    stop = f" --stop-after-s {options.stop_after_s:g}" if options.stop_after_s else ""
    rooms_said = "" if set(options.rooms) == set(ROOMS) else f" --rooms {' '.join(options.rooms)}"
    return {
        "command": f"PYTHONPATH=tests python tests/bench/mutation.py --seed {options.seed} "
        f"--sample {options.sample} --limit-s {options.limit_s:g}{rooms_said}{stop} "
        f"--out {options.out}",
        "seed": options.seed,
        "sample": len(told),
        "limit_s": options.limit_s,
        "killed_share_without_equivalent": shares,
        "rooms": {room: dict(counts) for room, counts in rooms.items()},
        "survivors": survivors,
        "equivalent": same,
    }


def main() -> None:
    """Draw, spoil, run, and write what survived."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sample", type=int, default=252)
    parser.add_argument("--rooms", nargs="+", choices=ROOMS, default=ROOMS, metavar="ROOM")
    parser.add_argument("--limit-s", type=float, default=25.0, help="tests a mutant")
    parser.add_argument("--stop-after-s", type=float, help="judge no more mutants after so long")
    parser.add_argument("--kept", type=Path, help="keep which tests run which line, for a next run")
    parser.add_argument("--out", type=Path, default=Path("results/bench/mutation.json"))
    options = parser.parse_args()
    started, told = time.monotonic(), []
    chosen = drawn(options.seed, options.sample, options.rooms)
    random.Random(options.seed).shuffle(chosen)  # so that a run cut short is even over the rooms
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), options.limit_s, options.kept)
        for mutant in chosen:
            if options.stop_after_s and time.monotonic() - started > options.stop_after_s:
                break
            told.append((mutant, bench.is_killed(mutant), bench.left_out_of(mutant)))
            word = {True: "killed  ", False: "SURVIVED", None: "UNTESTED"}[told[-1][1]]
            where = f"{mutant.module}:{mutant.line}"
            print(f"{word} {where} {mutant.before} → {mutant.after}", file=sys.stderr, flush=True)
    options.out.parent.mkdir(parents=True, exist_ok=True)
    options.out.write_text(json.dumps(report(options, told), indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
