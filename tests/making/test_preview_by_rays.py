"""The preview, pixel by pixel, against rays that are sent through the blocks of a small scene."""

from itertools import product

import numpy as np
import pytest

from coupons.making.output import preview
from coupons.making.output.preview import preview_png
from coupons.making.output.solids import Solid

pytestmark = pytest.mark.slow

# Colours as a picture is to have them, and the ink of its edges.
PAPER, INK = (250, 247, 239), (28, 38, 47)
FIXED, LOOSE = (188, 203, 212), (233, 185, 110)
FIT, FIT_LOOSE, LETTER = (47, 128, 133), (181, 92, 46), (36, 50, 62)

FACES = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
NORMALS = np.array([(-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0), (0, 0, -1), (0, 0, 1)], float)


def block(name, size, at, plate=1, made_by=-1):
    """A block, its triangles outward, its faces in the order −x, +x, −y, +y, −z, +z."""
    x, y, z = size
    corners = np.array([(a, b, c) for a in (0, x) for b in (0, y) for c in (0, z)], np.float32)
    triangles = [t for a, b, c, d in FACES for t in ((a, b, c), (a, c, d))]
    made = np.full(12, made_by, np.int32)
    return Solid(name, plate, at, corners, np.array(triangles, np.uint32), made, ("A1",), x * y * z)


# A long block, a loose one that stands on it, a letter's, one of a feature, and a second plate.
SCENE = (
    block("A", (40.0, 24.0, 8.0), (5.0, 3.0, 0.0)),
    block("AG", (9.0, 7.0, 6.0), (30.0, 12.0, 8.0)),
    block("B", (12.0, 8.0, 5.0), (10.0, 8.0, 8.0), made_by=0),
    block("C", (6.0, 14.0, 0.5), (25.0, 4.0, 8.0), made_by=-2),
    block("AH", (20.0, 16.0, 11.0), (7.0, 5.0, 0.0), plate=2, made_by=0),
)
LOOSE_ONES = frozenset({"AG", "AH"})
TOPS = [FIXED, LOOSE, FIT, LETTER, FIT_LOOSE]
SIDES = [FIXED, LOOSE, FIT, FIXED, FIT_LOOSE]


def places():
    """Low and high corners; the second plate begins 25 mm right of all that stands on the first."""
    low = np.array([solid.origin_mm for solid in SCENE])
    high = low + [solid.vertices_mm.max(axis=0) for solid in SCENE]
    shift = np.array([(solid.plate - 1) * (45.0 - 5.0 + 25.0) for solid in SCENE])
    low[:, 0] += shift
    high[:, 0] += shift
    return low, high


def entries(start, way, low, high):
    """How far along a ray it enters each block, and through which face; infinite if it does not."""
    with np.errstate(divide="ignore"):
        near, far = (low - start[:, None]) / way, (high - start[:, None]) / way
    first, last = np.minimum(near, far), np.maximum(near, far)
    enters, leaves = first.max(axis=-1), last.min(axis=-1)
    axis = first.argmax(axis=-1)
    face = 2 * axis + (way[axis] < 0)
    return np.where(enters < leaves, enters, np.inf), face


def unit(vector):
    return np.array(vector) / np.linalg.norm(vector)


class Seen:
    """Colour, shadow and edges of each fine pixel, from rays."""

    def __init__(self, wide_px, high_px):
        turn, lift = np.radians(-14), np.radians(58)
        c, s = np.cos(turn), np.sin(turn)
        right = np.array([c, s, 0])
        self.eye = np.array([s * np.cos(lift), -c * np.cos(lift), np.sin(lift)])
        up = np.cross(self.eye, right)
        low, high = places()
        ends = np.stack([low, high], axis=1)
        corners = np.array(
            [
                (e[i, 0], e[j, 1], e[k, 2])
                for e in ends
                for i in (0, 1)
                for j in (0, 1)
                for k in (0, 1)
            ]
        )
        flat = corners @ np.stack([right, up], axis=1)
        (x0, y0), (x1, y1) = flat.min(axis=0) - 7, flat.max(axis=0) + 7
        scale = 2 * min(wide_px / (x1 - x0), high_px / (y1 - y0))
        self.shape = tuple(2 * int(np.ceil(scale * side / 2)) for side in (y1 - y0, x1 - x0))
        rows, columns = np.mgrid[: self.shape[0], : self.shape[1]]
        across, along = x0 + (columns + 0.5) / scale, y1 - (rows + 0.5) / scale
        start = across[..., None] * right + along[..., None] * up
        self.scale = scale
        self._look(start.reshape(-1, 3), low, high)

    def _look(self, start, low, high):
        far = 500.0
        enters, faces = entries(start + far * self.eye, -self.eye, low, high)
        nearest = enters.argmin(axis=1)
        pick = np.arange(len(start)), nearest
        hit = np.isfinite(enters[pick])
        # The paper is at z = 0.
        away = np.where(hit, enters[pick], far + start[:, 2] / self.eye[2])
        point = start + (far - away)[:, None] * self.eye
        self.towards = (far - away).reshape(self.shape)
        face = np.where(hit, faces[pick], 5)
        self.face = np.where(hit, 6 * nearest + face, -1).reshape(self.shape)
        self.normal = NORMALS[face].reshape(*self.shape, 3)
        self.sun = unit((-0.52, -0.38, 0.76))
        top = np.where(face[:, None] == 5, np.array(TOPS)[nearest], np.array(SIDES)[nearest])
        self.own = np.where(hit[:, None], top, PAPER).reshape(*self.shape, 3)
        # Clear of a shadow's edge: light, or none, 0.8 mm around, as it is looked up for 2 × 2.
        self.lit, self.dark = np.ones(len(start), bool), np.ones(len(start), bool)
        for dx, dy in product((0.0, 0.8, -0.8), repeat=2):
            aside = unit(np.cross((0, 0, 1), self.sun))
            beside = point + dx * aside + dy * np.cross(self.sun, aside)
            entered, _ = entries(beside + 0.3 * NORMALS[face], self.sun, low, high)
            shaded = (np.isfinite(entered) & (entered > 0)).any(axis=1)
            self.lit &= ~shaded
            self.dark &= shaded
        self.lit, self.dark = self.lit.reshape(self.shape), self.dark.reshape(self.shape)

    def colour(self):
        """The colour in full light, and in shadow."""
        sky = 0.34 + 0.26 * (0.5 + 0.5 * self.normal[..., 2:])
        direct = np.clip(self.normal @ self.sun, 0, 1)[..., None]
        bright, dark = self.own * np.minimum(sky + 0.5 * direct, 1.08), self.own * sky
        on_paper = (self.face < 0)[..., None]
        return (
            np.where(on_paper, self.own, np.minimum(bright, 255)),
            np.where(on_paper, 0.82 * self.own, dark),
        )


@pytest.fixture(scope="module")
def both():
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(preview, "WIDTH_PX", 170)
        patched.setattr(preview, "MOST_HIGH_PX", 100)
        painted = []
        patched.setattr(preview, "_averaged", lambda fine: painted.append(fine) or fine[::2, ::2])
        preview_png(SCENE, LOOSE_ONES)
    return painted[0].astype(int), Seen(170, 100)


def is_within(face):
    """Whether all the eight pixels around one show the same face."""
    within = np.zeros(face.shape, bool)
    middle, (rows, columns) = face[1:-1, 1:-1], face.shape
    around = [face[i : rows - 2 + i, k : columns - 2 + k] for i in range(3) for k in range(3)]
    within[1:-1, 1:-1] = np.all([each == middle for each in around], axis=0)
    return within


def test_every_pixel_within_a_face_has_its_colour_in_light_and_in_shadow(both):
    picture, seen = both
    assert picture.shape[:2] == seen.shape
    # Sides along the view are so steep that depth jumps from pixel to pixel, at this small size.
    inner = is_within(seen.face) & (seen.normal[..., 0] == 0)
    bright, dark = seen.colour()
    for where, wanted in ((inner & seen.lit, bright), (inner & seen.dark, dark)):
        assert where.sum() > 1000
        off = np.abs(picture[where] - np.floor(wanted[where] + 1e-4)).max(axis=1)
        # Five in 51,000 lie where a shadow's corner falls between two looks of the light.
        assert (off > 0).sum() <= 10
    # All that is seen is there: the tops, and the sides that face the eye, of each block.
    shown = {(face // 6, face % 6) for face in np.unique(seen.face[inner]) if face >= 0}
    assert len(shown) >= 9


def test_between_light_and_shadow_there_are_four_steps(both):
    picture, seen = both
    paper = is_within(seen.face) & (seen.face < 0)
    levels = np.unique(picture[paper], axis=0)
    assert levels.tolist() == [
        [int(part * (0.82 + 0.18 * k / 4) + 1e-9) for part in PAPER] for k in range(5)
    ]


def inked(colour, share):
    return colour + share * (np.array(INK) - colour)


def test_edges_are_inked_by_what_they_part(both):
    picture, seen = both
    bright, _ = seen.colour()
    counted = {0.9: 0, 0.7: 0, 0.45: 0}
    # A pixel beside another on its right, with a third below that is like itself.
    here, right, below = seen.face[:-1, :-1], seen.face[:-1, 1:], seen.face[1:, :-1]
    depth = np.abs(seen.towards[:-1, :-1] - seen.towards[:-1, 1:])
    lit = seen.lit[:-1, :-1]
    edge = (here != right) & (here == below) & lit
    ends = edge & ((here < 0) | (right < 0))
    jump = edge & ~ends & (depth > 0.7)
    bend = edge & ~ends & (depth < 0.5)
    for share, where in ((0.9, ends), (0.7, jump), (0.45, bend)):
        wanted = inked(np.floor(bright[:-1, :-1][where]), share)
        off = np.abs(picture[:-1, :-1][where] - wanted).max(axis=1)
        counted[share] = int(where.sum())
        assert (off > 1.01).mean() < 0.1, share
    assert all(count > 20 for count in counted.values()), counted


def test_a_pixel_is_the_mean_of_four_fine_ones():
    fine = np.random.default_rng(1).integers(0, 256, (6, 10, 3), dtype=np.uint8)
    wanted = fine.reshape(3, 2, 5, 2, 3).astype(float).mean(axis=(1, 3))
    found = preview._averaged(fine)
    assert found.dtype == np.uint8
    assert np.abs(found - wanted).max() <= 0.5
    white = np.full((2, 2, 3), 255, np.uint8)
    assert preview._averaged(white).tolist() == [[[255, 255, 255]]]
