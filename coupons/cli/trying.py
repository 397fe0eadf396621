"""``coupons try``: ask for trials and readings one at a time, the one that teaches most first."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coupons.errors import CouponError

if TYPE_CHECKING:
    from coupons.answering.next.bench import Bench

CHOICES = ("all", "slide", "push", "fits", "screw")


@click.command("try")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--for",
    "choice",
    type=click.Choice(CHOICES),
    default="all",
    show_default=True,
    help="What to ask first for: sliding faces, push pins, both (fits) or holes for screws.",
)
@click.option("--by", default="", metavar="NAME", help="Who tries, kept with each entry.")
def command(folder: Path, choice: str, by: str) -> None:
    """Ask for trials and readings, the one that teaches most first.

    Each entry is in the folder's entries.csv before the next is asked for, so that nothing is lost
    when you stop. At the prompt, ? shows what can be typed.
    """
    from coupons.answering.next.bench import open_bench
    from coupons.answering.words.bench import HELP, end_lines, known_lines

    bench = open_bench(folder, choice, by)
    count = len(bench.sheet.entries)
    click.echo("\n".join(HELP if bench.open_tasks() else known_lines(bench)))
    try:
        _ask(bench)
    except (EOFError, click.Abort):
        click.echo("")
    added = len(bench.sheet.entries) - count
    click.echo("\n".join(end_lines(bench, added, str(folder))))


def _ask(bench: "Bench") -> None:
    """Ask until nothing is left or the person stops."""
    from coupons.answering.words.bench import brings_words, known_lines, prompt_for
    from coupons.showing.words.next_task import title_of

    entries = None
    while (number := bench.next_task()) is not None:
        if bench.sheet.entries != entries:
            entries = bench.sheet.entries
            click.echo("\n".join(["", *known_lines(bench), f"  {brings_words(bench)}"]))
        click.echo(f"\n{title_of(bench.sheet.coupon, bench.tasks[number])}")
        if bench.row_brings_little(number):
            click.echo("  The rest of its row would teach little: type row to leave it out.")
        typed = click.prompt(prompt_for(bench, number), prompt_suffix=": ").strip()
        if typed.lower() in ("q", "quit"):
            return
        try:
            _take(bench, number, typed)
        except CouponError as error:
            text = click.wrap_text(error.message, 80, "  ", "  ", preserve_paragraphs=True)
            click.echo(text, err=True)


def _take(bench: "Bench", number: int, typed: str) -> None:
    from coupons.answering.words.bench import HELP, SHORT
    from coupons.measuring.run.entries import parse_grades, parse_number

    word = SHORT.get(typed.lower(), typed)
    size = re.fullmatch(r"(.*?)\s*(mm|in|inch|\")?", typed, re.IGNORECASE)
    if word == "?":
        click.echo("\n".join(HELP))
    elif word.lower() in ("u", "undo"):
        if bench.undo() is None:
            click.echo("  Nothing to undo in this session.")
    elif word.lower() in ("k", "skip"):
        bench.skip(number)
    elif word.lower() in ("r", "row"):
        click.echo(f"  {bench.leave_row(number)} left out; their rows stay blank.")
    elif parse_grades(word) is not None:
        bench.enter(number, word)
    elif size and parse_number(size[1]) is not None:
        unit = "in" if size[2] and size[2].lower() != "mm" else "mm"
        _take_reading(bench, number, size[1], unit)
    else:
        bench.go_to(word)


def _take_reading(bench: "Bench", number: int, text: str, unit: str) -> None:
    """Keep a reading; one that looks mistyped has to be typed twice."""
    from coupons.making.record import CouponReading
    from coupons.measuring.run.entries import MM_PER_INCH, parse_number

    size_mm = (parse_number(text) or 0.0) * (MM_PER_INCH if unit == "in" else 1.0)
    is_size = isinstance(bench.tasks[number], CouponReading) and size_mm > 0
    if is_size and bench.doubts(number, size_mm):
        click.echo(f"  {size_mm:g} mm is far from the drawn size. Type it again to keep it.")
    else:
        bench.enter(number, text, unit)
