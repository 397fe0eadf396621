"""The layout of a body along its row: places of items, grip and direction marks."""

from dataclasses import dataclass
from itertools import accumulate

from coupons.making.bodies.built_bodies import label, marks
from coupons.making.bodies.proportions import CUT_CORNER_MM, EDGE_MM, GRIP_MM, ROOM_MM
from coupons.making.bodies.series import Series
from coupons.making.bodies.shapes import Part

CORNER_CLEAR_MM = 0.4  # from the cut corner's far end to the first label's field


@dataclass(frozen=True)
class Field:
    """The middle of each item along the row, the length of the body, and its direction marks."""

    middles_mm: tuple[float, ...]
    length_mm: float
    marks: tuple[Part, ...] = ()


def field_of(
    series: Series,
    widths_mm: list[float],
    between_mm: float,
    face_z_mm: float,
    high_y_mm: float | None = None,
    before_mm: float = 0.0,
) -> Field:
    """Spread a series along its row; fixed bodies get direction marks, loose ones a grip's width.

    Parameters
    ----------
    series : Series
    widths_mm : list of float
        What each item takes along the row.
    between_mm : float
        Least distance between two items.
    face_z_mm : float
        Height of the level face that carries the labels.
    high_y_mm : float, optional
        Far edge of that face. Where there is room for two lines the marks stand one above the
        other, else side by side.
    before_mm : float, optional
        What the first item leaves free beyond its margin.
    """
    m = series.measures
    middles, end, margin = _spread(series, widths_mm, between_mm, before_mm)
    if series.loose:
        spare = max(0.0, GRIP_MM - end - margin)
        return Field(tuple(x + spare / 2 for x in middles), round(end + margin + spare, 6))
    seated = middles[-1] + widths_mm[-1] / 2 + series.seat_wide_mm + ROOM_MM
    start = max(end + m.label_apart_mm / 2, seated)
    texts = marks(series.turn_deg)
    lines = [("".join(texts), EDGE_MM)]
    if high_y_mm is not None and high_y_mm >= 2 * (EDGE_MM + m.cap_mm) + m.label_clear_mm:
        lines = list(zip(texts, (EDGE_MM, high_y_mm - EDGE_MM - m.cap_mm), strict=True))
    wide = max(m.text_mm(text) for text, _ in lines)
    parts = tuple(label(text, start + wide / 2, y, face_z_mm, m) for text, y in lines)
    return Field(middles, round(start + wide + EDGE_MM, 6), parts)


def _spread(
    series: Series, widths_mm: list[float], between_mm: float, before_mm: float
) -> tuple[tuple[float, ...], float, float]:
    """Give each item a cell wide enough for itself, its label and its mate.

    Returns the middles of the cells, the end of the last one, and the margin before the first.
    """
    cells = [
        max(
            width + between_mm,
            series.measures.text_mm(series.text(item)) + series.measures.label_apart_mm,
            series.pitch_mm,
        )
        for item, width in zip(series.items, widths_mm, strict=True)
    ]
    margin = max(between_mm / 2, CUT_CORNER_MM + CORNER_CLEAR_MM - EDGE_MM)
    ends = list(accumulate(cells, initial=margin + before_mm))
    middles = tuple(round(end - cell / 2, 6) for end, cell in zip(ends[1:], cells, strict=True))
    return middles, ends[-1], margin
