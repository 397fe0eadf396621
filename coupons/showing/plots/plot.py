"""Small drawings in SVG: scales, axes, lines, bands and marks.

Written here instead of with a plotting library, so that a plot uses the page's colours, light or
dark, keeps its labels as text for a screen reader, and has the same bytes everywhere.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

Point = tuple[float, float]


@dataclass(frozen=True)
class Scale:
    """Maps values to positions along an axis of the drawing.

    Parameters
    ----------
    low, high : float
        Values at the ends; above 0 if ``is_log``.
    start, stop : float
        Places of the ends.
    is_log : bool
    """

    low: float
    high: float
    start: float
    stop: float
    is_log: bool = False

    def __call__(self, value: float) -> float:
        """Return the position of a value; values beyond the ends are put at the ends."""
        value = min(max(value, self.low), self.high)
        if self.is_log:
            share = math.log(value / self.low) / math.log(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.stop - self.start), 2)

    def ticks(self, most: int = 6) -> list[float]:
        """Return round values between the ends.

        Examples
        --------
        >>> Scale(-0.13, 0.34, 0, 100).ticks()
        [-0.1, 0.0, 0.1, 0.2, 0.3]
        >>> Scale(2.8, 90, 0, 100, is_log=True).ticks()
        [5, 10, 20, 50]
        """
        if self.is_log:
            decades = (m * 10**e for e in range(-2, 4) for m in (1, 2, 5))
            return [t for t in decades if self.low <= t <= self.high]
        step = nice_step((self.high - self.low) / most)
        first = math.ceil(round(self.low / step, 6))
        last = math.floor(round(self.high / step, 6))
        return [round(k * step, 9) + 0.0 for k in range(first, last + 1)]


def nice_step(at_least: float) -> float:
    """Return the smallest of 1, 2, 5 times a power of ten that is not below a value."""
    power: float = 10.0 ** math.floor(math.log10(at_least))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= at_least * (1 - 1e-9))


def number(value: float) -> str:
    """Write a number in short form, with a real minus.

    Examples
    --------
    >>> number(-0.1), number(20.0), number(0.25)
    ('−0.1', '20', '0.25')
    """
    return f"{value:g}".replace("-", "−")


def plus_minus(mm: float) -> str:
    """Write a deviation in mm with its sign and two decimals.

    Examples
    --------
    >>> plus_minus(-0.178), plus_minus(0.1), plus_minus(-0.001)
    ('−0.18', '+0.10', '0.00')
    """
    text = f"{mm:+.2f}"
    return "0.00" if float(text) == 0 else text.replace("-", "−")


@dataclass(frozen=True)
class Frame:
    """A plotting area with two axes. In the drawing y runs downwards, on the scales upwards."""

    width: float
    height: float
    x: Scale
    y: Scale

    def at(self, point: Point) -> Point:
        """Return where a point of values is drawn."""
        return self.x(point[0]), self.y(point[1])


def frame(
    x: tuple[float, float], y: tuple[float, float], *, height: float = 230, log_x: bool = False
) -> Frame:
    """Return a frame of the usual width for these ranges of values."""
    width, left, right, top, bottom = 360.0, 44.0, 10.0, 12.0, 38.0
    return Frame(
        width,
        height,
        Scale(*x, left, width - right, is_log=log_x),
        Scale(*y, height - bottom, top),
    )


def axes(area: Frame, x_words: str, y_words: str) -> Markup:
    """Draw ticks, grid, the labels of both axes, and the zero line if it is in range."""
    left, right, bottom, top = area.x.start, area.x.stop, area.y.start, area.y.stop
    parts = [
        Markup(
            '<path class="grid" d="M{0} {1}V{2}"/><text x="{0}" y="{3}" class="mid">{4}</text>'
        ).format(area.x(t), bottom, top, bottom + 13, number(t))
        for t in area.x.ticks()
    ]
    parts += [
        Markup(
            '<path class="grid" d="M{1} {0}H{2}"/><text x="{3}" y="{4}" class="end">{5}</text>'
        ).format(area.y(t), left, right, left - 4, area.y(t) + 3.5, number(t))
        for t in area.y.ticks(5)
    ]
    if area.y.low < 0 < area.y.high:
        parts.append(Markup('<path class="zero" d="M{} {}H{}"/>').format(left, area.y(0), right))
    parts.append(x_label(area, x_words))
    parts.append(
        Markup('<text class="mid" transform="translate(10 {}) rotate(-90)">{}</text>').format(
            (bottom + top) / 2, y_words
        )
    )
    return Markup("").join(parts)


def x_label(area: Frame, words: str) -> Markup:
    """Write the label of the x axis."""
    middle = (area.x.start + area.x.stop) / 2
    return Markup('<text class="mid" x="{}" y="{}">{}</text>').format(
        middle, area.height - 6, words
    )


def path_data(area: Frame, points: Iterable[Point]) -> str:
    """Return the path through points of values."""
    return "M" + "L".join("{:g} {:g}".format(*area.at(point)) for point in points)


def line(area: Frame, points: Iterable[Point], kind: str) -> Markup:
    """Draw a line of a style class."""
    return Markup('<path class="line {}" d="{}"/>').format(kind, path_data(area, points))


def band(
    area: Frame, xs: Sequence[float], low: Sequence[float], high: Sequence[float], kind: str
) -> Markup:
    """Fill the area between two lines."""
    there = list(zip(xs, high, strict=True))
    back = list(zip(xs, low, strict=True))[::-1]
    return Markup('<path class="band {}" d="{}z"/>').format(kind, path_data(area, there + back))


def mark(area: Frame, point: Point, kind: str, words: str, size: float = 3.2) -> Markup:
    """Draw a disc (kind ``ext``) or a square (any other), with a tooltip."""
    x, y = area.at(point)
    if kind == "ext":
        shape = Markup('<circle class="mark {}" cx="{}" cy="{}" r="{:g}">').format(kind, x, y, size)
        end = Markup("</circle>")
    else:
        side = 1.8 * size
        shape = Markup(
            '<rect class="mark {}" x="{:.5g}" y="{:.5g}" width="{:.3g}" height="{:.3g}">'
        ).format(kind, x - side / 2, y - side / 2, side, side)
        end = Markup("</rect>")
    return shape + Markup("<title>{}</title>").format(words) + end


def drawing(area: Frame, words: str, *parts: Markup) -> Markup:
    """Combine parts into one SVG, with a description for a reader who cannot see it."""
    return Markup(
        '<svg class="plot" viewBox="0 0 {:g} {:g}" role="img" aria-label="{}">{}</svg>'
    ).format(area.width, area.height, words, Markup("").join(parts))
