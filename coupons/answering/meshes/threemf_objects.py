"""The placed objects of a 3MF package, read as a stream.

A package may unpack to any size, so its text is searched for triangles and corners before it is
read, and reading stops at a largest number of whatever comes.
 What the core specification says of units, items, components and transforms is
followed, and the ``path`` of its production extension, by which large packages divide objects.
"""

import io
import zipfile
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Key = tuple[str, str]
"""Part of the package, and id of an object in it."""

UNITS_MM = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
_START_TYPE = "/3dmodel"
_DEEPEST = 32  # of components within components
_MOST_BYTES = 640_000_000  # of one part, unpacked: twice that of the most triangles
_CORNERS_A_TRIANGLE = 3  # at the most
_ELEMENTS_A_TRIANGLE = 5  # its corners, and what else there is
_TOLD = {"triangle": "triangles", "vertex": "corners"}
_LONGEST_TAG = 16  # of those that are searched for, with what stands before
_LARGEST = 1e9  # of a number in a transform
_MOST_PLACED = 100_000  # objects and components; those within one another multiply
_AT_ONCE = 1 << 20  # bytes


class TooManyError(Exception):
    """A package holds more than is read; the text says of what, such as ``more than 9 corners``."""


@dataclass
class _Object:
    name: str = ""
    is_model: bool = True
    corners: Floats | None = None
    components: list[tuple[Key, Floats]] = field(default_factory=list)


@dataclass
class _Read:
    """What has been read of a package so far."""

    package: zipfile.ZipFile
    most: int
    triangles: int = 0
    elements: int = 0
    placed: int = 0
    placed_triangles: int = 0
    objects: dict[Key, _Object] = field(default_factory=dict)
    parts: set[str] = field(default_factory=set)
    items: list[tuple[Key, Floats]] = field(default_factory=list)
    unit: str = "millimeter"


def read_objects(data: bytes, most_triangles: int) -> list[tuple[str, Floats, str]]:
    """Return name, corners of shape (m, 3, 3) and unit of each item that is placed to be built.

    Raises
    ------
    TooManyError
        As soon as there are more triangles.
    ValueError, KeyError, zipfile.BadZipFile, xml.etree.ElementTree.ParseError
        If the package is damaged.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        read = _Read(package, most_triangles)
        _read_part(read, _start(package), is_start=True)
        found = []
        for key, transform in read.items:
            one = _object_of(read, key)
            if not one.is_model:
                continue
            pieces = list(_placed(read, key, transform, 0))
            if pieces:
                found.append((one.name, np.concatenate(pieces), read.unit))
    return found


def _start(package: zipfile.ZipFile) -> str:
    with package.open("_rels/.rels") as relations:
        for one in ElementTree.parse(relations).getroot():
            if one.get("Type", "").endswith(_START_TYPE):
                return one.attrib["Target"].lstrip("/")
    raise ValueError("no model in it")


def _read_part(read: _Read, part: str, *, is_start: bool = False) -> None:
    """Read the objects of one model part, and of the parts that they name."""
    if part in read.parts:
        return
    read.parts.add(part)
    if (size := read.package.getinfo(part).file_size) > _MOST_BYTES:
        raise TooManyError(f"{size / 1e6:,.0f} MB in it")
    _refuse_many(read, part)
    reader = _PartReader(read, part)
    parser = ElementTree.XMLParser(target=reader)
    with read.package.open(part) as stream:
        while portion := stream.read(_AT_ONCE):
            parser.feed(portion)
    parser.close()
    read.objects |= reader.objects
    if is_start:
        read.unit, read.items = reader.unit, reader.items
        if read.unit not in UNITS_MM:
            raise ValueError(f"unit {read.unit}")
    others = [key[0] for one in reader.objects.values() for key, _ in one.components if key[0]]
    for other in [*others, *(key[0] for key, _ in read.items)]:
        _read_part(read, other)


def _refuse_many(read: _Read, part: str) -> None:
    """Count what begins a triangle or a corner in the text of a part: 20 times as fast as reading.

    A tag may have a prefix before a colon. In another encoding nothing is found.
    """
    limits = {"triangle": read.most, "vertex": _CORNERS_A_TRIANGLE * read.most}
    counts = dict.fromkeys(limits, 0)
    kept = b""
    with read.package.open(part) as stream:
        while portion := stream.read(_AT_ONCE):
            # What a portion cuts in two is counted with the next one, and nothing twice.
            text = kept + portion
            for tag, most in limits.items():
                counts[tag] += _tags(text, tag) - _tags(kept, tag)
                if counts[tag] > most:
                    raise TooManyError(f"more than {most:,} {_TOLD[tag]}")
            kept = text[-_LONGEST_TAG:]


def _tags(text: bytes, tag: str) -> int:
    """Count the tags of a name that begin in a text; one of a longer name is none."""
    found = (text.count(start + tag.encode()) for start in (b"<", b":"))
    longer = (text.count(start + tag.encode() + b"s") for start in (b"<", b":"))
    return sum(found) - sum(longer)


class _PartReader:
    """Takes what counts of each element as it begins; no tree of them is kept."""

    def __init__(self, read: _Read, part: str) -> None:
        self.read, self.part = read, part
        self.objects: dict[Key, _Object] = {}
        self.items: list[tuple[Key, Floats]] = []
        self.unit = "millimeter"
        self._open = _Object()
        self._vertices = array("d")
        self._triangles = array("q")
        self._takes = {
            "model": self._model,
            "object": self._object,
            "vertex": self._vertex,
            "triangle": self._triangle,
            "component": self._component,
            "item": self._item,
        }

    def start(self, tag: str, said: dict[str, str]) -> None:
        """Take an element that begins."""
        self.read.elements += 1
        if self.read.elements > (most := _ELEMENTS_A_TRIANGLE * self.read.most):
            raise TooManyError(f"more than {most:,} elements")
        take = self._takes.get(tag.rpartition("}")[2])
        if take is not None:
            take(said)

    def end(self, tag: str) -> None:
        """Make an object's triangles once it is complete."""
        if tag.rpartition("}")[2] == "object" and self._triangles:
            corners = np.array(self._triangles, dtype=np.int64).reshape(-1, 3)
            vertices = np.array(self._vertices).reshape(-1, 3)
            if corners.min() < 0 or corners.max() >= len(vertices):
                raise ValueError("a triangle without its vertex")
            self._open.corners = vertices[corners]

    def close(self) -> None:
        """Nothing is left to do at the end."""

    def _model(self, said: dict[str, str]) -> None:
        self.unit = said.get("unit", "millimeter")

    def _object(self, said: dict[str, str]) -> None:
        is_model = said.get("type", "model") in ("model", "")
        self._open = _Object(said.get("name", ""), is_model)
        self.objects[(self.part, said["id"])] = self._open
        del self._vertices[:], self._triangles[:]

    def _vertex(self, said: dict[str, str]) -> None:
        self._vertices.extend((float(said["x"]), float(said["y"]), float(said["z"])))

    def _triangle(self, said: dict[str, str]) -> None:
        self._triangles.extend((int(said["v1"]), int(said["v2"]), int(said["v3"])))
        self.read.triangles += 1
        if self.read.triangles > self.read.most:
            raise TooManyError(f"more than {self.read.most:,}")

    def _component(self, said: dict[str, str]) -> None:
        self._open.components.append((_key(said, ""), _matrix(said.get("transform"))))

    def _item(self, said: dict[str, str]) -> None:
        self.items.append((_key(said, self.part), _matrix(said.get("transform"))))


def _object_of(read: _Read, key: Key) -> _Object:
    if key not in read.objects:
        raise ValueError(f"object {key[1]} is placed, and not in it")
    return read.objects[key]


def _placed(read: _Read, key: Key, transform: Floats, depth: int) -> Iterator[Floats]:
    """Yield the corners of an object and of all of its components, in place."""
    if depth > _DEEPEST:
        raise ValueError("an object that contains itself")
    one = _object_of(read, key)
    read.placed += 1  # one object may be placed many times
    read.placed_triangles += 0 if one.corners is None else len(one.corners)
    if read.placed > _MOST_PLACED:
        raise TooManyError(f"more than {_MOST_PLACED:,} placed objects")
    if read.placed_triangles > read.most:
        raise TooManyError(f"more than {read.most:,} as placed")
    if one.corners is not None:
        corners = one.corners @ transform[:3] + transform[3]
        is_mirrored = np.linalg.det(transform[:3]) < 0
        yield corners[:, ::-1] if is_mirrored else corners
    for (part, number), inner in one.components:
        yield from _placed(read, (part or key[0], number), _after(inner, transform), depth + 1)


def _after(inner: Floats, outer: Floats) -> Floats:
    """Return the transform of a point by the inner, then the outer one; rows are the format's."""
    return np.vstack([inner[:3] @ outer[:3], inner[3] @ outer[:3] + outer[3]])


def _matrix(text: str | None) -> Floats:
    if text is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    numbers = np.array(text.split(), dtype=np.float64)
    if len(numbers) != 12 or not (np.abs(numbers) <= _LARGEST).all():
        raise ValueError(f"transform {text[:40]}")
    return numbers.reshape(4, 3)


def _key(said: dict[str, str], part: str) -> Key:
    path = next((v for k, v in said.items() if k.endswith("}path")), "")
    return path.lstrip("/") or part, said["objectid"]
