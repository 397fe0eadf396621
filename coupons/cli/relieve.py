"""``coupons relieve``: bodies with their mating faces moved."""

import json
from collections.abc import Iterable
from pathlib import Path

import click


@click.command()
@click.argument("profile", type=click.Path(path_type=Path))
@click.argument("listed", metavar="LIST", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    "folder",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to write the bodies and moved-faces.csv into.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was moved as data.")
@click.pass_context
def command(ctx: click.Context, profile: Path, listed: Path, folder: Path, as_json: bool) -> None:
    """Write bodies anew with the faces of their joints moved by the answers.

    PROFILE is the profile.json that `coupons fit` wrote. LIST is the meetings.csv that
    `coupons meet` wrote, with your fits in it, or its folder; meetings.json must stand beside it.

    Each joint is answered for itself, with its chance and the warnings of `coupons joints`.

    Only the faces that the list names are moved, and only bodies that change are written. The
    written files are read again: each joint must have the gap that was asked, each body must be
    closed and in one piece, no wall thinner than two lines. A joint that does not come out so is
    left as drawn, with the reason.

    Exit code 1 if a joint was left as drawn.
    """
    from coupons.answering.meet.met_files import meet_again
    from coupons.answering.origin import hands_sentence, origin_of, origin_sentence
    from coupons.answering.relieve.asked_faces import (
        answer_each,
        asked_faces,
        least_walls,
        read_faces,
    )
    from coupons.answering.relieve.relieved_files import relieve_into_files
    from coupons.answering.relieve.screws import screw_cautions
    from coupons.answering.words.answers import marks
    from coupons.cli.list_argument import list_path, read_list
    from coupons.learning.profile_file import read_profile
    from coupons.showing.bodies.meet_words import overlap_notes
    from coupons.showing.bodies.relieve_words import (
        caution_lines,
        cautions,
        flat_lines,
        moved_data,
        moved_lines,
        refused_lines,
    )
    from coupons.showing.bodies.relieved_folder import write_relieved

    if listed.suffix.lower() == ".json" or profile.suffix.lower() == ".csv":
        raise click.UsageError(
            f"The profile comes first, then the list: expected profile.json and meetings.csv, got "
            f"{profile.name} and {listed.name}."
        )
    listed = list_path(listed)
    faces = read_faces(listed)
    printer = read_profile(profile)
    rows = read_list(listed)
    joints = answer_each(printer, rows.joints)
    again = meet_again(listed)
    asked = asked_faces(again.met, joints, faces, rows.holes)
    divided = [one.surface.regions for one in again.met.bodies]
    made_for = {"machine": printer.machine, "material": printer.material}
    walls = least_walls(again.met, joints, printer, asked)
    written = relieve_into_files(divided, asked.wanted, walls, made_for, asked.refused)
    write_relieved(written, asked.wanted, joints, folder, [*again.paths, listed, profile])
    if as_json:
        data = {
            "moved": moved_data(written, asked.wanted, joints),
            "left": dict(written.relieved.refused),
            "warnings": cautions(joints),
        }
        click.echo(json.dumps(data, indent=1))
    else:
        origin = origin_of(printer)
        _say(marks(printer.rehearsed, origin))
        for line in moved_lines(written, asked.wanted, joints):
            click.echo(line)
        click.echo()
        _say(refused_lines(written))
        _say((*overlap_notes(again.met), *caution_lines(joints)))
        _say((*flat_lines(again.met, written), *screw_cautions(again.met)))
        _say((*filter(None, [hands_sentence(origin)]), origin_sentence(origin)))
        names = ", ".join((*written.names.values(), "moved-faces.csv"))
        _say([f"Wrote {folder}: {names}"])
    if written.relieved.refused:
        ctx.exit(1)


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(click.wrap_text(line, 80, subsequent_indent="  "))
