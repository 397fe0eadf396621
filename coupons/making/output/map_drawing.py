"""Drawing one body on the map: its outline, features, letters, gaps and caliper places."""

from dataclasses import dataclass

from coupons.making.bodies.built_bodies import Sized
from coupons.making.bodies.lettering import Point
from coupons.making.bodies.shapes import Part, Text, Turned
from coupons.making.plan import PlacedBody
from coupons.terms import ROUND, Form, Jaws

INK, PAPER = "#22303c", "#fffdf8"
FIXED, FIXED_EDGE, FIXED_POST = "#e1e7eb", "#7d8d99", "#9db0bc"
LOOSE, LOOSE_EDGE, LOOSE_POST = "#f6e6cb", "#b08a4e", "#dfbb80"
GAP_INK, JAW_INK = "#0a5c63", "#b3263a"
JAW_MM = 0.95
FIGURE_WIDTH = 0.6
"""Width of a figure, in heights of the letters."""
ROOMY_MM = 4.4  # words on a smaller hole stand behind it
BEHIND_MM = 1.7  # words on a sideways window stand this far behind its wall


@dataclass(frozen=True)
class Pen:
    """Draws in a body's own frame; ``gaps`` is what each feature is tried at, by id."""

    item: PlacedBody
    left: float
    bottom: float
    gaps: dict[str, float]

    def at(self, point: Point) -> Point:
        """Return where a point of the body's own frame lies in the drawing."""
        x, y, _ = self.item.on_plate((point[0], point[1], 0.0))
        return (round(self.left + x, 3), round(self.bottom - y, 3))

    def path(self, points: list[Point]) -> str:
        """Return a closed path through points of the body's own frame."""
        return "M" + "L".join("{:g} {:g}".format(*self.at(p)) for p in points) + "z"


@dataclass(frozen=True)
class _Spot:
    """A feature as drawn: its middle and half extent in the body's own x and y, where words go."""

    feature: Sized
    part: Part | None
    half: Point
    middle: Point
    sideways: bool
    words: Point


def draw_body(pen: Pen) -> str:
    """Return a body with its features, each in a group with its id."""
    body = pen.item.body
    texts = [part.shape for part in body.parts if isinstance(part.shape, Text)]
    features, taken = "", set()
    for feature in body.features:
        own = [text for text in texts if _names(text, feature.id)]
        taken.update(own)
        features += _feature(pen, feature, own)
    letters = "".join(_letters(pen, text) for text in texts if text not in taken)
    kind, fill, edge = ("loose", LOOSE, LOOSE_EDGE) if body.loose else ("fixed", FIXED, FIXED_EDGE)
    return (
        f'<g class="{kind}"><path d="{pen.path(list(body.outline()))}" fill="{fill}" '
        f'stroke="{edge}" stroke-width=".25" stroke-linejoin="round"/>{features}{letters}</g>\n'
    )


def signed(gap_mm: float) -> str:
    """Return a gap with its sign, as people write it.

    >>> signed(-0.1), signed(0.0), signed(0.25)
    ('−0.1', '0', '+0.25')
    """
    if gap_mm == 0:
        return "0"
    return f"{'+' if gap_mm > 0 else '−'}{abs(gap_mm):g}"


def _names(text: Text, feature: str) -> bool:
    """Return whether a label is a feature's id, alone or with a mark behind it."""
    return text.text in (feature, feature + "↔", feature + "≡")


def _feature(pen: Pen, feature: Sized, texts: list[Text]) -> str:
    spot = _spot(pen, feature)
    letters = "".join(_letters(pen, text) for text in texts)
    return (
        f'<g class="feature" data-id="{feature.id}"><title>{_title(pen, feature)}</title>'
        f"{_shape(pen, spot)}{letters}{_jaws(pen, spot)}{_gap(pen, spot)}</g>"
    )


def _title(pen: Pen, feature: Sized) -> str:
    words = f"{feature.id}: {feature.form} {feature.size_mm:g} mm, direction {feature.direction}"
    if feature.id in pen.gaps:
        words += f", gap {signed(pen.gaps[feature.id])} mm"
    return words


def _letters(pen: Pen, text: Text) -> str:
    x, y, _ = text.place
    path = ""
    for stroke in text.strokes():
        ends = [pen.at((x + p[0], y + p[1])) for p in (stroke.start, stroke.stop)]
        path += "M{:g} {:g}L{:g} {:g}".format(*ends[0], *ends[1])
    return (
        f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="{text.pen_mm:g}" '
        'stroke-linecap="round" stroke-linejoin="round"/>'
    )


def _spot(pen: Pen, feature: Sized) -> _Spot:
    body = pen.item.body
    part = next(
        (p for p in body.parts if p.feature == feature.id and not isinstance(p.shape, Text)), None
    )
    half = _half_extent(feature, part, body.box)
    sideways = part is not None and part.cut and goes_sideways(part)
    x, y, _ = feature.centre
    if sideways:
        return _Spot(feature, part, half, (x, y), True, (x, body.box[1][1] + BEHIND_MM))
    if feature.form is Form.HOLE and feature.size_mm < ROOMY_MM:
        return _Spot(feature, part, half, (x, y), False, (x, y + half[1] + 1.1))
    aside = 0.15 if body.turn_deg == 90 else 0.25  # turned, it leaves the words less room
    down = aside * half[1] if feature.form not in ROUND and feature.axis == "x" else 0.0
    return _Spot(feature, part, half, _middle(feature, part), False, (x, y - down))


def _middle(feature: Sized, part: Part | None) -> Point:
    """Return the middle of the drawn shape, which is more than its measured place for a tile."""
    x, y, _ = feature.centre
    if part is None or feature.role != "swell":
        return (x, y)
    ys = [corner[1] for corner in part.shape.corners()]
    return (x, (min(ys) + max(ys)) / 2)


def _half_extent(
    feature: Sized,
    part: Part | None,
    box: tuple[tuple[float, float, float], tuple[float, float, float]],
) -> Point:
    corners = part.shape.corners() if part else list(box)
    half = [(max(c[k] for c in corners) - min(c[k] for c in corners)) / 2 for k in (0, 1)]
    half[1] = min(half[1], (box[1][1] - box[0][1]) / 2)
    if feature.axis == "x" or feature.form in ROUND:
        half[0] = feature.size_mm / 2
    if feature.axis == "y" and feature.form not in ROUND:
        half[1] = feature.size_mm / 2
    if feature.axis == "z" and feature.form in ROUND:
        half[1] = feature.size_mm / 2
    return (half[0], half[1])


def goes_sideways(part: Part) -> bool:
    """Return whether a window goes through its body level with the bed."""
    shape = part.shape
    if isinstance(shape, Text):
        return False
    return shape.axis == ("y" if isinstance(shape, Turned) else "x")


def _shape(pen: Pen, spot: _Spot) -> str:
    """Draw a feature: open windows in the colour of the bed, posts darker, sideways ones dashed."""
    if spot.part is None:
        return ""
    post = LOOSE_POST if pen.item.body.loose else FIXED_POST
    look = f'fill="{PAPER if spot.part.cut else post}" stroke="{INK}" stroke-width=".2"'
    if spot.sideways:
        look += ' fill-opacity=".55" stroke-opacity=".6" stroke-dasharray=".8 .5"'
    (x, y), (a, b) = spot.middle, spot.half
    if isinstance(spot.part.shape, Turned) and spot.part.shape.axis == "z":
        cx, cy = pen.at((x, y))
        return f'<circle cx="{cx:g}" cy="{cy:g}" r="{a:g}" {look}/>'
    corners = [(x - a, y - b), (x + a, y - b), (x + a, y + b), (x - a, y + b)]
    return f'<path d="{pen.path(corners)}" {look}/>'


def _jaws(pen: Pen, spot: _Spot) -> str:
    """Draw where the caliper touches: two triangles, or a ringed dot for a reading along z."""
    drawn = ""
    for jaws, along in spot.feature.readings:
        own = _own_axis(pen, spot.feature, along)
        drawn += _upright_mark(pen, spot) if own is None else _jaw_pair(pen, spot, jaws, own)
    return drawn


def _own_axis(pen: Pen, feature: Sized, along: str | None) -> int | None:
    """Return which of a body's own axes (0, 1) a reading lies along; None if it is upright."""
    if along is None:
        return {"x": 0, "y": 1, "z": None}[feature.axis]
    if along == "z":
        return None
    return 0 if (along == "x") == (pen.item.body.turn_deg == 0) else 1


def _jaw_place(spot: _Spot) -> Point:
    """Return the middle of a pair of jaws: beside the words in a flat feature."""
    x, y, _ = spot.feature.centre
    if spot.sideways:
        return spot.words
    if spot.feature.form in ROUND or spot.feature.role == "span":
        return (x, y)
    return (x, y + 0.6 * spot.half[1])


def _jaw_pair(pen: Pen, spot: _Spot, jaws: Jaws, own: int) -> str:
    x, y = _jaw_place(spot)
    drawn = ""
    for side in (-1, 1):
        tip = side * spot.half[own]
        foot = tip + side * (JAW_MM if jaws is Jaws.OUTSIDE else -JAW_MM)
        points = [(tip, 0.0), (foot, 0.55 * JAW_MM), (foot, -0.55 * JAW_MM)]
        drawn += pen.path([(x + a, y + b) if own == 0 else (x + b, y + a) for a, b in points])
    return f'<path d="{drawn}" fill="{JAW_INK}"/>'


def _upright_mark(pen: Pen, spot: _Spot) -> str:
    x, y, _ = spot.feature.centre
    place = (x, y + 0.62 * spot.half[1])
    if spot.sideways:
        place = (spot.words[0] - spot.half[0] - 1.0, spot.words[1])
    return upright_mark(*pen.at(place))


def upright_mark(cx: float, cy: float) -> str:
    """Return the mark of a reading along z, at a place of the drawing."""
    return (
        f'<circle cx="{cx:g}" cy="{cy:g}" r=".8" fill="none" stroke="{JAW_INK}" '
        f'stroke-width=".3"/><circle cx="{cx:g}" cy="{cy:g}" r=".3" fill="{JAW_INK}"/>'
    )


def _gap(pen: Pen, spot: _Spot) -> str:
    feature = spot.feature
    if feature.id not in pen.gaps:
        return ""
    cx, cy = pen.at(spot.words)
    # In a hole the jaws stand within and leave the words less room.
    within = feature.size_mm >= ROOMY_MM or feature.form is not Form.HOLE
    crowded = feature.form is Form.HOLE and feature.readings and within
    words = signed(pen.gaps[feature.id])
    size = min(1.6, spot.half[0] * (0.46 if crowded else 0.58)) if within else 1.3
    if within and pen.item.body.turn_deg == 90:  # the words stand aside of the middle
        room = 2 * (spot.half[1] - abs(cx - pen.at(spot.middle)[0]) - 0.1)
        size = min(size, room / (FIGURE_WIDTH * len(words)))
    return (
        f'<text x="{cx:g}" y="{cy + 0.36 * size:.3f}" font-size="{size:.2f}" '
        f'text-anchor="middle" fill="{GAP_INK}">{words}</text>'
    )
