"""``coupons meet``: where drawn bodies meet."""

import json
from collections.abc import Iterable
from pathlib import Path

import click

from coupons.terms import FITS, Grade


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write meetings.csv, meetings.html and meetings.json into.",
)
@click.option(
    "--up",
    "ups",
    default="",
    metavar="BODY=AXIS,…",
    help="Which axis of the file points up on the printer, body by body: lid=-z,clip=y.",
)
@click.option(
    "--units",
    type=click.Choice(["mm", "cm", "m", "in"]),
    help="Unit of files that hold none. STL, OBJ and PLY hold none; mm if not given.",
)
@click.option(
    "--reach",
    "reach_mm",
    type=click.FloatRange(0.01, 5.0),
    metavar="MM",
    help="How far apart two faces may stand and still meet; 0.6 if not given.",
)
@click.option(
    "--fit",
    type=click.Choice([str(fit) for fit in FITS]),
    default="slide",
    show_default=True,
    help="Fit to write into the list for every joint; edit it there.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the list as data.")
@click.pass_context
def command(
    ctx: click.Context,
    files: tuple[Path, ...],
    folder: Path | None,
    ups: str,
    units: str | None,
    reach_mm: float | None,
    fit: str,
    as_json: bool,
) -> None:
    """Find where drawn bodies meet, and list their joints for `coupons joints`.

    FILES are STL, 3MF, OBJ or PLY, with the bodies in place. Flat faces, cylinders, cones and
    slanted pairs are joined to joints. A single face that only carries is a rest. Faces of any
    other shape are shown, and never moved.

    A pocket has a floor, and a plate goes into it; a sleeve is open at both ends, and a bar goes
    through it. x+y is the direction halfway between x and y.

    Each body is printed as exported, with z up, unless --up says otherwise; x and y of the printer
    are those of the file. Where x is up, the file's z takes its place.

    Exit code 1 if no joint is found, or if two bodies stand in each other deeper than a tight joint
    is drawn.
    """
    from coupons.answering.meet.list_rows import rows
    from coupons.answering.meet.meetings import meet
    from coupons.answering.meet.opposite_faces import REACH_MM
    from coupons.answering.meet.print_axes import read_ups
    from coupons.answering.meshes.mesh import read_bodies
    from coupons.errors import BodyError, Problem
    from coupons.showing.bodies.meet_page import write_met
    from coupons.showing.bodies.meet_words import meeting_lines, meeting_notes, overlap_notes

    laid = read_ups(ups)
    read = read_bodies(files, units)
    if len(read.bodies) < 2:
        names = ", ".join(body.name for body in read.bodies)
        raise BodyError([Problem(names, "two bodies or more", "one", "Add the body it meets")])
    met = meet(read.bodies, laid, REACH_MM if reach_mm is None else reach_mm)
    if folder is not None:
        write_met(met, folder, files, notes=read.notes, units=units, ups=laid, fit=Grade(fit))
    if as_json:
        click.echo(json.dumps(rows(met, Grade(fit)), indent=1))
        _say(overlap_notes(met), err=True)
    else:
        _say((*meeting_lines(met), *read.notes, *meeting_notes(met)))
        if folder is not None:
            click.echo(f"Wrote {folder / 'meetings.csv'}, meetings.html and meetings.json")
        if folder is not None and met.joints and not met.overlaps:
            click.echo("\n".join(_next(folder / "meetings.csv")))
    if not met.joints or met.overlaps:
        ctx.exit(1)


def _say(lines: Iterable[str], *, err: bool = False) -> None:
    for line in lines:
        click.echo(click.wrap_text(line, 80, subsequent_indent="  "), err=err)


def _next(listed: Path) -> list[str]:
    """Say what comes after the list was written."""
    return [
        "",
        "Next:",
        f"- choose the fit of each joint in {listed}; a column move says",
        "  which body moves: internal, external or both",
        f"- coupons joints PROFILE {listed}",
        f"- coupons relieve PROFILE {listed} -o FOLDER",
    ]
