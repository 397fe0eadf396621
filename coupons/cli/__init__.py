"""The command line: parse, call, print. A command's module is imported when it runs."""

from difflib import get_close_matches
from importlib import import_module
from typing import Any

import click

from coupons import __version__
from coupons.cli.output import Lines, outlets, warnings_as_lines
from coupons.errors import CouponError, Problem
from coupons.progress import told_to

MOST = 40  # problems shown before the rest is only counted

# Order of the job. Name → one line of help, kept here so that `--help` imports no command.
COMMANDS = {
    "specs": "List the coupons that ship with the tool.",
    "make": "Make a coupon: print files, map, entry sheet.",
    "rehearse": "Fill a run's entries from a virtual printer, marked as such.",
    "check": "Check a run folder and say everything that is wrong with it.",
    "fit": "Learn the printer from its entries and write its profile.",
    "offset": "Say how far to move which face for a wanted fit.",
    "joints": "Say what to draw for every joint of a part, and whether all of it fits.",
    "press": "Say whether a ring stands what is pressed into it.",
    "clip": "Say whether a clip stands being bent.",
    "compare": "Say which answers moved between profiles, and what to draw anew.",
    "next": "Say which coupon to print next, to know more about what is asked.",
    "board": "Put the profiles of all machines on one page, fresh or stale.",
}


class Commands(click.Group):
    """A group that loads a command when it is called and words our errors for a terminal."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of one command."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"coupons.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands, in the order of the job"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is asked for; of one that there is not, say the nearest."""
        name = args[0]
        if name in COMMANDS or ctx.resilient_parsing or name.startswith("-"):
            return super().resolve_command(ctx, args)
        near = get_close_matches(name.lower(), COMMANDS, 1)
        todo = f"Did you mean {near[0]}?" if near else f"There are: {', '.join(COMMANDS)}."
        raise click.UsageError(f"No such command {name!r}. {todo}", ctx)

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run a command; all that it writes passes through one place."""
        with outlets(), warnings_as_lines(), told_to(Lines()):
            return super().main(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Turn an error of ours, or a file out of reach, into lines on stderr and exit code 1."""
        try:
            return super().invoke(ctx)
        except (CouponError, OSError) as error:
            if isinstance(error, OSError) and not error.filename:
                raise  # such as a closed pipe, which the parser knows about
            click.echo("\n".join(_lines(error)), err=True)
            ctx.exit(1)


def _lines(error: CouponError | OSError) -> list[str]:
    if isinstance(error, OSError):
        got, todo = (error.strerror or "none").lower(), "See who may read it, or name another"
        return [str(Problem(str(error.filename), "a file or folder within reach", got, todo))]
    lines = error.message.split("\n")
    if len(lines) <= MOST:
        return lines
    # Only a run's files are long enough to hold so many.
    return [*lines[:MOST], f"and {len(lines) - MOST} more, which `coupons check --json` lists"]


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def main() -> None:
    """Learn how far a printer misses the drawn size, and what to draw instead."""
