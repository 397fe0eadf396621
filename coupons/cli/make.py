"""``coupons make``: print files, map, conditions and entry sheets in one run folder."""

import re
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict

import click

if TYPE_CHECKING:
    from coupons.job.make import MadeCoupon
    from coupons.making.record import Coupon, CouponPart

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


class MakeOptions(TypedDict):
    """The options that one print job and several have in common."""

    machine: str
    material: str
    nozzle_mm: float | None
    layer_height_mm: float | None
    speed_mm_s: float | None
    bed_mm: tuple[float, float] | None


def _length(low: float, high: float) -> click.FloatRange:
    return click.FloatRange(low, high)


@click.command("make")
@click.argument("spec", required=False)
@click.option(
    "--prove",
    type=click.Path(path_type=Path),
    metavar="PROFILE",
    help="Make a coupon of your own joints, drawn as this profile answers them and a step to either"
    " side; SPEC is then a list of joints, or left out for the usual ones.",
)
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
    help="Layer height; heights of the coupon are rounded to whole layers.",
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
    help="Printing speed, kept with the run and used to estimate the time.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 9),
    metavar="N",
    help="Make N print jobs, each with a run folder of its own in the one that -o names.",
)
@click.option(
    "--bed", "bed_mm", type=BedSize(), metavar="XxY", help="Bed size in mm, for example 220x220."
)
@click.option(
    "--after",
    type=click.Path(path_type=Path),
    metavar="PROFILE",
    help="Profile of earlier prints: the entry page starts from what it knows and asks for less."
    " Machine, material, nozzle and layer height are those of the profile, unless given.",
)
def command(
    spec: str | None,
    prove: Path | None,
    folder: Path,
    machine: str,
    material: str,
    layer_height_mm: float | None,
    nozzle_mm: float | None,
    speed_mm_s: float | None,
    jobs: int | None,
    bed_mm: tuple[float, float] | None,
    after: Path | None,
) -> None:
    """Make a coupon from SPEC, a shipped name or the path of a .toml file.

    Writes print files, a map, entry sheets and a file of conditions to fill in into one folder. For
    a part that exists already (kind = "part" in the file) nothing is made to print.
    Entries, and files that the tool did not write, are never overwritten.

    A proof (--prove) keeps the chances that the profile states now; `coupons check` and `coupons
    fit` tell what came of them.
    """
    from coupons.job.make import make_coupon, make_jobs
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S

    asked: MakeOptions = {
        "machine": machine,
        "material": material,
        "nozzle_mm": nozzle_mm,
        "layer_height_mm": layer_height_mm,
        "speed_mm_s": speed_mm_s,
        "bed_mm": bed_mm,
    }
    speed = DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s
    if prove is not None:
        if jobs is not None or after is not None:
            raise click.UsageError(
                "A proof is one job, after its profile: leave out --jobs, --after."
            )
        _prove(prove, spec, folder, asked, speed)
    elif spec is None:
        raise click.UsageError("Name a coupon, or give the path of a .toml file, or use --prove.")
    elif jobs is None:
        made = make_coupon(spec, folder, after=after, **asked)
        click.echo(_told(made, speed))
    else:
        click.echo(_told_jobs(folder, make_jobs(spec, folder, jobs, after=after, **asked), speed))


def _prove(
    profile: Path, joints: str | None, folder: Path, asked: MakeOptions, speed: float
) -> None:
    from coupons.job.make import prove_profile

    if asked["layer_height_mm"] is not None or asked["nozzle_mm"] is not None:
        raise click.UsageError(
            "A proof is printed as the profile was: leave out the nozzle and the layer height."
        )
    made = prove_profile(
        profile,
        folder,
        joints=joints,
        machine=asked["machine"],
        material=asked["material"],
        speed_mm_s=asked["speed_mm_s"],
        bed_mm=asked["bed_mm"],
    )
    for name, why in made.left_out:
        click.echo(f"Left out: {name}: {why}.", err=True)
    click.echo(_told(made, speed))


def _told(made: "MadeCoupon", speed_mm_s: float) -> str:
    if made.coupon.part is not None:
        return _told_of_part(made.folder, made.coupon, made.coupon.part)
    folder = made.folder
    lines = [
        *_cost_lines(made),
        *_how_to_print(speed_mm_s, made.rounded),
        "Next:",
        f"- print what is in {folder / 'print'}",
        f"- open {folder / 'entry.html'}, try and measure",
        f"- coupons check {folder}",
    ]
    return "\n".join(lines)


def _told_jobs(folder: Path, made: "tuple[MadeCoupon, ...]", speed_mm_s: float) -> str:
    """Return the same for several jobs: what each costs, and the rest once."""
    rounded = tuple(sorted({letter for one in made for letter in one.rounded}))
    names = [str(one.folder) for one in made]
    lines = [
        *(line for one in made for line in _cost_lines(one)),
        *_how_to_print(speed_mm_s, rounded),
        "Next:",
        *_wrapped(
            "print each folder as a job of its own, on another day or at least after the machine "
            "has stood: pieces of one job are wide or narrow together",
            "  ",
            first="- ",
        ),
        f"- open entry.html in each folder, try and measure; start with {names[0]}",
        f"- coupons fit {folder / 'job-*'}",
    ]
    return "\n".join(lines)


def _cost_lines(made: "MadeCoupon") -> list[str]:
    cost = made.cost
    if made.coupon.part is not None:
        return []
    plates = "1 plate" if cost.plates == 1 else f"{cost.plates} plates"
    return [
        f"{made.folder}: {cost.features} features on {cost.bodies} bodies ({cost.loose} loose), "
        f"{cost.trials} trials",
        f"plastic  {cost.plastic_cm3:g} cm³, {cost.grams:g} g",
        f"time     about {cost.minutes:.0f} min on {plates}",
    ]


def _how_to_print(speed_mm_s: float, rounded: tuple[str, ...]) -> list[str]:
    from coupons.making.estimate import PRINT_ADVICE, model_words

    lines = [
        *_wrapped(f"({model_words(speed_mm_s)})", "         "),
        *_rounding(rounded),
        "",
        "How to print it:",
    ]
    for advice in PRINT_ADVICE:
        lines += _wrapped(advice, "  ", first="- ")
    return [*lines, ""]


def _told_of_part(folder: Path, coupon: "Coupon", part: "CouponPart") -> str:
    from coupons.making.record import off_layers

    instrument = (
        f"reads     {part.instrument}, in steps of {part.resolution_mm:g} mm, standard uncertainty "
        f"{part.uncertainty_mm:g} mm"
    )
    lines = [
        f"{folder}: {len(coupon.features)} sizes of a part that exists already",
        *textwrap.wrap(instrument, WIDTH, subsequent_indent="          "),
    ]
    off = off_layers(coupon.features, coupon.assumed.layer_height_mm)
    if off:
        layers = (
            f"layers    {', '.join(off)}: not whole layers, kept as drawn. What the slicer rounds "
            "counts as an error of the printer"
        )
        lines += textwrap.wrap(layers, WIDTH, subsequent_indent="          ")
    lines += [
        "",
        "Next:",
        f"- fill in {folder / 'conditions.toml'}: machine, material, nozzle, layers",
        f"- open {folder / 'entry.html'} and measure, or write on {folder / 'sheet.html'}",
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
