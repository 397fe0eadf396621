"""``coupons board``: the profiles of all machines on one page."""

from datetime import date
from pathlib import Path

import click


@click.command("board")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    default="board.html",
    show_default=True,
    help="Page to write.",
)
@click.option(
    "--stale-after",
    "stale_after_days",
    type=click.IntRange(min=0),
    default=90,
    show_default=True,
    metavar="DAYS",
    help="Age of a print after which its profile counts as stale.",
)
@click.pass_context
def command(
    ctx: click.Context, paths: tuple[Path, ...], output: Path, stale_after_days: int
) -> None:
    """Show the profiles of all machines side by side on one page, with their age.

    PATHS are profile.json files, or folders to search for them. Files that cannot be read are
    listed on the page and on stderr, and the exit code is 1; the others are still shown.
    """
    from coupons.answering.origin import age_of
    from coupons.showing.pages.board import read_posted, write_board
    from coupons.showing.pages.board_table import board_table

    today = date.today()
    posted, refused = read_posted(paths, today)
    figures = write_board(output, posted, refused, today, stale_after_days)
    ages = [age_of(one.profile, today, stale_after_days) for one in posted]
    if posted:
        click.echo(board_table(posted, ages, figures))
    for error in refused:
        click.echo(error.message, err=True)
    click.echo(f"Wrote {output}")
    if refused:
        ctx.exit(1)
