"""Reading a file of unknown origin: only a plain file, up to a largest size."""

import errno
import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any, BinaryIO

from coupons.errors import CouponError, Problem

MOST_BYTES = 64_000_000
"""Largest file that is read: nobody types more, and no coupon's record is as long."""


def read_plain(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the bytes of a plain file; links are followed.

    Raises
    ------
    OSError
        If there is no such file, it is a folder, a pipe or a device, cannot be read, or is longer
        than ``most_bytes``. It never waits for the other end of a pipe.
    """
    with _opened(path) as file:
        # A file that is too long is not read; one that grows meanwhile is not read to its end.
        is_long = os.fstat(file.fileno()).st_size > most_bytes
        data = b"" if is_long else file.read(most_bytes + 1)
    if is_long or len(data) > most_bytes:
        raise OSError(errno.EFBIG, f"more than {most_bytes:,} bytes", str(path))
    return data


def start_of_plain(path: Path, many_bytes: int) -> tuple[bytes, int]:
    """Return the first bytes of a plain file, and how many it has.

    Raises
    ------
    OSError
        As `read_plain`, whatever its length.
    """
    with _opened(path) as file:
        return file.read(many_bytes), os.fstat(file.fileno()).st_size


def _opened(path: Path) -> BinaryIO:
    try:
        # A pipe opened without this flag waits for a writer for ever.
        handle = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except ValueError:  # a name with a null character
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path)) from None
    mode = os.fstat(handle).st_mode
    if stat.S_ISREG(mode):
        return os.fdopen(handle, "rb")
    os.close(handle)
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    raise OSError(errno.EINVAL, "a pipe or a device", str(path))


def stands(path: Path) -> bool:
    """Tell whether anything is at a path, even a broken link or a file without access.

    Unlike `Path.exists`, this does not raise for a folder without access: the error comes when the
    file is read.
    """
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return False
    except OSError:
        return True
    return True


def load_toml(text: str, file: str, error: type[CouponError]) -> dict[str, Any]:
    """Load TOML without checking its content.

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
        With the line of the first syntax error.
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
    comma = re.search(r"\d+,\d+", line)
    if comma and not line.endswith("]"):
        todo = f"Write {comma[0].replace(',', '.')}, not {comma[0]}"
        return Problem(where, "a decimal point", line, todo)
    return Problem(where, "key = value", line, "Put text in double quotes, but not numbers")
