"""``coupons still``: whether a profile still holds, by all re-checks since."""

import json
from pathlib import Path

import click


@click.command("still")
@click.argument("profile", type=click.Path(path_type=Path))
@click.argument("rechecks", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--joints", type=click.Path(path_type=Path), help="The joints drawn by PROFILE, as a list."
)
@click.option(
    "--same-hand",
    is_flag=True,
    help="One person tried all prints; known without where the profiles name that person.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
@click.pass_context
def command(
    ctx: click.Context,
    profile: Path,
    rechecks: tuple[Path, ...],
    joints: Path | None,
    same_hand: bool,
    as_json: bool,
) -> None:
    """Tell whether a profile still holds: yes, watch or no.

    PROFILE is the full profile that parts are drawn by; RECHECKS are the profiles of all prints
    made since to check it, with the same nozzle and layers. Says what moved, what to do, and which
    joints drawn by PROFILE still work. The exit code is 1 if the answer is no.
    """
    from coupons.answering.compare.still import Still, still_good
    from coupons.answering.words.still import (
        RULE,
        joints_sentence,
        limits_sentence,
        still_data,
        still_lines,
        still_sentences,
    )
    from coupons.cli.list_argument import asked_of
    from coupons.learning.profile_file import read_profile

    known = [read_profile(path) for path in (profile, *rechecks)]
    questions = asked_of(joints, known[0])
    found = still_good(known[0], known[1:], questions, same_hand, list(map(_run_of, rechecks)))
    if as_json:
        click.echo(json.dumps(still_data(found), indent=1))
    else:
        for line in still_sentences(found):
            click.echo(click.wrap_text(line, 80, subsequent_indent="  "))
        click.echo("\n".join(["", *table, ""] if (table := list(still_lines(found))) else [""]))
        for note in (joints_sentence(found), limits_sentence(found), RULE):
            click.echo(click.wrap_text(note, 80, subsequent_indent="  "))
    if found.verdict is Still.NO:
        ctx.exit(1)


def _run_of(path: Path) -> str:
    """Return the run folder of a profile, if it lies in one."""
    from coupons.learning.profile_file import FILE

    folder = path if path.is_dir() else path.parent
    return str(folder) if path.is_dir() or path.name == FILE else ""
