"""``coupons board``: the profiles of all machines as a site of pages."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from coupons.errors import CouponError


@click.command("board")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default="board",
    show_default=True,
    help="Folder to write: index.html, a page for each machine, the profiles, index.json.",
)
@click.option(
    "--job",
    type=click.Path(path_type=Path),
    metavar="JOINTS.CSV",
    help="Rank the machines by the chance that all joints of this list fit at once.",
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
    ctx: click.Context,
    paths: tuple[Path, ...],
    output: Path,
    job: Path | None,
    stale_after_days: int,
) -> None:
    """Write the board: one row for each machine and material, with its gaps and its state.

    PATHS are profiles, or folders to search for them, with all folders in them. Open index.html;
    no server is needed. Profiles that cannot be read are listed on the page and on stderr, and the
    exit code is 1; the others are still shown. If one of PATHS does not exist, or no profile can
    be read, nothing is written: a board that is there stays as it is.
    """
    from coupons.answering.joints.rank import rank
    from coupons.cli.list_argument import read_listed
    from coupons.showing.board.collect import passed_over_words, read_posted
    from coupons.showing.board.machine_rows import make_board
    from coupons.showing.board.site import HOME_FILE, write_site
    from coupons.showing.board.table import board_table, job_table

    listed = None if job is None else read_listed(job)
    others: list[Path] = []
    posted, refused = read_posted(paths, others.append)
    if not posted or not all(path.exists() for path in paths):
        # A mistyped path must not take its machines off a board that stands.
        _tell(refused)
        stays = f"; {output} stays as it was" if output.exists() else ""
        click.echo(f"Nothing was written{stays}.", err=True)
        ctx.exit(1)
    board = make_board(posted, date.today(), stale_after_days)
    if others:
        board = replace(board, notes=(*board.notes, passed_over_words(others)))
    chances = None
    if listed is not None:
        found = rank([row.head.profile for row in board.rows], listed)
        chances = {(one.profile.machine, one.profile.material): one for one in found}
    write_site(output, board, refused, chances)
    if board.rows:
        click.echo(board_table(board) if chances is None else job_table(board, chances))
    for note in board.notes:
        click.echo(click.wrap_text(note, 80, subsequent_indent="  "))
    _tell(refused)
    click.echo(f"Wrote {output / HOME_FILE}")
    if refused:
        ctx.exit(1)


def _tell(refused: "Sequence[CouponError]") -> None:
    from coupons.showing.board.collect import told

    for error in refused:
        click.echo(told(error), err=True)
