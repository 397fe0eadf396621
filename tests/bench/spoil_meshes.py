"""Spoiling mesh files in ways in which exports go wrong, or somebody makes them go wrong."""

import io
import re
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from bench.spoil import NUMBERS, spoiled

Rng = np.random.Generator
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
_MODEL = "3D/main.model"
_STL_HEAD, _STL_TRIANGLE = 84, 50
_COUNTS = (0, 1, 11, 10**6, 2**31 - 1, 2**32 - 1)
_FAR = (np.nan, np.inf, -np.inf, 1e30, 1e-30, 3e38)


def spoiled_mesh(path: Path, rng: Rng) -> None:
    """Spoil a mesh file in place: by the meaning of its bytes mostly, else like any file."""
    if path.suffix not in (".stl", ".3mf", ".obj", ".ply") or rng.random() < 0.2:
        spoiled(path, rng)
        return
    data = path.read_bytes()
    if path.suffix == ".3mf":
        data = _package(data, rng)
    elif b"vertex" in data[:400] or path.suffix == ".obj":
        data = _text(data, rng)
    else:
        data = _binary(data, rng)
    path.write_bytes(data)


def _pick(ways: tuple[Callable[[bytes, Rng], bytes], ...], data: bytes, rng: Rng) -> bytes:
    for _ in range(rng.integers(1, 3)):
        if len(data) < 100:  # little is left to be spoiled
            break
        data = ways[rng.integers(len(ways))](data, rng)
    return data


def _text(data: bytes, rng: Rng) -> bytes:
    return _pick((_number, _number, _shifted, _line_lost, _line_twice, _cut, _doubled), data, rng)


def _number(data: bytes, rng: Rng) -> bytes:
    """Turn a number into another thing, an index out of range among them."""
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    one = found[rng.integers(len(found))]
    others = (*NUMBERS, b"999999", b"-7", b"4294967296", b"1e30")
    return data[: one.start()] + others[rng.integers(len(others))] + data[one.end() :]


def _shifted(data: bytes, rng: Rng) -> bytes:
    """Move one coordinate a little: faces lean, corners come off."""
    found = [one for one in _NUMBER.finditer(data) if b"." in one[0]] or [None]
    one = found[rng.integers(len(found))]
    if one is None:
        return data
    moved = float(one[0]) + rng.normal() * 10.0 ** rng.integers(-6, 1)
    return data[: one.start()] + repr(moved).encode() + data[one.end() :]


def _line_lost(data: bytes, rng: Rng) -> bytes:
    lines = data.split(b"\n")
    del lines[rng.integers(len(lines))]
    return b"\n".join(lines)


def _line_twice(data: bytes, rng: Rng) -> bytes:
    lines = data.split(b"\n")
    at = rng.integers(len(lines))
    return b"\n".join([*lines[: at + 1], *lines[at:]])


def _cut(data: bytes, rng: Rng) -> bytes:
    return data[: rng.integers(len(data))]


def _doubled(data: bytes, rng: Rng) -> bytes:
    return data * int(rng.integers(2, 4))


def _binary(data: bytes, rng: Rng) -> bytes:
    ways = (_count, _coordinate, _coordinate, _moved, _flattened, _repeated, _dropped, _cut)
    return _pick(ways, data, rng)


def _count(data: bytes, rng: Rng) -> bytes:
    """Say another number of triangles: in the head of an STL, in the lines of a PLY."""
    said = _COUNTS[rng.integers(len(_COUNTS))]
    if data[:3] == b"ply":
        what = (b"vertex", b"face")[rng.integers(2)]
        return re.sub(rb"element %s \d+" % what, b"element %s %d" % (what, said), data, count=1)
    return data[:80] + struct.pack("<I", said) + data[_STL_HEAD:]


def _place(data: bytes, rng: Rng) -> int:
    """Return where a coordinate stands, more or less."""
    if data[:3] == b"ply":
        start = data.find(b"end_header") + len(b"end_header\n")
        return start + 4 * int(rng.integers(max((len(data) - start) // 4 - 1, 1)))
    triangle = int(rng.integers(max((len(data) - _STL_HEAD) // _STL_TRIANGLE, 1)))
    return _STL_HEAD + _STL_TRIANGLE * triangle + 4 * int(rng.integers(12))


def _coordinate(data: bytes, rng: Rng) -> bytes:
    at, value = _place(data, rng), _FAR[rng.integers(len(_FAR))]
    return data[:at] + struct.pack("<f", value) + data[at + 4 :]


def _moved(data: bytes, rng: Rng) -> bytes:
    at = _place(data, rng)
    if at + 4 > len(data):
        return data
    (now,) = struct.unpack("<f", data[at : at + 4])
    moved = np.float32(now + rng.normal() * 10.0 ** rng.integers(-6, 1))
    return data[:at] + moved.tobytes() + data[at + 4 :]


def _flattened(data: bytes, rng: Rng) -> bytes:
    """Give a triangle of an STL one corner twice: no area."""
    at = _STL_HEAD + _STL_TRIANGLE * int(rng.integers(max(len(data) // _STL_TRIANGLE - 1, 1)))
    return data[: at + 24] + data[at + 12 : at + 24] + data[at + 36 :]


def _repeated(data: bytes, rng: Rng) -> bytes:
    """Hold all triangles of an STL several times, with the right count."""
    times = int(rng.integers(2, 5))
    body = data[_STL_HEAD:] * times
    return data[:80] + struct.pack("<I", len(body) // _STL_TRIANGLE) + body


def _dropped(data: bytes, rng: Rng) -> bytes:
    """Leave a triangle of an STL out, with the right count."""
    at = _STL_HEAD + _STL_TRIANGLE * int(rng.integers(max(len(data) // _STL_TRIANGLE - 1, 1)))
    body = data[_STL_HEAD:at] + data[at + _STL_TRIANGLE :]
    return data[:80] + struct.pack("<I", len(body) // _STL_TRIANGLE) + body


def _package(data: bytes, rng: Rng) -> bytes:
    """Spoil what a package holds, and pack it again."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    ways = (_text, _text, _nested, _entities, _deep, _padded, _other_unit, _doctored)
    parts[_MODEL] = ways[rng.integers(len(ways))](parts[_MODEL], rng)
    if rng.random() < 0.1:
        del parts[list(parts)[rng.integers(len(parts))]]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as package:
        for name, part in parts.items():
            package.writestr(name, part)
    return packed.getvalue()


def _nested(data: bytes, rng: Rng) -> bytes:
    """Place objects within objects, each twice: up to two to the power of forty of them."""
    many = int(rng.integers(2, 40))
    more = ""
    for n in range(100, 100 + many):
        twice = f'<component objectid="{n - 1 if n > 100 else 1}"/>' * 2
        more += f'<object id="{n}"><components>{twice}</components></object>'
    data = data.replace(b"</resources>", more.encode() + b"</resources>", 1)
    return data.replace(b'objectid="1"/></build>', b'objectid="%d"/></build>' % (99 + many), 1)


def _entities(data: bytes, rng: Rng) -> bytes:
    """Define entities by entities, ten times each."""
    depth = int(rng.integers(1, 12))
    defined = '<!ENTITY a0 "x">' + "".join(
        f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, depth + 1)
    )
    used = f"<metadata>&a{depth};</metadata><resources>"
    return f"<!DOCTYPE model [{defined}]>".encode() + data.replace(b"<resources>", used.encode(), 1)


def _deep(data: bytes, rng: Rng) -> bytes:
    many = int(rng.integers(1, 100_000))
    return data.replace(b"<resources>", b"<a>" * many + b"</a>" * many + b"<resources>", 1)


def _padded(data: bytes, rng: Rng) -> bytes:
    """Make it large once unpacked: a little text, or elements, over and over."""
    filling = (b"<a/>", b" ", b'<vertex x="0" y="0" z="0"/>')[rng.integers(3)]
    filling *= int(rng.integers(1, 300_000))
    return data.replace(b"<resources>", filling + b"<resources>", 1)


def _other_unit(data: bytes, rng: Rng) -> bytes:
    units = (b"inch", b"meter", b"micron", b"mile", b"")
    return data.replace(b'unit="millimeter"', b'unit="%s"' % units[rng.integers(len(units))], 1)


def _doctored(data: bytes, rng: Rng) -> bytes:
    """Place the object with a transform that flattens, mirrors, or throws it far away."""
    what = (
        b"0 0 0 0 0 0 0 0 0 0 0 0",
        b"-1 0 0 0 1 0 0 0 1 0 0 0",
        b"1 0 0 0 1 0 0 0 1 1e30 0 0",
        b"nan 0 0 0 1 0 0 0 1 0 0 0",
        b"1 0 0 0 1 0",
        b"1e200 0 0 0 1e200 0 0 0 1e200 0 0 0",
    )[rng.integers(6)]
    return data.replace(b'objectid="1"/>', b'objectid="1" transform="%s"/>' % what, 1)
