"""One thread for the linear algebra of a block.

Matrices of a hundred rows gain nothing from threads, and on a busy machine the threads wait for one
another: thirty times slower with both of two cores taken.
"""

from functools import cache
from typing import Any

# Both libraries of linear algebra, numpy's and scipy's, must be loaded before they are looked for.
import numpy.linalg  # noqa: F401
import scipy.linalg  # noqa: F401
from threadpoolctl import ThreadpoolController


@cache
def _controller() -> Any:
    """Return the libraries that were found; to look for them takes as long as a small answer."""
    return ThreadpoolController()


def one_thread() -> Any:
    """Return a context in which linear algebra uses one thread."""
    return _controller().limit(limits=1)
