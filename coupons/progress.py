"""Telling how far long work has come, to whoever listens; nobody does unless asked to."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Listener = Callable[[str, int, int], None]
"""Called with what is done, how many of its steps are done, and how many there are."""

Step = TypeVar("Step")

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


def steps(items: Sequence[Step], what: str) -> Iterator[Step]:
    """Go through the steps of long work and tell after each how many are done.

    Examples
    --------
    >>> with told_to(print):
    ...     list(steps("ab", "letters"))
    letters 1 2
    letters 2 2
    ['a', 'b']
    """
    tell = _listener.get()
    for done, item in enumerate(items, start=1):
        yield item
        if tell is not None:
            tell(what, done, len(items))


@contextmanager
def told_to(listener: Listener) -> Iterator[None]:
    """Tell a listener of all work that is done meanwhile."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)
