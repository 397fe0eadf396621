"""Numbers in words: chances that add up, one of a thing and several."""

import re

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.answers import sentences
from coupons.answering.words.numbers import chance, chances, counted, whole_percents
from coupons.terms import Direction, Form, Grade, Joint


def low_high(text):
    """Return the whole percents that a told chance may stand for."""
    number = int("".join(sign for sign in text if sign.isdigit()))
    return (0, 1) if "under" in text else (99, 100) if "over" in text else (number, number)


def test_told_chances_add_up_and_the_first_is_told_as_it_is_alone():
    rng = np.random.default_rng(5)
    for _ in range(2000):
        parts = rng.dirichlet([0.7] * rng.integers(2, 6))
        told = chances(*parts)
        assert told[0] == chance(parts[0])
        low, high = (sum(ends) for ends in zip(*map(low_high, told), strict=True))
        assert low <= 100 <= high + (told[0] == "under 1\N{NO-BREAK SPACE}%")
        for part, text in zip(parts, told, strict=True):
            at_least, at_most = low_high(text)
            assert at_least - 1 < 100 * part < at_most + 1


def test_whole_percents_add_up_and_none_is_off_by_one():
    rng = np.random.default_rng(6)
    for _ in range(500):
        parts = rng.dirichlet([0.5] * rng.integers(1, 9))
        whole = whole_percents(list(parts))
        assert sum(whole) == 100
        assert np.all(np.abs(100 * parts - whole) < 1)


def test_an_answer_s_three_chances_add_up():
    profile = known_profile(sd_share=0.3)
    for size_mm in (4, 8, 12, 20, 40):
        asked = Question(Joint(Form.SLOT, Form.TONGUE, size_mm, Direction.X), Grade.SLIDE)
        (line,) = [line for line in sentences(answer(profile, asked)) if "too tight" in line]
        told = [int(number) for number in re.findall(r"(\d+)\s%", line)]
        assert len(told) == 3
        assert sum(told) == 100


@pytest.mark.parametrize(
    ("number", "says"), [(1, "1 print"), (-1, "−1 print"), (0, "0 prints"), (2, "2 prints")]
)
def test_one_and_several(number, says):
    assert counted(number, "print") == says


def test_one_whole_layer_is_one():
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Z)
    for layer_mm in np.arange(0.1, 0.6, 0.02):
        found = answer(known_profile(layer_height_mm=layer_mm), Question(joint, Grade.SLIDE))
        if found.layers == 1:
            break
    assert found.layers == 1
    assert "gap 1 layer;" in " ".join(sentences(found))
