"""A body for the caliper alone: a castellated rule of many lengths along one direction."""

import itertools
from dataclasses import replace

from coupons.making.bodies import Body, Sized, Turn, label, marks, plate
from coupons.making.proportions import CUT_CORNER_MM, EDGE_MM, Measures
from coupons.making.series import Item
from coupons.making.shapes import Loft, Part, Vector, rectangle
from coupons.terms import Direction, Form, Jaws

BLOCK_WIDE_MM = 4.0  # a caliper jaw's full bite across the rule
BLOCK_HIGH_MM = 4.0
REAR_MM = 0.6  # of base behind the blocks
SUNK_MM = 0.1
USUAL_NOZZLE_MM = 0.4


def rule(
    row: str,
    direction: Direction,
    turn_deg: Turn,
    items: tuple[Item, ...],
    measures: Measures,
) -> Body:
    """Return blocks and notches in turn, on a strip that carries their labels.

    The first and last item are blocks. The whole length, the body's last feature, is named by the
    row's letter and W.
    """
    base, strip_mm = measures.base_mm, measures.cap_mm + 2 * EDGE_MM
    top = base + measures.layers_up(BLOCK_HIGH_MM)
    names = label_texts(items, measures) or ()
    parts: list[Part] = []
    features: list[Sized] = []
    texts: list[tuple[float, str]] = []
    at = 0.0
    for place, item in enumerate(items):
        form = Form.SLOT if place % 2 else Form.TONGUE
        if form is Form.TONGUE:
            parts.append(_block(item, at, strip_mm, base, top))
        middle = round(at + item.size_mm / 2, 6)
        texts.append((middle, names[place]))
        jaws = (middle, strip_mm + BLOCK_WIDE_MM / 2, (base + top) / 2)
        features.append(_span(row, item, form, direction, jaws))
        at = round(at + item.size_mm, 6)
    whole = Item(f"{row}W", at, ((Jaws.OUTSIDE, None),))
    jaws = (at / 2, strip_mm + BLOCK_WIDE_MM / 2, (base + top) / 2)
    features.append(_span(row, whole, Form.TONGUE, direction, jaws))
    texts = _fit_between(texts, (whole.id, *marks(turn_deg)), measures)
    half = measures.text_mm
    low = min(-EDGE_MM, *(x - half(t) / 2 - max(EDGE_MM, CUT_CORNER_MM) for x, t in texts))
    high = max(at + EDGE_MM, *(x + half(t) / 2 + EDGE_MM for x, t in texts))
    rear = strip_mm + BLOCK_WIDE_MM + REAR_MM
    strip = plate((low, 0), (high, rear), base, turn_deg, measures.foot_mm)
    labels = [label(text, x, EDGE_MM, base, measures) for x, text in texts]
    return Body(row, row, False, turn_deg, (strip, *parts, *labels), tuple(features))


def label_texts(items: tuple[Item, ...], measures: Measures) -> tuple[str, ...] | None:
    """Return what stands beside each block and notch: its id, or with a wide nozzle its number.

    The row's letter then stands before the W of the whole length alone. None if ids of usual width
    or those numbers would meet.
    """
    ids = tuple(item.id for item in items)
    if labels_clash(items, ids, measures) is None:
        return ids
    numbers = tuple(name[1:] for name in ids)
    usual = replace(measures, nozzle_mm=min(USUAL_NOZZLE_MM, measures.nozzle_mm))
    clash = labels_clash(items, ids, usual) or labels_clash(items, numbers, measures)
    return None if clash else numbers


def labels_clash(
    items: tuple[Item, ...], texts: tuple[str, ...], measures: Measures
) -> tuple[str, str] | None:
    """Return the first two neighbours whose labels would meet on the strip."""
    at = 0.0
    edge = float("-inf")
    before = ""
    for item, text in zip(items, texts, strict=True):
        half = (measures.text_mm(text) + measures.label_clear_mm) / 2
        middle = at + item.size_mm / 2
        if middle - half < edge - 1e-9:
            return before, item.id
        edge, before = middle + half, item.id
        at += item.size_mm
    return None


def _fit_between(
    placed: list[tuple[float, str]], more: tuple[str, ...], measures: Measures
) -> list[tuple[float, str]]:
    """Set further texts into the first wide enough spaces of the strip, or behind its end."""
    texts, width_mm = list(placed), measures.text_mm
    for text in more:
        need = width_mm(text) / 2 + measures.label_clear_mm
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


def _block(item: Item, at: float, strip_mm: float, base: float, top: float) -> Part:
    section = rectangle((at, strip_mm), (at + item.size_mm, strip_mm + BLOCK_WIDE_MM))
    return Part(Loft("z", ((base - SUNK_MM, section), (top, section))), feature=item.id)


def _span(row: str, item: Item, form: Form, direction: Direction, jaws: Vector) -> Sized:
    return Sized(
        id=item.id,
        form=form,
        direction=direction,
        size_mm=item.size_mm,
        role="span",
        row=row,
        centre=jaws,
        axis="x",
        readings=item.readings,
    )
