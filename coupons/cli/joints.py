"""``coupons joints``: all joints of a part at once."""

import json
from pathlib import Path

import click


@click.command()
@click.argument("profile", type=click.Path(path_type=Path))
@click.argument("joints", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write joints.csv, joints.html and drawn-sizes.csv into.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the answers as data.")
@click.pass_context
def command(
    ctx: click.Context, profile: Path, joints: Path, folder: Path | None, as_json: bool
) -> None:
    """Say what to draw for each joint of a part, and the chance that all of them fit.

    PROFILE is the profile.json that `coupons fit` wrote. JOINTS is a CSV file with the columns
    name, internal, external, size_mm, across, fit, move, hardware, at_least, bed, choices and
    loose_costs, one joint a row; those that nobody needs may be missing:

    across: printer axis across the faces; of a round joint, along its axis.

    fit: force, push, slide, loose, or a printed gap in mm such as 0.2.

    move: body whose faces move, internal, external (the default) or both.

    hardware: such as "pin 8 m6" or "screw M3"; leave the form that it replaces blank. A screw with
    the series of its hole, such as "screw M3 medium", takes no fit.

    at_least: such as 0.95 or 95 %; asks for the smallest gap with this chance of the fit or a
    looser one.

    choices: such as 3; so many pieces of the moving body are printed, marked by notches, and one of
    them is to fit.

    loose_costs: such as 3; what too loose costs where too tight costs 1. The gap is that of the
    least expected cost.

    Exit code 1 if a joint has no answer.
    """
    from coupons.answering.joints.part import answer_part
    from coupons.answering.words.answers import marks
    from coupons.answering.words.joints import as_data, note_lines, table_lines
    from coupons.cli.listed import read_listed
    from coupons.learning.profile import read_profile

    if profile.suffix.lower() == ".csv" or joints.suffix.lower() == ".json":
        raise click.UsageError(
            f"The profile comes first, then the list of joints: expected profile.json and a CSV "
            f"file, got {profile.name} and {joints.name}."
        )
    part = answer_part(read_profile(profile), read_listed(joints))
    if folder is not None:
        from coupons.showing.pages.joints_page import write_part

        write_part(part, folder, joints)
    if as_json:
        click.echo(json.dumps(as_data(part), indent=1))
    else:
        for mark in marks(part.rehearsed, part.origin):
            click.echo(click.wrap_text(mark, 80, subsequent_indent="  "))
        click.echo("\n".join(table_lines(part)) + "\n")
        for note in note_lines(part):
            click.echo(click.wrap_text(note, 80, subsequent_indent="  "))
    if any(joint.found is None for joint in part.joints):
        ctx.exit(1)
