"""``coupons make``: print files, map, conditions and entry sheets in one run folder."""

import re
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.making.estimate import Estimate

WIDTH = 80


class BedSize(click.ParamType[tuple[float, float]]):
    """A bed such as ``220x220``: two lengths in mm."""

    name = "width x depth"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        """Return the two lengths."""
        if isinstance(value, tuple):
            return value
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*", str(value))
        if not found:
            self.fail(f"expected two lengths in mm such as 220x220, got {value!r}", param, ctx)
        return (float(found[1]), float(found[2]))


def _length(low: float, high: float) -> click.FloatRange:
    return click.FloatRange(low, high)


@click.command("make")
@click.argument("spec")
@click.option(
    "-o",
    "--output",
    "folder",
    required=True,
    type=click.Path(path_type=Path),
    help="Run folder to write, for example results/2026-05-bench-1.",
)
@click.option("--machine", default="", help="Name of the machine, kept with the run.")
@click.option("--material", default="", help="Name of the material, kept with the run.")
@click.option(
    "--layer-height",
    "layer_height_mm",
    type=_length(0.04, 1.0),
    metavar="MM",
    help="Layer height to lay the coupon out for; heights are rounded to it.",
)
@click.option(
    "--nozzle",
    "nozzle_mm",
    type=_length(0.1, 1.5),
    metavar="MM",
    help="Nozzle diameter; walls and labels grow with a wide one.",
)
@click.option(
    "--speed",
    "speed_mm_s",
    type=_length(1, 2000),
    metavar="MM/S",
    help="Printing speed, kept with the run; the time is stated for it.",
)
@click.option(
    "--bed", "bed_mm", type=BedSize(), metavar="XxY", help="Bed size in mm, for example 220x220."
)
def command(
    spec: str,
    folder: Path,
    machine: str,
    material: str,
    layer_height_mm: float | None,
    nozzle_mm: float | None,
    speed_mm_s: float | None,
    bed_mm: tuple[float, float] | None,
) -> None:
    """Make a coupon from SPEC, a shipped name or the path of a .toml file.

    Writes print files, a map, a sheet of entries to fill in and the conditions to state into one
    folder. A folder that holds entries is never written over, nor is a file that is somebody's own.
    """
    from coupons.atomic import together
    from coupons.making.estimate import estimate
    from coupons.making.folder import checked_solids, write_coupon_files
    from coupons.making.plan import plan_coupon, record
    from coupons.making.proportions import DEFAULT_SPEED_MM_S
    from coupons.making.record import name_run
    from coupons.making.spec import load_spec
    from coupons.measuring.run import start_run
    from coupons.showing.run_pages import refuse_foreign_pages, write_run_pages

    plan = plan_coupon(load_spec(spec), bed_mm, layer_height_mm, nozzle_mm)
    speed = DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s
    told = _told(folder, estimate(plan, speed), speed, plan.rounded_rows())
    solids = checked_solids(plan)
    with together() as files:
        refuse_foreign_pages(folder)
        start_run(folder, record(plan), machine=machine, material=material, speed_mm_s=speed_mm_s)
        run = name_run(folder, plan.spec.digest, machine, material)
        write_coupon_files(plan, folder, solids, run)
        files.settle()  # the pages are made from what stands in the folder
        write_run_pages(folder)
    click.echo(told)


def _told(folder: Path, cost: "Estimate", speed_mm_s: float, rounded: tuple[str, ...]) -> str:
    from coupons.making.estimate import PRINT_ADVICE, model_words

    plates = "1 plate" if cost.plates == 1 else f"{cost.plates} plates"
    lines = [
        f"{folder}: {cost.features} features on {cost.bodies} bodies ({cost.loose} loose), "
        f"{cost.trials} trials",
        f"plastic  {cost.plastic_cm3:g} cm³, {cost.grams:g} g",
        f"time     about {cost.minutes:.0f} min on {plates}",
        *_wrapped(f"({model_words(speed_mm_s)})", "         "),
        *_rounding(rounded),
        "",
        "How to print it:",
    ]
    for advice in PRINT_ADVICE:
        lines += _wrapped(advice, "  ", first="- ")
    lines += [
        "",
        "Next:",
        f"- print what is in {folder / 'print'}",
        f"- open {folder / 'entry.html'}, try and measure",
        f"- coupons check {folder}",
    ]
    return "\n".join(lines)


def _rounding(rows: tuple[str, ...]) -> list[str]:
    if not rows:
        return []
    named = f"row {rows[0]}" if len(rows) == 1 else f"rows {', '.join(rows)}"
    words = f"layers   heights and gaps across z of {named} are rounded to whole layers"
    return textwrap.wrap(words, WIDTH, subsequent_indent="         ")


def _wrapped(text: str, indent: str, first: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first or indent, subsequent_indent=indent)
