"""Residuals of the features at their places on the bed: tilt and drift of the bed show."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

from markupsafe import Markup

from coupons.showing.plots.plot import Frame, Scale, axes, drawing, mark, plus_minus
from coupons.showing.plots.residuals import LeftOver

_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 360.0, 44.0, 10.0, 12.0, 38.0
_ROOM_MM = 8.0
_LARGEST = 9.0  # half width of the largest mark, in units of the drawing
_SMALLEST = 1.2


@dataclass(frozen=True)
class PlacePlot:
    """One plate of one run, and the residual of its largest mark."""

    run: int
    plate: int
    largest_mm: float
    drawing: Markup


Spot: TypeAlias = tuple[float, float, LeftOver]


def place_plots(left: Sequence[LeftOver]) -> tuple[PlacePlot, ...]:
    """Draw every plate on which features were read, and of which their places are known."""
    plates: dict[tuple[int, int], list[Spot]] = {}
    for one in left:
        if one.feature.place_mm is not None:
            x, y, _ = one.feature.place_mm
            plates.setdefault((one.run, one.feature.plate), []).append((x, y, one))
    return tuple(_plate(*key, plates[key]) for key in sorted(plates))


def _plate(run: int, plate: int, spots: Sequence[Spot]) -> PlacePlot:
    xs, ys, left = zip(*spots, strict=True)
    features = [one.feature for one in left]
    means_mm = [one.left_mm for one in left]
    area = _equal_frame((min(xs), max(xs)), (min(ys), max(ys)))
    largest = max(map(abs, means_mm))
    marks = (
        mark(
            area,
            (x, y),
            "ext" if mm >= 0 else "int",
            f"{feature.id}: {plus_minus(mm)} mm",
            # The eye takes the area for the amount.
            max(_SMALLEST, _LARGEST * math.sqrt(abs(mm) / largest)) if largest else _SMALLEST,
        )
        for feature, x, y, mm in zip(features, xs, ys, means_mm, strict=True)
    )
    words = f"Plate {plate}: residuals of {len(features)} features at their places on the bed"
    return PlacePlot(
        run, plate, largest, drawing(area, words, axes(area, "x, mm", "y, mm"), *marks)
    )


def _equal_frame(x: tuple[float, float], y: tuple[float, float]) -> Frame:
    """Return a frame of the usual width with the same scale along x and y."""
    low_x, high_x = x[0] - _ROOM_MM, x[1] + _ROOM_MM
    low_y, high_y = y[0] - _ROOM_MM, y[1] + _ROOM_MM
    scale_x = Scale(low_x, high_x, _LEFT, _WIDTH - _RIGHT)
    per_mm = (scale_x.stop - scale_x.start) / (high_x - low_x)
    height = _TOP + per_mm * (high_y - low_y) + _BOTTOM
    return Frame(_WIDTH, round(height, 1), scale_x, Scale(low_y, high_y, height - _BOTTOM, _TOP))
