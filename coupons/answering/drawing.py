"""How a gap is drawn: hundredths on each face, or whole layers where faces stand across them."""

import math
from dataclasses import dataclass
from itertools import product

import numpy as np

from coupons.answering.clearance import drawn_sizes
from coupons.learning.effects import height_share, side
from coupons.terms import Feature, Form, Gives, Joint

_STEP_MM = 0.01  # on one face: as fine as anybody draws
_ROUNDING = 1e-6


@dataclass(frozen=True)
class FaceMove:
    """What to do with one body: its form, the offset of each moved face, the size to draw.

    ``faces`` is 2, or 1 across layers where whole layers come off or go on at one side only.
    """

    form: Form
    offset_mm: float
    faces: int
    drawn_mm: float

    @property
    def from_mm(self) -> float:
        """Size that the offset starts from."""
        return _clean(self.drawn_mm - side(self.form) * self.faces * self.offset_mm)


@dataclass(frozen=True)
class Drawn:
    """A gap as it is drawn.

    Parameters
    ----------
    gap_mm : float
    moves : tuple of FaceMove
        The bodies that give way, then the other one where it has to be brought onto layers.
    layer_mm : float or None
        Height of a layer, where sizes were brought onto layers.
    layers : int or None
        How many of them the gap is, where it is a whole number.
    prints_mm : tuple of float
        Gaps of whole layers as which a gap that was drawn off them may print, each rounding once.
    """

    gap_mm: float
    moves: tuple[FaceMove, ...]
    layer_mm: float | None = None
    layers: int | None = None
    prints_mm: tuple[float, ...] = ()


def stands_across_layers(joint: Joint) -> bool:
    """Tell whether the faces of a joint look up and down, so that its sizes are layers."""
    return height_share(Feature(joint.internal, joint.size_mm, joint.direction)) == 1


def draw_gap(joint: Joint, gives: Gives, gap_mm: float, *, up: bool) -> Drawn:
    """Round a gap to hundredths on each face that moves.

    A gap g over one pair of opposite faces is −g/2 on each face of the one body that gives way, or
    −g/4 on each face of both.

    Parameters
    ----------
    joint : Joint
    gives : Gives
    gap_mm : float
    up : bool
        Never to less than the gap.
    """
    step = gap_step_mm(gives)
    return draw_as_it_is(joint, gives, round(_whole(gap_mm / step, up) * step, 6))


def gap_step_mm(gives: Gives) -> float:
    """Return the step in which gaps are drawn in the layer plane: 0.01 mm a face."""
    return _STEP_MM * (4 if gives is Gives.BOTH else 2)


def draw_as_it_is(joint: Joint, gives: Gives, gap_mm: float, faces: int = 2) -> Drawn:
    """Share a gap out over the faces that may move, without rounding it."""
    internal, external = (float(size[0]) for size in drawn_sizes(joint, gives, np.array([gap_mm])))
    sizes = {joint.internal: internal, joint.external: external}
    moves = tuple(_move(joint, form, sizes[form], faces) for form in _giving(joint, gives))
    return Drawn(gap_mm, moves)


def draw_layers(
    joint: Joint, gives: Gives, gap_mm: float, layer_mm: float, *, up: bool, bought: bool
) -> Drawn:
    """Bring every printed size of a joint across layers onto whole layers.

    A whole body's share comes off one of its faces. A nominal size that is no whole number of
    layers cannot be printed: the body that stays is drawn with the nearest one, a bought mate
    stays what it is.
    """
    size = joint.size_mm / layer_mm
    if bought:
        into = 1 if gives is Gives.INTERNAL else -1
        printed = into * _whole(into * size + gap_mm / layer_mm, up)
        counts = dict.fromkeys(_giving(joint, gives), printed)
        gap_mm = round(into * (printed * layer_mm - joint.size_mm), 6)
    else:
        n = _whole(gap_mm / layer_mm, up)
        counts = _shared_layers(joint, gives, n, math.floor(size + 0.5 + _ROUNDING))
        gap_mm = round(n * layer_mm, 6)
    giving = _giving(joint, gives)
    moves = [
        _move(joint, form, round(counts[form] * layer_mm, 6), 1)
        for form in sorted(counts, key=lambda form: form not in giving)
    ]
    moved = tuple(move for move in moves if move.form in giving or move.offset_mm)
    return Drawn(gap_mm, moved, layer_mm, whole_layers(gap_mm, layer_mm))


def draw_off_layers(
    joint: Joint, gives: Gives, gap_mm: float, layer_mm: float, *, bought: Form | None
) -> Drawn:
    """Take a gap across layers as somebody drew it, and tell as what it may print.

    A size between two whole numbers of layers prints as either, as its place and the slicing
    program have it.
    """
    drawn = draw_as_it_is(joint, gives, gap_mm)
    internal, external = (float(size[0]) for size in drawn_sizes(joint, gives, np.array([gap_mm])))
    sizes = {joint.internal: internal, joint.external: external}
    if all(whole_layers(mm, layer_mm) is not None for form, mm in sizes.items() if form != bought):
        whole = draw_as_it_is(joint, gives, gap_mm, faces=1)
        return Drawn(gap_mm, whole.moves, layer_mm, whole_layers(gap_mm, layer_mm))
    ends = ((mm,) if form is bought else _neighbours(mm, layer_mm) for form, mm in sizes.items())
    prints = sorted(round(inner - outer, 6) for inner, outer in product(*ends))
    return Drawn(gap_mm, drawn.moves, layer_mm, None, tuple(prints))


def whole_layers(mm: float, layer_mm: float) -> int | None:
    """Return how many layers a length is; None if it is no whole number of them."""
    n = round(mm / layer_mm)
    return n if abs(mm / layer_mm - n) < 1e-4 else None


def _neighbours(mm: float, layer_mm: float) -> tuple[float, ...]:
    n = whole_layers(mm, layer_mm)
    low = math.floor(mm / layer_mm)
    return tuple(k * layer_mm for k in ((low, low + 1) if n is None else (n,)))


def _shared_layers(joint: Joint, gives: Gives, n: int, base: int) -> dict[Form, int]:
    """Return how many layers each body is drawn with, for a gap of n at a size of ``base``."""
    # An odd layer goes to the internal body: a roof may be raised, a step must stay strong.
    off_external = {Gives.INTERNAL: 0, Gives.EXTERNAL: n, Gives.BOTH: n // 2}[gives]
    return {joint.internal: base - off_external + n, joint.external: base - off_external}


def _giving(joint: Joint, gives: Gives) -> tuple[Form, ...]:
    both = (joint.internal, joint.external)
    return {Gives.INTERNAL: both[:1], Gives.EXTERNAL: both[1:], Gives.BOTH: both}[gives]


def _whole(steps: float, up: bool) -> int:
    return math.ceil(steps - _ROUNDING) if up else round(steps)


def _move(joint: Joint, form: Form, drawn_mm: float, faces: int) -> FaceMove:
    offset_mm = side(form) * (drawn_mm - joint.size_mm) / faces
    return FaceMove(form, _clean(offset_mm), faces, drawn_mm)


def _clean(mm: float) -> float:
    return round(mm, 6) + 0.0  # no −0.0
