"""Writing files so that a reader never sees half of one and a failure leaves the old one."""

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from coupons.errors import Problem, WriteError


def write_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` in one step, making its folder if there is none.

    Raises
    ------
    WriteError
        If there can be no such file; what stood there is left as it was.
    """
    try:
        _write(path, data)
    except OSError as error:
        raise WriteError([_no_place(path, _reason(error))]) from None


def write_text(path: Path, text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are, in one step; see `write_bytes`."""
    write_bytes(path, text.encode("utf-8"))


def not_ours(path: Path, what: str, is_ours: Callable[[bytes], bool]) -> list[Problem]:
    """Return the problem that a file may not be written, or nothing.

    Parameters
    ----------
    path : Path
        Where the file would be written.
    what : str
        What it would be, as a person calls it: ``"a profile"``.
    is_ours : callable
        Tells from the bytes that stand there whether this tool wrote the like.
    """
    try:
        if path.exists() and not path.is_file():
            return [_no_place(path, "a folder or a device")]
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    except OSError as error:
        return [_no_place(path, _reason(error))]
    if not data or is_ours(data):
        return []
    expected, todo = f"{what} to replace, or no such file", "Give another path with -o"
    return [Problem(str(path), expected, "a file that is something else", todo)]


def _no_place(path: Path, got: str) -> Problem:
    return Problem(str(path), "a place for a file", got, "Give another path")


def _reason(error: OSError) -> str:
    if isinstance(error, FileExistsError | NotADirectoryError):
        return "a file where its folder would be"
    return (error.strerror or "none").lower()


def _write(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        # mkstemp makes files private; what a person keeps beside it is not.
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
