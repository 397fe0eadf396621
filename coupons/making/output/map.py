"""The map: a top view of every plate to scale, with ids, gaps, directions and caliper places.

Each feature is a group ``<g class="feature" data-id="A1">``, so that a page can make it answer to
a finger. One unit of the drawing is one millimetre; y is turned over, as drawings count downwards.
"""

from dataclasses import dataclass
from html import escape

from coupons.making.bodies.lettering import Point
from coupons.making.output.map_drawing import (
    FIXED,
    FIXED_EDGE,
    GAP_INK,
    INK,
    JAW_INK,
    LOOSE,
    LOOSE_EDGE,
    PAPER,
    Pen,
    draw_body,
    upright_mark,
)
from coupons.making.plan import Plan
from coupons.making.record import long_row_sentence

HEAD_MM = 9.5  # title above the first plate
NOTE_MM = 7.0  # a line above each plate
MARGIN_MM = 4.0  # around the bodies of a plate
FOOT_MM = 19.0  # legend
LINE_MM = 4.4  # of the legend
SIDE_MM = 2.0
LEAST_WIDTH_MM = 134.0  # what the legend takes

FAINT = "#5d6b78"
FONT = "DejaVu Sans, Verdana, sans-serif"


def map_svg(plan: Plan) -> str:
    """Return the drawing of all plates, one below the other, as SVG text.

    Looks are attributes, not a style sheet, so that a page can take the drawing in piece by piece.
    """
    gaps = {trial.feature: trial.gap_mm for row in plan.rows for trial in row.trials}
    panels, top, wide = [], HEAD_MM, LEAST_WIDTH_MM
    for plate in range(1, plan.plates + 1):
        panel = _panel(plan, plate)
        left, bottom = SIDE_MM + MARGIN_MM - panel.low[0], top + NOTE_MM + MARGIN_MM + panel.high[1]
        bodies = "".join(draw_body(Pen(item, left, bottom, gaps)) for item in plan.on(plate))
        panels.append(f'<g data-plate="{plate}">{_frame(plan, panel, plate, top)}{bodies}</g>\n')
        top += NOTE_MM + panel.height
        wide = max(wide, panel.width + 2 * SIDE_MM)
    high = top + FOOT_MM + (LINE_MM if _long_rows(plan) else 0.0)
    name = plan.spec.name
    alike = plan.spec.title.casefold() == name.casefold()
    title = escape(plan.spec.title if alike else f"{plan.spec.title} ({name})")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" '
        f'width="{wide:g}mm" height="{high:g}mm" role="img" aria-label="Map of {title}" '
        f'font-family="{FONT}" fill="{INK}">\n'
        f'<rect x="0" y="0" width="{wide:g}" height="{high:g}" fill="{PAPER}"/>\n'
        f'<text x="{SIDE_MM}" y="7" font-size="5.4" font-weight="bold">{title}</text>\n'
        + "".join(panels)
        + _legend(plan, SIDE_MM, top + 6)
        + "</svg>\n"
    )


@dataclass(frozen=True)
class _Panel:
    """The box around the bodies of one plate, in the plate's coordinates."""

    low: Point
    high: Point

    @property
    def width(self) -> float:
        """Width of the frame around it."""
        return round(self.high[0] - self.low[0] + 2 * MARGIN_MM, 3)

    @property
    def height(self) -> float:
        """Height of the frame around it."""
        return round(self.high[1] - self.low[1] + 2 * MARGIN_MM, 3)


def _panel(plan: Plan, plate: int) -> _Panel:
    covers = [item.cover() for item in plan.on(plate)]
    low = (min(a[0] for a, _ in covers), min(a[1] for a, _ in covers))
    return _Panel(low, (max(b[0] for _, b in covers), max(b[1] for _, b in covers)))


def _frame(plan: Plan, panel: _Panel, plate: int, top: float) -> str:
    bed_x, bed_y = plan.assumed.bed_mm
    words = (
        f"Plate {plate} of {plan.plates}, seen from above as printed, 1 : 1. "
        f"Laid out for a bed of {bed_x:g} × {bed_y:g} mm."
    )
    return (
        f'<text x="{SIDE_MM}" y="{top + 5:g}" font-size="3" fill="{FAINT}">{words}</text>'
        f'<rect x="{SIDE_MM}" y="{top + NOTE_MM:g}" width="{panel.width:g}" '
        f'height="{panel.height:g}" rx="2" fill="#f7f3e8" stroke="#d8cfb8" stroke-width=".3"/>'
    )


def _legend(plan: Plan, x: float, y: float) -> str:
    """Draw the legend: the marks that this map uses."""

    def box(fill: str, edge: str) -> str:
        return (
            f'<rect x="0" y="-2.4" width="4" height="3" rx=".4" fill="{fill}" stroke="{edge}" '
            'stroke-width=".25"/>'
        )

    bodies = [item.body for item in plan.placed]
    upright = any(
        along == "z" or (along is None and feature.axis == "z")
        for body in bodies
        for feature in body.features
        for _, along in feature.readings
    )
    triangle = f'<path d="M2.4 -1l-1.6 -.9v1.8z" fill="{JAW_INK}"/>'
    gap = f'<text x="0" y="0" font-size="2.2" fill="{GAP_INK}">+0.2</text>'
    entries = [
        (box(FIXED, FIXED_EDGE), "fixed", True),
        (triangle, "caliper jaw", True),
        (upright_mark(1.4, -1.0), "caliper vertical, along z", upright),
        (box(LOOSE, LOOSE_EDGE), "loose: try it in or over a fixed one", _any_loose(plan)),
        (gap, "drawn gap, mm over both sides", any(row.trials for row in plan.rows)),
    ]
    shown = [(mark, words) for mark, words, wanted in entries if wanted]
    return "".join(
        f'<g transform="translate({x + 63 * (number // 3):g} {y + LINE_MM * (number % 3):g})">'
        f'{mark}<text x="6" y="0" font-size="2.8" fill="{FAINT}">{words}</text></g>\n'
        for number, (mark, words) in enumerate(shown)
    ) + (
        f'<text x="{x:g}" y="{y + 3 * LINE_MM:g}" font-size="2.8" fill="{FAINT}">'
        f"{_long_rows(plan)}</text>\n"
        if _long_rows(plan)
        else ""
    )


def _long_rows(plan: Plan) -> str:
    return long_row_sentence(trial for row in plan.rows for trial in row.trials)


def _any_loose(plan: Plan) -> bool:
    return any(item.body.loose for item in plan.placed)
