"""A rule for the caliper: one bar with many lengths along one direction."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from coupons.making.bodies.built_bodies import Bar, BuiltBody, Sized, Turn, label, marks, plate
from coupons.making.bodies.field import CORNER_CLEAR_MM
from coupons.making.bodies.proportions import CUT_CORNER_MM, EDGE_MM, JAW_CLEAR_MM, Measures
from coupons.making.bodies.ruler_bar import Ladder
from coupons.making.bodies.series import Item
from coupons.making.bodies.shapes import Part, Prism
from coupons.making.bodies.windows import slot_profile
from coupons.terms import Direction, Form, Jaws

# A label that stands EDGE_MM from the face's edge keeps clear of the cut corner from here on.
FIRST_LABEL_MM = CUT_CORNER_MM - EDGE_MM + CORNER_CLEAR_MM * 2**0.5
USUAL_NOZZLE_MM = 0.4


def rule(
    row: str, direction: Direction, turn_deg: Turn, ladder: Ladder, measures: Measures
) -> BuiltBody:
    """Return blocks and notches in turn between two rails, labels on the nearer one.

    The first and last item are blocks. The whole length, the body's last feature, is named by the
    row's letter and W; its label and the direction marks stand on the farther rail.
    """
    high, rail, whole = ladder.high_mm, ladder.rail_mm, ladder.whole_mm
    foot, lead_in = measures.foot_mm, measures.lead_in_mm
    parts: list[Part] = [plate((0, 0), (whole, ladder.wide_mm), high, turn_deg, foot)]
    features: list[Sized] = []
    at = 0.0
    for place, item in enumerate(ladder.items):
        form = Form.SLOT if place % 2 else Form.TONGUE
        middle = round(at + item.size_mm / 2, 6)
        if form is Form.SLOT:
            section = slot_profile(item, middle, 0.0, high, lead_in)
            window = Prism("y", section, rail, rail + JAW_CLEAR_MM)
            parts.append(Part(window, cut=True, feature=item.id))
        features.append(_span(row, item, form, direction, middle, ladder))
        at = round(at + item.size_mm, 6)
    ends = Item(f"{row}W", whole, ((Jaws.OUTSIDE, None),))
    features.append(_span(row, ends, Form.TONGUE, direction, whole / 2, ladder))
    names = label_texts(ladder.items, measures) or tuple(item.id for item in ladder.items)
    near = label_places(ladder.items, names, measures) or ()
    for text, x in zip(names, near, strict=True):
        parts.append(label(text, x, EDGE_MM, high, measures))
    texts = _far_texts(ends.id, turn_deg, whole, measures)
    far_y = ladder.wide_mm - EDGE_MM - measures.cap_mm
    for text, x in zip(texts, _spread_out(texts, whole, measures), strict=True):
        parts.append(label(text, x, far_y, high, measures))
    bar = Bar(ladder.at_notch, ladder.at_block)
    return BuiltBody(row, row, False, turn_deg, tuple(parts), tuple(features), bar=bar)


def label_texts(items: tuple[Item, ...], measures: Measures) -> tuple[str, ...] | None:
    """Return the label of each block and notch: its id, or with a wide nozzle its number.

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


def label_places(
    items: Sequence[Item], texts: Sequence[str], measures: Measures
) -> tuple[float, ...] | None:
    """Return the middle of each label: its item's, or as near as neighbours and ends let it.

    None if a label would not reach its own item.
    """
    half = [measures.text_mm(text) / 2 for text in texts]
    starts = [sum(item.size_mm for item in items[:k]) for k in range(len(items) + 1)]
    places = [(a + b) / 2 for a, b in pairwise(starts)]
    least = FIRST_LABEL_MM
    for k, middle in enumerate(places):
        places[k] = max(middle, least + half[k])
        least = places[k] + half[k] + measures.label_clear_mm
    most = starts[-1] - EDGE_MM
    for k in reversed(range(len(places))):
        places[k] = min(places[k], most - half[k])
        most = places[k] - half[k] - measures.label_clear_mm
    beside = all(
        starts[k] < x + half[k] and x - half[k] < starts[k + 1] for k, x in enumerate(places)
    )
    fits = places[0] - half[0] >= FIRST_LABEL_MM - 1e-9
    return tuple(round(x, 6) for x in places) if beside and fits else None


def labels_clash(
    items: tuple[Item, ...], texts: tuple[str, ...], measures: Measures
) -> tuple[str, str] | None:
    """Return the first two neighbours whose labels would meet, or the first two of a short rule."""
    if label_places(items, texts, measures):
        return None
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
    return items[0].id, items[1].id


def _far_texts(whole_id: str, turn_deg: Turn, length: float, measures: Measures) -> tuple[str, ...]:
    """Return what stands on the farther rail: the cut corner and one arrow tell the other one."""
    both = (whole_id, *marks(turn_deg))
    clear = (len(both) - 1) * measures.label_clear_mm
    room = length - EDGE_MM - FIRST_LABEL_MM - clear
    return both if sum(map(measures.text_mm, both)) <= room else both[:-1]


def _spread_out(texts: Sequence[str], length: float, measures: Measures) -> list[float]:
    """Return the middles of texts spread evenly over a length, clear of its ends.

    Where the labels of three items and more have room, so have these three.
    """
    widths = [measures.text_mm(text) for text in texts]
    free = length - EDGE_MM - FIRST_LABEL_MM - sum(widths)
    between = free / (len(texts) - 1)
    starts = [FIRST_LABEL_MM + sum(widths[:k]) + k * between for k in range(len(texts))]
    return [round(start + wide / 2, 6) for start, wide in zip(starts, widths, strict=True)]


def _span(
    row: str, item: Item, form: Form, direction: Direction, middle: float, ladder: Ladder
) -> Sized:
    across, up = ladder.jaws_mm
    return Sized(
        id=item.id,
        form=form,
        direction=direction,
        size_mm=item.size_mm,
        role="span",
        row=row,
        centre=(middle, across, up),
        axis="x",
        readings=item.readings,
    )
