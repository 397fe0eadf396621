"""Bodies that stand in each other deeper than a joint is drawn are found; tight joints are not."""

import numpy as np
import pytest
from support.drawn_bodies import box, drawn, round_bar
from support.meeting_cases import TILT, cases, clip_ring, pin_in_plate, pocket, rail, tubes

from coupons.answering.meet.meetings import meet
from coupons.answering.meet.overlaps import overlap
from coupons.answering.meshes import chords
from coupons.answering.meshes.clearance import to_triangles_mm
from coupons.showing.bodies.meet_words import meeting_notes


def case_and_lid(sunk_mm: float) -> dict:
    """A lid of 4 mm with a rim that fits into an open case with walls of 2 mm."""
    case = box(60, 40, 20) - box(56, 36, 18, (2, 2, 2))
    lid = box(60, 40, 4, (0, 0, 20)) + box(55.8, 35.8, 3, (2.1, 2.1, 17))
    return {"case": case, "lid": lid.translate((0, 0, -sunk_mm))}


def of(solids: dict, turn=(0.0, 0.0, 0.0)):
    one, other = (drawn(solid.rotate(turn), name) for name, solid in solids.items())
    return overlap((one, other), (0, 1))


TURNS = [
    pytest.param((0.0, 0.0, 0.0), id="straight"),
    pytest.param(TILT, id="turned", marks=pytest.mark.slow),
]
PLATE = box(60, 40, 8) - box(20, 12, 5, (10, 10, 3))
DEEP = {
    "lid sunk by 3": (case_and_lid(3.0), 3.0),
    "lid sunk by 0.8": (case_and_lid(0.8), 0.8),
    # Each corner of the block lies on the plate's surface.
    "block through a floor": ({"plate": PLATE, "block": box(20, 12, 8, (10, 10, 0))}, 3.0),
    "block into a floor": ({"plate": PLATE, "block": box(20, 12, 8, (10, 10, 1))}, 2.0),
    "pin where no hole is": ({"plate": box(30, 30, 8), "pin": round_bar(6, 20, (15, 15, -6))}, 6.0),
    "pin with its end inside": (
        {"block": box(30, 30, 20), "pin": round_bar(6, 20, (15, 15, 13))},
        7.0,
    ),
    "pin too thick by 2": (pin_in_plate(-2.0, 64), 1.0),
    "one inside the other": ({"block": box(30, 30, 30), "ball": round_bar(6, 6, (9, 9, 9))}, 6.0),
}


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("name", DEEP)
def test_the_depth_of_an_overlap_is_found(name, turn):
    solids, depth_mm = DEEP[name]
    found = of(solids, turn)
    assert found is not None
    assert found.depth_mm == pytest.approx(depth_mm, abs=0.03 * depth_mm)


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(
    "solids",
    [
        case_and_lid(0.0),
        case_and_lid(0.45),
        rail(-0.9),
        pin_in_plate(-0.9, 48),
        pocket(-0.6, -0.6),
        tubes(-0.9),
        clip_ring(-0.6),
        {"case": box(20, 20, 20) - box(10, 10, 10, (5, 5, 5)), "inner": box(9, 9, 9, (5, 5, 5))},
    ],
    ids=["lid", "lid tight", "rail", "pin", "pocket", "tubes", "ring", "inner"],
)
def test_a_tight_joint_is_no_overlap(solids, turn):
    """Each stands in by less than 0.5 mm, however long the layer is."""
    assert of(solids, turn) is None


def test_the_place_of_an_overlap_lies_in_both_bodies():
    found = of(DEEP["block into a floor"][0])
    assert (np.array(found.point_mm) > (10, 10, 1)).all()
    assert (np.array(found.point_mm) < (30, 22, 3)).all()


def test_slim_triangles_are_crossed_in_fewer_rows(monkeypatch):
    """Each facet of a tilted bar runs through many lines."""
    solids = {"plate": box(30, 30, 8), "pin": round_bar(6, 20, (15, 15, -6), 600)}
    monkeypatch.setattr(chords, "_MOST_CROSSED", 4_000)
    found = of(solids, TILT)
    assert found is not None
    assert found.depth_mm == pytest.approx(6.0, rel=0.1)
    assert of(pin_in_plate(-0.9, 600), TILT) is None


@pytest.mark.slow
def test_fine_triangles_change_nothing():
    solids = {name: solid.refine(40) for name, solid in case_and_lid(3.0).items()}
    assert of(solids).depth_mm == pytest.approx(3.0, abs=0.01)


def test_an_overlap_is_said_with_what_to_do():
    met = meet([drawn(solid, name) for name, solid in case_and_lid(3.0).items()])
    assert [(one.bodies, round(one.depth_mm, 3)) for one in met.overlaps] == [((0, 1), 3.0)]
    (note,) = [note for note in meeting_notes(met) if "OVERLAP" in note]
    assert "case and lid OVERLAP, about 3 mm deep near x " in note
    assert "Export both in place, from one origin" in note
    assert note == meeting_notes(met)[0]


def test_a_body_inside_another_is_not_said_to_touch_it():
    solids = {"block": box(30, 30, 30), "core": box(6, 6, 6, (9, 9, 9))}
    notes = " ".join(meeting_notes(meet([drawn(solid, name) for name, solid in solids.items()])))
    assert "block and core OVERLAP, about 6 mm deep" in notes
    assert "touches" not in notes


def test_the_distance_of_a_point_to_a_triangle_is_the_least_to_many_of_its_points():
    rng = np.random.default_rng(3)
    corners, points = rng.normal(size=(60, 3, 3)), rng.normal(size=(60, 3))
    shares = rng.dirichlet((0.5, 0.5, 0.5), 4000)
    every = np.einsum("sk,nkx->nsx", shares, corners)
    least = np.linalg.norm(every - points[:, None], axis=2).min(axis=1)
    found = to_triangles_mm(points, corners)
    assert (found <= least + 1e-12).all()
    assert found == pytest.approx(least, abs=0.05)


@pytest.mark.slow
def test_no_known_meeting_is_an_overlap():
    for case in cases():
        if case.name == "rail of 400,000":
            continue
        bodies = [drawn(solid, name) for name, solid in case.placed().items()]
        for one in range(len(bodies)):
            for other in range(one):
                found = overlap((bodies[other], bodies[one]), (other, one))
                assert found is None, (case.name, found)
