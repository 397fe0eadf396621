"""Words that people type, and ways in which bodies lie, as they are read and said."""

import pytest

from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.answering.told import Told
from coupons.answering.typed_words import joint_with, known, read_across
from coupons.answering.wanted_text import parse_want
from coupons.answering.ways import (
    across_of,
    face_hint,
    flats_hint,
    joint_way,
    sizes_in,
    way,
    written_across,
)
from coupons.errors import AnswerError
from coupons.terms import FITS, Direction, Form, Grade, Joint, Slant

X, Y, Z, XY_PLUS = Direction.X, Direction.Y, Direction.Z, Direction.XY_PLUS
SLOT, TONGUE, HOLE, PIN = Form.SLOT, Form.TONGUE, Form.HOLE, Form.PIN


@pytest.mark.parametrize("text", ["slide", " Slide ", "SLIDE"])
def test_a_word_is_read_in_any_case(text):
    assert known(FITS, text, "fit") is Grade.SLIDE


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("slid", "got 'slid'. Did you mean slide?"),
        ("big", "Expected a fit (force, push, slide, loose), got 'big'."),
        ("no-go", "Expected a fit (force, push, slide, loose), got 'no-go'."),
    ],
)
def test_an_unknown_word_is_refused_with_the_nearest_one(text, says):
    with pytest.raises(AnswerError) as refused:
        known(FITS, text, "fit")
    assert str(refused.value).endswith(says)


@pytest.mark.parametrize(
    ("text", "axes", "sides"),
    [
        ("x", ("across",), ((X,), (X,))),
        ("x+y", ("across",), ((XY_PLUS,), (XY_PLUS,))),
        ("z/x", ("across",), ((Z,), (X,))),
        ("xy", ("axis", "pitch"), ((X, Y), (X, Y))),
        (" zx ", ("axis", "pitch"), ((Z, X), (Z, X))),
        ("z,x+y", ("axis", "pitch"), ((Z, XY_PLUS), (Z, XY_PLUS))),
        ("xy/xz", ("across", "pull"), ((X, Y), (X, Z))),
    ],
)
def test_directions_are_read_for_one_body_or_two(text, axes, sides):
    assert read_across(text, axes) == sides
    assert written_across(sides) == text.strip()


@pytest.mark.parametrize(
    ("text", "axes", "says"),
    [
        ("x/y/z", ("across",), "Write one direction for both bodies, such as x, or internal/"),
        ("w", ("across",), "Expected a direction (x, y, z, x+y, x-y), got 'w'."),
        ("x", ("axis", "pitch"), "Write 2 directions for each body, axis and pitch, such as xy,"),
        ("xyz", ("axis", "pitch"), "Write 2 directions for each body"),
        ("xy", ("a", "b", "c"), "Write 3 directions for each body, a and b and c, such as x, not"),
        ("zz", ("axis", "pitch"), "The directions of a body must differ, axis and pitch: 'zz'."),
        ("xz/yy", ("axis", "pitch"), "The directions of a body must differ"),
    ],
)
def test_directions_that_make_no_sense_are_refused(text, axes, says):
    with pytest.raises(AnswerError) as refused:
        read_across(text, axes)
    assert says in str(refused.value)


def test_a_joint_lies_as_its_sides_say():
    plain = joint_with(SLOT, TONGUE, 12.0, ((X,), (X,)))
    assert plain == Joint(SLOT, TONGUE, 12.0, X)
    assert joint_with(SLOT, TONGUE, 12.0, ((Z,), (X,))) == Joint(SLOT, TONGUE, 12.0, Z, X)
    # Of a taper the second direction is the pull, the other body's is said where it differs.
    leaning = joint_with(SLOT, TONGUE, 12.0, ((X, Z), (X, Z)), 10.0)
    assert leaning == Joint(SLOT, TONGUE, 12.0, X, None, Slant(10.0, Z, None))
    apart = joint_with(SLOT, TONGUE, 12.0, ((X, Z), (X, Y)), 10.0)
    assert apart == Joint(SLOT, TONGUE, 12.0, X, None, Slant(10.0, Z, Y))
    cone = joint_with(HOLE, PIN, 8.0, ((Z,), (X,)), 5.0)
    assert cone == Joint(HOLE, PIN, 8.0, Z, X, Slant(5.0, Z, X))


def test_a_way_to_lie_is_said_by_what_the_form_has():
    assert (way(SLOT, X), way(TONGUE, Z)) == ("across x", "across z")
    assert (way(HOLE, X), way(PIN, Z)) == ("axis along x", "axis along z")
    assert sizes_in(TONGUE, Y) == "tongues across y"
    assert sizes_in(PIN, Y) == "pins with their axis along y"
    assert joint_way(Joint(SLOT, TONGUE, 12.0, X)) == "across x"
    assert joint_way(Joint(SLOT, TONGUE, 12.0, X, Y)) == "across x/y"
    leaning = Joint(SLOT, TONGUE, 12.0, X, None, Slant(7.5, Z, None))
    assert joint_way(leaning) == "across x, slanted 7.5 degrees"


def test_directions_are_written_as_they_are_asked_for():
    assert across_of(Joint(SLOT, TONGUE, 12.0, X)) == "x"
    assert across_of(Joint(HOLE, PIN, 8.0, Z, X)) == "z/x"
    assert across_of(Joint(SLOT, TONGUE, 12.0, X, None, Slant(10.0, Z, None))) == "xz"
    assert across_of(Joint(SLOT, TONGUE, 12.0, X, None, Slant(10.0, Z, Y))) == "xz/xy"
    # A round taper is pulled along its axis, which is said once.
    assert across_of(Joint(HOLE, PIN, 8.0, Z, None, Slant(5.0, Z, None))) == "z"


def test_flats_are_not_the_axis_of_the_screw():
    assert flats_hint(hardware("nut M3"), Z) == (
        "For nut M3, across z means from flat to flat. If z is the axis of the screw, use across x "
        "or y."
    )
    assert flats_hint(hardware("pin 8 m6"), Z) == flats_hint(None, Z) == ""
    assert face_hint(SLOT, X) == "For a flat joint, across x means from face to face."
    assert face_hint(HOLE, X) == ""


@pytest.mark.parametrize(
    ("text", "size_mm", "within_mm"),
    [
        ("push hole / pin along z at 8", 8.0, None),
        ("push hole/pin across z at 8mm within 1", 8.0, 1.0),
        ("push hole/pin axis along z at 8,5 mm within 0.02 mm", 8.5, 0.02),
    ],
)
def test_a_want_holds_a_joint_and_how_far_it_is_to_be_known(text, size_mm, within_mm):
    found = Question(Joint(HOLE, PIN, size_mm, Z), Grade.PUSH), within_mm
    assert parse_want(text) == found


@pytest.mark.parametrize(
    ("text", "says", "several"),
    [
        ("slide slot/tongue, hole/pin across x at 12", "a want such as", True),
        ("slide slot/tongue; push across x at 12", "a want such as", True),
        ("slide slot across x at 12", "a want such as", False),
        ("slide slot/tongue across x at 12 within 1.01", "up to 1 mm", False),
        ("slide slot/tongue across x at 12 within wide", "up to 1 mm after 'within'", False),
    ],
)
def test_a_want_that_cannot_be_read_says_what_is_wanted(text, says, several):
    with pytest.raises(AnswerError) as refused:
        parse_want(text)
    assert says in str(refused.value)
    assert ("one joint a --want" in str(refused.value)) is several


def test_all_that_is_wrong_with_a_want_is_said_at_once():
    with pytest.raises(AnswerError) as refused:
        parse_want("slide slot/tongue across x at wide within 0")
    assert [problem.got for problem in refused.value.problems] == ["'wide'", "'0'"]


def test_a_long_want_is_shown_by_its_first_80_signs():
    with pytest.raises(AnswerError) as refused:
        parse_want(" " + "x" * 100)
    assert refused.value.problems[0].where == f"--want '{'x' * 80}'"


def test_an_answer_that_nobody_has_words_for_is_told_by_its_line():
    class Bare(Told):
        def __repr__(self):
            return "Bare()"

    assert str(Bare()) == "Bare()"
