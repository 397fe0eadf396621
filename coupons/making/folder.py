"""Writing what the making room contributes to a run folder."""

from collections.abc import Iterator
from pathlib import Path

from coupons.atomic import write_bytes, write_text
from coupons.errors import PlanError
from coupons.making.agreement import disagreements
from coupons.making.map import map_svg
from coupons.making.plan import Plan, record
from coupons.making.preview import preview_png
from coupons.making.record import CouponRun, write_coupon
from coupons.making.solids import Solid, build_solids
from coupons.making.stl import stl_bytes
from coupons.making.threemf import threemf_bytes


def write_coupon_files(plan: Plan, folder: Path, run: CouponRun | None = None) -> tuple[Path, ...]:
    """Write ``coupon.json``, ``print/``, ``map.svg`` and ``preview.png``; return what was written.

    ``run`` is the print that the record is to name.

    Everything is built and checked before the first file is touched.

    Raises
    ------
    PlanError
        If a body does not come out as one watertight piece, or not as the record says.
    """
    solids = build_solids(plan)
    coupon = record(plan)
    problems = disagreements(coupon, solids)
    if problems:
        raise PlanError(problems)
    written = []
    for name, data in _print_files(plan, solids):
        write_bytes(folder / "print" / name, data)
        written.append(folder / "print" / name)
    _remove_stale(folder / "print", plan.spec.name, written)
    write_text(folder / "map.svg", map_svg(plan))
    loose = frozenset(item.body.id for item in plan.placed if item.body.loose)
    write_bytes(folder / "preview.png", preview_png(solids, loose))
    write_coupon(coupon.model_copy(update={"run": run}), folder / "coupon.json")
    return (*written, *(folder / name for name in ("map.svg", "preview.png", "coupon.json")))


def _remove_stale(folder: Path, name: str, written: list[Path]) -> None:
    """Remove print files of an earlier layout of the same coupon, which nobody should print."""
    ours = [*folder.glob(f"{name}-plate-*.3mf"), *folder.glob(f"{name}-plate-*.stl")]
    for path in {*ours, *folder.glob("bodies/*.stl")} - set(written):
        path.unlink()


def _print_files(plan: Plan, solids: tuple[Solid, ...]) -> Iterator[tuple[str, bytes]]:
    name = plan.spec.name
    notes = {"spec": name, "digest": plan.spec.digest}
    for plate in range(1, plan.plates + 1):
        on_it = tuple(solid for solid in solids if solid.plate == plate)
        title = f"{plan.spec.title}, plate {plate} of {plan.plates}"
        stem = f"{name}-plate-{plate}"
        yield f"{stem}.3mf", threemf_bytes(on_it, title, {**notes, "plate": str(plate)})
        yield f"{stem}.stl", stl_bytes(on_it, f"coupon {name} plate {plate}", placed=True)
    for solid in solids:
        one = stl_bytes((solid,), f"coupon {name} body {solid.body}", placed=False)
        yield f"bodies/{solid.body}.stl", one
