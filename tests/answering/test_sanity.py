import math

import pytest

from coupons.answering.strength.press_and_clip import (
    PressBody,
    check_press,
    check_snap,
    lame_pressure_mpa,
)
from coupons.errors import AnswerError

PLASTIC = PressBody(other_mm=16, modulus_mpa=3500)
DOWEL = PressBody(other_mm=0, modulus_mpa=math.inf)


def test_a_press_beyond_the_limit_says_so():
    assert check_press(0.1, 10, PLASTIC, DOWEL, strain_limit=0.0101).within_limit
    assert not check_press(0.1, 10, PLASTIC, DOWEL, strain_limit=0.0099).within_limit


def test_a_clip_bent_to_its_limit_stands_exactly_at_it():
    check = check_snap(3, 15, 2, strain_limit=0.02)
    assert not check.within_limit
    assert check_snap(check.deflection_limit_mm, 15, 2, strain_limit=0.02).strain == pytest.approx(
        0.02
    )


def test_every_check_carries_cautions():
    assert any("layers" in line for line in check_press(0.1, 10, PLASTIC, DOWEL, 0.02).cautions)
    assert any("guarding" in line for line in check_snap(1, 15, 2, 0.02).cautions)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((0, 10, PLASTIC, DOWEL), "interference_mm"),
        ((math.nan, 10, PLASTIC, DOWEL), "interference_mm"),
        ((0.1, -10, PLASTIC, DOWEL), "size_mm"),
        ((0.1, 16, PLASTIC, DOWEL), "pin bore < size < ring outside diameter"),
        ((0.1, 10, PLASTIC, PressBody(10, 3500)), "pin bore < size"),
        ((0.1, 10, PLASTIC, PressBody(-1, 3500)), "pin bore < size"),
        ((0.1, 10, PLASTIC, PressBody(0, 0)), "pin_modulus_mpa"),
        ((0.1, 10, PressBody(16, math.inf), DOWEL), "ring_modulus_mpa"),
    ],
)
def test_impossible_presses(arguments, says):
    with pytest.raises(AnswerError, match=says):
        lame_pressure_mpa(*arguments)


@pytest.mark.parametrize("limit", [0, -0.01, 1, 2, math.nan])
def test_a_limit_is_a_share(limit):
    with pytest.raises(AnswerError, match="Write 1 %"):
        check_snap(1, 15, 2, limit)


def test_all_wrong_lengths_are_named_at_once():
    with pytest.raises(AnswerError) as caught:
        check_snap(0, -1, 2, 0.02)
    assert [problem.where for problem in caught.value.problems] == ["deflection_mm", "length_mm"]
