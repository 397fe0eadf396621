"""Copy a drawing into a page, letting only known shapes, text and attributes through.

A run folder may come from a stranger, so its ``map.svg`` is rebuilt from a list of known elements
and attributes instead of being copied.
"""

import math
import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from markupsafe import Markup, escape

from coupons.errors import Problem, RunError
from coupons.reading import read_plain, stands

_SVG = "{http://www.w3.org/2000/svg}"
_KNOWN_ELEMENTS = "svg g path rect circle ellipse line polyline polygon text tspan title desc"
_KNOWN_ATTRIBUTES = """
    class data-id data-plate d x y x1 y1 x2 y2 cx cy r rx ry dx dy width height points transform
    viewBox fill fill-opacity fill-rule stroke stroke-width stroke-opacity stroke-dasharray
    stroke-linecap stroke-linejoin opacity font-size font-family font-weight font-style
    text-anchor dominant-baseline letter-spacing vector-effect
"""
_HANDED_DOWN = ("fill", "stroke", "font-family", "font-size")
_ELEMENTS = frozenset(_KNOWN_ELEMENTS.split())
_ATTRIBUTES = frozenset(_KNOWN_ATTRIBUTES.split())
# A paint or font that points somewhere else has no place in a page that loads nothing.
_POINTER = re.compile(r"url\s*\(|javascript:|[<>]", re.IGNORECASE)


@dataclass(frozen=True)
class Picture:
    """A drawing that is safe to put into a page.

    Parameters
    ----------
    inside : Markup
        Everything within the svg element.
    view_mm : tuple of float
        Its viewBox: left, top, width and height in mm.
    """

    inside: Markup
    view_mm: tuple[float, float, float, float]


def read_picture(path: Path) -> Picture | None:
    """Read a map in SVG, or return None if there is no such file.

    Raises
    ------
    RunError
        If the file is no SVG with a viewBox.
    """
    if not stands(path):
        return None
    try:
        root = ElementTree.fromstring(read_plain(path))
        left, top, width, height = map(float, root.attrib["viewBox"].replace(",", " ").split())
        if not (math.isfinite(left + top) and 0 < width < math.inf and 0 < height < math.inf):
            raise ValueError(f"viewBox {root.attrib['viewBox']}")
    except (ElementTree.ParseError, KeyError, ValueError, OSError) as error:
        raise RunError(
            [
                Problem(
                    path.name,
                    "an SVG drawing with a viewBox in mm",
                    str(error),
                    "Make the coupon again with `coupons make` into a new folder",
                )
            ]
        ) from None
    return Picture(_group(root), (left, top, width, height))


def _group(root: ElementTree.Element) -> Markup:
    """Return the content of the svg element, in a group with its colour and font."""
    group = ElementTree.Element("g", {k: v for k, v in root.attrib.items() if k in _HANDED_DOWN})
    group.extend(root)
    return _rebuilt(group)


def _rebuilt(element: ElementTree.Element) -> Markup:
    """Return the element as markup if it is a known one, with its known attributes."""
    name = str(element.tag).removeprefix(_SVG)
    if name not in _ELEMENTS:
        return Markup("")
    attributes = Markup("").join(
        Markup(' {}="{}"').format(key, value)
        for key, value in element.attrib.items()
        if key in _ATTRIBUTES and not _POINTER.search(value)
    )
    children = Markup("").join(_rebuilt(child) + escape(child.tail or "") for child in element)
    return Markup("<{0}{1}>{2}{3}</{0}>").format(name, attributes, element.text or "", children)
