"""The one place where words leave: standard output and standard error of every command."""

import errno
import os
import sys
import textwrap
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

from coupons.errors import DoubtWarning, Problem, WriteError
from coupons.neutral import encodable, neutral

EVERY_S = 5.0
"""Seconds between two lines about long work."""


class Outlet:
    """A text stream that takes any text: harmless for a terminal, in what its encoding has.

    Parameters
    ----------
    stream : TextIO
        Where to.
    name : str
        What it is called in an error.
    """

    def __init__(self, stream: TextIO, name: str) -> None:
        self._stream = stream
        self._name = name

    def write(self, text: str) -> int:
        """Write a text; return how many characters of it were taken, which is all."""
        shown = encodable(neutral(text), self._stream.encoding or "utf-8")
        if shown:  # the parser writes nothing, to find out what kind of stream this is
            with self._worded():
                self._stream.write(shown)
        return len(text)

    def flush(self) -> None:
        """Hand on what was written."""
        with self._worded():
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        # Without a way to the bytes below, nobody can write past this one.
        if name in ("buffer", "detach"):
            raise AttributeError(name)
        return getattr(self._stream, name)

    @contextmanager
    def _worded(self) -> Iterator[None]:
        """Word that no more can be written, such as to a full disk; a closed pipe is no fault."""
        try:
            yield
        except OSError as error:
            if error.errno == errno.EPIPE:
                raise
            self._give_up()
            got = (error.strerror or "none").lower()
            todo = "Make room, or send it elsewhere"
            raise WriteError([Problem(self._name, "a place to write to", got, todo)]) from None

    def _give_up(self) -> None:
        """Let what is still held back go nowhere, or the interpreter would try again at its end."""
        with suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)


class Lines:
    """Says on stderr how far long work has come: a line now and then, none about short work."""

    def __init__(self) -> None:
        self._next_s = time.monotonic() + EVERY_S

    def __call__(self, what: str, done: int, of: int) -> None:
        """Say it if it is time; the last step says nothing, as its result follows."""
        now_s = time.monotonic()
        if now_s < self._next_s or done == of:
            return
        self._next_s = now_s + EVERY_S
        sys.stderr.write(f"{done:,} of {of:,} {what}\n")
        sys.stderr.flush()


@contextmanager
def warnings_as_lines() -> Iterator[None]:
    """Say warnings of ours on stderr as a person reads them; others keep their form."""
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
                sys.stderr.write(textwrap.fill(f"Doubtful: {message}", 80) + "\n")
            else:
                show(message, category, filename, lineno, file, line)

        warnings.showwarning = said
        warnings.simplefilter("always", DoubtWarning)
        yield


@contextmanager
def outlets() -> Iterator[None]:
    """Send everything that is written meanwhile through `Outlet`."""
    before = sys.stdout, sys.stderr
    ours = Outlet(sys.stdout, "standard output"), Outlet(sys.stderr, "standard error")
    sys.stdout, sys.stderr = ours
    try:
        yield
    finally:
        # After a closed pipe the parser has put its own stand-ins there, which stay.
        if sys.stdout is ours[0]:
            sys.stdout = before[0]
        if sys.stderr is ours[1]:
            sys.stderr = before[1]
