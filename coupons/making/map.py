"""The map: a top view of every plate to scale, with ids, gaps, directions and caliper places.

Each feature is a group ``<g class="feature" data-id="A1">``, so that a page can make it answer to
a finger. One unit of the drawing is one millimetre; y is turned over, as drawings count downwards.
"""

from dataclasses import dataclass
from html import escape

from coupons.making.bodies import Body, Sized
from coupons.making.lettering import PEN_MM, Point, line_strokes
from coupons.making.plan import Placed, Plan
from coupons.making.shapes import Part, Text, Turned
from coupons.terms import ROUND, Form, Jaws

HEAD_MM = 14.0  # title above the first plate
NOTE_MM = 6.0  # a line above each plate
MARGIN_MM = 4.0  # around the bodies of a plate
FOOT_MM = 16.0  # legend
SIDE_MM = 2.0
LEAST_WIDTH_MM = 120.0  # what the legend takes

INK, FAINT, PAPER = "#22303c", "#5d6b78", "#fffdf8"
FIXED, FIXED_EDGE, FIXED_POST = "#e1e7eb", "#7d8d99", "#9db0bc"
LOOSE, LOOSE_EDGE, LOOSE_POST = "#f6e6cb", "#b08a4e", "#dfbb80"
JAW_MM = 0.95
GAP_INK, JAW_INK = "#0a5c63", "#b3263a"
FONT = "DejaVu Sans, Verdana, sans-serif"


@dataclass(frozen=True)
class _View:
    """Turns points of a plate into points of the drawing."""

    left: float
    bottom: float

    def at(self, item: Placed, point: Point) -> Point:
        """Return where a point of a body's own frame is drawn."""
        x, y, _ = item.on_plate((point[0], point[1], 0.0))
        return (round(self.left + x, 3), round(self.bottom - y, 3))


def map_svg(plan: Plan) -> str:
    """Return the drawing of all plates, one below the other, as SVG text.

    Looks are attributes, not a style sheet, so that a page can take the drawing in piece by piece.
    """
    gaps = {trial.feature: trial.gap_mm for row in plan.rows for trial in row.trials}
    panels, top, wide = [], HEAD_MM, LEAST_WIDTH_MM
    for plate in range(1, plan.plates + 1):
        panel = _panel(plan, plate)
        view = _View(SIDE_MM + MARGIN_MM - panel.low[0], top + NOTE_MM + MARGIN_MM + panel.high[1])
        bodies = "".join(_body(item, view, gaps) for item in plan.on(plate))
        panels.append(f'<g data-plate="{plate}">{_frame(plan, panel, plate, top)}{bodies}</g>\n')
        top += NOTE_MM + panel.height
        wide = max(wide, panel.width + 2 * SIDE_MM)
    high = top + FOOT_MM
    title = escape(f"{plan.spec.title} ({plan.spec.name})")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" '
        f'width="{wide:g}mm" height="{high:g}mm" role="img" aria-label="Map of {title}" '
        f'font-family="{FONT}" fill="{INK}">\n'
        f'<rect x="0" y="0" width="{wide:g}" height="{high:g}" fill="{PAPER}"/>\n'
        f'<text x="{SIDE_MM}" y="8" font-size="5.4" font-weight="bold">{title}</text>\n'
        + "".join(panels)
        + _legend(SIDE_MM, top + 6)
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
        f"Set out for a bed of {bed_x:g} × {bed_y:g} mm."
    )
    return (
        f'<text x="{SIDE_MM}" y="{top + 3.6:g}" font-size="3" fill="{FAINT}">{words}</text>'
        f'<rect x="{SIDE_MM}" y="{top + NOTE_MM:g}" width="{panel.width:g}" '
        f'height="{panel.height:g}" rx="2" fill="#f7f3e8" stroke="#d8cfb8" stroke-width=".3"/>'
    )


def _body(item: Placed, view: _View, gaps: dict[str, float]) -> str:
    body = item.body
    corners = " ".join("{:g},{:g}".format(*view.at(item, p)) for p in body.outline())
    letters = "".join(
        _letters(part.shape, item, view) for part in body.parts if isinstance(part.shape, Text)
    )
    features = "".join(_feature(feature, item, view, gaps) for feature in body.features)
    kind, fill, edge = ("loose", LOOSE, LOOSE_EDGE) if body.loose else ("fixed", FIXED, FIXED_EDGE)
    return (
        f'<g class="{kind}"><polygon points="{corners}" fill="{fill}" stroke="{edge}" '
        f'stroke-width=".25" stroke-linejoin="round"/>{letters}{features}</g>\n'
    )


def _letters(text: Text, item: Placed, view: _View) -> str:
    x, y, _ = text.place
    path = ""
    for stroke in line_strokes(text.text):
        (ax, ay), (bx, by) = (
            view.at(item, (x + p[0], y + p[1])) for p in (stroke.start, stroke.stop)
        )
        path += f"M{ax:g} {ay:g}L{bx:g} {by:g}"
    return (
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="{PEN_MM}" '
        'stroke-linecap="round" stroke-linejoin="round"/>'
    )


def _feature(feature: Sized, item: Placed, view: _View, gaps: dict[str, float]) -> str:
    part = next((p for p in item.body.parts if p.feature == feature.id), None)
    half = half_extent(feature, part, item.body)
    shape = _shape(feature, part, half, item, view) if part else ""
    return (
        f'<g class="feature" data-id="{feature.id}"><title>{_words(feature, gaps)}</title>{shape}'
        f"{_jaws(feature, half, item, view)}{_gap(feature, half, item, view, gaps)}</g>"
    )


def half_extent(feature: Sized, part: Part | None, body: Body) -> Point:
    """Return half the drawn extent of a feature along its body's own x and y."""
    corners = part.shape.corners() if part else [*body.box]
    low_y, high_y = body.box[0][1], body.box[1][1]
    half = [(max(c[k] for c in corners) - min(c[k] for c in corners)) / 2 for k in (0, 1)]
    half[1] = min(half[1], (high_y - low_y) / 2)
    if feature.axis == "x" or (feature.form in ROUND):
        half[0] = feature.size_mm / 2
    if feature.form in ROUND and feature.axis == "z":
        half[1] = feature.size_mm / 2
    return (half[0], half[1])


def _shape(feature: Sized, part: Part, half: Point, item: Placed, view: _View) -> str:
    """Draw a feature: open windows in the colour of the bed, posts darker, sideways ones dashed."""
    post = LOOSE_POST if item.body.loose else FIXED_POST
    look = f'fill="{PAPER if part.cut else post}" stroke="{INK}" stroke-width=".2"'
    if part.cut and goes_sideways(part):
        look += ' fill-opacity=".6" stroke-dasharray=".8 .5"'
    x, y, _ = feature.centre
    if isinstance(part.shape, Turned) and part.shape.axis == "z":
        cx, cy = view.at(item, (x, y))
        return f'<circle cx="{cx:g}" cy="{cy:g}" r="{half[0]:g}" {look}/>'
    corners = [(x - half[0], y - half[1]), (x + half[0], y - half[1])]
    corners += [(x + half[0], y + half[1]), (x - half[0], y + half[1])]
    points = " ".join("{:g},{:g}".format(*view.at(item, p)) for p in corners)
    return f'<polygon points="{points}" {look}/>'


def goes_sideways(part: Part) -> bool:
    """Return whether a window goes through its body level with the bed."""
    shape = part.shape
    if isinstance(shape, Text):
        return False
    return shape.axis == ("y" if isinstance(shape, Turned) else "x")


def _jaws(feature: Sized, half: Point, item: Placed, view: _View) -> str:
    """Draw a pair of small triangles where the caliper touches."""
    return "".join(
        _jaw_pair(feature, jaws, own, half, item, view)
        for jaws, along in feature.readings
        for own in [_own_axis(feature, along, item)]
        if own is not None
    )


def _own_axis(feature: Sized, along: str | None, item: Placed) -> int | None:
    """Return which of a body's own axes (0, 1) a reading lies along; None if it is upright."""
    if along is None:
        return {"x": 0, "y": 1, "z": None}[feature.axis]
    if along == "z":
        return None
    straight = item.body.turn_deg == 0
    return 0 if (along == "x") == straight else 1


def _jaw_pair(feature: Sized, jaws: Jaws, own: int, half: Point, item: Placed, view: _View) -> str:
    x, y = _jaw_place(feature, half)
    inward = -1.0 if jaws is Jaws.OUTSIDE else 1.0
    tall, wide = JAW_MM, JAW_MM * 0.55
    drawn = ""
    for side in (-1, 1):
        tip = side * half[own]
        foot = tip - side * inward * tall
        points = [(tip, 0.0), (foot, wide), (foot, -wide)]
        own_points = [(x + a, y + b) if own == 0 else (x + b, y + a) for a, b in points]
        drawn += "M" + "L".join("{:g} {:g}".format(*view.at(item, p)) for p in own_points) + "z"
    return f'<path d="{drawn}" fill="{JAW_INK}"/>'


def _jaw_place(feature: Sized, half: Point) -> Point:
    """Return the middle of a pair of jaws: beside the words in a flat feature."""
    x, y, _ = feature.centre
    if feature.form in ROUND or feature.role == "span":
        return (x, y)
    return (x + 0.6 * half[0], y) if feature.axis == "y" else (x, y + 0.6 * half[1])


def _gap(feature: Sized, half: Point, item: Placed, view: _View, gaps: dict[str, float]) -> str:
    if feature.id not in gaps:
        return ""
    x, y, _ = feature.centre
    down = 0.25 * half[1] if feature.form not in ROUND and feature.axis == "x" else 0.0
    cx, cy = view.at(item, (x, y - down))
    crowded = feature.form is Form.HOLE and feature.readings  # the jaws stand within
    size = min(1.6, half[0] * (0.46 if crowded else 0.58))
    return (
        f'<text x="{cx:g}" y="{cy + 0.36 * size:.3f}" font-size="{size:.2f}" '
        f'text-anchor="middle" fill="{GAP_INK}">{signed(gaps[feature.id])}</text>'
    )


def signed(gap_mm: float) -> str:
    """Return a gap with its sign, as people write it.

    >>> signed(-0.1), signed(0.0), signed(0.25)
    ('−0.1', '0', '+0.25')
    """
    if gap_mm == 0:
        return "0"
    return f"{'+' if gap_mm > 0 else '−'}{abs(gap_mm):g}"


def _words(feature: Sized, gaps: dict[str, float]) -> str:
    words = f"{feature.id}: {feature.form} {feature.size_mm:g} mm, direction {feature.direction}"
    if feature.id in gaps:
        words += f", gap {signed(gaps[feature.id])} mm"
    return words


def _legend(x: float, y: float) -> str:
    def box(fill: str, edge: str) -> str:
        return (
            f'<rect x="0" y="-2.4" width="4" height="3" rx=".4" fill="{fill}" stroke="{edge}" '
            'stroke-width=".25"/>'
        )

    entries = (
        (0, 0, box(FIXED, FIXED_EDGE), "fixed"),
        (24, 0, box(LOOSE, LOOSE_EDGE), "loose: tried in or over the fixed ones"),
        (0, 5, f'<path d="M2.4 -1l-1.6 -.9v1.8z" fill="{JAW_INK}"/>', "caliper jaw"),
        (
            24,
            5,
            f'<text x="0" y="0" font-size="2.2" fill="{GAP_INK}">+0.2</text>',
            "gap to the loose piece, mm over both sides",
        ),
    )
    return "".join(
        f'<g transform="translate({x + dx:g} {y + dy:g})">{mark}'
        f'<text x="6" y="0" font-size="2.8" fill="{FAINT}">{words}</text></g>\n'
        for dx, dy, mark, words in entries
    )
