"""Progress of long work, reported to a listener if there is one."""

from collections.abc import Callable, Iterable, Iterator, Sized
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Listener = Callable[[str, int, int], None]
"""Called with what is done, how many of its steps are done, and how many there are."""

Step = TypeVar("Step")

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


def steps(items: Iterable[Step], what: str, of: int | None = None) -> Iterator[Step]:
    """Go through the steps of long work and report after each how many are done.

    Parameters
    ----------
    items : iterable
    what : str
        What they are called, in the plural.
    of : int, optional
        How many there are, where ``items`` cannot tell.

    Examples
    --------
    >>> with told_to(print):
    ...     list(steps("ab", "letters"))
    letters 1 2
    letters 2 2
    ['a', 'b']
    """
    tell = _listener.get()
    if of is None:
        of = len(items) if isinstance(items, Sized) else 0
    for done, item in enumerate(items, start=1):
        yield item
        if tell is not None:
            tell(what, done, of)


@contextmanager
def told_to(listener: Listener | None) -> Iterator[None]:
    """Report the progress of all work inside the block to a listener; to nobody if None."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)
