"""Reading a file of unknown origin: nothing but a plain file, and not without end."""

import errno
import os
import stat
from pathlib import Path

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
