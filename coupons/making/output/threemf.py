"""A small 3MF writer: one named object per body, placed as printed, the same bytes every time.

Only what the core specification asks for is written: content types, the start relationship and
one model part. Our own metadata stand in a namespace of ours, declared on the model element.
"""

import io
import zipfile
from collections.abc import Mapping
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from coupons.making.output.solids import Solid

CORE = "http://schemas.microsoft.com/3dmanufacturing/2013/01"
CORE_NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
OWN_NAMESPACE = "urn:coupons:record:1"
PREFIX = "coupon"
MODEL_PATH = "3D/3dmodel.model"

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TYPES = (
    f'{_HEAD}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">\n'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>\n'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>\n'
    "</Types>\n"
)
_RELATIONS = (
    f"{_HEAD}<Relationships "
    'xmlns="http://schemas.openxmlformats.org/package/2006/relationships">\n'
    f'<Relationship Target="/{MODEL_PATH}" Id="rel0" Type="{CORE}/3dmodel"/>\n'
    "</Relationships>\n"
)
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time a zip can hold: a build has no date


def threemf_bytes(solids: tuple[Solid, ...], title: str, metadata: Mapping[str, str]) -> bytes:
    """Return a 3MF package of the solids of one plate.

    Parameters
    ----------
    solids : tuple of Solid
    title : str
    metadata : mapping
        Written under our own namespace; keys are plain words.
    """
    objects = "".join(_object(number, solid) for number, solid in enumerate(solids, start=1))
    items = "".join(_item(number, solid) for number, solid in enumerate(solids, start=1))
    return _package(_model(objects, items, title, metadata))


def body_bytes(
    name: str,
    vertices_mm: NDArray[np.float64],
    triangles: NDArray[np.integer],
    metadata: Mapping[str, str],
) -> bytes:
    """Return a 3MF package of one body in its place, its coordinates with all their digits."""
    # Seventeen significant digits bring every 64-bit float back to itself.
    one = _mesh(1, name, "%.17g", vertices_mm, triangles)
    return _package(_model(one, '<item objectid="1"/>\n', name, metadata))


def _package(model: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            (MODEL_PATH, model),
        ):
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.create_system = 3  # else the writing system would change the bytes
            package.writestr(info, text.encode("utf-8"))
    return buffer.getvalue()


def _model(objects: str, items: str, title: str, metadata: Mapping[str, str]) -> str:
    notes = "".join(
        f"<metadata name={quoteattr(name)}>{escape(value)}</metadata>\n"
        for name, value in [
            ("Title", title),
            ("Application", "coupons"),
            *((f"{PREFIX}:{key}", value) for key, value in sorted(metadata.items())),
        ]
    )
    return (
        f'{_HEAD}<model unit="millimeter" xml:lang="en" xmlns="{CORE_NAMESPACE}" '
        f'xmlns:{PREFIX}="{OWN_NAMESPACE}">\n{notes}'
        f"<resources>\n{objects}</resources>\n<build>\n{items}</build>\n</model>\n"
    )


def _object(number: int, solid: Solid) -> str:
    # Nine significant digits bring every 32-bit float back to itself.
    return _mesh(number, solid.body, "%.9g", solid.vertices_mm, solid.triangles)


def _mesh(
    number: int,
    name: str,
    digits: str,
    vertices_mm: NDArray[np.floating],
    triangles: NDArray[np.integer],
) -> str:
    vertex = f'<vertex x="{digits}" y="{digits}" z="{digits}"/>\n'
    triangle = '<triangle v1="%d" v2="%d" v3="%d"/>\n'
    vertices = (vertex * len(vertices_mm)) % tuple(vertices_mm.ravel().tolist())
    faces = (triangle * len(triangles)) % tuple(triangles.ravel().tolist())
    return (
        f'<object id="{number}" type="model" name={quoteattr(name)}>\n<mesh>\n'
        f"<vertices>\n{vertices}</vertices>\n<triangles>\n{faces}</triangles>\n"
        "</mesh>\n</object>\n"
    )


def _item(number: int, solid: Solid) -> str:
    place = " ".join(f"{value:.9g}" for value in solid.origin_mm)
    return f'<item objectid="{number}" transform="1 0 0 0 1 0 0 0 1 {place}"/>\n'
