"""Which holes are those of a screw and what is said of them, each rule from both sides.

What is said of layers and walls is common practice, no source.
"""

import numpy as np
import pytest
from support.drawn_bodies import box, drawn, round_bar
from support.moved_faces import between

from coupons.answering.meet.meetings import meet
from coupons.answering.relieve.screws import screw_cautions, screw_holes

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def bodies_of(solids, ups=None):
    return meet([drawn(solid, name) for name, solid in solids.items()], ups or {})


def holes(solids):
    return sorted((one.body.body.name, one.holds) for one in screw_holes(bodies_of(solids)))


def stack(pilot=2.5, wide=3.4, beside=0.0, apart=0.0, lean_deg=0.0, sides=24):
    """A cover with a wide hole over a block with a narrow one, both open at their ends."""
    block = between((-20, -10, 0), (20, 10, 20)) - round_bar(pilot, 30, (0, 0, 5), sides)
    drill = round_bar(wide, 30, (0, 0, -15), sides).rotate((0, lean_deg, 0))
    cover = between((-20, -10, 20 + apart), (20, 10, 23 + apart))
    cover -= drill.translate((beside, 0, 21.5 + apart))
    return {"block": block, "cover": cover}


@pytest.mark.parametrize(
    ("change", "is_screw"),
    [
        # One behind the other: up to a millimetre apart,
        ({"apart": 0.99}, True),
        ({"apart": 1.01}, False),
        # or a twentieth in one another,
        ({"apart": -0.045}, True),
        ({"apart": -0.055}, False),
        # in line by a twentieth,
        ({"beside": 0.049}, True),
        ({"beside": 0.051}, False),
        ({"beside": -0.051}, False),
        # along one direction: the cosine is one less a millionth, at 0.081 degrees,
        ({"lean_deg": 0.07}, True),
        ({"lean_deg": 0.09}, False),
        # and no wider than 12 mm.
        ({"wide": 11.999}, True),
        ({"wide": 12.01}, False),
        ({"pilot": 12.01, "wide": 13}, False),
    ],
)
def test_two_holes_one_behind_the_other_are_those_of_a_screw(change, is_screw):
    found = holes(stack(**change))
    assert found == ([("block", True), ("cover", False)] if is_screw else [])


@pytest.mark.parametrize(("wide", "holds"), [(2.56, True), (2.54, False), (2.5, False)])
def test_a_screw_holds_in_a_hole_that_is_clearly_narrower(wide, holds):
    assert holes(stack(wide=wide)) == [("block", holds), ("cover", False)]
    for hole in screw_holes(bodies_of(stack(wide=wide))):
        assert hole.size_mm == pytest.approx(wide, abs=1e-3), "of the screw: that of the wider one"
        own = 2.5 if hole.body.body.name == "block" else wide
        assert hole.diameter_mm == pytest.approx(own, abs=1e-3)


def test_holes_of_one_body_are_not_those_of_a_screw():
    fork = box(20, 20, 10, (-10, -10, 0)) - box(30, 30, 1, (-15, -15, 4))
    fork -= round_bar(3.4, 4, (0, 0, 6), 48)
    fork -= round_bar(2.5, 6, (0, 0, -1), 48)
    assert holes({"fork": fork, "far": box(5, 5, 5, (90, 0, 0))}) == []


def test_an_open_hole_is_not_that_of_a_screw():
    solids = stack()
    solids["cover"] -= box(20, 1, 30, (0, -0.5, 10))
    assert holes(solids) == []


def lying(angle_deg, holds=True):
    """A stack whose axis stands at an angle to the way up: of the block or of the cover only."""
    up = (np.sin(np.radians(angle_deg)), 0.0, np.cos(np.radians(angle_deg)))
    text = "/".join(f"{one:.9f}" for one in up)
    name = "block" if holds else "cover"
    return screw_cautions(bodies_of(stack(), {name: text}))


@pytest.mark.parametrize(("angle_deg", "is_told"), [(72.4, False), (72.7, True), (90, True)])
@pytest.mark.parametrize("holds", [True, False])
def test_a_screw_that_lies_in_the_layers_is_told(angle_deg, is_told, holds):
    # The cosine is 0.3 at 72.54 degrees.
    told = lying(angle_deg, holds)
    if not is_told:
        assert told == []
    elif holds:
        assert told == [
            "block, screw hole of 2.5 mm: its axis lies in the layers, and a screw that cuts its "
            "thread there wedges them apart. Use a nut behind it, or print block with z up "
            "(--up block=z). Common practice, no source."
        ]
    else:
        assert told == [
            "cover, screw hole of 3.4 mm: the head of its screw bends the plate across its layers, "
            "where it is weakest. Use a wide washer, or print cover with z up (--up cover=z). "
            "Common practice, no source."
        ]


@pytest.mark.parametrize(("turn", "axis"), [((0, 90, 0), "x"), ((90, 0, 0), "y")])
def test_the_way_to_print_is_the_axis_of_the_file_nearest_to_the_hole(turn, axis):
    solids = {name: solid.rotate(turn) for name, solid in stack().items()}
    told = screw_cautions(bodies_of(solids))
    assert len(told) == 2
    assert all(f"with {axis} up (--up " in one and f"={axis})" in one for one in told)


def boss(wall_mm, pilot=2.5, wide=3.0, lean_deg=0.0, foot=3.0):
    tube = round_bar(pilot + 2 * wall_mm, 18 - foot, (0, 0, foot), 48)
    base = between((-20, -10, 0), (20, 10, foot + 0.5)) + tube
    base -= round_bar(pilot, 15 - foot + 1, (0, 0, foot + 3), 48)
    lid = between((-20, -10, 18), (20, 10, 20)) - round_bar(wide, 4, (0, 0, 17), 48)
    ups = {}
    if lean_deg:
        up = np.array([np.sin(np.radians(lean_deg)), 0.0, np.cos(np.radians(lean_deg))])
        ups = {"base": "/".join(f"{one:.9f}" for one in up)}
    told = screw_cautions(bodies_of({"base": base, "lid": lid}, ups))
    return [one for one in told if "stands as a boss" in one]


@pytest.mark.parametrize(
    ("wall_mm", "lean_deg", "is_told"),
    [
        # Walls up to one and a half times the screw of 3 mm, seen square to the hole's wall;
        (4.4, 0, True),
        (4.6, 0, False),
        # upright within a cosine of 0.95: within 18.2 degrees.
        (3.2, 18.0, True),
        (3.2, 18.4, False),
    ],
)
def test_an_upright_boss_with_thin_walls_is_told(wall_mm, lean_deg, is_told):
    told = boss(wall_mm, lean_deg=lean_deg)
    assert bool(told) is is_told
    for one in told:
        assert one == (
            "base, screw hole of 2.5 mm: it stands as a boss, and its screw pulls across the "
            "layers: it may break off at its foot. Give it ribs or a rounding there, or let the "
            "screw reach into the body below. Common practice, no source."
        )


@pytest.mark.parametrize(("share", "is_told"), [(0.25, True), (0.35, False)])
def test_a_boss_that_leans_on_a_block_is_none(share, is_told):
    """A tube with 3.2 mm of wall, of which a share of the turn runs into a block beside it."""
    radius = 1.25 + 3.2
    beside = radius * np.cos(np.pi * share)
    base = between((-20, -20, 0), (20, 20, 3)) + round_bar(2 * radius, 15, (0, 0, 3), 48)
    base += between((beside, -20, 0), (20, 20, 18))
    base -= round_bar(2.5, 13, (0, 0, 6), 48)
    lid = between((-20, -10, 18), (20, 10, 20)) - round_bar(3.0, 4, (0, 0, 17), 48)
    told = screw_cautions(bodies_of({"base": base, "lid": lid}))
    assert any("stands as a boss" in one for one in told) is is_told


@pytest.mark.parametrize(("wall_mm", "is_told"), [(3.34, True), (3.36, False)])
def test_a_wall_beside_a_holding_screw_is_as_thick_as_the_screw(wall_mm, is_told):
    # The screw is 3.4 mm; a twentieth less is not told.
    block = between((-20, -10, 0), (wall_mm + 1.25, 10, 20))
    solids = stack() | {"block": block - round_bar(2.5, 30, (0, 0, 5), 72)}
    told = [one for one in screw_cautions(bodies_of(solids)) if "wall beside" in one]
    assert (
        told
        == [
            "block, screw hole of 2.5 mm: the wall beside it is 3.3 mm, a screw of 3.4 mm wants "
            "3.4 mm. Common practice, no source."
        ][: int(is_told)]
    )


@pytest.mark.parametrize(("wall_mm", "is_told"), [(1.64, True), (1.66, False)])
def test_a_wall_beside_a_screw_that_passes_is_half_as_thick(wall_mm, is_told):
    cover = between((-20, -10, 20), (wall_mm + 1.7, 10, 23))
    solids = stack() | {"cover": cover - round_bar(3.4, 30, (0, 0, 5), 72)}
    told = [one for one in screw_cautions(bodies_of(solids)) if "wall beside" in one]
    assert (
        told
        == [
            "cover, screw hole of 3.4 mm: the wall beside it is 1.6 mm, a screw of 3.4 mm wants "
            "1.7 mm. Common practice, no source."
        ][: int(is_told)]
    )


def test_what_is_alike_is_told_once():
    block = between((-20, -10, 0), (20, 10, 20))
    cover = between((-20, -10, 20), (20, 10, 23))
    for x in (-10, 0, 10):
        block -= round_bar(2.5, 30, (x, 0, 5), 48)
        cover -= round_bar(3.4, 30, (x, 0, 5), 48)
    met = bodies_of({"block": block, "cover": cover}, {"block": "x", "cover": "x"})
    assert len(screw_holes(met)) == 6
    assert len(screw_cautions(met)) == 2
