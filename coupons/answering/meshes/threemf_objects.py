"""The placed objects of a 3MF package, read as a stream.

A package may unpack to any size, so triangles are counted as they come and reading stops at a
largest number. What the core specification says of units, items, components and transforms is
followed, and the ``path`` of its production extension, by which large packages divide objects.
"""

import io
import zipfile
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
_MOST_BYTES = 2_000_000_000


class TooManyError(Exception):
    """A package holds more triangles than are read."""


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
        placed = 0
        for key, transform in read.items:
            one = read.objects[key]
            if not one.is_model:
                continue
            pieces = list(_placed(read, key, transform, 0))
            placed += sum(map(len, pieces))
            if placed > most_triangles:  # one object may be placed many times
                raise TooManyError
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
    if read.package.getinfo(part).file_size > _MOST_BYTES:
        raise TooManyError
    own = {}
    with read.package.open(part) as stream:
        events = ElementTree.iterparse(stream, events=("end",))
        for number, one in _objects(events, read):
            own[(part, number)] = one
        root: ElementTree.Element = events.root  # type: ignore[attr-defined]  # set at the end
    read.objects |= own
    if is_start:
        _read_build(read, root, part)
    others = [key[0] for one in own.values() for key, _ in one.components if key[0]]
    for other in [*others, *(key[0] for key, _ in read.items)]:
        _read_part(read, other)


def _read_build(read: _Read, root: ElementTree.Element, part: str) -> None:
    """Take the unit, and what is placed to be built."""
    read.unit = root.get("unit", "millimeter")
    if read.unit not in UNITS_MM:
        raise ValueError(f"unit {read.unit}")
    for item in _named(root, "item"):
        read.items.append((_key(item, part), _matrix(item.get("transform"))))


def _objects(
    events: Iterator[tuple[str, ElementTree.Element]], read: _Read
) -> Iterator[tuple[str, _Object]]:
    """Yield each object once it is complete, and forget its elements."""
    vertices: list[tuple[str, ...]] = []
    triangles: list[tuple[str, ...]] = []
    for _, element in events:
        tag = _tag(element)
        if tag == "vertex":
            vertices.append((element.attrib["x"], element.attrib["y"], element.attrib["z"]))
        elif tag == "triangle":
            triangles.append((element.attrib["v1"], element.attrib["v2"], element.attrib["v3"]))
            read.triangles += 1
            if read.triangles > read.most:
                raise TooManyError
        elif tag in ("vertices", "triangles"):
            element.clear()
        elif tag == "object":
            yield element.attrib["id"], _object(element, vertices, triangles)
            vertices, triangles = [], []
            element.clear()


def _object(
    element: ElementTree.Element,
    vertices: list[tuple[str, ...]],
    triangles: list[tuple[str, ...]],
) -> _Object:
    one = _Object(element.get("name", ""), element.get("type", "model") in ("model", ""))
    if triangles:
        corners = np.array(triangles, dtype=np.int64)
        if corners.min() < 0 or corners.max() >= len(vertices):
            raise ValueError("a triangle without its vertex")
        one.corners = np.array(vertices, dtype=np.float64)[corners]
    one.components = [
        (_key(part, ""), _matrix(part.get("transform"))) for part in _named(element, "component")
    ]
    return one


def _placed(read: _Read, key: Key, transform: Floats, depth: int) -> Iterator[Floats]:
    """Yield the corners of an object and of all of its components, in place."""
    if depth > _DEEPEST:
        raise ValueError("an object that contains itself")
    one = read.objects[key]
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
    if len(numbers) != 12 or not np.isfinite(numbers).all():
        raise ValueError(f"transform {text[:40]}")
    return numbers.reshape(4, 3)


def _key(element: ElementTree.Element, part: str) -> Key:
    path = next((v for k, v in element.attrib.items() if k.endswith("}path")), "")
    return path.lstrip("/") or part, element.attrib["objectid"]


def _named(element: ElementTree.Element, tag: str) -> list[ElementTree.Element]:
    return [one for one in element.iter() if _tag(one) == tag]


def _tag(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2]
