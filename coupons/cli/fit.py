"""``coupons fit``: learn the printer from its entries."""

from pathlib import Path

import click


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Where to write the profile; profile.json in the last folder if not given.",
)
def command(folders: tuple[Path, ...], output: Path | None) -> None:
    """Learn a printer from one or several runs of one machine and material.

    Writes profile.json, which answers `coupons offset`.
    """
    from coupons.learning.fit import fit_runs
    from coupons.learning.profile import profile_of, write_profile
    from coupons.measuring.run import load_run

    runs = [load_run(folder) for folder in folders]
    profile = profile_of(fit_runs(runs), runs)
    path = output or folders[-1] / "profile.json"
    write_profile(profile, path)

    from coupons.answering.words import REHEARSED, profile_lines

    if profile.rehearsed:
        click.echo(REHEARSED)
    for line in profile_lines(profile):
        click.echo(line)
    click.echo(f"Wrote {path}")
