"""Packing of rectangles on plates: each as low and as far left as possible, on a skyline."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Spot:
    """Where a rectangle's low corner stands, on which plate (counted from 1)."""

    plate: int
    x_mm: float
    y_mm: float


@dataclass
class _Skyline:
    """The upper edge of what is placed so far: stretches of (start, height), left to right."""

    width: float
    height: float
    stretches: list[tuple[float, float]]

    def lowest(self, width: float, height: float) -> tuple[float, float] | None:
        """Return the lowest, then leftmost place for a rectangle, or None."""
        best: tuple[float, float] | None = None
        for index, (x, _) in enumerate(self.stretches):
            if x + width > self.width + 1e-9:
                break
            y = self._rest(index, x + width)
            if y + height <= self.height + 1e-9 and (best is None or (y, x) < (best[1], best[0])):
                best = (x, y)
        return best

    def _rest(self, index: int, stop: float) -> float:
        """Return the height on which something from stretch ``index`` to ``stop`` would rest."""
        top = 0.0
        for x, y in self.stretches[index:]:
            if x >= stop - 1e-9:
                break
            top = max(top, y)
        return top

    def cover(self, x: float, stop: float, top: float) -> None:
        """Raise the skyline between two places."""
        after = max(y for y in self._heights_at(stop))
        kept = [s for s in self.stretches if s[0] < x - 1e-9]
        later = [s for s in self.stretches if s[0] > stop + 1e-9]
        self.stretches = [*kept, (x, top), *([(stop, after)] if stop < self.width else []), *later]

    def _heights_at(self, x: float) -> list[float]:
        """Return the height of the stretch that holds ``x``."""
        return [[y for start, y in self.stretches if start <= x + 1e-9][-1]]


def arrange(
    sizes: Sequence[tuple[float, float]],
    bed: tuple[float, float],
    space: float,
    last: Sequence[bool] = (),
) -> list[Spot]:
    """Place rectangles, ``space`` apart, on as many plates as it takes.

    Tall ones go first, so that rows of like height form; equal ones keep their order, which makes
    the layout the same on every build. Those marked ``last`` go after all others, so that they
    stand together. Every size must fit the bed.
    """
    late = last or [False] * len(sizes)
    order = sorted(range(len(sizes)), key=lambda i: (late[i], -sizes[i][1], -sizes[i][0], i))
    plates: list[_Skyline] = []
    spots: dict[int, Spot] = {}
    for index in order:
        width, height = sizes[index][0] + space, sizes[index][1] + space
        spots[index] = _place(plates, width, height, (bed[0] + space, bed[1] + space))
    return [spots[index] for index in range(len(sizes))]


def _place(plates: list[_Skyline], width: float, height: float, bed: tuple[float, float]) -> Spot:
    for number, skyline in enumerate(plates, start=1):
        found = skyline.lowest(width, height)
        if found:
            return _take(skyline, number, found, width, height)
    plates.append(_Skyline(bed[0], bed[1], [(0.0, 0.0)]))
    return _take(plates[-1], len(plates), (0.0, 0.0), width, height)


def _take(
    skyline: _Skyline, number: int, at: tuple[float, float], width: float, height: float
) -> Spot:
    skyline.cover(at[0], at[0] + width, at[1] + height)
    return Spot(number, round(at[0], 6), round(at[1], 6))
