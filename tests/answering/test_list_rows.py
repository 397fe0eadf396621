"""What the list of joints says of each kind of joint, and how bodies lie on the printer."""

import numpy as np
import pytest
from manifold3d import Manifold
from support.drawn_bodies import box, drawn, round_bar
from support.meeting_cases import cases, legs, pin_in_plate, rail, screws

from coupons.answering.meet.list_rows import _number, list_csv, oblique, rows
from coupons.answering.meet.meetings import meet
from coupons.answering.meet.print_axes import leaning, printed
from coupons.answering.meshes.surface import surface_of
from coupons.errors import BodyError
from coupons.showing.bodies.meet_words import meeting_notes

CASES = {case.name: case for case in cases()}


def met(solids, ups=None):
    return meet([drawn(solid, name) for name, solid in solids.items()], ups)


def row_of(solids, ups=None):
    (row,) = rows(met(solids, ups))
    return row


def test_two_screws_have_a_pitch_and_the_lesser_gap():
    row = row_of(screws(2, 0.2))
    assert (row["internal"], row["external"]) == ("holes", "pins")
    assert (row["size_mm"], row["drawn_gap_mm"], row["pitch_mm"]) == ("4", "0.2", "16")
    assert row["across"] == "zx", "along the axes, along the pitch"
    assert row["contact_mm"] == "", "such a list asks for none"
    # One of the pins is thinner by 0.01 mm, which is still alike: the tighter one counts.
    base, cover = box(70, 20, 6), box(70, 20, 6, (0, 0, 6))
    for x, size in ((10, 3.79), (26, 3.8)):
        base += round_bar(size, 11, (x, 10, 0), 48)
        cover -= round_bar(4, 20, (x, 10, 0), 48)
    assert row_of({"base": base, "cover": cover})["drawn_gap_mm"] == "0.2"


def test_legs_give_the_width_of_the_bar_their_length_and_thickness():
    row = row_of(legs(0.2))
    assert (row["size_mm"], row["drawn_gap_mm"]) == ("10", "0.2")
    assert row["leg_mm"] == "20x2"
    assert (row["depth_mm"], row["area_mm2"]) == ("8.00", f"{2 * 8 * 8:.1f}")


def test_a_pin_lists_its_diameters_and_how_long_it_bears():
    row = row_of(pin_in_plate(0.2, 64))
    assert (row["internal"], row["external"], row["across"]) == ("hole", "pin", "z")
    assert (row["size_mm"], row["drawn_gap_mm"]) == ("6", "0.2")
    assert (row["contact_mm"], row["depth_mm"]) == ("8", "8.00")
    flats = [6 * np.cos(np.pi / 64), 5.8 * np.cos(np.pi / 64)]
    assert [float(mm) for mm in row["across_flats_mm"].split("/")] == pytest.approx(flats, abs=6e-4)
    areas = [d * np.sqrt(64 / (2 * np.pi) * np.sin(2 * np.pi / 64)) for d in (6, 5.8)]
    assert [float(mm) for mm in row["by_area_mm"].split("/")] == pytest.approx(areas, abs=6e-4)
    assert (row["bed"], row["slant_deg"], row["pitch_mm"], row["corner_mm"]) == ("", "", "", "")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12.34567, "12.346"),
        (6.0004, "6"),
        (6.0006, "6.001"),
        (0.25, "0.25"),
        (-0.0004, "0"),
        (-0.1, "-0.1"),
        (123.4567, "123.457"),
    ],
)
def test_numbers_of_the_list_have_three_decimals_at_most(value, text):
    assert _number(value) == text


def test_a_dovetail_lists_its_lean_and_where_it_is_pulled():
    row = rows(met(CASES["dovetail"].placed()))[0]
    assert float(row["slant_deg"]) == pytest.approx(15, abs=0.01)
    assert row["across"] == "xz"
    assert row["bed"] == ""


@pytest.mark.parametrize(
    ("channel_up", "tongue_up", "across", "bed"),
    [
        ("z", "z", "x", ""),
        # Along x lies the gap. A channel on its side has an outer wall on the bed, and no mating
        # face; a tongue on its side has one of the two.
        ("x", "z", "z/x", "none"),
        ("x", "x", "z", "external"),
        ("-x", "-x", "z", "external"),
        ("z", "x", "x/z", "external"),
    ],
)
def test_directions_and_bed_are_those_of_each_body_as_printed(channel_up, tongue_up, across, bed):
    row = row_of(rail(0.2), {"channel": channel_up, "tongue": tongue_up})
    assert (row["across"], row["bed"]) == (across, bed)


@pytest.mark.parametrize(("turn_deg", "is_oblique"), [(0.9, False), (1.1, True), (45.0, False)])
def test_a_joint_within_a_degree_lies_along_an_axis(turn_deg, is_oblique):
    solids = {name: solid.rotate((0, 0, turn_deg)) for name, solid in rail(0.2).items()}
    assert list(oblique(met(solids))) == (["A"] if is_oblique else [])


@pytest.mark.parametrize(
    ("turn", "name", "off_deg"),
    [
        ((0, 0, 37), "x+y", 8.0),
        ((0, 0, -20), "x", 20.0),
        ((0, 23, 0), "x", 23.0),
        ((0, 80, 0), "z", 10.0),
    ],
)
def test_how_far_a_joint_is_off_stands_in_its_row(turn, name, off_deg):
    """Across the slot is x before it is turned."""
    found = met({name: solid.rotate(turn) for name, solid in rail(0.2).items()})
    assert oblique(found) == {"A": (name, pytest.approx(off_deg, abs=0.01))}
    assert rows(found)[0]["off_axis_deg"] == f"{off_deg:.1f}"
    (note,) = [one for one in meeting_notes(found) if "no axis" in one]
    assert note.startswith(f"Along no axis of the printer: A {off_deg:.0f}° off {name}.")
    assert "Turn the bodies in their files as they will be printed" in note
    assert "--up" not in note


def test_the_list_of_joints_along_axes_says_nothing_of_angles():
    assert "off_axis_deg" not in list_csv(met(rail(0.2)))


def body(solid: Manifold, **ups):
    (found,) = printed((surface_of(drawn(solid, "lid")),), ups)
    return found


@pytest.mark.parametrize(
    ("up", "axes"),
    [
        ("z", ((1, 0, 0), (0, 1, 0), (0, 0, 1))),
        ("-z", ((1, 0, 0), (0, -1, 0), (0, 0, -1))),
        ("y", ((1, 0, 0), (0, 0, -1), (0, 1, 0))),
        ("-y", ((1, 0, 0), (0, 0, 1), (0, -1, 0))),
        ("x", ((0, 0, 1), (0, -1, 0), (1, 0, 0))),
        ("+x", ((0, 0, 1), (0, -1, 0), (1, 0, 0))),
        ("-X", ((0, 0, 1), (0, 1, 0), (-1, 0, 0))),
        ("0/0/2", ((1, 0, 0), (0, 1, 0), (0, 0, 1))),
        ("0/3/4", ((1, 0, 0), (0, 0.8, -0.6), (0, 0.6, 0.8))),
    ],
)
def test_the_printer_s_axes_follow_what_is_up(up, axes):
    # x stays, or z where x itself is up; y follows by the right hand.
    assert body(box(9, 8, 7), lid=up).axes == pytest.approx(np.array(axes, float), abs=1e-12)


@pytest.mark.parametrize(
    "up", ["", "w", "xx", "-xx", "1/2", "1/2/3/4", "0/0/0", "a/b/c", "nan/0/1"]
)
def test_what_is_no_direction_is_refused(up):
    with pytest.raises(BodyError):
        body(box(9, 8, 7), lid=up)


@pytest.mark.parametrize(("lift_mm", "is_low"), [(0.0, True), (0.009, True), (0.012, False)])
def test_the_lowest_flat_face_lies_on_the_bed(lift_mm, is_low):
    table = box(10, 10, 3, (0, 0, lift_mm)) + box(10, 4, 3, (0, 12, 0)) + box(10, 16, 2, (0, 0, 3))
    found = body(table)
    faces = [
        r for r in found.surface.regions if r.normal[2] < -0.9 and abs(r.point_mm[1] - 5) < 5.1
    ]
    assert [found.is_on_bed(face) for face in faces] == [is_low]
    assert found.stands()


def test_bodies_that_no_flat_face_would_carry_are_named():
    ball, block = Manifold.sphere(5, 32), box(5, 5, 5)
    tipped = block.rotate((30, 20, 0))
    surfaces = [
        surface_of(drawn(each, n)) for each, n in ((ball, "a"), (block, "b"), (tipped, "c"))
    ]
    found = leaning(printed(surfaces, {}))
    assert list(found) == ["a", "c"]
    assert found["a"] == ""
    assert not leaning(printed(surfaces, {"a": "-z", "c": found["c"]}))
    still = leaning(printed(surfaces, {"a": "-z", "c": "-z"}))
    assert list(still) == ["c"], "nobody knows better of a ball; a block has faces to stand on"


def test_the_face_that_a_body_would_stand_on_is_the_nearest_large_one():
    """A plate tipped by 20° would stand on its wide face, and neither on its edge nor its top."""
    plate = box(40, 30, 4)
    tipped = surface_of(drawn(plate.rotate((20, 0, 0)), "lid"))
    (way,) = leaning(printed((tipped,), {})).values()
    turned = (0.0, -np.sin(np.radians(20)), np.cos(np.radians(20)))
    assert [float(part) for part in way.split("/")] == pytest.approx(turned, abs=1e-4)
    on_edge = surface_of(drawn(plate.rotate((50, 0, 0)), "lid"))
    (way,) = leaning(printed((on_edge,), {})).values()
    turned = (0.0, -np.sin(np.radians(50)), np.cos(np.radians(50)))
    assert [float(part) for part in way.split("/")] == pytest.approx(turned, abs=1e-4)
