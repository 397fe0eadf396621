"""Build watertight solids from a plan. The only module that uses the geometry kernel.

The kernel never raises: whatever it is given, it returns a solid, which may be empty. So every
finished body is checked for its status, a positive volume and being one piece. Each body passes
once through the 32-bit form that print files have, so that what is checked is what is written.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from manifold3d import CrossSection, Error, FillRule, Manifold, Mesh, Mesh64, OpType, triangulate
from numpy.typing import NDArray

from coupons.errors import PlanError, Problem
from coupons.making.bodies.built_bodies import turned
from coupons.making.bodies.lettering import PEN_MM, glyph, letter_starts
from coupons.making.bodies.shapes import (
    Axis,
    Loft,
    Part,
    Prism,
    Shape,
    Text,
    Turned,
    Vector,
    to_space,
)
from coupons.making.plan import PlacedBody, Plan
from coupons.progress import steps

TEXT_SUNK_MM = 0.2  # letters start inside the face, so that the union has no touching faces
PEN_SIDES = 12
LETTER = -2  # in place of a feature's index: the triangle belongs to a label
PLAIN = -1  # the triangle belongs to the rest of the body


@dataclass(frozen=True)
class Solid:
    """A finished body as a mesh, turned as printed, its low corner at the origin.

    ``made_by`` gives for each triangle the index in ``features`` of the feature that made it,
    PLAIN for the rest of the body, LETTER for a label. ``origin_mm`` is where its low corner
    stands on the plate.
    """

    body: str
    plate: int
    origin_mm: tuple[float, float, float]
    vertices_mm: NDArray[np.float32]
    triangles: NDArray[np.uint32]
    made_by: NDArray[np.int32]
    features: tuple[str, ...]
    volume_mm3: float


def build_solids(plan: Plan) -> tuple[Solid, ...]:
    """Build every body of a plan.

    Raises
    ------
    PlanError
        If a body does not come out as one watertight piece.
    """
    problems: list[Problem] = []
    solids = []
    for item in steps(plan.placed, "bodies built"):
        solid, fault = _finish(item, _build(item.body.parts))
        solids.append(solid)
        if fault:
            problems.append(Problem(f"body {item.body.id}", "one watertight solid", fault))
    if problems:
        raise PlanError(problems)
    return tuple(solids)


@dataclass(frozen=True)
class _Built:
    """A body in its own frame, and which original solid belongs to which feature."""

    manifold: Manifold
    features: dict[int, str]
    letters: set[int]


def _build(parts: tuple[Part, ...]) -> _Built:
    features: dict[int, str] = {}
    letters: set[int] = set()
    added: list[Manifold] = []
    cut: list[Manifold] = []
    text: list[Manifold] = []
    for part in parts:
        solid = solid_of(part.shape).as_original()
        if part.feature:
            features[solid.original_id()] = part.feature
        if isinstance(part.shape, Text):
            letters.add(solid.original_id())
        (text if isinstance(part.shape, Text) else cut if part.cut else added).append(solid)
    whole = Manifold.batch_boolean(added, OpType.Add)
    if cut:
        whole = whole - Manifold.batch_boolean(cut, OpType.Add)
    if text:
        whole = Manifold.batch_boolean([whole, *text], OpType.Add)
    return _Built(whole, features, letters)


def _finish(item: PlacedBody, built: _Built) -> tuple[Solid, str]:
    """Turn, move to the origin, round to 32 bits, check, and give each triangle its feature."""
    turn = item.body.turn_deg
    whole = built.manifold.transform(_turn_matrix(turn)) if turn else built.manifold
    low = whole.bounding_box()[:3]
    mesh = whole.translate((-low[0], -low[1], -low[2])).to_mesh()
    rounded = Manifold(mesh)
    mesh = rounded.to_mesh()
    names = tuple(dict.fromkeys(built.features.values()))
    shift = item.shift_mm
    solid = Solid(
        body=item.body.id,
        plate=item.plate,
        origin_mm=(round(low[0] + shift[0], 4), round(low[1] + shift[1], 4), round(low[2], 4)),
        vertices_mm=np.asarray(mesh.vert_properties[:, :3], dtype=np.float32),
        triangles=np.asarray(mesh.tri_verts, dtype=np.uint32),
        made_by=_makers(mesh, built, names),
        features=names,
        volume_mm3=float(rounded.volume()),
    )
    return solid, _fault(rounded)


def _fault(manifold: Manifold) -> str:
    """Return the fault of a finished solid; empty if there is none."""
    if manifold.status() != Error.NoError:
        return f"the kernel's status {manifold.status().name}"
    if manifold.volume() <= 0:
        return "no volume"
    pieces = len(manifold.decompose())
    return f"{pieces} separate pieces" if pieces != 1 else ""


def clearance_mm(
    parts: tuple[Part, ...],
    mate: tuple[Part, ...],
    signs: Vector,
    shift_mm: Vector,
    up_to_mm: float,
) -> float:
    """Return the distance of a mate, turned by signs and moved, to parts; 0 if they meet."""
    if overlap_mm3(parts, mate, signs, shift_mm) > 0:
        return 0.0
    return float(_joined(parts).min_gap(_moved(mate, signs, shift_mm), up_to_mm))


def overlap_mm3(
    parts: tuple[Part, ...], mate: tuple[Part, ...], signs: Vector, shift_mm: Vector
) -> float:
    """Return the volume that parts and a mate, turned by signs and moved, have in common."""
    return float((_joined(parts) ^ _moved(mate, signs, shift_mm)).volume())


def common_outline(
    one: Sequence[NDArray[np.float64]], other: Sequence[NDArray[np.float64]]
) -> tuple[list[NDArray[np.float64]], float]:
    """Return the outlines, and their area in mm², that two sets of outlines of a plane share.

    Outlines are points of shape (k, 2) in order; one within another is a hole.
    """
    first, second = (CrossSection(list(lines), FillRule.EvenOdd) for lines in (one, other))
    common = first ^ second
    return [np.asarray(line) for line in common.to_polygons()], float(common.area())


def filled_outlines(lines: Sequence[NDArray[np.float64]]) -> NDArray[np.int64]:
    """Return triangles, shape (m, 3), that fill outlines with all of their points and no others.

    Outlines are points of shape (k, 2) in order, counter-clockwise, holes clockwise; the triangles
    count the points of all outlines one after the other.
    """
    return np.asarray(triangulate(list(lines)), dtype=np.int64).reshape(-1, 3)


def distance_mm(
    one: tuple[NDArray[np.float64], NDArray[np.int64]],
    other: tuple[NDArray[np.float64], NDArray[np.int64]],
    up_to_mm: float,
) -> float:
    """Return the distance of two closed meshes (vertices, triangles); 0 if they meet."""
    first, second = (
        Manifold(Mesh64(np.array(vertices_mm), triangles.astype(np.uint64, order="C")))
        for vertices_mm, triangles in (one, other)
    )
    return float(first.min_gap(second, up_to_mm))


def _moved(mate: tuple[Part, ...], signs: Vector, shift_mm: Vector) -> Manifold:
    return _joined(mate).transform(np.column_stack([np.diag(signs), shift_mm]))


def _joined(parts: tuple[Part, ...]) -> Manifold:
    return _build(parts).manifold


def _makers(mesh: Mesh, built: _Built, names: tuple[str, ...]) -> NDArray[np.int32]:
    makers = np.full(len(mesh.tri_verts), PLAIN, dtype=np.int32)
    ends = [index // 3 for index in mesh.run_index]
    for run, original in enumerate(mesh.run_original_id):
        triangles = slice(ends[run], ends[run + 1])
        if original in built.features:
            makers[triangles] = names.index(built.features[original])
        elif original in built.letters:
            makers[triangles] = LETTER
    return makers


def _turn_matrix(turn_deg: int) -> NDArray[np.float64]:
    """Return the 3 × 4 matrix that turns about z."""
    (a, b), (c, d) = turned(1, 0, turn_deg), turned(0, 1, turn_deg)
    return np.array([[a, c, 0, 0], [b, d, 0, 0], [0, 0, 1, 0]], dtype=np.float64)


def _axis_matrix(axis: Axis) -> NDArray[np.float64]:
    """Return the matrix that takes (outline, outline, along) to space."""
    columns = [to_space(axis, 0, (1, 0)), to_space(axis, 0, (0, 1)), to_space(axis, 1, (0, 0))]
    return np.column_stack([*columns, (0.0, 0.0, 0.0)])


def solid_of(shape: Shape) -> Manifold:
    """Return a shape as a solid of the kernel, in its own place."""
    match shape:
        case Loft():
            return Manifold.hull_points(np.array(shape.corners()))
        case Prism():
            flat = CrossSection([np.array(_counter_clockwise(shape.outline))])
            solid = Manifold.extrude(flat, shape.stop_mm - shape.start_mm)
            return solid.translate((0, 0, shape.start_mm)).transform(_axis_matrix(shape.axis))
        case Turned():
            return _turned_solid(shape)
        case Text():
            return _text_solid(shape)


def _counter_clockwise(outline: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    pairs = zip(outline, outline[1:] + outline[:1], strict=True)
    doubled = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)
    return list(outline) if doubled > 0 else list(reversed(outline))


def _turned_solid(shape: Turned) -> Manifold:
    sides = shape.sides()
    grow = 1 / np.cos(np.pi / sides) if shape.outside else 1.0
    profile = [(radius * grow, place) for radius, place in shape.profile]
    section = CrossSection([np.array(_counter_clockwise(tuple(profile)))])
    solid = Manifold.revolve(section, sides).translate((*shape.centre, 0))
    return solid if shape.axis == "z" else solid.transform(_axis_matrix(shape.axis))


def _text_solid(shape: Text) -> Manifold:
    letters = [
        _letter(character, shape.scale, shape.raised_mm).translate((start, 0, 0))
        for character, start in zip(shape.text, letter_starts(shape.text, shape.scale), strict=True)
    ]
    x, y, z = shape.place
    return Manifold.batch_boolean(letters, OpType.Add).translate((x, y, z - TEXT_SUNK_MM))


@cache
def _letter(character: str, scale: float, raised_mm: float) -> Manifold:
    """Return one letter as a solid standing on the bed, made once a process."""
    angles = 2 * np.pi * (np.arange(PEN_SIDES) + 0.5) / PEN_SIDES
    radius = scale * PEN_MM / 2 / np.cos(np.pi / PEN_SIDES)
    pen = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    passes = [
        CrossSection.hull_points(np.vstack([pen + stroke.start, pen + stroke.stop]))
        for stroke in glyph(character, scale)
    ]
    drawn = CrossSection.batch_boolean(passes, OpType.Add)
    return Manifold.extrude(drawn, raised_mm + TEXT_SUNK_MM)
