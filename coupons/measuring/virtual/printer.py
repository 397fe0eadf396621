"""The physics of the virtual printer: from drawn features to the sizes of the printed part.

It is built from what a nozzle and a cooling strand do, not from the model that is fitted later, so
that the model can be seen to be wrong where it is.

*Line.* The path of a wall runs half the planned width inside the drawn face; the line that is laid
is wider or narrower. *Bend.* A strand pulled along freezes some way behind the nozzle. Around a
circle of radius R the frozen end, a length a behind on the tangent, runs on radius √(R² − a²): the
steady tractrix. Nothing stops it inside a hole; around a pin the walls laid before mostly do.
*Axes.* Lost motion takes a loop narrower by the loss, whether it bounds a hole or a pin; a wall
across x may be laid wider than one across y, and have other waves, on whose crests a mate rides.
Then the part shrinks and skews; what stands around a hole or slot may hold it open. *Layers.* Faces
across z stand on whole layers; roofs sag, tops stand proud, the first layer is squeezed and swells.
A round part that lies is a staircase of line ends, half round each, which reach into a hole and out
of a pin at its top and bottom. What would lie below the bed is not there: a lying pin whose middle
is lower than its radius stands on a flat, and touches its hole at the top and on its two flanks.
*Seams.* Where a loop closes stands a bump, on one side; a groove made for it hides it. *Chance.*
From print to print differ the line's width, what all sizes in the plane have alike, both scales,
the nozzle's height and how far roofs hang. The width drifts over the bed, each feature has its own
deviation, some carry a blob.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.making.bodies.posts import ROUND_FROM_DEG
from coupons.making.record import CouponFeature
from coupons.measuring.virtual.machine import Machine
from coupons.terms import INTERNAL, ROUND, Direction, Feature, Seam

Numbers = NDArray[np.floating]

# Lead-in chamfers clear this much of the first layer's swell away from a face.
LEAD_IN_MM = 0.5

X, Y, Z, XY_PLUS, XY_MINUS = range(5)
_AXIS = dict(zip(Direction, range(5), strict=True))
# The two axes on which a round feature is measured, by the direction of its own axis.
_ACROSS = {Direction.X: (Y, Z), Direction.Y: (X, Z), Direction.Z: (X, Y)}


@dataclass(frozen=True)
class Shapes:
    """The drawn features as arrays, one element a feature; ``axes`` holds two axes for each."""

    ids: tuple[str, ...]
    drawn_mm: Numbers
    sign: Numbers  # +1 external, −1 internal
    is_round: NDArray[np.bool_]
    is_loop: NDArray[np.bool_]  # round with an upright axis: its wall is laid as circles
    has_bump: NDArray[np.bool_]  # such a loop whose seam no groove hides
    at_bed: NDArray[np.bool_]
    axes: NDArray[np.int_]
    place_mm: Numbers

    @property
    def is_lying(self) -> NDArray[np.bool_]:
        """Which are rounds whose axis is level."""
        return self.is_round & ~self.is_loop

    @property
    def on_flat(self) -> NDArray[np.bool_]:
        """Which are lying pins that the bed cuts off below."""
        middle_mm = self.place_mm[:, 2]
        cut = (middle_mm > 0) & (middle_mm < self.drawn_mm / 2 - 1e-6)
        return cut & self.is_lying & (self.sign > 0)


@dataclass(frozen=True)
class PrintedSizes:
    """Printed sizes on the two axes of each feature.

    ``across_mm`` is what the faces are apart; ``felt_mm`` is what a mate has room for, or needs,
    with the bumps and steps that stand on round walls. Lying rounds have z as their second axis,
    and ``top_mm`` is twice what they reach from their middle upwards, as a mate feels it.
    ``on_flat`` marks pins that stand on a flat.
    """

    across_mm: Numbers
    felt_mm: Numbers
    top_mm: Numbers
    on_flat: NDArray[np.bool_]

    @property
    def mean_mm(self) -> Numbers:
        """The size of each feature, over both axes."""
        mean: Numbers = self.across_mm.mean(axis=1)
        return mean

    def of(self, parts: NDArray[np.int_]) -> "PrintedSizes":
        """Return the sizes of some features, in the order asked for."""
        return PrintedSizes(
            self.across_mm[parts], self.felt_mm[parts], self.top_mm[parts], self.on_flat[parts]
        )


def shapes_of(features: Sequence[CouponFeature]) -> Shapes:
    """Lay out the features of a coupon for `mean_sizes` and `print_once`."""
    places = np.array([feature.place_mm for feature in features], dtype=float).reshape(-1, 3)
    drawn = [
        Feature(feature.form, feature.size_mm, feature.direction, feature.at_bed)
        for feature in features
    ]
    shapes = _shapes(tuple(feature.id for feature in features), drawn, places)
    hidden = np.array([feature.seam is Seam.HIDDEN for feature in features], dtype=bool)
    return replace(shapes, has_bump=shapes.is_loop & ~hidden)


def shapes_of_drawn(features: Sequence[Feature], z_mm: float | Sequence[float] = 0.0) -> Shapes:
    """Lay out features that are on no coupon, at one place, ``z_mm`` their middle heights."""
    places = np.zeros((len(features), 3))
    places[:, 2] = z_mm
    return _shapes(tuple(map(str, range(len(features)))), features, places)


def _shapes(ids: tuple[str, ...], features: Sequence[Feature], place_mm: Numbers) -> Shapes:
    def flags(values: Iterable[bool]) -> NDArray[np.bool_]:
        return np.fromiter(values, dtype=bool, count=len(features))

    is_loop = flags(
        feature.form in ROUND and feature.direction is Direction.Z for feature in features
    )
    return Shapes(
        ids=ids,
        drawn_mm=np.array([feature.size_mm for feature in features], dtype=float),
        sign=np.array([-1.0 if feature.form in INTERNAL else 1.0 for feature in features]),
        is_round=flags(feature.form in ROUND for feature in features),
        is_loop=is_loop,
        has_bump=is_loop,
        at_bed=flags(feature.at_bed for feature in features),
        axes=np.array([_axes(feature) for feature in features], dtype=int).reshape(-1, 2),
        place_mm=place_mm,
    )


def _axes(feature: Feature) -> tuple[int, int]:
    if feature.form in ROUND and feature.direction in _ACROSS:
        return _ACROSS[feature.direction]
    return (_AXIS[feature.direction],) * 2


def mean_sizes(machine: Machine, shapes: Shapes, on_layers: bool = True) -> PrintedSizes:
    """Return the mean sizes that the machine prints, without any random part.

    ``on_layers`` false leaves faces across z where they are drawn, off the layer grid, and takes
    the staircase of lying rounds over all heights at which they may lie.
    """
    nothing = np.zeros(len(shapes.ids))
    return _sizes(machine, shapes, nothing, 0.0, on_layers)


def print_once(machine: Machine, shapes: Shapes, rng: np.random.Generator) -> PrintedSizes:
    """Print the features once: the machine's mean plus random parts of print and features."""
    scatter, count = machine.scatter, len(shapes.ids)
    machine = as_it_prints(machine, rng.spawn(1)[0])
    wider_mm = rng.normal(0, scatter.print_mm) + _drift(machine, shapes, rng)
    sizes = _sizes(machine, shapes, wider_mm, rng.normal(0, scatter.print_z_mm), True)
    own = rng.normal(0, 1, count)
    sd_mm = np.where(shapes.axes == Z, scatter.feature_z_mm, scatter.feature_mm)
    blob_mm = rng.exponential(scatter.blob_mm, count) * (rng.random(count) < scatter.blob_chance)
    change_mm = own[:, None] * sd_mm + (shapes.sign * blob_mm)[:, None]
    return PrintedSizes(
        sizes.across_mm + change_mm,
        sizes.felt_mm + change_mm,
        sizes.top_mm + change_mm[:, 1],
        sizes.on_flat,
    )


def as_it_prints(machine: Machine, rng: np.random.Generator) -> Machine:
    """Return the machine as it is for one print: its scales, play and roofs."""
    scatter, axes, layers = machine.scatter, machine.axes, machine.layers
    longer, longer_z, alike_mm, lower_mm = rng.normal(
        0,
        (scatter.print_scale, scatter.print_scale_z, scatter.print_alike_mm, scatter.print_sag_mm),
    )
    changed = {
        "shrink_x": axes.shrink_x - longer,
        "shrink_y": axes.shrink_y - longer,
        "shrink_z": axes.shrink_z - longer_z,
        "lost_x_mm": axes.lost_x_mm - alike_mm,
        "lost_y_mm": axes.lost_y_mm - alike_mm,
    }
    return machine.model_copy(
        update={
            "axes": axes.model_copy(update=changed),
            "layers": layers.model_copy(update={"sag_mm": layers.sag_mm + lower_mm}),
        }
    )


def printed_sizes(
    machine: Machine, features: Sequence[CouponFeature], rng: np.random.Generator
) -> dict[str, float]:
    """Print the features once and return each one's size in mm by its id."""
    shapes = shapes_of(features)
    sizes = print_once(machine, shapes, rng)
    return dict(zip(shapes.ids, map(float, sizes.mean_mm), strict=True))


def clearance_mm(internal: PrintedSizes, external: PrintedSizes) -> Numbers:
    """Return the clearance that a hand feels when each external goes into its internal.

    Parts that are wider one way than the other are turned until they fit best: long axis to long.
    A pin on a flat goes in as it was printed, its label upwards.
    """
    room_mm = np.sort(internal.felt_mm, axis=1) - np.sort(external.felt_mm, axis=1)
    tightest_mm: Numbers = np.where(
        external.on_flat, _on_three_points(internal, external), room_mm.min(axis=1)
    )
    return tightest_mm


_FLANK = float(np.sin(np.radians(-ROUND_FROM_DEG)))  # how far a flank's face leans from upright


def _on_three_points(internal: PrintedSizes, external: PrintedSizes) -> Numbers:
    """Return the clearance of a pin without a lower side, which touches at its top and flanks.

    Moved down by t, it comes nearer to the walls at its flanks by t times the sine of how far these
    lie below its middle. With all the room the same, so is what is returned.
    """
    level_mm = internal.felt_mm[:, 0] - external.felt_mm[:, 0]
    above_mm = internal.top_mm - external.top_mm
    upright_mm = (above_mm + level_mm / _FLANK) / (1 + 1 / _FLANK)
    three: Numbers = np.minimum(level_mm, upright_mm)
    return three


def _drift(machine: Machine, shapes: Shapes, rng: np.random.Generator) -> Numbers:
    """Return how much wider the line is at each place: a slope and a bowl, new each print."""
    slope_x, slope_y, bowl = rng.normal(0, machine.scatter.drift_mm, 3)
    if not len(shapes.ids):
        return np.zeros(0)
    from_middle = (shapes.place_mm[:, :2] - shapes.place_mm[:, :2].mean(axis=0)) / 100
    drift: Numbers = (
        slope_x * from_middle[:, 0] + slope_y * from_middle[:, 1] + bowl * (from_middle**2).sum(1)
    )
    return drift


def _sizes(
    machine: Machine, shapes: Shapes, wider_mm: Numbers, squeeze_mm: float, on_layers: bool
) -> PrintedSizes:
    columns = [
        np.where(
            axis == Z,
            _upright_size(machine, shapes, squeeze_mm, on_layers),
            _plane_size(machine, shapes, axis, wider_mm),
        )
        for axis in shapes.axes.T
    ]
    across_mm = np.stack(columns, axis=1)
    bump_mm = np.where(shapes.has_bump, machine.bead.seam_mm, 0.0)
    stands_mm = bump_mm[:, None] + 2 * wave_mm(machine)[shapes.axes]
    lying, top_mm = shapes.is_lying, across_mm[:, 1]
    if lying.any():
        over_mm, under_mm = _staircase(machine, shapes, on_layers)
        steps_mm = np.maximum(over_mm + under_mm, 0.0)
        stands_mm = np.where((shapes.axes == Z) & lying[:, None], steps_mm[:, None], stands_mm)
        reach_mm = _top_mm(machine, shapes) + shapes.sign * 2 * np.maximum(over_mm, 0.0)
        top_mm = np.where(lying, reach_mm, top_mm)
    felt_mm = across_mm + shapes.sign[:, None] * stands_mm
    return PrintedSizes(across_mm, felt_mm, top_mm, shapes.on_flat)


def _top_mm(machine: Machine, shapes: Shapes) -> Numbers:
    """Return twice the height of each top or roof over the middle, steps not counted."""
    layers = machine.layers
    moved_mm = np.where(shapes.sign > 0, layers.proud_mm, -layers.sag_mm)
    top_mm: Numbers = shapes.drawn_mm * (1 - machine.axes.shrink_z) + 2 * moved_mm
    return top_mm


def _plane_size(
    machine: Machine, shapes: Shapes, axis: NDArray[np.int_], wider_mm: Numbers
) -> Numbers:
    """Return sizes across faces that stand upright: walls laid side by side in the plane."""
    bead, sign = machine.bead, shapes.sign
    span_mm = shapes.drawn_mm - sign * bead.planned_mm
    drag_mm = np.where(sign > 0, bead.drag_mm * (1 - bead.support), bead.drag_mm)
    span_mm = np.where(shapes.is_loop, dragged_span(span_mm, drag_mm), span_mm)
    lost_mm, shrink = _axis_values(machine)
    laid_mm = bead.laid_mm + machine.axes.wider_x_mm * _X_LESS_Y[axis]
    walls_mm = span_mm - lost_mm[axis] + sign * (laid_mm + wider_mm)
    swell_mm = machine.layers.swell_mm - np.where(shapes.at_bed, 0.0, LEAD_IN_MM)
    held_open = np.where(sign < 0, machine.axes.inner_shrink_less, 0.0)
    cooled_mm = walls_mm * (1 - shrink[axis] + held_open)
    swollen_mm: Numbers = cooled_mm + sign * 2 * np.maximum(swell_mm, 0.0)
    return swollen_mm


_X_LESS_Y = np.array([1.0, -1.0, 0.0, 0.0, 0.0])


def wave_mm(machine: Machine) -> Numbers:
    """Return how far the waves on a face stand out of its middle, by the axis across the face."""
    axes = machine.axes
    diagonal_mm = (axes.wave_x_mm + axes.wave_y_mm) / 2
    return np.array([axes.wave_x_mm, axes.wave_y_mm, 0.0, diagonal_mm, diagonal_mm])


def dragged_span(span_mm: Numbers, drag_mm: Numbers) -> Numbers:
    """Return the diameter on which a strand freezes ``drag_mm`` behind a nozzle on a circle.

    A circle smaller than the drag has no steady curve; the strand is then taken to fold onto a
    fifth of it.
    """
    inside: Numbers = np.maximum(span_mm**2 - (2 * drag_mm) ** 2, (0.2 * span_mm) ** 2)
    return np.sqrt(inside)


def _axis_values(machine: Machine) -> tuple[Numbers, Numbers]:
    """Return lost motion and shrinkage by axis; a diagonal stretches by half the skew."""
    axes = machine.axes
    lost = (axes.lost_x_mm + axes.lost_y_mm) / 2
    shrink, half_skew = (axes.shrink_x + axes.shrink_y) / 2, axes.skew_mrad / 2000
    return (
        np.array([axes.lost_x_mm, axes.lost_y_mm, 0.0, lost, lost]),
        np.array(
            [axes.shrink_x, axes.shrink_y, axes.shrink_z, shrink - half_skew, shrink + half_skew]
        ),
    )


def _upright_size(machine: Machine, shapes: Shapes, squeeze_mm: float, on_layers: bool) -> Numbers:
    """Return sizes across faces that lie flat: steps, and slots under a roof."""
    layers, half_mm = machine.layers, shapes.drawn_mm / 2
    low_mm: Numbers = shapes.place_mm[:, 2] - half_mm
    high_mm: Numbers = shapes.place_mm[:, 2] + half_mm
    low_mm = np.where(shapes.on_flat, 0.0, low_mm)
    on_bed = (np.abs(low_mm) < machine.layer_height_mm / 2) & (shapes.sign > 0)
    if on_layers:
        low_mm = np.where(shapes.is_round, low_mm, _on_layer(low_mm, machine.layer_height_mm))
        high_mm = np.where(shapes.is_round, high_mm, _on_layer(high_mm, machine.layer_height_mm))
    height_mm = (high_mm - low_mm) * (1 - machine.axes.shrink_z)
    from_bed_mm = (layers.squeeze_mm + squeeze_mm) * on_bed
    roof_mm = layers.sag_mm * (shapes.sign < 0)
    lying_mm: Numbers = height_mm + shapes.sign * layers.proud_mm - roof_mm - from_bed_mm
    return lying_mm


def _on_layer(face_mm: Numbers, layer_height_mm: float) -> Numbers:
    """Move faces to the nearest layer, as a slice through the middle of each layer does."""
    # The nudge keeps a face drawn on a half layer from falling to either side by rounding.
    layer: Numbers = np.floor(face_mm / layer_height_mm + 0.5 + 1e-9)
    return layer * layer_height_mm


def _staircase(machine: Machine, shapes: Shapes, on_layers: bool) -> tuple[Numbers, Numbers]:
    """Return what the layers take from a lying hole, or add to a lying pin, above and below."""
    height_mm = machine.layer_height_mm
    shifts = np.array([0.0]) if on_layers else (np.arange(_PHASES) + 0.5) / _PHASES
    middles_mm = shapes.place_mm[:, 2] + shifts[:, None] * height_mm
    radius_mm = shapes.drawn_mm / 2
    over_mm, under_mm = (
        (shapes.sign * (end_mm - radius_mm)).mean(axis=0)
        for middle_mm in (middles_mm, -middles_mm)  # the top, and the bottom as its mirror image
        for end_mm in (stair_reach(radius_mm, middle_mm, height_mm, shapes.sign),)
    )
    return over_mm, under_mm


_PHASES = 16


def stair_reach(
    radius_mm: Numbers, middle_mm: Numbers, layer_height_mm: float, sign: Numbers
) -> Numbers:
    """Return how near a lying round wall comes to its axis at the top, or how far from it.

    Layers lie between multiples of the layer height; each is cut at its middle, where its line ends
    on the drawn circle in a half round. In a hole (``sign`` −1) the nearest point of the highest
    open layer or of the roof above it counts, on a pin (+1) the farthest of its highest layer.
    """
    half_mm = layer_height_mm / 2
    last = np.ceil((middle_mm + radius_mm) / layer_height_mm - 0.5 - 1e-9) - 1
    rise_mm = (last + 0.5) * layer_height_mm - middle_mm
    chord_mm = np.sqrt(np.maximum(radius_mm**2 - rise_mm**2, 0.0))
    # Centre of the half round: behind the wall's face, in the material.
    line_end_mm = np.hypot(chord_mm - sign * half_mm, rise_mm) + sign * half_mm
    flat_mm = rise_mm + half_mm
    reach: Numbers = np.where(
        sign < 0, np.minimum(line_end_mm, flat_mm), np.maximum(line_end_mm, flat_mm)
    )
    return reach
