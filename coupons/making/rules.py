"""A body for the caliper alone: a castellated rule of many lengths along one direction."""

import itertools

from coupons.making.bodies import Body, Sized, Turn, label, marks, plate
from coupons.making.lettering import CAP_MM, width_mm
from coupons.making.proportions import (
    BASE_MM,
    CUT_CORNER_MM,
    EDGE_MM,
    LABEL_CLEAR_MM,
    layers_up,
)
from coupons.making.series import Item
from coupons.making.shapes import Loft, Part, rectangle
from coupons.terms import Direction, Form, Jaws

BLOCK_WIDE_MM = 4.0  # a caliper jaw's full bite across the rule
BLOCK_HIGH_MM = 4.0
REAR_MM = 0.6  # of base behind the blocks
SUNK_MM = 0.1
STRIP_MM = CAP_MM + 2 * EDGE_MM


def rule(
    row: str,
    direction: Direction,
    turn_deg: Turn,
    items: tuple[Item, ...],
    layer_height_mm: float,
) -> Body:
    """Return blocks and notches in turn, on a strip that carries their labels.

    The first and last item are blocks. The whole length, the body's last feature, is named by the
    row's letter and W.
    """
    base = layers_up(BASE_MM, layer_height_mm)
    top = base + layers_up(BLOCK_HIGH_MM, layer_height_mm)
    parts: list[Part] = []
    features: list[Sized] = []
    texts: list[tuple[float, str]] = []
    at = 0.0
    for place, item in enumerate(items):
        form = Form.SLOT if place % 2 else Form.TONGUE
        if form is Form.TONGUE:
            parts.append(_block(item, at, base, top))
        middle = round(at + item.size_mm / 2, 6)
        texts.append((middle, item.id))
        features.append(_span(row, item, form, direction, middle, (base + top) / 2))
        at = round(at + item.size_mm, 6)
    whole = Item(f"{row}W", at, ((Jaws.OUTSIDE, None),))
    features.append(_span(row, whole, Form.TONGUE, direction, at / 2, (base + top) / 2))
    texts = _fit_between(texts, (whole.id, *marks(turn_deg)))
    low = min(-EDGE_MM, *(x - width_mm(t) / 2 - max(EDGE_MM, CUT_CORNER_MM) for x, t in texts))
    high = max(at + EDGE_MM, *(x + width_mm(t) / 2 + EDGE_MM for x, t in texts))
    strip = plate((low, 0), (high, STRIP_MM + BLOCK_WIDE_MM + REAR_MM), base, turn_deg)
    labels = [label(text, x, EDGE_MM, base) for x, text in texts]
    return Body(row, row, False, turn_deg, (strip, *parts, *labels), tuple(features))


def labels_clash(items: tuple[Item, ...]) -> tuple[str, str] | None:
    """Return the first two neighbours whose labels would meet on the strip."""
    at = 0.0
    edge = float("-inf")
    before = ""
    for item in items:
        half = (width_mm(item.id) + LABEL_CLEAR_MM) / 2
        middle = at + item.size_mm / 2
        if middle - half < edge - 1e-9:
            return before, item.id
        edge, before = middle + half, item.id
        at += item.size_mm
    return None


def _fit_between(placed: list[tuple[float, str]], more: tuple[str, ...]) -> list[tuple[float, str]]:
    """Set further texts into the first wide enough spaces of the strip, or behind its end."""
    texts = list(placed)
    for text in more:
        need = width_mm(text) / 2 + LABEL_CLEAR_MM
        for (a, left), (b, right) in itertools.pairwise(texts):
            low, high = a + width_mm(left) / 2 + need, b - width_mm(right) / 2 - need
            if low <= high:
                texts.append(((low + high) / 2, text))
                break
        else:
            last, word = texts[-1]
            texts.append((last + width_mm(word) / 2 + need, text))
        texts.sort()
    return [(round(x, 6), text) for x, text in texts]


def _block(item: Item, at: float, base: float, top: float) -> Part:
    section = rectangle((at, STRIP_MM), (at + item.size_mm, STRIP_MM + BLOCK_WIDE_MM))
    return Part(Loft("z", ((base - SUNK_MM, section), (top, section))), feature=item.id)


def _span(
    row: str, item: Item, form: Form, direction: Direction, middle: float, height: float
) -> Sized:
    return Sized(
        id=item.id,
        form=form,
        direction=direction,
        size_mm=item.size_mm,
        role="span",
        row=row,
        centre=(middle, STRIP_MM + BLOCK_WIDE_MM / 2, height),
        axis="x",
        readings=item.readings,
    )
