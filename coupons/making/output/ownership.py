"""Recognise files that `make` wrote, so that no other file is replaced.

Each kind is known by its own bytes, so that a folder copied, or left half made, is known too. What
another program opened and saved again is no longer ours, even under the same name.
"""

import io
import re
import zipfile
import zlib
from collections.abc import Callable

from coupons.making.output.threemf import MODEL_PATH

_STL_HEADER = re.compile(rb"coupon .+")
_SVG_HEAD = re.compile(rb'<svg xmlns="[^"]*" viewBox="0 0 [^"]*" [^>]*aria-label="Map of ')
_MEMBERS = ["[Content_Types].xml", "_rels/.rels", MODEL_PATH]
_MOST_HEAD = 4096  # bytes of a model in which its metadata stand
_MOST_PIXELS = 40_000_000


def is_stl(data: bytes) -> bool:
    """Tell whether bytes are a binary STL with a header of ours."""
    whole = len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")
    return whole and _STL_HEADER.match(data) is not None


def is_threemf(data: bytes) -> bool:
    """Tell whether bytes are a 3MF package with nothing but what we write into one."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            if package.namelist() != _MEMBERS:
                return False
            with package.open(MODEL_PATH) as model:
                head = model.read(_MOST_HEAD)
    except (
        zipfile.BadZipFile,
        NotImplementedError,
        RuntimeError,
        ValueError,
        zlib.error,
        EOFError,
    ):
        return False
    return b'<metadata name="Application">coupons</metadata>' in head


def is_map(data: bytes) -> bool:
    """Tell whether bytes are a map as we draw it, not as a drawing program saved it."""
    return _SVG_HEAD.match(data) is not None and b"<g data-plate=" in data


def is_preview(data: bytes) -> bool:
    """Tell whether bytes are a PNG that is packed as only our writer packs one.

    It has three chunks, and each line of its pixels is stored less its left neighbour.
    """
    begin, end = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", b"\x00\x00\x00\x00IEND\xaeB`\x82"
    if not (data.startswith(begin) and data.endswith(end) and data[37:41] == b"IDAT"):
        return False
    width, height = (int.from_bytes(data[at : at + 4], "big") for at in (16, 20))
    size = int.from_bytes(data[33:37], "big")
    if 41 + size + 4 + len(end) != len(data) or width * height > _MOST_PIXELS:
        return False
    line = 1 + 3 * width
    try:
        pixels = zlib.decompressobj().decompress(data[41 : 41 + size], height * line + 1)
    except zlib.error:
        return False
    return len(pixels) == height * line and set(pixels[::line]) == {1}


IS_OURS: dict[str, Callable[[bytes], bool]] = {
    ".stl": is_stl,
    ".3mf": is_threemf,
    ".svg": is_map,
    ".png": is_preview,
}
"""By the ending of a file's name."""
