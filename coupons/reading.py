"""Reading a file of unknown origin: nothing but a plain file, and not without end."""

import errno
import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from coupons.errors import CouponError, Problem

MOST_BYTES = 64_000_000
"""More than these were not typed by anybody, and no coupon's record is as long."""


def read_plain(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of a plain file; links are followed.

    Raises
    ------
    OSError
        If there is no such file, it is a folder, a pipe or a device, cannot be read, or is longer
        than ``most_bytes``. Nothing waits for a pipe's other end.
    """
    try:
        # A pipe opened without this flag waits for a writer for ever.
        handle = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except ValueError:  # a name with a null character
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path)) from None
    with os.fdopen(handle, "rb") as file:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "a pipe or a device", str(path))
        data = file.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise OSError(errno.EFBIG, f"more than {most_bytes:,} bytes", str(path))
    return data


def stands(path: Path) -> bool:
    """Tell whether anything stands at a path, be it a link to nowhere or out of reach.

    Unlike `Path.exists`, a folder that may not be searched does not raise: what stands behind it is
    found out, and told, when it is read.
    """
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return False
    except OSError:
        return True
    return True


def load_toml(text: str, file: str, error: type[CouponError]) -> dict[str, Any]:
    """Load TOML without asking what it says.

    Parameters
    ----------
    text : str
    file : str
        Its name, for the message.
    error : type of CouponError
        What to raise.

    Raises
    ------
    CouponError
        With the line at which it stops being TOML.
    """
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        # Numbers of thousands of digits and brackets nested as deep escape the parser's own error.
        raise error([_syntax_problem(text, fault, file)]) from None


def _syntax_problem(text: str, fault: Exception, file: str) -> Problem:
    place = re.search(r"line (\d+)", str(fault))
    lines = text.splitlines()
    number = int(place[1]) if place else len(lines)
    line = lines[number - 1].strip()[:60] if 0 < number <= len(lines) else "the end of the file"
    where = f"{file} line {number}"
    if re.search(r"\d,\d", line) and not line.endswith("]"):
        return Problem(where, "a decimal point", line, "Write 0.4, not 0,4")
    return Problem(where, "key = value", line, "Text stands in double quotes, numbers stand bare")
