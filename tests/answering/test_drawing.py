"""Sizes across layers fall on layers, or say as what they print."""

import pytest
from support.known_profile import known_profile

from coupons.answering.chances.drawing import whole_layers
from coupons.answering.offset import Question, answer
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
