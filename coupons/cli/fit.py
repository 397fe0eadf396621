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

    Writes profile.json, which answers `coupons offset`, and beside it report.html to look at and
    wall-card.html to hang up.
    """
    from coupons.learning.fit import fit_runs
    from coupons.learning.profile import profile_of, write_profile
    from coupons.measuring.checks import check_run
    from coupons.measuring.run import load_run
    from coupons.showing.report import write_report
    from coupons.showing.wall_card import write_wall_card

    runs = [load_run(folder) for folder in folders]
    fitted = fit_runs(runs)
    profile = profile_of(fitted, runs)
    path = output or folders[-1] / "profile.json"
    write_profile(profile, path)
    findings = [finding for folder in folders for finding in check_run(folder)]
    report = write_report(path.with_name("report.html"), profile, fitted, runs, findings)
    card = write_wall_card(path.with_name("wall-card.html"), profile)

    from coupons.answering.words import REHEARSED, profile_lines

    if profile.rehearsed:
        click.echo(REHEARSED)
    for line in profile_lines(profile):
        click.echo(line)
    click.echo(f"Wrote {path}, {report.name} and {card.name}")
