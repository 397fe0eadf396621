"""Writing files in one step: a reader never sees half a file, a failure keeps the old one."""

import errno
import os
import stat
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from platform import node

from coupons.errors import Problem, WriteError
from coupons.reading import read_plain

# Names of unfinished files tell whose they are: of this computer, and of which of its processes.
_PREFIX = f".coupons-{zlib.crc32(node().encode()):08x}-"
_SUFFIX = ".part"
_MOST_BYTES = 1_000_000_000  # a plate of thousands of bodies is long
_LONG_S = 3600.0  # after which an unfinished file is a dead one, where processes cannot be asked


@dataclass(frozen=True)
class _Staged:
    """A complete temporary file that waits to replace its target."""

    path: Path
    target: Path
    temporary: Path

    def put(self) -> None:
        self.temporary.replace(self.target)


class FileGroup:
    """Files that belong together: none replaces its target before all are written."""

    def __init__(self) -> None:
        self._staged: list[_Staged] = []
        self._stale: list[Path] = []
        self._new: list[Path] = []
        self._cleaned: set[Path] = set()

    def clean(self, folder: Path) -> None:
        """Remove what killed processes left in a folder, once however many files go there."""
        if folder not in self._cleaned:
            self._cleaned.add(folder)
            _clean(folder)

    def add(self, staged: _Staged) -> None:
        """Keep a file until `settle`."""
        self._staged.append(staged)

    def outdate(self, path: Path) -> None:
        """Keep the name of a file to remove once the new ones are in place."""
        self._stale.append(path)

    def settle(self) -> None:
        """Put all written files in place, then remove outdated ones."""
        folders = {staged.target.parent for staged in self._staged}
        self._staged.reverse()
        while self._staged:
            staged = self._staged[-1]
            with _worded(staged.path):
                staged.put()
            self._new.append(self._staged.pop().path)
        for folder in folders:
            _sync_folder(folder)
        while self._stale:
            _remove(self._stale.pop(0))

    def drop(self) -> None:
        """Delete temporary files that were not put in place."""
        for staged in self._staged:
            staged.temporary.unlink(missing_ok=True)

    def told(self, error: WriteError) -> WriteError:
        """Return an error that also lists the files already written."""
        if not self._new:
            return error
        names = ", ".join(map(str, self._new))
        return WriteError(
            f"{error.message}\nAlready written: {names}. The other files are unchanged."
        )


_group: ContextVar[FileGroup | None] = ContextVar("group", default=None)


@contextmanager
def together() -> Iterator[FileGroup]:
    """Write several files as one: if one of them cannot be written, none of them changes.

    Raises
    ------
    WriteError
        If a file cannot be written. If some files are already in place by then, it lists them.
    """
    group = FileGroup()
    token = _group.set(group)
    try:
        yield group
        group.settle()
    except WriteError as error:
        raise group.told(error) from None
    finally:
        _group.reset(token)
        group.drop()


def write_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` in one step, making its folder if there is none.

    A link is followed: the file that it leads to is replaced. Within `together` the file is put in
    its place only when all others are written.

    Raises
    ------
    WriteError
        If the file cannot be written; an old one is left unchanged.
    """
    group = _group.get()
    with _worded(path):
        staged = _stage(path, data, _clean if group is None else group.clean)
    if group is not None:
        group.add(staged)
        return
    try:
        with _worded(path):
            staged.put()
    finally:
        staged.temporary.unlink(missing_ok=True)
    _sync_folder(staged.target.parent)


def write_text(path: Path, text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are, in one step; see `write_bytes`."""
    # The name of a folder may hold bytes that are no text.
    write_bytes(path, text.encode("utf-8", "backslashreplace"))


def remove(path: Path) -> None:
    """Remove an outdated file; within `together`, after all files are in place.

    Raises
    ------
    WriteError
        If it cannot be removed.
    """
    group = _group.get()
    if group is None:
        _remove(path)
    else:
        group.outdate(path)


def not_ours(path: Path, what: str, is_ours: Callable[[bytes], bool]) -> list[Problem]:
    """Return the problem if a file must not be written over, or nothing.

    Parameters
    ----------
    path : Path
        Where the file would be written.
    what : str
        What it would be, in words: ``"a profile"``.
    is_ours : callable
        Tells from the bytes of the existing file whether this tool wrote it.
    """
    try:
        _target(path)
        data = read_plain(path, _MOST_BYTES)
    except FileNotFoundError:
        return []
    except IsADirectoryError:
        return [_no_place(path, "a folder or a device")]
    except OSError as error:
        return [_no_place(path, _reason(error))]
    if not data or is_ours(data):
        return []
    expected, todo = f"{what} to replace, or no such file", "Give another path with -o"
    return [Problem(str(path), expected, "another kind of file", todo)]


@contextmanager
def _worded(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise WriteError([_no_place(path, _reason(error))]) from None


def _no_place(path: Path, got: str) -> Problem:
    return Problem(str(path), "a path that can be written", got, "Give another path")


def _reason(error: OSError) -> str:
    if isinstance(error, FileExistsError | NotADirectoryError):
        return "a file where its folder should be"
    return (error.strerror or "none").lower()


def _target(path: Path) -> tuple[Path, int]:
    """Return the file that a path leads to, and its mode; a new one gets the default mode."""
    try:
        found = path.stat()
    except FileNotFoundError:
        umask = os.umask(0)
        os.umask(umask)
        return Path(os.path.realpath(path)), 0o666 & ~umask
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "a pipe or a device")
    return Path(os.path.realpath(path)), stat.S_IMODE(found.st_mode)


def _stage(path: Path, data: bytes, clean: Callable[[Path], None]) -> _Staged:
    target, mode = _target(path)
    target.parent.mkdir(parents=True, exist_ok=True)
    clean(target.parent)
    prefix = f"{_PREFIX}{os.getpid()}-"
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=prefix, suffix=_SUFFIX)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(handle)  # else the new name may reach the disk before what it names
        # mkstemp makes files private; what a person keeps beside it is not.
        temporary.chmod(mode)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return _Staged(path, target, temporary)


def _clean(folder: Path) -> None:
    """Remove temporary files of processes that were killed while writing."""
    for left in folder.glob(f"{_PREFIX}*{_SUFFIX}"):
        process = left.name.removeprefix(_PREFIX).split("-")[0]
        with suppress(OSError):
            if process.isdecimal() and not _may_be_at_work(int(process), left):
                left.unlink()


def _may_be_at_work(process: int, left: Path) -> bool:
    if process == os.getpid():
        return True
    if os.name == "nt":  # where asking after a process would end it
        return time.time() - left.stat().st_mtime < _LONG_S
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def _remove(path: Path) -> None:
    with _worded(path):
        path.unlink(missing_ok=True)


def _sync_folder(folder: Path) -> None:
    """Flush the new names to disk, if the system allows it for folders."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
