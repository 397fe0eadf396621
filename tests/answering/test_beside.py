"""Single faces that belong to a joint."""

import pytest
from manifold3d import CrossSection, Manifold
from support.drawn_bodies import box, drawn, round_bar

from coupons.answering.meet.beside import Beside, beside
from coupons.answering.meet.meetings import meet
from coupons.showing.bodies.meet_words import meeting_notes


def long_pin(length, width, high):
    ends = [
        CrossSection.circle(width / 2, 48).translate((s * (length - width) / 2, 0)) for s in (-1, 1)
    ]
    return Manifold.extrude(CrossSection.batch_hull(ends), high)


def long_hole(gap):
    """A pin with round ends, 20 × 8 mm, in a hole of its shape."""
    plate = box(40, 24, 6, (-20, -12, 0)) - long_pin(20, 8, 8).translate((0, 0, -1))
    return {"plate": plate, "key": long_pin(20 - gap, 8 - gap, 10).translate((0, 0, -2))}


def flat_shaft(gap):
    """A shaft of 6 mm with a flat 2 mm from its axis, in a hole of its shape."""
    hole = round_bar(6, 20, (0, 0, -5), 72) - box(10, 5, 22, (-5, 2, -6))
    shaft = round_bar(6 - gap, 22, (0, 0, -4), 72) - box(10, 5, 24, (-5, 2 - gap / 2, -5))
    return {"hub": round_bar(18, 8, sides=96) - hole, "shaft": shaft}


def countersunk_rest():
    """A pin with a head that lies on the plate: a rest square to the axis."""
    plate = box(30, 30, 8, (-15, -15, 0)) - round_bar(6, 12, (0, 0, -2))
    return {"plate": plate, "pin": round_bar(5.8, 10, (0, 0, -2)) + round_bar(10, 3, (0, 0, 8))}


def met(solids):
    return meet([drawn(solid, name) for name, solid in solids.items()])


@pytest.mark.parametrize("gap", [0.0, 0.2])
def test_the_round_ends_of_a_long_hole_go_with_its_flat_faces(gap):
    found = met(long_hole(gap))
    (joint,) = found.joints
    assert len(found.rests) == 2
    assert [beside(found, rest) for rest in found.rests] == [(Beside.GOES_ALONG, joint)] * 2
    said = [note for note in meeting_notes(found) if note.startswith("R")]
    assert all(note.endswith("A rounding of A: it goes with its faces.") for note in said)


@pytest.mark.parametrize("gap", [0.0, 0.2])
def test_the_flat_of_a_shaft_is_said_to_stay_beside_its_round(gap):
    found = met(flat_shaft(gap))
    (rest,) = found.rests
    assert beside(found, rest) == (Beside.FLAT_OF_ROUND, found.joints[0])
    assert "A flat beside the round of A: it is not moved." in meeting_notes(found)[0]


def test_what_a_head_lies_on_is_a_rest_and_nothing_else():
    found = met(countersunk_rest())
    (rest,) = found.rests
    assert beside(found, rest) is None
    assert meeting_notes(found)[0].endswith("It carries, and is not moved.")


def test_a_face_between_other_bodies_is_nothing_to_a_joint():
    """The shaft's flat against a third body that lies beside the hub."""
    shaft = flat_shaft(0.2)
    found = met({**shaft, "stop": box(4, 2, 4, (-2, 2, 10))})
    others = [one for one in found.rests if set(one.bodies) != set(found.joints[0].bodies)]
    assert [beside(found, rest) for rest in others] == [None] * len(others)
    assert others
