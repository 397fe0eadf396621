"""Errors are folded for a person at a terminal, and one line each for a program."""

import os
import pty
import subprocess
import sys

import pytest
from click.testing import CliRunner

from coupons.cli import main

ASKED = [
    "offset",
    "results/filter-drawer",
    "--joint",
    "slot/tongue",
    "--size",
    "8",
    "--across",
    "z",
]


def at_a_terminal(arguments: list[str], columns: int) -> str:
    """Run the tool with a terminal of that width as its standard error."""
    reader, terminal = pty.openpty()
    started = subprocess.Popen(
        [sys.executable, "-m", "coupons", *arguments],
        stderr=terminal,
        stdout=subprocess.DEVNULL,
        env=os.environ | {"COLUMNS": str(columns)},
    )
    os.close(terminal)
    shown = b""
    try:
        while part := os.read(reader, 4096):
            shown += part
    except OSError:  # how the end of a closed terminal is told
        pass
    finally:
        os.close(reader)
    assert started.wait() == 1
    return shown.decode().replace("\r\n", "\n")


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.slow
def test_a_person_sees_lines_that_fit(columns):
    lines = at_a_terminal(ASKED, columns).splitlines()
    assert len(lines) > 1
    assert max(map(len, lines)) <= columns
    assert all(line.startswith("  ") for line in lines[1:])


def test_a_program_gets_one_line_for_each_problem():
    told = CliRunner().invoke(main, ASKED)
    assert told.exit_code == 1
    assert len(told.stderr.splitlines()) == 1
    assert len(told.stderr) > 100
