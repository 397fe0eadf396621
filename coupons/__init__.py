"""Coupons: learn how far a printer misses the drawn size, and what to draw instead.

The package is a house of five rooms, in the order of the job:
``making`` → ``measuring`` → ``learning`` → ``answering`` → ``showing``.
Names are loaded when first used, so that importing the package costs nothing.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"
__all__ = ["Joint", "__version__", "load_profile"]

_HOMES = {"load_profile": "coupons.answering.ask", "Joint": "coupons.terms"}


def __getattr__(name: str) -> Any:
    """Load a public name from its room on first use."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'coupons' has no attribute {name!r}")
