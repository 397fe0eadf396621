"""Output of every command: all text to stdout and stderr passes here."""

import errno
import os
import sys
import textwrap
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from shutil import get_terminal_size
from typing import Any, TextIO

from coupons.errors import DoubtWarning, Problem, WriteError
from coupons.neutral import encodable, neutral, one_line

EVERY_S = 5.0
"""Seconds between two reports of progress."""


class PassingLine:
    """The last line of a terminal, over which progress is written; none where there is no terminal.

    Parameters
    ----------
    stream : TextIO
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._is_shown = is_terminal(stream)
        self._length = 0

    def show(self, text: str) -> None:
        """Write a text over the one that stands there."""
        if self._is_shown:
            text = encodable(one_line(text), self._stream.encoding or "utf-8")
            self._write(text[: get_terminal_size().columns - 1])

    def clear(self) -> None:
        """Take away what stands there, so that other text can follow."""
        if self._length:
            self._write("")

    def _write(self, text: str) -> None:
        with suppress(OSError):  # nobody is harmed by progress that is not seen
            self._stream.write("\r" + text.ljust(self._length) + ("" if text else "\r"))
            self._stream.flush()
        self._length = len(text)


def is_terminal(stream: TextIO) -> bool:
    """Tell whether a person sees a stream as it is written."""
    return bool(stream and stream.isatty())  # a stream that was closed before is None


class Outlet:
    """A text stream that takes any text and makes it safe for a terminal and its encoding.

    Parameters
    ----------
    stream : TextIO
        Where the text goes.
    name : str
        Its name in an error.
    passing : PassingLine
        Cleared before anything is written.
    """

    def __init__(self, stream: TextIO, name: str, passing: PassingLine) -> None:
        self._stream = stream
        self._name = name
        self._passing = passing

    def write(self, text: str) -> int:
        """Write a text; return its number of characters."""
        shown = encodable(neutral(text), self._stream.encoding or "utf-8")
        if shown:  # the parser writes nothing, to find out what kind of stream this is
            self._passing.clear()
            with self._worded():
                self._stream.write(shown)
        return len(text)

    def flush(self) -> None:
        """Flush the stream."""
        with self._worded():
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        # Without a way to the bytes below, nobody can write past this one.
        if name in ("buffer", "detach"):
            raise AttributeError(name)
        return getattr(self._stream, name)

    @contextmanager
    def _worded(self) -> Iterator[None]:
        """Turn a failed write, such as to a full disk, into our error; a closed pipe is none."""
        try:
            yield
        except OSError as error:
            if error.errno == errno.EPIPE:
                raise
            self._give_up()
            got = (error.strerror or "none").lower()
            todo = "Free some space, or write elsewhere"
            raise WriteError([Problem(self._name, "a place to write to", got, todo)]) from None

    def _give_up(self) -> None:
        """Discard buffered text, or the interpreter would try to write it again at its end."""
        with suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)


class Lines:
    """Reports progress of long work in a passing line now and then, none for short work.

    Parameters
    ----------
    passing : PassingLine
    """

    def __init__(self, passing: PassingLine) -> None:
        self._passing = passing
        self._next_s = time.monotonic() + EVERY_S
        self._what, self._since, self._since_s = "", 0, 0.0

    def __call__(self, what: str, done: int, of: int) -> None:
        """Report if it is time; after the last step nothing is left, as its result follows."""
        now_s = time.monotonic()
        if what != self._what:  # the first step may have waited for much else
            self._what, self._since, self._since_s = what, done, now_s
        if done == of:
            self._passing.clear()
        if now_s < self._next_s or done == of:
            return
        self._next_s = now_s + EVERY_S
        self._passing.show(f"{done:,} of {of:,} {what}{self._left(done, of, now_s)}")

    def _left(self, done: int, of: int, now_s: float) -> str:
        """Say how long the rest will take at the pace so far; nothing before there is a pace."""
        steps, took_s = done - self._since, now_s - self._since_s
        if steps <= 0 or took_s <= 0:
            return ""
        left_s = (of - done) * took_s / steps
        return (
            f", about {left_s:.0f} s left" if left_s < 90 else f", about {left_s / 60:.0f} min left"
        )


@contextmanager
def warnings_as_lines() -> Iterator[None]:
    """Print our warnings as plain lines on stderr; others keep their form."""
    with warnings.catch_warnings():
        show = warnings.showwarning

        def said(
            message: Warning | str,
            category: type[Warning],
            filename: str,
            lineno: int,
            file: TextIO | None = None,
            line: str | None = None,
        ) -> None:
            if issubclass(category, DoubtWarning):
                sys.stderr.write(textwrap.fill(f"Warning: {message}", 80) + "\n")
            else:
                show(message, category, filename, lineno, file, line)

        warnings.showwarning = said
        warnings.simplefilter("always", DoubtWarning)
        yield


@contextmanager
def outlets() -> Iterator[PassingLine]:
    """Send all output inside the block through `Outlet`; yield the line for progress."""
    before = sys.stdout, sys.stderr
    passing = PassingLine(sys.stderr)
    ours = (
        Outlet(sys.stdout, "standard output", passing),
        Outlet(sys.stderr, "standard error", passing),
    )
    sys.stdout, sys.stderr = ours
    try:
        yield passing
    finally:
        passing.clear()
        # After a closed pipe the parser has put its own stand-ins there, which stay.
        if sys.stdout is ours[0]:
            sys.stdout = before[0]
        if sys.stderr is ours[1]:
            sys.stderr = before[1]
