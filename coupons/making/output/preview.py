"""The preview: a shaded picture of a coupon on its plates, with dark edges."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.making.output.png import png_bytes
from coupons.making.output.raster import Raster, nearest_triangles
from coupons.making.output.solids import LETTER, Solid

WIDTH_PX, MOST_HIGH_PX = 1200, 720
FINE = 2  # drawn this much finer, then averaged
TURN_DEG = -14.0  # the plate is turned a little, so that no two sides look alike
LIFT_DEG = 58.0  # height of the eye above the plate
MARGIN_MM = 7.0
PLATE_SPACE_MM = 25.0
LIGHT = np.array([-0.52, -0.38, 0.76])
SHADOW_PX_PER_MM = 7.0
SHADOW_LIFT_MM = 0.15  # faces are looked up this far out, or they would shade themselves
SHADOW_SLACK_MM = 0.2
SHADOW_SPOTS_MM = ((-0.09, 0.03), (0.03, 0.09), (0.09, -0.03), (-0.03, -0.09))
LEVELS = len(SHADOW_SPOTS_MM) + 1

PAPER = (250, 247, 239)
COLOURS = {  # by kind of face
    "fixed": (188, 203, 212),
    "loose": (233, 185, 110),
    "fit": (47, 128, 133),
    "fit loose": (181, 92, 46),
    "letter": (36, 50, 62),
}
INK = np.array([28, 38, 47], dtype=np.float32)

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class _Scene:
    """All triangles in plate coordinates, each with its colour and a number for its face."""

    corners_mm: Floats
    normals: Floats
    colours: Floats


def preview_png(solids: tuple[Solid, ...], loose: frozenset[str]) -> bytes:
    """Return the picture as PNG; ``loose`` names the bodies that are drawn as loose pieces."""
    scene = _scene(solids, loose)
    eye = _view_matrix(TURN_DEG, LIFT_DEG)
    seen = scene.corners_mm @ eye.T
    low, high = seen.min(axis=(0, 1)) - MARGIN_MM, seen.max(axis=(0, 1)) + MARGIN_MM
    wide, tall = high[0] - low[0], high[1] - low[1]
    scale = FINE * min(WIDTH_PX / wide, MOST_HIGH_PX / tall)
    width, height = (FINE * int(np.ceil(scale * side / FINE)) for side in (wide, tall))
    pixels = np.stack(
        [
            (seen[..., 0] - low[0]) * scale,
            (high[1] - seen[..., 1]) * scale,
            seen[..., 2] * scale,
        ],
        axis=-1,
    )
    index = np.flatnonzero(scene.normals @ eye[2] > 0)
    raster = nearest_triangles(pixels[index], width, height)
    view = _View(eye.astype(np.float32), (low[0], high[1]), scale)
    return png_bytes(_averaged(_paint(scene, index, raster, view)))


@dataclass(frozen=True)
class _View:
    """How pixels lie in space: the eye's frame, the picture's upper left corner, pixels per mm."""

    eye: Floats
    corner_mm: tuple[float, float]
    scale: float

    def across_up(self, shape: tuple[int, int]) -> tuple[Floats, Floats]:
        """Return the frame coordinates of a row of pixels and of a column of them."""
        across = self.corner_mm[0] + (np.arange(shape[1], dtype=np.float32) + 0.5) / self.scale
        up = self.corner_mm[1] - (np.arange(shape[0], dtype=np.float32) + 0.5) / self.scale
        return across[None, :], up[:, None]


def _scene(solids: tuple[Solid, ...], loose: frozenset[str]) -> _Scene:
    corners, colours = [], []
    for solid in solids:
        shift = np.array(solid.origin_mm) + _plate_shift(solids, solid.plate)
        corners.append(solid.vertices_mm.astype(np.float64)[solid.triangles] + shift)
        kind = "loose" if solid.body in loose else "fixed"
        fit = "fit loose" if kind == "loose" else "fit"
        shade = np.tile(np.array(COLOURS[kind], float), (len(solid.triangles), 1))
        shade[solid.made_by >= 0] = COLOURS[fit]
        # Only the tops of letters are dark: with dark sides they would look smeared.
        level = np.ptp(corners[-1][:, :, 2], axis=1) < 1e-3
        shade[(solid.made_by == LETTER) & level] = COLOURS["letter"]
        colours.append(shade)
    points = np.concatenate(corners)
    normals = np.cross(points[:, 1] - points[:, 0], points[:, 2] - points[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    return _Scene(points, normals / np.where(lengths > 0, lengths, 1), np.concatenate(colours))


def _plate_shift(solids: tuple[Solid, ...], plate: int) -> Floats:
    """Set further plates to the right of the first."""
    right = max(s.origin_mm[0] + float(s.vertices_mm[:, 0].max()) for s in solids)
    left = min(s.origin_mm[0] for s in solids)
    return np.array([(plate - 1) * (right - left + PLATE_SPACE_MM), 0.0, 0.0])


def _view_matrix(turn_deg: float, lift_deg: float) -> Floats:
    """Return rows right, up and towards the eye."""
    turn, lift = np.radians(turn_deg), np.radians(lift_deg)
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    eye = np.array([np.sin(turn) * np.cos(lift), -np.cos(turn) * np.cos(lift), np.sin(lift)])
    return np.stack([right, np.cross(eye, right), eye])


def _paint(
    scene: _Scene, index: NDArray[np.integer], raster: Raster, view: _View
) -> NDArray[np.uint8]:
    """Colour every pixel: light and shadow on faces, shadow on paper, ink on edges."""
    hit = raster.owner >= 0
    across, up = view.across_up(hit.shape)
    # Where nothing is hit, the paper lies at z = 0: solve the view's third row for its depth.
    paper = -(view.eye[0, 2] * across + view.eye[1, 2] * up) / view.eye[2, 2]
    towards = np.where(hit, raster.depth / np.float32(view.scale), paper)
    # The last entry of each table is the paper's, which −1 picks.
    normals = np.vstack([scene.normals[index], [0.0, 0.0, 1.0]]).astype(np.float32)
    level = _light_levels(scene, (across, up, towards), view.eye, normals, raster.owner)
    shades = _shades(scene.colours[index], normals)
    # −1, the paper, picks from the table's end as well: its level counts on from there.
    picture: NDArray[np.uint8] = shades[raster.owner * LEVELS + level]
    _ink_edges(picture, raster.owner, normals, towards)
    return picture


def _shades(colours: Floats, normals: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Return each triangle's colour at each level of light, the paper's last.

    They stand triangle by triangle in one table, so that a pixel needs one look-up.
    """
    direct = np.clip(normals @ _unit(LIGHT), 0, 1)[:, None]
    sky = 0.5 + 0.5 * normals[:, 2:]
    own = np.vstack([colours, PAPER])
    dark = own * (0.34 + 0.26 * sky)
    bright = np.minimum(own * np.minimum(0.34 + 0.26 * sky + 0.5 * direct, 1.08), 255)
    dark[-1], bright[-1] = 0.82 * own[-1], own[-1]
    share = np.linspace(0, 1, LEVELS)[None, :, None]
    table: NDArray[np.uint8] = (dark[:, None] + share * (bright - dark)[:, None]).astype(np.uint8)
    return table.reshape(-1, 3)


def _unit(vector: Floats) -> Floats:
    unit: Floats = vector / np.linalg.norm(vector)
    return unit


def _light_levels(
    scene: _Scene,
    places: tuple[Floats, Floats, Floats],
    eye: Floats,
    normals: NDArray[np.float32],
    owner: NDArray[np.int32],
) -> NDArray[np.uint8]:
    """Return how much of the light reaches each pixel, looked up once a block of fine pixels."""
    frame = _light_frame()
    shadow, low = _shadow_map(scene.corners_mm @ frame.T)
    turn = (eye @ frame.T).astype(np.float32)  # from the eye's frame to the light's
    across, up, towards = places
    coarse = (across[:, ::FINE], up[::FINE], towards[::FINE, ::FINE])
    lift = ((SHADOW_LIFT_MM * normals) @ frame.T.astype(np.float32))[owner[::FINE, ::FINE]]
    at = [
        sum(place * turn[k, out] for k, place in enumerate(coarse)) + lift[..., out] - low[out]
        for out in range(3)
    ]
    level = np.zeros(at[2].shape, dtype=np.uint8)
    for dx, dy in SHADOW_SPOTS_MM:
        column = ((at[0] + np.float32(dx)) * SHADOW_PX_PER_MM).astype(np.int32)
        row = ((at[1] + np.float32(dy)) * SHADOW_PX_PER_MM).astype(np.int32)
        np.clip(column, 0, shadow.shape[1] - 1, out=column)
        np.clip(row, 0, shadow.shape[0] - 1, out=row)
        level += shadow[row, column] < at[2] + SHADOW_SLACK_MM
    return level.repeat(FINE, axis=0).repeat(FINE, axis=1)


def _light_frame() -> Floats:
    """Return rows right, up and towards the light."""
    axis = _unit(LIGHT)
    right = _unit(np.cross([0.0, 0.0, 1.0], axis))
    return np.stack([right, np.cross(axis, right), axis])


def _shadow_map(seen: Floats) -> tuple[NDArray[np.float32], Floats]:
    """Return the depth that the light sees, and the low corner of its picture in mm."""
    low, high = seen.min(axis=(0, 1)) - 1, seen.max(axis=(0, 1)) + 1
    width, height = np.ceil((high - low)[:2] * SHADOW_PX_PER_MM).astype(int)
    pixels = seen - low
    pixels[..., :2] *= SHADOW_PX_PER_MM
    shadow = nearest_triangles(pixels, int(width), int(height)).depth
    return shadow, low.astype(np.float32)


def _ink_edges(
    picture: NDArray[np.uint8],
    owner: NDArray[np.int32],
    normals: NDArray[np.float32],
    depth: Floats,
) -> None:
    """Draw ink, in place, where a body ends, a face bends sharply or depth jumps."""
    for here, there in (
        (np.s_[:, :-1], np.s_[:, 1:]),
        (np.s_[:-1, :], np.s_[1:, :]),
    ):
        rows, columns = np.nonzero(owner[here] != owner[there])
        first, second = owner[here][rows, columns], owner[there][rows, columns]
        bend = np.sum(normals[first] * normals[second], axis=1) < 0.8
        jump = np.abs(depth[here][rows, columns] - depth[there][rows, columns]) > 0.6
        ends = (first < 0) | (second < 0)
        ink = np.where(ends, 0.9, np.where(jump, 0.7, 0.45 * bend)).astype(np.float32)[:, None]
        under = picture[rows, columns]
        picture[rows, columns] = (under + ink * (INK - under)).astype(np.uint8)


def _averaged(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    total = np.full((picture.shape[0] // FINE, picture.shape[1] // FINE, 3), 2, dtype=np.uint16)
    for row in range(FINE):
        for column in range(FINE):
            total += picture[row::FINE, column::FINE]
    return (total // FINE**2).astype(np.uint8)
