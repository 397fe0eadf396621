"""The command line: parse, call, print. A command's module is imported when it runs."""

import errno
import sys
from difflib import get_close_matches
from importlib import import_module
from shutil import get_terminal_size
from textwrap import wrap
from typing import Any

import click

from coupons import __version__
from coupons.cli.output import Lines, outlets, warnings_as_lines
from coupons.errors import CouponError, Problem
from coupons.progress import told_to

MOST = 40  # problems shown before the rest is only counted
_WIDEST = 80  # characters, as all other text
_CURES = {
    errno.ENOENT: "Correct the path",
    errno.EISDIR: "Give a file, not a folder",
}

# Order of the job. Name → one line of help, kept here so that `--help` imports no command.
COMMANDS = {
    "specs": "List the coupons that come with the tool.",
    "make": "Make a coupon: print files, map, entry sheet.",
    "rehearse": "Fill in a run from a virtual printer, marked as rehearsed.",
    "try": "Ask for trials and readings, the one that teaches most first.",
    "check": "Check a run folder and list its problems.",
    "fit": "Fit a printer's entries and write its profile.",
    "hand": "Fit another person's hand, from a few trials on the same print.",
    "offset": "Say how far to move which face for a fit.",
    "joints": "Say what to draw for each joint of a part; chance that all fit.",
    "meet": "Find where drawn bodies meet, and list their joints.",
    "relieve": "Write bodies with the faces of their joints moved by the answers.",
    "press": "Check the strain of a ring with a pin pressed into it.",
    "clip": "Check the strain of a clip that bends as it snaps in.",
    "compare": "Show which answers changed between profiles, and what to redraw.",
    "still": "Tell whether a profile still holds, by all re-checks since.",
    "next": "Suggest the coupon to print next, to reduce the uncertainty most.",
    "board": "Write a site of all machines: gaps, state, history, profiles.",
}

# "try" is a word of the language, which no module can have as its name.
MODULES = {"try": "trying"}


class Commands(click.Group):
    """A group that imports a command when it is called and prints our errors as lines."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of one command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(
            f"coupons.cli.{MODULES.get(cmd_name, cmd_name)}"
        ).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands, in the order of the job"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command; for an unknown one, suggest the nearest."""
        name = args[0]
        if name in COMMANDS or ctx.resilient_parsing or name.startswith("-"):
            return super().resolve_command(ctx, args)
        near = get_close_matches(name.lower(), COMMANDS, 1)
        todo = f"Did you mean {near[0]}?" if near else f"The commands are: {', '.join(COMMANDS)}."
        raise click.UsageError(f"No such command {name!r}. {todo}", ctx)

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run a command; all of its output passes through one place."""
        with outlets() as passing, warnings_as_lines(), told_to(Lines(passing)):
            return super().main(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Turn our errors, and files that cannot be opened, into lines on stderr, exit code 1."""
        try:
            return super().invoke(ctx)
        except (CouponError, OSError) as error:
            if isinstance(error, OSError) and not error.filename:
                raise  # such as a closed pipe, which the parser knows about
            lines = _lines(error)
            if sys.stderr.isatty():
                lines = [folded for line in lines for folded in _folded(line)]
            click.echo("\n".join(lines), err=True)
            ctx.exit(1)


def _lines(error: CouponError | OSError) -> list[str]:
    if isinstance(error, OSError):
        got = (error.strerror or "none").lower()
        todo = _CURES.get(error.errno or 0, "Check its permissions, or give another path")
        return [str(Problem(str(error.filename), "a file or folder that can be opened", got, todo))]
    lines = error.message.split("\n")
    if len(lines) <= MOST:
        return lines
    # Only a run's files are long enough to hold so many.
    return [*lines[:MOST], f"and {len(lines) - MOST} more; `coupons check --json` lists all"]


def _folded(line: str) -> list[str]:
    """Fold a line for a person's eyes; a program gets one line for each problem."""
    width = min(_WIDEST, get_terminal_size().columns)
    return wrap(line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main() -> None:
    """Measure how far a printer is off the drawn size, and what to draw instead."""
