"""Spoiling a file in ways in which files get spoiled, by chance or by somebody."""

import json
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

Rng = np.random.Generator

# What a number, a word or a stretch of bytes may turn into.
NUMBERS = (
    b"0",
    b"-0.0",
    b"-1",
    b"1e400",
    b"-1e400",
    b"1e-320",
    b"nan",
    b"inf",
    b"NaN",
    b"Infinity",
    b"9" * 30,
    b"9" * 5000,
    b"0,5",
    b"1_000",
    b"0x1f",
    b"2.5.1",
    b"",
    b"12 mm",
    "½".encode(),
    "７".encode(),
)
WORDS = (
    b"",
    b" ",
    b"\x00",
    b"\x1b[2J",
    b"\xff\xfe",
    "\u202e".encode(),
    "\u2028".encode(),
    b"\r",
    b'"',
    b"'",
    b"=1+1",
    b"../../../etc/x",
    b"{{ 7 }}",
    b"<script>",
    b"[" * 3000,
    b'{"a":' * 3000,
    b"true",
    b"null",
    b"x" * 5000,
    b"go",
    b"stop",
    b"A1",
    b"slot",
    b"z",
)
TYPED = (
    b"",
    b"no-go",
    b"force",
    b"push..loose",
    b"go",
    b"5,02",
    b" 5.02 ",
    b"0.1995",
    b"in",
    b"depth",
    b"x",
    b"y",
    b"slide",
    b'"a, b"',
    b"inside",
    b"gap 0.2",
    b"both",
    b"0.05",
    b"4",
)
VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1e308,
    -0.0,
    5e-324,
    10**30,
    "",
    "x",
    "\x1b[2J\u202e",
    "\ud800",
    [],
    {},
    [[[]]],
    {"a": {"b": 1}},
    float("nan"),
    float("inf"),
)


def spoiled(path: Path, rng: Rng) -> None:
    """Spoil a file in place, the same way for the same state of the generator."""
    data = path.read_bytes()
    if rng.random() < 0.02:
        _no_plain_file(path, rng)
        return
    before = data
    # Half of the files are only touched, so that they get past the reading.
    gentle = rng.random() < 0.5
    for _ in range(100):
        for _ in range(1 if gentle else rng.integers(1, 5)):
            ways = WAYS_JSON if path.suffix == ".json" and rng.random() < 0.8 else WAYS
            ways = GENTLE if gentle else ways
            data = ways[rng.integers(len(ways))](data, rng)
        if data != before:
            break
    path.write_bytes(data)


def _no_plain_file(path: Path, rng: Rng) -> None:
    path.unlink()
    match rng.integers(5):
        case 0:
            os.mkfifo(path)
        case 1:
            path.symlink_to(path.name)
        case 2:
            path.mkdir()
        case 3:
            path.symlink_to("nowhere")
        case _:
            path.symlink_to(os.devnull)


def _spot(data: bytes, rng: Rng, most: int = 40) -> tuple[int, int]:
    at = int(rng.integers(len(data) + 1))
    return at, min(len(data), at + int(rng.integers(most)))


def _flip(data: bytes, rng: Rng) -> bytes:
    if not data:
        return b"\x00"
    at = int(rng.integers(len(data)))
    return data[:at] + bytes([int(rng.integers(256))]) + data[at + 1 :]


def _delete(data: bytes, rng: Rng) -> bytes:
    at, end = _spot(data, rng)
    return data[:at] + data[end:]


def _insert(data: bytes, rng: Rng) -> bytes:
    at, _ = _spot(data, rng)
    return data[:at] + WORDS[rng.integers(len(WORDS))] + data[at:]


def _again(data: bytes, rng: Rng) -> bytes:
    at, end = _spot(data, rng, 400)
    return data[:end] + data[at:end] * int(rng.integers(1, 4)) + data[end:]


def _cut(data: bytes, rng: Rng) -> bytes:
    at, _ = _spot(data, rng)
    return data[:at] if rng.random() < 0.7 else data[at:]


def _other_number(data: bytes, rng: Rng) -> bytes:
    return _replaced(rb"-?\d+(\.\d+)?", NUMBERS, data, rng)


def _other_word(data: bytes, rng: Rng) -> bytes:
    return _replaced(rb"[A-Za-z_]{2,}", WORDS, data, rng)


def _replaced(pattern: bytes, by: tuple[bytes, ...], data: bytes, rng: Rng) -> bytes:
    found = list(re.finditer(pattern, data))
    if not found:
        return data
    one = found[rng.integers(len(found))]
    return data[: one.start()] + by[rng.integers(len(by))] + data[one.end() :]


def _lines(data: bytes, rng: Rng) -> bytes:
    lines = data.splitlines(keepends=True)
    if len(lines) < 2:
        return data
    a, b = (int(n) for n in rng.integers(len(lines), size=2))
    match rng.integers(3):
        case 0:
            lines[a], lines[b] = lines[b], lines[a]
        case 1:
            lines.insert(a, lines[b])
        case _:
            del lines[a]
    return b"".join(lines)


def _other_encoding(data: bytes, rng: Rng) -> bytes:
    text = data.decode("utf-8", "replace")
    name = ("utf-16", "utf-8-sig", "cp1252", "utf-32")[rng.integers(4)]
    return text.encode(name, "replace")


def _other_ends(data: bytes, rng: Rng) -> bytes:
    data = data.replace(b"\r\n", b"\n")
    return data.replace(b"\n", (b"\r", b"\r\n", b"\n\n", b" ")[rng.integers(4)])


def _other_separator(data: bytes, rng: Rng) -> bytes:
    return data.replace(b",", (b";", b"\t", b",,", b" ")[rng.integers(4)])


def _value(data: bytes, rng: Rng) -> bytes:
    """Change one value, or take away, add or double one key, somewhere in JSON."""
    try:
        tree = json.loads(data)
    except (ValueError, RecursionError):
        return _flip(data, rng)
    places: list[tuple[Any, Any]] = []
    _gather(tree, places)
    if not places:
        return data
    holder, key = places[rng.integers(len(places))]
    match rng.integers(5):
        case 0:
            del holder[key]
        case 1 if isinstance(holder, dict):
            holder[f"{key}x"] = holder[key]
        case 1:
            holder.append(holder[key])
        case 2 if isinstance(holder[key], int | float):
            holder[key] = holder[key] * float((-1, 10, 25.4, 1e-3, 1e6)[rng.integers(5)])
        case 3:
            other, other_key = places[rng.integers(len(places))]
            holder[key] = json.loads(json.dumps(other[other_key]))
        case _:
            holder[key] = VALUES[rng.integers(len(VALUES))]
    return json.dumps(tree).encode("utf-8", "surrogatepass")


def _gather(tree: Any, places: list[tuple[Any, Any]]) -> None:
    keys = tree.keys() if isinstance(tree, dict) else range(len(tree))
    for key in keys:
        places.append((tree, key))
        if isinstance(tree[key], dict | list):
            _gather(tree[key], places)


def _near_number(data: bytes, rng: Rng) -> bytes:
    """Change one number a little, or by a usual slip."""
    found = list(re.finditer(rb"-?\d+(\.\d+)?", data))
    if not found:
        return data
    one = found[rng.integers(len(found))]
    factor = (0.9, 0.99, 1.01, 1.1, 2, 10, 0.1, 25.4, -1, 0)[rng.integers(10)]
    return data[: one.start()] + f"{float(one[0]) * factor:.6g}".encode() + data[one.end() :]


def _digit(data: bytes, rng: Rng) -> bytes:
    """Change one digit of one number."""
    found = list(re.finditer(rb"\d", data))
    if not found:
        return data
    at = found[rng.integers(len(found))].start()
    return data[:at] + str(rng.integers(10)).encode() + data[at + 1 :]


def _typed(data: bytes, rng: Rng) -> bytes:
    """Put what people type in the place of one cell or value."""
    return _replaced(rb"(?<=[,=:])[^,=:\r\n]*", TYPED, data, rng)


Way = Callable[[bytes, Rng], bytes]
WAYS: tuple[Way, ...] = (
    _flip,
    _delete,
    _insert,
    _again,
    _cut,
    _other_number,
    _other_number,
    _other_number,
    _other_word,
    _other_word,
    _lines,
    _lines,
    _other_encoding,
    _other_ends,
    _other_separator,
)
WAYS_JSON: tuple[Way, ...] = (_value,)
GENTLE: tuple[Way, ...] = (_near_number, _near_number, _digit, _typed, _lines, _other_ends)
