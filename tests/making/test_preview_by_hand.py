"""The shades, edges and shadows of a preview, worked by hand for a block and for a few pixels."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from support.looked_at import FIXED, LOOSE, PAPER, Looked, block, naive_owner, read_png, shade

from coupons.making.output import preview
from coupons.making.output.preview import preview_png
from coupons.making.output.raster import nearest_triangles

SHADOW_PER_MM = 0.52 / 0.76
"""The light comes from 0.52 to the left for 0.76 up."""


@cache
def plain(loose=frozenset()):
    return Looked([block()], loose)


def flat(solid, high_mm):
    """Return the block with another height, its feet on the bed."""
    return replace(solid, vertices_mm=solid.vertices_mm * np.array([1, 1, high_mm / 10], "f4"))


@pytest.mark.slow
@pytest.mark.parametrize(("loose", "own"), [(frozenset(), FIXED), (frozenset({"A"}), LOOSE)])
def test_a_face_has_its_shade_to_the_last_step(loose, own):
    looked = plain(loose)
    for place, normal in (((20, 15, 10), (0, 0, 1)), ((20, 0, 5), (0, -1, 0))):
        assert looked.at(*place) == pytest.approx(np.floor(own * shade(normal)), abs=0)
    assert looked.at(-3, 15, 0) == pytest.approx(PAPER, abs=0)
    # In shadow paper keeps 82 % of its light.
    assert looked.at(44, 20, 0) == pytest.approx(np.floor(0.82 * PAPER), abs=0)


@pytest.mark.slow
def test_what_lies_in_shadow_has_the_light_of_the_sky_alone():
    low = flat(block("B", at=(42.0, 0.0, 0.0)), 2)
    looked = Looked([block(), low])
    # A floor of light and the sky's: 0.34 + 0.26 on a level face.
    assert looked.at(44, 20, 2) == pytest.approx(np.floor(FIXED * 0.6), abs=0)
    assert looked.at(50, 20, 2) == pytest.approx(np.floor(FIXED * shade((0, 0, 1))), abs=0)


@pytest.mark.slow
@pytest.mark.parametrize(("made_by", "colour"), [(0, (47, 128, 133)), (-2, (36, 50, 62))])
@pytest.mark.parametrize("is_loose", [False, True])
def test_what_fits_and_what_is_written_has_its_shade_to_the_last_step(made_by, colour, is_loose):
    looked = Looked([block(made_by=made_by)], frozenset({"A"} if is_loose else ()))
    own = np.array((181, 92, 46) if is_loose and made_by == 0 else colour)
    top = np.floor(own * shade((0, 0, 1)))
    assert looked.at(20, 15, 10) == pytest.approx(top, abs=0)


@pytest.mark.slow
def test_the_sides_of_letters_are_not_dark_though_letters_are_low():
    looked = Looked([flat(block(made_by=-2), 0.6)])
    assert looked.at(20, 0, 0.3) == pytest.approx(np.floor(FIXED * shade((0, -1, 0))), abs=0)
    assert looked.at(20, 15, 0.6).sum() < 150


def shadow_ends_at(looked, y, start):
    """Go right from a place in shadow until the paper has half of what the shadow takes."""
    half = (PAPER.sum() * 1.82) / 2
    return next(x for x in np.arange(start, 60, 0.02) if looked.at(x, y, 0).sum() > half)


@pytest.mark.slow
def test_a_shadow_ends_where_the_light_over_the_edge_falls():
    looked = plain()
    # An edge 10 mm up throws its shadow 6.84 mm away, whatever its place along the edge.
    for y in (12, 20, 28):
        assert shadow_ends_at(looked, y, 42) == pytest.approx(40 + 10 * SHADOW_PER_MM, abs=0.25)
    # From the near corner on the shadow begins along a slant, 0.38 back for 0.52 right.
    dark = np.floor(0.82 * PAPER).sum()
    for x in (42.0, 44.0, 46.0):
        y = (x - 40) * 0.38 / 0.52
        assert looked.at(x, y + 0.35, 0).sum() == dark
        assert looked.at(x, y - 0.35, 0).sum() == PAPER.sum()
    # It begins near the foot of what throws it: here of a block of 1 mm.
    assert Looked([flat(block(), 1)]).at(40.4, 20, 0).sum() == dark


@pytest.mark.slow
def test_a_picture_is_1200_pixels_wide_or_720_high_and_no_larger():
    long = block()
    long = replace(long, vertices_mm=long.vertices_mm * np.array([4, 1, 1], "f4"))
    wide = read_png(preview_png((long,), frozenset()))
    assert wide.shape[1] == 1200
    assert wide.shape[0] < 720
    deep = read_png(preview_png((block(),), frozenset()))
    assert deep.shape[0] == 720
    assert deep.shape[1] < 1200


@pytest.mark.slow
def test_plates_are_set_apart_by_what_the_widest_reaches():
    # From 10 to 10 + 40 mm on the first plate, from 5 to 45 mm on the second: 45 + 25 mm apart.
    first, second = block(at=(10.0, 0.0, 0.0)), block("B", plate=2, at=(5.0, 0.0, 0.0))
    third = block("C", plate=3, at=(10.0, 0.0, 0.0))
    looked = Looked([first, second, third], shift_mm=50 - 5 + 25)
    top = np.floor(FIXED * shade((0, 0, 1)))
    for x in (10 + 20, 5 + 20 + 70, 10 + 20 + 140):
        assert looked.at(x, 15, 10) == pytest.approx(top, abs=2)


@pytest.mark.slow
def test_a_triangle_without_an_area_changes_nothing():
    plain = block()
    lines = np.concatenate([plain.triangles, np.array([[0, 0, 1]], np.uint32)])
    thin = replace(plain, triangles=lines, made_by=np.full(len(lines), -1, np.int32))
    assert preview_png((thin,), frozenset()) == preview_png((plain,), frozenset())


def test_the_shift_of_a_plate_is_from_the_leftmost_to_the_rightmost_of_all_and_a_space():
    # From 5 to 50 mm: 45 mm and 25 mm for each plate after the first.
    solids = (block(at=(10.0, 3.0, 1.0)), block("B", plate=2, at=(5.0, 90.0, 2.0)))
    shifts = [preview._plate_shift(solids, plate).tolist() for plate in (1, 2, 3)]
    assert shifts == [[0, 0, 0], [70, 0, 0], [140, 0, 0]]


@pytest.mark.parametrize(
    ("made_by", "loose", "top", "side"),
    [
        (-1, (), FIXED, FIXED),
        (-1, ("A",), LOOSE, LOOSE),
        (0, (), (47, 128, 133), (47, 128, 133)),
        (0, ("A",), (181, 92, 46), (181, 92, 46)),
        (-2, (), (36, 50, 62), FIXED),
        (-2, ("A",), (36, 50, 62), LOOSE),
    ],
)
def test_faces_have_the_colour_of_their_kind_before_light_falls_on_them(made_by, loose, top, side):
    scene = preview._scene((block(made_by=made_by),), frozenset(loose))
    for normal, colour in zip(scene.normals, scene.colours, strict=True):
        assert colour.tolist() == list(top if normal[2] else side)


def test_paper_is_dark_in_shadow_and_as_it_is_in_the_light():
    shades = preview._shades(np.zeros((0, 3)), np.array([[0, 0, 1]], np.float32))
    # From 0.82 of (250, 247, 239) up in four even steps.
    steps = [np.floor(PAPER * (0.82 + 0.18 * k / 4)) for k in range(5)]
    assert np.abs(shades - np.array(steps)).max() <= 1
    assert shades[-1].tolist() == [250, 247, 239]
    assert shades[0].tolist() == [205, 202, 195]


def test_normals_are_of_one_length_however_small_their_triangle():
    small = flat(block(), 10)
    small = replace(small, vertices_mm=small.vertices_mm / np.float32(100))
    normals = preview._scene((small,), frozenset()).normals
    assert np.linalg.norm(normals, axis=1) == pytest.approx(np.ones(12))
    assert normals.sum(axis=0) == pytest.approx([0, 0, 0], abs=1e-9)


def test_four_fine_pixels_make_one_rounded_to_the_nearest():
    fine = np.zeros((2, 8, 3), np.uint8)
    fine[:, :2, 0] = [[1, 2], [1, 1]]  # 1.25
    fine[:, 2:4, 0] = [[1, 2], [1, 2]]  # 1.5 goes up
    fine[:, 4:6, 0] = [[255, 255], [255, 255]]
    fine[:, 6:, 1] = [[8, 0], [4, 3]]  # 3.75
    assert preview._averaged(fine)[0].tolist() == [[1, 0, 0], [2, 0, 0], [255, 0, 0], [0, 4, 0]]


def test_the_middles_of_pixels_lie_half_a_pixel_in():
    view = preview._View(np.eye(3), (10.0, 20.0), 2.0)
    across, up = view.across_up((2, 3))
    assert across.tolist() == [[10.25, 10.75, 11.25]]
    assert up.tolist() == [[19.75], [19.25]]


def inked(owner, normals, depth, value=200):
    picture = np.full((*np.shape(owner), 3), value, np.uint8)
    # The last normal is that of the paper.
    preview._ink_edges(
        picture,
        np.array(owner, np.int32),
        np.array([*normals, (0, 0, 1)], np.float32),
        np.array(depth, float),
    )
    return picture


UP, SIDE = (0, 0, 1), (1, 0, 0)


@pytest.mark.parametrize(
    ("owner", "normals", "depth", "share"),
    [
        ((0, 0), [UP], (0, 9), 0.0),  # one face, whatever its depth
        ((0, 1), [UP, UP], (0, 0.59), 0.0),
        ((0, 1), [UP, UP], (0, 0.61), 0.7),
        ((0, 1), [UP, UP], (0.61, 0), 0.7),
        ((0, 1), [UP, SIDE], (0, 0), 0.45),
        ((0, 1), [UP, (0.59, 0, 0.81)], (0, 0), 0.0),
        ((0, 1), [UP, (0.61, 0, 0.79)], (0, 0), 0.45),
        ((0, 1), [UP, (0.6, 0.8, 0)], (0, 5), 0.7),
        ((0, -1), [UP, UP], (0, 0), 0.9),
        ((-1, 0), [UP, UP], (0, 9), 0.9),
        ((-1, -1), [UP, UP], (0, 9), 0.0),
    ],
)
def test_ink_stands_where_a_body_ends_a_face_bends_or_depth_jumps(owner, normals, depth, share):
    # Ink is (28, 38, 47); it takes its share of the way from 200, cut to whole steps.
    wanted = [int(200 + round(share * (ink - 200), 6)) for ink in (28, 38, 47)]
    side = inked([owner], normals, [depth])
    assert side[0, 0].tolist() == pytest.approx(wanted, abs=1 if share else 0)
    assert side[0, 1].tolist() == [200, 200, 200], "the left one alone"
    down = inked([[each] for each in owner], normals, [[each] for each in depth])
    assert down[0, 0].tolist() == side[0, 0].tolist()
    assert down[1, 0].tolist() == [200, 200, 200], "the upper one alone"


def test_ink_is_dark():
    # Nine tenths of the way from 28, 38, 47 to themselves is no way at all.
    picture = np.full((1, 2, 3), 0, np.uint8)
    picture[0, 0] = (28, 38, 47)
    preview._ink_edges(
        picture,
        np.array([[0, -1]], np.int32),
        np.array([UP, UP], np.float32),
        np.zeros((1, 2)),
    )
    assert picture[0, 0].tolist() == [28, 38, 47]
    # Nine tenths of the way from black are 25.2, 34.2 and 42.3.
    assert inked([(0, -1)], [UP], [(0, 0)], value=0)[0, 0].tolist() == [25, 34, 42]


def naive_depth(corners, owner):
    """Return the depth of each pixel's triangle at its middle, pixel by pixel."""
    depth = np.full(owner.shape, -np.inf)
    for (row, column), index in np.ndenumerate(owner):
        if index >= 0:
            (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corners[index]
            matrix = np.array([[ax, bx, cx], [ay, by, cy], [1, 1, 1]])
            shares = np.linalg.solve(matrix, [column + 0.5, row + 0.5, 1])
            depth[row, column] = shares @ [az, bz, cz]
    return depth


@pytest.mark.parametrize("seed", range(3))
def test_the_depth_of_a_pixel_is_that_of_its_triangle_s_plane(seed):
    corners = np.random.default_rng(20 + seed).uniform(-3, 15, (9, 3, 3))
    found = nearest_triangles(corners, 12, 10)
    owner = naive_owner(corners, 12, 10)
    assert (found.owner == owner).all()
    assert found.depth == pytest.approx(naive_depth(corners, owner), abs=1e-3)
    assert (found.owner.shape, found.owner.dtype) == ((10, 12), np.int32)


def test_triangles_with_level_and_upright_edges_are_filled_to_their_edges():
    # Two halves of a rectangle from column 1 to 5 and row 2 to 4, the far one behind them.
    near = [[[1, 2, 5], [5, 2, 5], [5, 4, 5]], [[1, 2, 5], [5, 4, 5], [1, 4, 5]]]
    far = [[[-9, -9, 0], [30, -9, 0], [-9, 30, 0]]]
    found = nearest_triangles(np.array(near + far, float), 7, 6)
    inside = np.zeros((6, 7), bool)
    inside[2:4, 1:5] = True
    assert (np.isin(found.owner, (0, 1)) == inside).all()
    assert (found.depth == np.where(inside, 5, 0)).all()
    # The diagonal falls half a row a column: above it lies the first, below it the second.
    assert found.owner[2, 1:5].tolist() == [0, 0, 0, 0] or found.owner[2, 2:5].tolist() == [0] * 3
    assert found.owner[3, 1] == 1
    assert found.owner[3, 4] == 0
    nothing = nearest_triangles(np.array(near, float), 7, 6)
    assert (nothing.owner[~inside] == -1).all()
    assert (nothing.depth[~inside] == -np.inf).all()
