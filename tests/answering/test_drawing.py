"""Sizes across layers fall on layers, or say as what they print."""

import pytest
from support.known_profile import known_profile

from coupons.answering.chances.drawing import (
    draw_gap,
    draw_layers,
    draw_off_layers,
    draw_unlike,
    whole_layers,
)
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.answering.words.answers import sentences
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

LAYER_MM = 0.2


def across_z(size_mm, move=MovingBody.EXTERNAL, **wish):
    joint = Joint(Form.SLOT, Form.TONGUE, size_mm, Direction.Z)
    return answer(known_profile(), Question(joint, Grade.SLIDE, move, **wish))


def sizes(found):
    drawn = dict.fromkeys((Form.SLOT, Form.TONGUE), found.question.joint.size_mm)
    return drawn | {move.form: move.drawn_mm for move in found.moves}


@pytest.mark.parametrize("move", list(MovingBody))
@pytest.mark.parametrize("size_mm", [6.0, 6.1, 6.13, 5.95])
@pytest.mark.parametrize("at_least", [None, 0.8])
def test_every_size_that_is_drawn_is_whole_layers(move, size_mm, at_least):
    found = across_z(size_mm, move, at_least=at_least)
    drawn = sizes(found)
    for mm in drawn.values():
        assert mm / LAYER_MM == pytest.approx(round(mm / LAYER_MM), abs=1e-6)
        assert abs(mm - size_mm) < 1.0
    assert drawn[Form.SLOT] - drawn[Form.TONGUE] == pytest.approx(found.gap_mm)
    for move in found.moves:
        outward = 1 if move.form is Form.TONGUE else -1
        assert move.drawn_mm == pytest.approx(size_mm + outward * move.faces * move.offset_mm)
        assert move.from_mm == pytest.approx(size_mm)


def test_the_body_that_gives_way_comes_first():
    tongue, slot = across_z(6.1).moves
    assert (tongue.form, slot.form) == (Form.TONGUE, Form.SLOT)
    assert slot.drawn_mm == pytest.approx(6.2), "the nearest whole layers, a roof may be raised"
    assert len(across_z(6.0).moves) == 1


def test_a_size_off_layers_is_said():
    said = " ".join(sentences(across_z(6.1)))
    assert (
        "6.1 mm is 30.5 layers, not a whole number, so both bodies are rounded to layers." in said
    )
    assert "slot 32 layers" in " ".join(sentences(across_z(6.0, MovingBody.INTERNAL)))
    assert "not a whole number" not in " ".join(sentences(across_z(6.0)))


@pytest.mark.parametrize("piece", ["nut M4", "nut M3"])
def test_around_a_bought_piece_the_printed_size_is_whole_layers(piece):
    nut = hardware(piece)
    joint = Joint(Form.SLOT, Form.TONGUE, nut.nominal_mm, Direction.Z)
    found = answer(known_profile(), Question(joint, Grade.SLIDE, nut.move, hardware=nut))
    (move,) = found.moves
    assert whole_layers(move.drawn_mm, LAYER_MM) is not None
    assert move.drawn_mm - nut.nominal_mm == pytest.approx(found.gap_mm)
    assert abs(found.gap_mm - found.best_gap_mm) <= LAYER_MM / 2 + 1e-6


def test_a_gap_between_layers_prints_as_one_or_the_other():
    found = across_z(6.0, drawn_gap_mm=0.3)
    below, above = (across_z(6.0, drawn_gap_mm=gap_mm) for gap_mm in (0.2, 0.4))
    assert found.layers is None
    assert found.prints_as == (
        (pytest.approx(0.2), pytest.approx(below.chance)),
        (pytest.approx(0.4), pytest.approx(above.chance)),
    )
    assert found.chance == pytest.approx((below.chance + above.chance) / 2)
    assert sum(found.grade_chances.values()) == pytest.approx(1)
    said = " ".join(sentences(found))
    assert "A gap of 0.30 mm is 1.5 layers of 0.2 mm (tongue 28.5 layers), and only whole" in said
    assert "It prints as 1 layer (0.20 mm), which slides with " in said
    assert " or as 2 layers (0.40 mm), which slides with " in said


def test_a_gap_of_whole_layers_is_said_to_be():
    found = across_z(6.0, drawn_gap_mm=0.4)
    assert (found.layers, found.prints_as) == (2, ())
    assert {move.faces for move in found.moves} == {1}
    assert "tongue 28 layers, gap 2 layers." in " ".join(sentences(found))


def test_whole_gaps_of_sizes_between_layers_print_as_several():
    # 6.1 and 5.9 mm are 30.5 and 29.5 layers: 30 or 31 less 29 or 30.
    found = across_z(6.1, drawn_gap_mm=0.2)
    assert [gap for gap, _ in found.prints_as] == pytest.approx([0.0, 0.2, 0.4])


def test_joints_in_the_layer_plane_know_nothing_of_layers():
    joint = Joint(Form.SLOT, Form.TONGUE, 6.1, Direction.X)
    found = answer(known_profile(), Question(joint, Grade.SLIDE, drawn_gap_mm=0.3))
    assert (found.layer_mm, found.layers, found.prints_as) == (None, None, ())
    assert not any("whole layers" in said or "In layers" in said for said in sentences(found))


@pytest.mark.parametrize(
    ("move", "gap_mm", "slot_mm", "tongue_mm"),
    [
        (MovingBody.INTERNAL, 0.6, 6.6, 6.0),
        (MovingBody.EXTERNAL, 0.6, 6.0, 5.4),
        (MovingBody.BOTH, 0.8, 6.4, 5.6),
        (MovingBody.BOTH, 0.6, 6.4, 5.8),  # the odd layer goes to the roof: a step stays strong
        (MovingBody.BOTH, 0.2, 6.2, 6.0),
        (MovingBody.BOTH, -0.2, 6.0, 6.2),
    ],
)
def test_whole_layers_are_shared_out_over_what_moves(move, gap_mm, slot_mm, tongue_mm):
    joint = Joint(Form.SLOT, Form.TONGUE, 6.0, Direction.Z)
    found = draw_layers(joint, move, gap_mm + 0.03, LAYER_MM, up=False, hardware=False)
    drawn = {Form.SLOT: 6.0, Form.TONGUE: 6.0} | {m.form: m.drawn_mm for m in found.moves}
    assert drawn == {Form.SLOT: pytest.approx(slot_mm), Form.TONGUE: pytest.approx(tongue_mm)}
    assert found.gap_mm == pytest.approx(gap_mm)
    assert found.layers == round(gap_mm / LAYER_MM)
    assert all(m.faces == 1 for m in found.moves), "whole layers come off one face"


@pytest.mark.parametrize(
    ("move", "up", "gap_mm", "each_mm"),
    [
        # 0.01 mm a face: gaps in steps of 0.02 mm where one body moves, of 0.04 mm where both do.
        (MovingBody.EXTERNAL, False, 0.20, -0.10),
        (MovingBody.EXTERNAL, True, 0.22, -0.11),
        (MovingBody.INTERNAL, False, 0.20, -0.10),
        (MovingBody.BOTH, False, 0.20, -0.05),
        (MovingBody.BOTH, True, 0.24, -0.06),
    ],
)
def test_a_gap_in_the_plane_is_drawn_in_hundredths_a_face(move, up, gap_mm, each_mm):
    joint = Joint(Form.SLOT, Form.TONGUE, 6.0, Direction.X)
    found = draw_gap(joint, move, 0.209, up=up)
    assert found.gap_mm == pytest.approx(gap_mm)
    assert [(m.offset_mm, m.faces) for m in found.moves] == [(pytest.approx(each_mm), 2)] * (
        2 if move is MovingBody.BOTH else 1
    )


@pytest.mark.parametrize(("up", "slot_mm"), [(False, 5.8), (True, 6.0)])
def test_around_hardware_the_printed_size_is_rounded_from_its_own_size(up, slot_mm):
    # 5.6 mm and 0.25 more are 29.25 layers; up is where the gap grows, for a tongue as well.
    joint = Joint(Form.SLOT, Form.TONGUE, 5.6, Direction.Z)
    found = draw_layers(joint, MovingBody.INTERNAL, 0.25, LAYER_MM, up=up, hardware=True)
    ((form, drawn_mm),) = [(m.form, m.drawn_mm) for m in found.moves]
    assert (form, drawn_mm) == (Form.SLOT, pytest.approx(slot_mm))
    assert found.gap_mm == pytest.approx(slot_mm - 5.6)
    within = draw_layers(joint, MovingBody.EXTERNAL, 0.25, LAYER_MM, up=up, hardware=True)
    (move,) = within.moves
    # 5.35 mm is 26.75 layers: 27 leave a gap of 0.2, 26 one of 0.4.
    assert (move.form, move.drawn_mm) == (Form.TONGUE, pytest.approx(5.2 if up else 5.4))
    assert within.gap_mm == pytest.approx(0.4 if up else 0.2)


@pytest.mark.parametrize(
    ("move", "up", "size_mm", "slot_mm", "tongue_mm"),
    [
        # 0.243 mm is wanted. The slot is drawn in layers of 0.2 mm, the tongue in 0.02 mm.
        (MovingBody.EXTERNAL, False, 6.0, 6.0, 5.76),
        (MovingBody.EXTERNAL, True, 6.0, 6.0, 5.74),
        # A slot of 6.13 mm is printed as 6.2; the tongue makes up for it.
        (MovingBody.EXTERNAL, False, 6.13, 6.2, 5.95),
        (MovingBody.INTERNAL, False, 6.0, 6.2, 6.0),
        (MovingBody.INTERNAL, True, 6.0, 6.4, 6.0),
        (MovingBody.BOTH, False, 6.0, 6.2, 5.96),
        (MovingBody.BOTH, True, 6.0, 6.2, 5.94),
    ],
)
def test_where_one_body_is_drawn_in_layers_the_other_makes_up(
    move, up, size_mm, slot_mm, tongue_mm
):
    joint = Joint(Form.SLOT, Form.TONGUE, size_mm, Direction.Z, Direction.X)
    layers_mm = {Form.SLOT: LAYER_MM, Form.TONGUE: None}
    found = draw_unlike(joint, move, 0.243, layers_mm, up=up)
    drawn = {Form.SLOT: size_mm, Form.TONGUE: size_mm} | {m.form: m.drawn_mm for m in found.moves}
    assert drawn == {Form.SLOT: pytest.approx(slot_mm), Form.TONGUE: pytest.approx(tongue_mm)}
    assert found.gap_mm == pytest.approx(slot_mm - tongue_mm)
    assert found.unlike
    assert found.layer_mm == (None if move is MovingBody.EXTERNAL else LAYER_MM)
    faces = {Form.SLOT: 1, Form.TONGUE: 2}
    assert all(m.faces == faces[m.form] for m in found.moves)
    assert all(m.layer_mm == layers_mm[m.form] for m in found.moves)
    for m in found.moves:
        into = 1 if m.form is Form.TONGUE else -1
        assert into * m.faces * m.offset_mm == pytest.approx(m.drawn_mm - size_mm)


@pytest.mark.parametrize(
    ("move", "drawn_mm", "faces", "prints_mm"),
    [
        (MovingBody.EXTERNAL, 5.7, 2, ()),  # the tongue is not drawn in layers: as it is asked
        (MovingBody.INTERNAL, 6.3, 2, (0.2, 0.4)),  # 31.5 layers: 31 or 32
    ],
)
def test_a_gap_as_it_is_drawn_prints_in_the_layers_of_the_body_that_has_them(
    move, drawn_mm, faces, prints_mm
):
    joint = Joint(Form.SLOT, Form.TONGUE, 6.0, Direction.Z, Direction.X)
    layers_mm = {Form.SLOT: LAYER_MM, Form.TONGUE: None}
    found = draw_off_layers(joint, move, 0.3, layers_mm, hardware=None)
    assert [(m.drawn_mm, m.faces) for m in found.moves] == [(pytest.approx(drawn_mm), faces)]
    assert (found.gap_mm, found.layer_mm, found.layers) == (0.3, LAYER_MM, None)
    assert found.prints_mm == pytest.approx(prints_mm)
    assert found.unlike
