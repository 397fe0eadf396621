import numpy as np
import pytest
from manifold3d import Manifold
from support.drawn_bodies import box, drawn, round_bar
from support.meeting_cases import pin_in_plate, pocket, rail

from coupons.answering.meet.meetings import meet
from coupons.showing.bodies.face_marks import marks_of
from coupons.showing.bodies.hatching import hatch
from coupons.showing.bodies.joint_section import section_of
from coupons.showing.bodies.meet_words import explained_words, meeting_notes
from coupons.showing.bodies.views import edge_lines, length_of, view_of


def total(lines) -> float:
    return float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum())


@pytest.mark.parametrize("angle", [0.0, 45.0, 135.0, 17.0])
def test_a_hatching_covers_its_area_and_leaves_holes_out(angle):
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], float)
    hole = np.array([[3, 3], [3, 7], [7, 7], [7, 3]], float)
    lines = hatch([square, hole], 0.05, angle)
    assert total(lines) * 0.05 == pytest.approx(100 - 16, rel=0.01)
    middles = lines.mean(axis=1)
    assert not ((middles > 3.01) & (middles < 6.99)).all(axis=1).any()


def test_three_edges_of_a_box_are_hidden_and_nine_are_seen():
    body = drawn(box(20, 20, 20))
    view = view_of(body, np.eye(3), -32.0, 30.0)
    lines = edge_lines(body, view)
    assert len(lines) == 12
    seen, hidden = view.parted(lines)
    every = view.flat(lines)[..., :2]
    whole = [length_of(every[n : n + 1]) for n in range(12)]
    assert length_of(seen) + length_of(hidden) == pytest.approx(sum(whole))
    corner = np.array([20.0, 20.0, 0.0])  # farthest from the eye, at the left rear
    corner[0] = 0.0 if view.frame[2][0] > 0 else 20.0
    behind = [n for n in range(12) if (lines[n] == corner).all(axis=1).any()]
    assert length_of(hidden) == pytest.approx(sum(whole[n] for n in behind), rel=0.1)


def test_a_rim_of_a_round_is_drawn_and_its_flats_are_not():
    body = drawn(round_bar(20, 10))
    view = view_of(body, np.eye(3), -32.0, 30.0)
    # Two rims of 64 chords, and the two lines where the wall turns away.
    assert len(edge_lines(body, view)) == pytest.approx(130, abs=2)


def test_hidden_faces_have_their_letter_and_hatching_too():
    met = meet([drawn(solid, name) for name, solid in rail(0.2).items()])
    marks = marks_of(met, 0)
    assert [mark.label for mark in marks] == ["A1", "A2", "R1"]
    assert {mark.kind for mark in marks} == {"internal", "rest"}
    view = view_of(met.bodies[0].body, met.bodies[0].axes, 148.0, -30.0)  # from below
    for mark in marks:
        assert len(mark.lines_mm)
        assert length_of(view.parted(mark.lines_mm)[1]) > 0


def test_a_section_shows_both_bodies_and_their_gap():
    met = meet([drawn(solid, name) for name, solid in rail(0.5).items()])
    section = section_of(met, met.joints[0])
    assert [(body.name, body.kind) for body in section.bodies] == [
        ("channel", "internal"),
        ("tongue", "external"),
    ]
    assert [label for label, _ in section.labels] == ["A1", "A2"]
    left, _, width, _ = section.view
    assert left < -0.5  # more than the slot is in sight
    assert left + width > 8.5


def test_words_are_explained_where_they_occur():
    def told(solids):
        return explained_words(meet([drawn(solid, name) for name, solid in solids.items()]))

    assert told(rail(0.2)) == []
    (flat,) = told(pocket(0.2, 0.2))
    assert flat.startswith("A pocket has a floor")
    (bent,) = told(pin_in_plate(0.2, 24))
    assert "across flats is its narrowest width" in bent


def test_bodies_in_each_other_without_faces_that_meet_are_told_so():
    ball = Manifold.sphere(5, 48)
    deep = meet([drawn(ball, "one"), drawn(ball.translate((4, 0, 0)), "two")])
    assert "one and two OVERLAP, about" in meeting_notes(deep)[0]
    on_edge = box(9, 9, 9).rotate((45, 0, 0)).translate((0, 15, -0.2))
    met = meet([drawn(box(30, 30, 9, (0, 0, -9)), "one"), drawn(on_edge, "two")])
    assert "one touches two or stands in it" in meeting_notes(met)[0]
