"""How much work code does, counted: the same on every machine, whatever else runs on it."""

import sys
import tracemalloc
from pathlib import Path

import coupons

HOUSE = str(Path(coupons.__file__).parent)


def lines_run(do):
    """Return what a call returns, and how many lines of the package it ran, loops counted."""
    count = 0

    def trace(frame, event, _):
        nonlocal count
        if not frame.f_code.co_filename.startswith(HOUSE):
            return None
        count += event == "line"
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        found = do()
    finally:
        sys.settrace(before)
    return found, count


def most_bytes(do):
    """Return what a call returns, and how many bytes it held at most, arrays included."""
    tracemalloc.start()
    try:
        found = do()
        return found, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
