"""How a gap is drawn: in hundredths on each face, or in whole layers across the layers."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import TypeAlias

import numpy as np

from coupons.answering.chances.clearance import drawn_sizes
from coupons.learning.effects import height_share, side
from coupons.terms import Direction, Feature, Form, Joint, MovingBody

LayersOf: TypeAlias = Mapping[Form, float | None]
"""Height in mm of the layers that the size of a body is drawn in; None in the layer plane."""

_STEP_MM = 0.01  # on one face: as fine as anybody draws
_ROUNDING = 1e-6


@dataclass(frozen=True)
class FaceMove:
    """What to do with one body: its form, the offset of each moved face, the size to draw.

    ``faces`` is 2, or 1 across layers where whole layers come off or go on at one side only.
    ``layer_mm`` is the height of its layers where this body alone, of the two, is drawn in them;
    ``slant_deg`` is the angle of faces that lean, whose offset is along their normal.
    """

    form: Form
    offset_mm: float
    faces: int
    drawn_mm: float
    layer_mm: float | None = None
    slant_deg: float = 0.0

    @property
    def from_mm(self) -> float:
        """Size that the offset starts from."""
        across_mm = self.offset_mm / math.cos(math.radians(self.slant_deg))
        return _clean(self.drawn_mm - side(self.form) * self.faces * across_mm)


@dataclass(frozen=True)
class Drawn:
    """A gap as it is drawn.

    Parameters
    ----------
    gap_mm : float
    moves : tuple of FaceMove
        The bodies that move, then the other one if it has to be rounded to layers.
    layer_mm : float or None
        Layer height, if sizes were rounded to layers.
    layers : int or None
        How many of them the gap is, where it is a whole number.
    prints_mm : tuple of float
        Gaps of whole layers that a gap between them may print as, each rounding once.
    unlike : bool
        One body is drawn in layers and the other is not, or in layers of another height.
    """

    gap_mm: float
    moves: tuple[FaceMove, ...]
    layer_mm: float | None = None
    layers: int | None = None
    prints_mm: tuple[float, ...] = ()
    unlike: bool = False


def stands_across_layers(form: Form, direction: Direction) -> bool:
    """Tell whether the faces of a form face up and down, so that its sizes are layers."""
    return height_share(Feature(form, 1.0, direction)) == 1


def draw_gap(joint: Joint, moving: MovingBody, gap_mm: float, *, up: bool) -> Drawn:
    """Round a gap to hundredths on each face that moves.

    A gap g over one pair of opposite faces is −g/2 on each face of the one body that moves, or
    −g/4 on each face of both.

    Parameters
    ----------
    joint : Joint
    moving : MovingBody
    gap_mm : float
    up : bool
        Round up, never below the gap.
    """
    step = gap_step_mm(moving)
    return draw_as_it_is(joint, moving, round(_whole(gap_mm / step, up) * step, 6))


def gap_step_mm(moving: MovingBody) -> float:
    """Return the step in which gaps are drawn in the layer plane: 0.01 mm a face."""
    return _STEP_MM * (4 if moving is MovingBody.BOTH else 2)


def draw_as_it_is(joint: Joint, moving: MovingBody, gap_mm: float, faces: int = 2) -> Drawn:
    """Divide a gap over the faces that may move, without rounding it."""
    internal, external = (float(size[0]) for size in drawn_sizes(joint, moving, np.array([gap_mm])))
    sizes = {joint.internal: internal, joint.external: external}
    moves = tuple(_move(joint, form, sizes[form], faces) for form in _moving_forms(joint, moving))
    return Drawn(gap_mm, moves)


def draw_layers(
    joint: Joint, moving: MovingBody, gap_mm: float, layer_mm: float, *, up: bool, hardware: bool
) -> Drawn:
    """Round every printed size of a joint across layers to whole layers.

    A whole body's share comes off one of its faces. A nominal size that is no whole number of
    layers cannot be printed: the body that does not move is rounded to the nearest one; hardware
    stays as it is.
    """
    size = joint.size_mm / layer_mm
    if hardware:
        into = 1 if moving is MovingBody.INTERNAL else -1
        printed = into * _whole(into * size + gap_mm / layer_mm, up)
        counts = dict.fromkeys(_moving_forms(joint, moving), printed)
        gap_mm = round(into * (printed * layer_mm - joint.size_mm), 6)
    else:
        n = _whole(gap_mm / layer_mm, up)
        counts = _shared_layers(joint, moving, n, math.floor(size + 0.5 + _ROUNDING))
        gap_mm = round(n * layer_mm, 6)
    moving_forms = _moving_forms(joint, moving)
    moves = [
        _move(joint, form, round(counts[form] * layer_mm, 6), 1)
        for form in sorted(counts, key=lambda form: form not in moving_forms)
    ]
    moved = tuple(move for move in moves if move.form in moving_forms or move.offset_mm)
    return Drawn(gap_mm, moved, layer_mm, whole_layers(gap_mm, layer_mm))


def draw_unlike(
    joint: Joint, moving: MovingBody, gap_mm: float, layers_mm: LayersOf, *, up: bool
) -> Drawn:
    """Round the bodies of a joint that are not drawn in the same steps, each to its own.

    One is drawn in layers and the other in hundredths a face, or both in layers of unlike heights.
    A body that stays is rounded to layers first, then the one with the coarser steps; the last one
    makes up for what the others were rounded by.

    Parameters
    ----------
    joint : Joint
    moving : MovingBody
    gap_mm : float
    layers_mm : mapping of Form to float or None
        Height of the layers that a body is drawn in.
    up : bool
        Round the gap up, never below.
    """
    moves = _moving_forms(joint, moving)
    internal, external = (float(size[0]) for size in drawn_sizes(joint, moving, np.array([gap_mm])))
    wanted = {joint.internal: internal, joint.external: external}
    order = sorted(wanted, key=lambda form: (form in moves, -(layers_mm[form] or 0.0)))
    sizes: dict[Form, float] = {}
    for form in order:
        makes_up = form is order[-1] and form in moves
        if makes_up:
            wanted[form] = sizes[order[0]] - side(form) * gap_mm
        if form in moves or layers_mm[form]:
            start_mm, step_mm = 0.0, layers_mm[form]
            if step_mm is None:
                start_mm, step_mm = joint.size_mm, 2 * _STEP_MM
            # Up is where the gap grows: a larger opening, a smaller tongue or pin.
            steps = _whole(-side(form) * (wanted[form] - start_mm) / step_mm, up and makes_up)
            wanted[form] = round(start_mm - side(form) * steps * step_mm, 6)
        sizes[form] = wanted[form]
    found = [
        _move(joint, form, sizes[form], 1 if layers_mm[form] else 2, layers_mm[form])
        for form in sorted(sizes, key=lambda form: form not in moves)
    ]
    moved = tuple(move for move in found if move.form in moves or move.offset_mm)
    heights = [layers_mm[form] or 0.0 for form in moves]
    return Drawn(
        round(sizes[joint.internal] - sizes[joint.external], 6),
        moved,
        max(heights) or None,
        unlike=True,
    )


def draw_off_layers(
    joint: Joint, moving: MovingBody, gap_mm: float, layers_mm: LayersOf, *, hardware: Form | None
) -> Drawn:
    """Take a gap across layers as it is drawn, and list what it may print as.

    A size between two whole numbers of layers prints as either, depending on its place
    and the slicing program.
    """
    alike = layers_mm[joint.internal] == layers_mm[joint.external]
    layer_mm = max(mm or 0.0 for mm in layers_mm.values())
    internal, external = (float(size[0]) for size in drawn_sizes(joint, moving, np.array([gap_mm])))
    sizes = {joint.internal: internal, joint.external: external}
    in_layers = {form: mm for form, mm in layers_mm.items() if mm and form is not hardware}
    are_whole = all(whole_layers(sizes[form], mm) is not None for form, mm in in_layers.items())
    moves = tuple(
        _move(
            joint,
            form,
            sizes[form],
            1 if are_whole and layers_mm[form] else 2,
            None if alike else layers_mm[form],
        )
        for form in _moving_forms(joint, moving)
    )
    if are_whole:
        layers = whole_layers(gap_mm, layer_mm) if alike else None
        return Drawn(gap_mm, moves, layer_mm, layers, unlike=not alike)
    ends = (
        _neighbours(mm, in_layers[form]) if form in in_layers else (mm,)
        for form, mm in sizes.items()
    )
    prints = sorted(round(inner - outer, 6) for inner, outer in product(*ends))
    return Drawn(gap_mm, moves, layer_mm, None, tuple(prints), unlike=not alike)


def whole_layers(mm: float, layer_mm: float) -> int | None:
    """Return how many layers a length is; None if it is no whole number of them."""
    n = round(mm / layer_mm)
    return n if abs(mm / layer_mm - n) < 1e-4 else None


def _neighbours(mm: float, layer_mm: float) -> tuple[float, ...]:
    n = whole_layers(mm, layer_mm)
    low = math.floor(mm / layer_mm)
    return tuple(k * layer_mm for k in ((low, low + 1) if n is None else (n,)))


def _shared_layers(joint: Joint, moving: MovingBody, n: int, base: int) -> dict[Form, int]:
    """Return how many layers each body is drawn with, for a gap of n at a size of ``base``."""
    # An odd layer goes to the internal body: a roof may be raised, a step must stay strong.
    off_external = {MovingBody.INTERNAL: 0, MovingBody.EXTERNAL: n, MovingBody.BOTH: n // 2}[moving]
    return {joint.internal: base - off_external + n, joint.external: base - off_external}


def _moving_forms(joint: Joint, moving: MovingBody) -> tuple[Form, ...]:
    internal, external = (joint.internal,), (joint.external,)
    forms = {MovingBody.INTERNAL: internal, MovingBody.EXTERNAL: external}
    return forms.get(moving, internal + external)


def _whole(steps: float, up: bool) -> int:
    return math.ceil(steps - _ROUNDING) if up else round(steps)


def _move(
    joint: Joint, form: Form, drawn_mm: float, faces: int, layer_mm: float | None = None
) -> FaceMove:
    offset_mm = side(form) * (drawn_mm - joint.size_mm) / faces
    if joint.slant is None:
        return FaceMove(form, _clean(offset_mm), faces, drawn_mm, layer_mm)
    normal_mm = offset_mm * math.cos(math.radians(joint.slant.angle_deg))
    return FaceMove(form, _clean(normal_mm), faces, drawn_mm, slant_deg=joint.slant.angle_deg)


def _clean(mm: float) -> float:
    return round(mm, 6) + 0.0  # no −0.0
