"""Pins between flat faces: in a long hole, in a fork, in a square hole."""

import pytest
from support.drawn_bodies import box, drawn, round_bar
from support.meeting_cases import TILT, cases

from coupons.answering.meet.meetings import meet
from coupons.showing.bodies.meet_words import meeting_notes


def long_hole(width=6.0, length=14.0):
    """A plate of 5 mm with a hole along x, whose one round end is about the origin."""
    ends = [round_bar(width, 20, (x, 0, -5), 96) for x in (0, length - width)]
    middle = box(length - width, width, 20, (0, -width / 2, -5))
    return box(40, 30, 5, (-12, -15, 0)) - (ends[0] + ends[1] + middle)


def fork(gap=6.0):
    """Two cheeks along x and z, from x = 0 to 20, in front of a back."""
    return box(24, gap + 8, 10, (-4, -4 - gap / 2, 0)) - box(21, gap, 12, (0, -gap / 2, -1))


def pin(wide, x=0.0, y=0.0, sides=96):
    return round_bar(wide, 16, (x, y, -5), sides)


def between(one, other, turn=(0, 0, 0)):
    return meet([drawn(one.rotate(turn), "plate"), drawn(other.rotate(turn), "pin")])


@pytest.mark.parametrize("turn", [(0, 0, 0), TILT])
@pytest.mark.parametrize("wide", [5.8, 6.0, 6.1, 5.2])
@pytest.mark.parametrize("x", [0.0, 0.3, 4.0, 8.0])
def test_a_pin_in_a_long_hole_is_found_wherever_it_stands(x, wide, turn):
    found = between(long_hole(), pin(wide, x), turn)
    (one,) = found.between
    assert one.bodies == (0, 1)
    assert one.width_mm == pytest.approx(6.0, abs=0.005)
    assert one.cylinder.corner_mm == pytest.approx(wide, abs=0.005)
    assert one.gaps_mm == pytest.approx([(6.0 - wide) / 2] * 2, abs=0.005)
    assert not found.joints
    assert not found.apart


@pytest.mark.parametrize("sides", [24, 48])
def test_each_gap_is_that_of_the_pin_as_it_was_drawn(sides):
    found = meet([drawn(pin(5.6, 4, 0.1, sides), "pin"), drawn(long_hole(), "plate")])
    (one,) = found.between
    assert one.bodies == (1, 0)
    assert sorted(one.gaps_mm) == pytest.approx([0.1, 0.3], abs=0.005)


@pytest.mark.parametrize(
    ("plate", "stands", "ways"),
    [
        (fork(), pin(5.8, 8), 1),
        (fork(), pin(5.8, 20.1), 1),  # its axis just past the end of the cheeks
        (fork(), pin(5.8, 20.3), 0),
        (fork(), pin(5.8, 8).rotate((0, 90, 0)).translate((0, 0, 14)), 1),  # along the cheeks
        (fork(), pin(4.6, 8), 0),  # 0.7 mm from either cheek
        (fork(), pin(5.8, 8).rotate((0, 90, 0)).translate((0, 0, 22)), 0),  # beyond the cheeks
        (fork(), pin(5.8, 8).rotate((90, 0, 0)).translate((0, 0, 5)), 0),  # across the gap
        (fork(), pin(5.8, 8) - box(10, 10, 40, (3, 2.5, -10)), 0),  # with a flat to one cheek
        (box(20, 20, 5, (-10, -10, 0)) - box(6, 6, 9, (-3, -3, -2)), pin(5.8), 2),
        (box(20, 20, 5, (-10, -10, 0)) - pin(6), pin(5.8), 0),
    ],
)
def test_a_pin_stands_between_faces_that_it_lies_along(plate, stands, ways):
    assert len(between(plate, stands).between) == ways


def test_walls_at_different_heights_have_no_pin_between_them():
    low, high = box(10, 4, 5, (-5, 3, 0)), box(10, 4, 5, (-5, -7, 5.5))
    joined = low + high + box(4, 14, 10.5, (5, -7, 0))
    assert not between(joined, pin(5.8)).between
    taller = box(10, 4, 7, (-5, 3, 0)) + high + box(4, 14, 10.5, (5, -7, 0))
    assert len(between(taller, pin(5.8)).between) == 1


def test_a_key_with_round_ends_is_no_pin():
    ends = [round_bar(5.8, 10, (x, 0, -2), 96) for x in (0, 8)]
    solid = ends[0] + ends[1] + box(8, 5.8, 10, (0, -2.9, -2))
    found = between(long_hole(), solid)
    assert not found.between
    assert len(found.joints) == 1


@pytest.mark.parametrize("name", ["pin 24 0.5", "rail +0.20", "sleeve", "hinge", "two screws"])
def test_no_pin_between_faces_is_invented(name):
    (case,) = [one for one in cases() if one.name == name]
    assert not meet([drawn(solid, body) for body, solid in case.placed().items()]).between


def test_the_note_says_what_is_drawn_and_what_can_be_asked():
    notes = meeting_notes(between(long_hole(), pin(5.8, 4)))
    assert notes == [
        "plate and pin: a pin ⌀ 5.8 mm between flat faces 6 mm apart, as in a long hole, drawn gap "
        "0.2 mm (0.1 and 0.1), across y. It touches them along two lines at most. That is no joint "
        "that can be answered: neither body is moved for it. Ask for each size alone, such as "
        "`coupons offset PROFILE --form slot --prints 6 --across y` and `--form pin --prints 5.8 "
        "--across z`."
    ]


def test_pins_that_stand_alike_are_told_together():
    two = pin(5.8, 1) + pin(5.8, 7) + box(12, 12, 3, (-1, -6, 10))
    (note,) = [n for n in meeting_notes(between(long_hole(), two)) if n.startswith("plate and")]
    assert "across y (2 alike). It touches" in note


def test_the_round_end_of_a_long_hole_is_said_to_be_one():
    notes = meeting_notes(between(long_hole(), pin(5.8)))
    assert notes[0].endswith("The pin is at the round end of a long hole: see below.")
    assert notes[1].startswith("plate and pin: a pin ⌀ 5.8 mm between flat faces 6 mm apart")
