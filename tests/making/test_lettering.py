"""Labels read back from the exported mesh, letter by letter, against drawings made by hand."""

import io
import math

import numpy as np
import pytest
import trimesh
from shapely.geometry import Point
from shapely.ops import unary_union

from coupons.making.bodies.built_bodies import label, marks, plate, turned
from coupons.making.bodies.lettering import (
    CAP_MM,
    PEN_MM,
    STEP_MM,
    STROKES,
    glyph,
    letter_starts,
    width_mm,
)
from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.shapes import Text
from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import parse_spec

# Letters without a mirror line, as they must read from above: # inked, . bare, on the same 5 × 7
# points in every letter; space = either.
DRAWN = {
    "F": ["#####", "#    ", "# ...", "#### ", "#    ", "#....", "#...."],
    "G": [" ### ", "#    ", "#....", "#.###", "#. .#", "#   #", " ####"],
    "P": ["#### ", "#   #", "#.. #", "#### ", "#    ", "#....", "#...."],
    "R": ["#### ", "#   #", "#.. #", "#### ", "#   .", "#..  ", "#.. #"],
    "2": [" ### ", "#   #", "..  #", "..   ", ".   .", "   ..", "#####"],
    "7": ["#####", "...  ", ".. # ", ".   .", ". # .", "   ..", ".# .."],
    "J": ["....#", "....#", "....#", "....#", "....#", "#   #", " ### "],
}


def inked_areas(mesh: trimesh.Trimesh, z_mm: float):
    section = mesh.section(plane_origin=(0, 0, z_mm), plane_normal=(0, 0, 1))
    flat, _ = section.to_2D(to_2D=np.eye(4))
    return unary_union(flat.polygons_full)


def misread(ink, corner: tuple[float, float], drawing: list[str]) -> list[str]:
    wrong = []
    for row, line in enumerate(drawing):
        for column, wanted in enumerate(line):
            x = corner[0] + PEN_MM / 2 + column * STEP_MM
            y = corner[1] + PEN_MM / 2 + (6 - row) * STEP_MM
            if wanted != " " and ink.contains(Point(x, y)) != (wanted == "#"):
                wrong.append(f"row {row} column {column}: wanted {wanted}")
    return wrong


def spec_with(letters: str) -> bytes:
    rows = "".join(
        f'[[row]]\nkind = "fit"\nid = "{letter}"\nform = "hole"\ndirection = "z"\nsize_mm = 5\n'
        "gaps_mm = [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]\n"
        for letter in letters
    )
    return f'title = "letters"\n{rows}'.encode()


@pytest.fixture(scope="module")
def sections():
    """Ink of each body at half the height of its labels, and its texts in the same frame."""
    plan = plan_coupon(parse_spec(spec_with("FGJPR"), "letters", "letters.toml"))
    found = {}
    for item, solid in zip(plan.placed, build_solids(plan), strict=True):
        mesh = trimesh.load(io.BytesIO(stl_bytes((solid,), "one", placed=False)), "stl")
        texts = [p.shape for p in item.body.parts if isinstance(p.shape, Text)]
        if not item.body.loose:  # a loose pin would be cut as well
            z = texts[0].place[2] + 0.3
            found[item.body.id] = inked_areas(mesh, z), texts
    return found


@pytest.mark.parametrize("letter", ["F", "G", "J", "P", "R", "2", "7"])
def test_letters_read_as_drawn_and_not_mirrored(letter, sections):
    ink, texts = sections["F" if letter.isdigit() else letter]
    text = next(t for t in texts if letter in t.text)
    x, y, _ = text.place
    corner = (x + letter_starts(text.text)[text.text.index(letter)], y)
    assert misread(ink, corner, DRAWN[letter]) == []
    mirrored = [line[::-1] for line in DRAWN[letter]]
    assert misread(ink, corner, mirrored) != []


def test_strokes_and_capitals_are_large_enough_to_print():
    assert PEN_MM >= 0.8
    assert CAP_MM >= 3.0
    for nozzle in (0.25, 0.3, 0.4, 0.5, 0.6, 0.8):
        measures = Measures(nozzle, 0.5 * nozzle)
        # A line is 1.125 times as wide as its nozzle; both sides of a stroke are drawn.
        assert measures.letters * PEN_MM >= max(0.8, 2 * 1.125 * nozzle) - 1e-6, nozzle
        assert measures.cap_mm >= 3.0, nozzle


def test_every_letter_stays_on_its_grid_and_in_one_piece():
    for character, strokes in STROKES.items():
        points = [pair for run in strokes.split("|") for pair in run.split()]
        assert all(0 <= int(p[1]) <= 6 for p in points), character
        assert all(0 <= int(p[0]) <= (7 if character == "↔" else 4) for p in points), character


def test_no_two_letters_look_alike():
    assert len(set(STROKES.values())) == len(STROKES)


def test_labels_lie_within_their_body_clear_of_its_edge_and_windows():
    plan = plan_coupon(parse_spec(spec_with("ABC"), "letters", "letters.toml"))
    for item in plan.placed:
        (x0, y0, _), (x1, y1, _) = item.body.box
        for part in item.body.parts:
            if isinstance(part.shape, Text):
                (low_x, low_y, _), (high_x, high_y, _) = part.shape.corners()
                assert low_x >= x0 + 0.6, part.shape.text
                assert high_x <= x1 - 0.6, part.shape.text
                assert low_y >= y0 + 0.6, part.shape.text
                assert high_y <= y1 - 0.6, part.shape.text


def test_a_label_is_centred_on_its_place():
    shape = label("A1", 10.0, 2.0, 3.0, Measures(0.4, 0.2)).shape
    assert isinstance(shape, Text)
    assert shape.place[0] + width_mm("A1") / 2 == pytest.approx(10.0)


@pytest.mark.parametrize("turn", [0, 90])
def test_the_cut_corner_is_the_one_nearest_the_bed_s_origin(turn):
    outline = plate((0, 0), (20, 10), 3, turn, 0.4).shape.levels[-1][1]
    on_bed = [turned(x, y, turn) for x, y in outline]
    nearest = min(x for x, _ in on_bed), min(y for _, y in on_bed)
    assert nearest not in on_bed
    assert len(set(on_bed)) == 5


@pytest.mark.parametrize("turn", [0, 90, 45, -45])
def test_direction_marks_point_where_they_say_once_the_body_is_turned(turn):
    for text, wanted in zip(marks(turn), ((1, 0), (0, 1)), strict=True):
        assert text[1] == ("X" if wanted[0] else "Y")
        shaft = glyph(text[0])[0]
        (x, y), length = (
            turned(shaft.stop[0] - shaft.start[0], shaft.stop[1] - shaft.start[1], turn),
            math.dist(shaft.start, shaft.stop),
        )
        assert (x / length, y / length) == pytest.approx(wanted, abs=1e-9)
