"""``coupons hand``: a profile for another person's hand on the same print."""

import json
import re
from pathlib import Path

import click


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--by", required=True, help="The person, as column by of the entries says it.")
@click.option(
    "--profile",
    "known",
    type=click.Path(path_type=Path),
    help="Profile that was fitted to this print; by default profile.json in the folder.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Profile to write; by default profile-NAME.json in the folder.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as data.")
def command(folder: Path, by: str, known: Path | None, output: Path | None, as_json: bool) -> None:
    """Fit another person's hand, from six to eight trials on a print that others tried.

    FOLDER is the run folder. Type that person's trials as new rows of its entries.csv, with the
    name in column by. Only the clearances from which a fit counts as force, push, slide or loose
    are moved; what the profile says of the machine stays as it is. With too few trials, the pairs
    to try are listed.
    """
    from coupons.answering.ask import load_profile
    from coupons.job.fit import fit_hand
    from coupons.showing.words.new_hand import hand_lines

    printer = load_profile(known or folder)
    found = fit_hand(folder, printer, by=by)
    path = found.save(output or folder / f"profile-{_file_name(by)}.json")
    if as_json:
        thresholds = {k: v for k, v in found.profile.means.items() if k.startswith("from_")}
        hand = found.profile.hand and found.profile.hand.model_dump()
        click.echo(json.dumps({"profile": str(path), "hand": hand, **thresholds}, indent=1))
        return
    for line in hand_lines(printer.profile, found.profile):
        click.echo(line)
    click.echo(f"Wrote {path}")


def _file_name(by: str) -> str:
    return re.sub(r"\W+", "-", by.casefold()).strip("-") or "hand"
