"""Writing files so that a reader never sees half of one and a failure leaves the old one."""

import os
import tempfile
from pathlib import Path


def write_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` in one step, making its folder if there is none."""
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


def write_text(path: Path, text: str) -> None:
    """Write ``text`` as UTF-8 with its line ends as they are, in one step."""
    write_bytes(path, text.encode("utf-8"))
