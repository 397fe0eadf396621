"""Screws in printed bodies. What is said of layers and walls is common practice, no source."""

import pytest
from support.drawn_bodies import drawn, round_bar
from support.moved_faces import between

from coupons.answering.meet.meetings import meet
from coupons.answering.relieve.screws import screw_cautions, screw_holes


def plate_on_block(*, at_x=0.0, up="z", pilot=2.5):
    """A cover on a block, held by one screw along z."""
    block = between((-20, -10, 0), (20, 10, 20)) - round_bar(pilot, 12, (at_x, 0, 9), 48)
    cover = between((-20, -10, 20), (20, 10, 23)) - round_bar(3.4, 5, (at_x, 0, 19), 48)
    bodies = [drawn(block, "block"), drawn(cover, "cover")]
    return meet(bodies, {"block": up, "cover": up})


def boss_and_plate(wall_mm):
    tube = round_bar(2.5 + 2 * wall_mm, 15, (0, 0, 3), 48)
    base = between((-20, -10, 0), (20, 10, 3.5)) + tube - round_bar(2.5, 13, (0, 0, 6), 48)
    lid = between((-20, -10, 18), (20, 10, 20)) - round_bar(3.0, 4, (0, 0, 17), 48)
    return meet([drawn(base, "base"), drawn(lid, "lid")], {})


def test_holes_in_line_with_nothing_in_them_are_those_of_a_screw():
    wide, narrow = sorted(screw_holes(plate_on_block()), key=lambda hole: hole.holds)
    assert (wide.body.body.name, wide.holds) == ("cover", False)
    assert (narrow.body.body.name, narrow.holds) == ("block", True)
    assert narrow.size_mm == pytest.approx(3.4, abs=0.01)


def test_a_hole_with_a_pin_in_it_is_none():
    bodies = [
        drawn(between((-20, -10, 0), (20, 10, 20)) - round_bar(5, 12, (0, 0, 9), 48), "block"),
        drawn(between((-20, -10, 20), (20, 10, 23)) - round_bar(5, 5, (0, 0, 19), 48), "cover"),
        drawn(round_bar(5, 12, (0, 0, 10), 48), "pin"),
    ]
    assert screw_holes(meet(bodies, {})) == ()


def test_an_upright_screw_in_thick_walls_needs_no_caution():
    assert screw_cautions(plate_on_block()) == []


def test_a_screw_whose_axis_lies_in_the_layers_is_told_with_the_way_to_print():
    told = screw_cautions(plate_on_block(up="x"))
    assert len(told) == 2
    holds = next(one for one in told if one.startswith("block"))
    assert "wedges them apart" in holds
    assert "--up block=z" in holds
    passes = next(one for one in told if one.startswith("cover"))
    assert "bends the plate across its layers" in passes
    assert all("Common practice, no source" in one for one in told)


def test_a_wall_thinner_than_the_screw_wants_is_told_with_both_numbers():
    """2.0 mm beside the hole that holds a screw of 3.4 mm, 1.55 mm beside the one it passes."""
    told = screw_cautions(plate_on_block(at_x=20 - 2.0 - 1.25))
    assert [one.split(". ")[0] for one in told] == [
        "block, screw hole of 2.5 mm: the wall beside it is 2.0 mm, a screw of 3.4 mm wants 3.4 mm",
        "cover, screw hole of 3.4 mm: the wall beside it is 1.6 mm, a screw of 3.4 mm wants 1.7 mm",
    ]


def test_a_boss_is_told_that_it_may_break_off_and_a_block_is_not():
    told = screw_cautions(boss_and_plate(3.2))
    assert [one for one in told if "stands as a boss" in one]
    assert not [one for one in screw_cautions(plate_on_block()) if "boss" in one]
