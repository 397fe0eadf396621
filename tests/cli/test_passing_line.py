"""Progress stands in the last line of a terminal and leaves nothing behind; elsewhere it is not."""

import io
import sys

import pytest

from coupons.cli import output
from coupons.cli.output import Lines, outlets


class Stream(io.StringIO):
    def __init__(self, is_terminal):
        super().__init__()
        self._is_terminal = is_terminal

    def isatty(self):
        return self._is_terminal

    def screen(self):
        """What a terminal shows: after a carriage return, text goes over what stands there."""
        shown = []
        for line in self.getvalue().split("\n"):
            signs = []
            for part in line.split("\r"):
                signs[: len(part)] = part
            shown.append("".join(signs).rstrip())
        return shown


def terminal(monkeypatch):
    """One terminal for both streams, progress at every step."""
    monkeypatch.setattr(output, "EVERY_S", 0.0)
    both = Stream(is_terminal=True)
    monkeypatch.setattr(sys, "stdout", both)
    monkeypatch.setattr(sys, "stderr", both)
    return both


def test_a_result_stands_where_progress_stood(monkeypatch):
    both = terminal(monkeypatch)
    with outlets() as passing:
        tell = Lines(passing)
        tell("bodies checked, of which some are long", 1, 3)
        assert both.screen() == ["1 of 3 bodies checked, of which some are long"]
        tell("files", 2, 3)
        assert both.screen()[0].startswith("2 of 3 files")
        assert "checked" not in both.screen()[0]
        tell("files", 3, 3)
        assert both.screen() == [""]
        print("A: pin in hole")
    assert both.screen() == ["A: pin in hole", ""]


@pytest.mark.parametrize("name", ["stdout", "stderr"])
def test_other_text_begins_on_a_clear_line(monkeypatch, name):
    both = terminal(monkeypatch)
    with outlets() as passing:
        Lines(passing)("bodies checked, of which some are long", 1, 3)
        print("wrong", file=getattr(sys, name))
    assert both.screen() == ["wrong", ""]


def test_work_that_breaks_off_leaves_a_clear_line(monkeypatch):
    both = terminal(monkeypatch)
    with outlets() as passing:
        Lines(passing)("files read", 1, 3)
    assert both.screen() == [""]


def test_a_file_gets_no_progress(monkeypatch):
    monkeypatch.setattr(output, "EVERY_S", 0.0)
    stream = Stream(is_terminal=False)
    monkeypatch.setattr(sys, "stderr", stream)
    with outlets() as passing:
        Lines(passing)("files read", 1, 3)
    assert stream.getvalue() == ""
