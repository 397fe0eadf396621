"""Imports point one way: a module may import its own room and those above it, never below."""

import ast
from collections.abc import Iterable
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import coupons

ORDER = [
    "neutral",
    "progress",
    "errors",
    "reading",
    "atomic",
    "terms",
    "models",
    "making",
    "measuring",
    "learning",
    "answering",
    "showing",
    "job",
    "batch",
    "cli",
    "__main__",
]
HOUSE = Path(coupons.__file__).parent


def room(module: str) -> str:
    return module.split(".")[1]


@cache
def imports_in(source: str) -> tuple[tuple[str, bool, str], ...]:
    """Return the modules that a source imports, whether for annotations alone, and what of them."""
    found = []
    for top in ast.parse(source).body:
        for node in ast.walk(top):  # walks into functions: late imports count
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            else:
                continue
            found += [(name, runs_nothing(top), ast.unparse(node)) for name in names]
    return tuple(found)


def runs_nothing(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def ours(names: Iterable[str]) -> list[str]:
    return [name for name in names if name.startswith("coupons.")]


def upward_imports(module_room: str, source: str) -> list[str]:
    limit = ORDER.index(module_room)
    imported = ours(name for name, _, _ in imports_in(source))
    return [name for name in imported if ORDER.index(room(name)) > limit]


def test_no_module_imports_from_a_later_room():
    wrong = {}
    for path in sorted(HOUSE.rglob("*.py")):
        parts = path.relative_to(HOUSE).parts
        if parts == ("__init__.py",):
            continue  # the front door loads names lazily, from any room
        found = upward_imports(parts[0].removesuffix(".py"), path.read_text(encoding="utf-8"))
        if found:
            wrong[str(path)] = found
    assert not wrong


def test_the_check_sees_an_upward_import_inside_a_function():
    source = "def f():\n    from coupons.learning.fit import fit_runs\n"
    assert upward_imports("making", source) == ["coupons.learning.fit"]


def part(module: str) -> str:
    """The sub-room of a module; for a module that is in none, the module itself."""
    return ".".join(module.split(".")[:3])


def imports_between_parts() -> dict[str, set[str]]:
    graph: dict[str, set[str]] = {}
    for path in sorted(HOUSE.rglob("*.py")):
        module = ".".join(("coupons", *path.relative_to(HOUSE).with_suffix("").parts))
        if path.name == "__init__.py" or room(module) == "cli":
            continue
        found = imports_in(path.read_text(encoding="utf-8"))
        imported = {part(name) for name in ours(name for name, alone, _ in found if not alone)}
        graph.setdefault(part(module), set()).update(imported - {part(module)})
    return graph


def test_no_two_parts_import_each_other():
    TopologicalSorter(imports_between_parts()).prepare()


def test_the_check_sees_a_circle_of_parts():
    with pytest.raises(CycleError):
        TopologicalSorter({"a": {"b"}, "b": {"c"}, "c": {"a"}}).prepare()


def test_only_solids_knows_the_geometry_kernel():
    users = {
        path.name
        for path in HOUSE.rglob("*.py")
        if any("manifold3d" in line for _, _, line in imports_in(path.read_text(encoding="utf-8")))
    }
    assert users <= {"solids.py"}
