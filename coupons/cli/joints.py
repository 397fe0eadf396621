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

    internal, external: slot and tongue, hole and pin; with more than one pair of faces pocket and
    plate, sleeve and bar (size_mm 40x25), holes and pins, legs and bar.

    across: printer axis across the faces; of a round joint, along its axis. Bodies that are printed
    lying unlike: internal/external, such as z/x. Two axes in a row, such as xy, for pocket and
    sleeve (each size), holes (axis, pitch) and slanted faces (across, pull).

    fit: force, push, slide, loose; with one pair of faces also a printed gap in mm, such as 0.2.

    move: body whose faces move, internal, external (the default) or both.

    hardware: such as "pin 8 m6" or "screw M3"; leave the form that it replaces blank. A screw with
    the series of its hole, such as "screw M3 medium", takes no fit.

    at_least: such as 0.95 or 95 %; asks for the smallest gap with this chance of the fit or a
    looser one.

    internal_profile, external_profile: profile.json of the printer of a body, if not PROFILE's.

    internal_print, external_print: a word for the print that a body comes from; bodies with the
    same word come from one print, those without any too.

    pitch_mm (holes); corner_mm, such as 2/0.5 or relief/0.5 (pocket, sleeve); leg_mm, such as
    20x2, mouth_mm and strain_limit (legs); slant_deg (slot/tongue, hole/pin).

    choices: such as 3; so many pieces of the moving body are printed, marked by notches, and one of
    them is to fit.

    loose_costs: such as 3; what too loose costs where too tight costs 1. The gap is that of the
    least expected cost.

    Exit code 1 if a joint has no answer.
    """
    from coupons.answering.joints.whole_part import answer_part
    from coupons.answering.words.answers import marks
    from coupons.answering.words.joint_files import as_data
    from coupons.answering.words.joints import note_lines, table_lines
    from coupons.cli.list_argument import list_path, read_listed
    from coupons.learning.profile_file import read_profile

    if profile.suffix.lower() == ".csv" or joints.suffix.lower() == ".json":
        raise click.UsageError(
            f"The profile comes first, then the list of joints: expected profile.json and a CSV "
            f"file, got {profile.name} and {joints.name}."
        )
    joints = list_path(joints)
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
        if folder is not None:
            wrote = f"Wrote {folder}: joints.html, joints.csv, drawn-sizes.csv"
            click.echo(click.wrap_text(wrote, 80, subsequent_indent="  "))
    if any(joint.found is None for joint in part.joints):
        ctx.exit(1)
