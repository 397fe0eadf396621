"""Would the tests notice? Faults planted in a sample of places, each met by the tests near it.

    python tests/bench/mutation.py --seed 1 --sample 60 --out results/bench/mutation.json

A mutant is one module with one change: a comparison, a sign, a constant, and/or, a dropped not, a
returned value. The sample is drawn evenly over the rooms from all places where such a change can be
made. A mutant is killed if one of the tests that import its module fails, or if they run into the
time limit; tests that fail without it are left aside. Tests that go through the command line import
no module and do not count, so that some survivors are met there. What survives is listed with its
place: it wants a test, or a word why it changes nothing.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("making", "measuring", "learning", "answering")
MOST_FILES = 5  # test files that are run for one module, the nearest first
# What a run needs beside the package; the demo is what many tests read.
NEEDED = (
    "coupons",
    "coupon_specs",
    "tests",
    "results/filter-drawer",
    "README.md",
    "pyproject.toml",
)

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
    """Return the nodes that run, in one order: type annotations do not."""
    found = [tree]
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "type_params"):
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


@cache
def _imports(path: Path) -> frozenset[str]:
    """Return the modules that a file imports anywhere, as paths from the root or test helpers."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return frozenset(found)


def tests_of(module: str) -> list[str]:
    """Return the test files that import a module; if none does, those of what imports it."""
    tests = sorted(
        [p for p in ROOT.glob("tests/**/test_*.py") if p.parent.name not in ("bench", "browser")]
    )
    tests = [path for path in tests if path.name not in ("test_readme.py", "test_demo_pages.py")]
    names, seen = {module.removesuffix(".py").replace("/", ".")}, set()
    own = f"test_{Path(module).stem}.py"
    while names:
        near = [path for path in tests if names & _imports(path)]
        near.sort(key=lambda path: (path.name != own, path.stat().st_size))
        if near:
            return [str(path.relative_to(ROOT)) for path in near[:MOST_FILES]]
        seen |= names
        names = {
            str(path.relative_to(ROOT)).removesuffix(".py").replace("/", ".")
            for path in ROOT.glob("coupons/**/*.py")
            if names & _imports(path)
        } - seen
    return []


def drawn(seed: int, count: int) -> list[Mutant]:
    """Draw mutants evenly over the rooms, and within a room over all places."""
    rng, found = random.Random(seed), []
    for room in ROOMS:
        paths = sorted((ROOT / "coupons" / room).rglob("*.py"))
        places = [mutant for path in paths for mutant in mutants(path)]
        found += rng.sample(places, count // len(ROOMS))
    return found


class Bench:
    """A copy of the project to spoil, and what its tests say untouched."""

    def __init__(self, folder: Path, limit_s: float) -> None:
        self.folder, self.limit_s = folder, limit_s
        self.failing: set[str] = set()
        for name in NEEDED:
            source, target = ROOT / name, folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            copy = shutil.copytree if source.is_dir() else shutil.copy
            copy(source, target)

    def is_killed(self, mutant: Mutant) -> bool | None:
        """Tell whether the tests near a mutant notice it; None if there are none."""
        tests = tests_of(mutant.module)
        if not tests:
            return None
        path = self.folder / mutant.module
        source = path.read_text(encoding="utf-8")
        while True:
            path.write_text(mutated(source, mutant), encoding="utf-8")
            aside = [f"--deselect={name}" for name in sorted(self.failing)]
            try:
                code, told = self._run("-x", "-rfE", *aside, mutant.module, *tests)
            finally:
                path.write_text(source, encoding="utf-8")
            lines = [line.split(" - ")[0].split(" ", 1) for line in told.splitlines()]
            failed = [line[1] for line in lines if line[0] in ("FAILED", "ERROR")]
            if code in (0, 5) or not failed or self._run(failed[0])[0] == 0:
                return code not in (0, 5)
            self.failing.add(failed[0])  # it fails without the change too

    def _run(self, *arguments: str) -> tuple[int, str]:
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *arguments]
        paths = {"PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            done = subprocess.run(
                command,
                cwd=self.folder,
                env={**os.environ, **paths, "OPENBLAS_NUM_THREADS": "1"},
                capture_output=True,
                text=True,
                timeout=self.limit_s,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return -1, ""
        return done.returncode, done.stdout


def report(
    options: argparse.Namespace, told: list[tuple[Mutant, bool | None]]
) -> dict[str, object]:
    """Return the figures as they are kept."""
    rooms: dict[str, Counter[str]] = defaultdict(Counter)
    stop = f" --stop-after-s {options.stop_after_s:g}" if options.stop_after_s else ""
    for mutant, killed in told:
        word = {True: "killed", False: "survived", None: "untested"}[killed]
        rooms[mutant.module.split("/")[1]][word] += 1
    return {
        "command": f"python tests/bench/mutation.py --seed {options.seed} --sample "
        f"{options.sample} --limit-s {options.limit_s:g}{stop} --out {options.out}",
        "seed": options.seed,
        "sample": len(told),
        "limit_s": options.limit_s,
        "killed": sum(killed is True for _, killed in told),
        "rooms": {room: dict(counts) for room, counts in rooms.items()},
        "survivors": [asdict(mutant) for mutant, killed in told if not killed],
    }


def main() -> None:
    """Draw, spoil, run, and write what survived."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sample", type=int, default=252)
    parser.add_argument("--limit-s", type=float, default=120.0, help="a mutant")
    parser.add_argument("--stop-after-s", type=float, help="judge no more mutants after so long")
    parser.add_argument("--out", type=Path, default=Path("results/bench/mutation.json"))
    options = parser.parse_args()
    started, told = time.monotonic(), []
    chosen = drawn(options.seed, options.sample)
    random.Random(options.seed).shuffle(chosen)  # so that a run cut short is even over the rooms
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), options.limit_s)
        for mutant in chosen:
            if options.stop_after_s and time.monotonic() - started > options.stop_after_s:
                break
            told.append((mutant, bench.is_killed(mutant)))
            word = {True: "killed  ", False: "SURVIVED", None: "UNTESTED"}[told[-1][1]]
            where = f"{mutant.module}:{mutant.line}"
            print(f"{word} {where} {mutant.before} → {mutant.after}", file=sys.stderr, flush=True)
    options.out.parent.mkdir(parents=True, exist_ok=True)
    options.out.write_text(json.dumps(report(options, told), indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
