"""Write the files of a coupon into a run folder: record, print files, map and preview."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from coupons.atomic import not_ours, remove, write_bytes
from coupons.errors import PlanError, Problem, WriteError
from coupons.making.output.agreement import faults_of
from coupons.making.output.map import map_svg
from coupons.making.output.ownership import IS_OURS
from coupons.making.output.preview import preview_png
from coupons.making.output.readback import read_back
from coupons.making.output.solids import Solid, build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.output.threemf import threemf_bytes
from coupons.making.plan import Plan, record
from coupons.making.record import CouponProof, CouponRun, write_coupon
from coupons.progress import steps
from coupons.reading import read_plain


def checked_solids(plan: Plan) -> tuple[Solid, ...]:
    """Build every body of a plan and check it against the record, before any file is written.

    Raises
    ------
    PlanError
        If a body does not come out as one watertight piece, or not as the record says, or if a
        mate has no room in its place.
    """
    solids = build_solids(plan)
    problems = faults_of(plan, solids)
    if problems:
        raise PlanError(problems)
    return solids


def write_coupon_files(
    plan: Plan,
    folder: Path,
    solids: tuple[Solid, ...] | None = None,
    run: CouponRun | None = None,
    proof: CouponProof | None = None,
) -> tuple[Path, ...]:
    """Write ``coupon.json``, ``print/``, ``map.svg`` and ``preview.png``; return what was written.

    Everything is built and checked before the first file is touched; ``solids`` are those of
    :func:`checked_solids`, where they have been built already. ``run`` is the print that the record
    is to name, ``proof`` what it is to prove. Print files of an earlier layout of the coupon are
    removed.

    Raises
    ------
    PlanError
        As :func:`checked_solids`.
    WriteError
        If one of the files is there and was not made by this tool, or cannot be there; or if what
        would be written does not read back as the solids.
    """
    if solids is None:
        solids = checked_solids(plan)
    loose = frozenset(item.body.id for item in plan.placed if item.body.loose)
    prints = dict(_print_files(plan, solids))
    problems = list(read_back(prints, _plate_files(plan, solids)))
    if problems:
        raise WriteError(problems)
    files = {folder / "print" / name: data for name, data in prints.items()}
    files[folder / "map.svg"] = map_svg(plan).encode("utf-8")
    files[folder / "preview.png"] = preview_png(solids, loose)
    _refuse_to_replace(folder, files)
    for path, data in steps(list(files.items()), "files written"):
        write_bytes(path, data)
    for path in _stale(folder / "print", plan.spec.name) - set(files):
        remove(path)
    write_coupon(
        record(plan).model_copy(update={"run": run, "proof": proof}), folder / "coupon.json"
    )
    return (*files, folder / "coupon.json")


def _refuse_to_replace(folder: Path, files: Iterable[Path]) -> None:
    problems = [
        Problem(str(path), "a folder of the run's own", "a link", "Choose a new folder with -o")
        for path in (folder / "print", folder / "print" / "bodies")
        if path.is_symlink()
    ]
    for path in files:
        problems += not_ours(path, "what `make` wrote", IS_OURS[path.suffix])
    if problems:
        raise WriteError(problems)


def _stale(folder: Path, name: str) -> set[Path]:
    """Return the print files of an earlier layout of the same coupon, which nobody should print."""
    plates = re.compile(rf"{re.escape(name)}-plate-\d+\.(3mf|stl)")
    found = [path for path in folder.glob("*-plate-*") if plates.fullmatch(path.name)]
    return {path for path in [*found, *folder.glob("bodies/*.stl")] if _is_ours(path)}


def _is_ours(path: Path) -> bool:
    try:
        return not path.is_symlink() and IS_OURS[path.suffix](read_plain(path))
    except OSError:
        return False


def _print_files(plan: Plan, solids: tuple[Solid, ...]) -> Iterator[tuple[str, bytes]]:
    name = plan.spec.name
    notes = {"spec": name, "digest": plan.spec.digest}
    for plate, (file, on_it) in enumerate(_plates(plan, solids), start=1):
        title = f"{plan.spec.title}, plate {plate} of {plan.plates}"
        yield f"{file}.3mf", threemf_bytes(on_it, title, {**notes, "plate": str(plate)})
        yield f"{file}.stl", stl_bytes(on_it, f"coupon {name} plate {plate}", placed=True)
    for solid in solids:
        one = stl_bytes((solid,), f"coupon {name} body {solid.body}", placed=False)
        yield f"bodies/{solid.body}.stl", one


def _plates(plan: Plan, solids: tuple[Solid, ...]) -> list[tuple[str, tuple[Solid, ...]]]:
    """Return for each plate the name of its files, and what stands on it."""
    return [
        (f"{plan.spec.name}-plate-{plate}", tuple(one for one in solids if one.plate == plate))
        for plate in range(1, plan.plates + 1)
    ]


def _plate_files(plan: Plan, solids: tuple[Solid, ...]) -> dict[str, tuple[Solid, ...]]:
    return {
        f"{file}.{ending}": on_it
        for file, on_it in _plates(plan, solids)
        for ending in ("3mf", "stl")
    }
