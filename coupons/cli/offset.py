"""``coupons offset``: how far to move which face for a wanted fit."""

import json
from pathlib import Path

import click


@click.command()
@click.argument("profile", type=click.Path(path_type=Path))
@click.option("--joint", required=True, help="Internal/external form: slot/tongue or hole/pin.")
@click.option("--size", "size_mm", required=True, type=float, help="Nominal size, mm.")
@click.option(
    "--along",
    required=True,
    help="Printer axis across the faces of a flat joint, along the axis of a round one: x, y or z.",
)
@click.option("--fit", default="slide", show_default=True, help="force, push, slide or loose.")
@click.option(
    "--move",
    "gives",
    default="external",
    show_default=True,
    help="Which body gives way: internal, external or both.",
)
@click.option(
    "--at-least",
    type=float,
    help="Smallest gap that goes at least this easily with this chance, such as 0.95.",
)
@click.option("--drawn-gap", type=float, help="Ask about this gap, mm over both sides.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as data.")
def command(
    profile: Path,
    joint: str,
    size_mm: float,
    along: str,
    fit: str,
    gives: str,
    at_least: float | None,
    drawn_gap: float | None,
    as_json: bool,
) -> None:
    """Say how far to move which face of a joint, in which direction, with what chance.

    PROFILE is the profile.json that `coupons fit` wrote. A positive offset moves a face out of its
    material, a negative one into it.
    """
    from coupons.answering.ask import load_profile
    from coupons.answering.words import as_data, sentences

    answer = load_profile(profile).offset(
        joint,
        size_mm=size_mm,
        along=along,
        fit=fit,
        gives=gives,
        at_least=at_least,
        drawn_gap_mm=drawn_gap,
    )
    if as_json:
        click.echo(json.dumps(as_data(answer), indent=1))
    else:
        for sentence in sentences(answer):
            click.echo(click.wrap_text(sentence, 80, subsequent_indent="  "))
