"""What is said of pieces to choose from."""

from dataclasses import replace

import pytest
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons.answering.choices import answer_with_choices
from coupons.answering.question import Question
from coupons.answering.words.choices import (
    CUT,
    RESTS_ON_PRACTICE,
    chance_sentence,
    choices_data,
    details,
    headline,
)
from coupons.terms import Direction, Form, Grade, Joint

JOINT = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)


@pytest.fixture(scope="module")
def answer():
    question = Question(JOINT, Grade.SLIDE, choices=2)
    return answer_with_choices(known_profile(sd_share=FROM_ONE_PRINT), question)


def told(answer, **changes):
    found = replace(answer.choices, **changes)
    return replace(answer, choices=found), found


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_what_no_single_side_explains_is_some_of_each(answer):
    changed, found = told(answer, chance=0.8, all_too_tight=0.06, all_too_loose=0.03)
    said = plain(chance_sentence(changed, found))
    assert (
        "At least one slides with 80 % chance (all too tight 6 %, all too loose 3 %, some of each "
        "11 %)." in said
    )
    changed, found = told(answer, chance=0.9, all_too_tight=0.06, all_too_loose=0.05)
    assert "some of each under 1 %" in plain(chance_sentence(changed, found))
    alone = answer.moves[0].drawn_mm
    assert f"The best single one, {alone:.2f} mm, slides with" in said


@pytest.mark.parametrize(
    ("chance", "one_print", "rests"),
    [(0.96, True, True), (0.96, False, False), (0.5, True, False)],
)
def test_a_high_chance_from_one_print_rests_on_practice(answer, chance, one_print, rests):
    changed, _ = told(answer, chance=chance, from_one_print=one_print)
    assert (RESTS_ON_PRACTICE in details(changed)) is rests


def test_pieces_are_named_by_notches_the_tightest_first(answer):
    lines = headline(answer)
    assert any(line.startswith("1 notch: ") for line in lines)
    assert any(line.startswith("2 notches: ") for line in lines)
    assert any("Print 2 tongues, marked by notches, and keep one that slides" in x for x in lines)
    tight, loose = answer.choices.pieces
    assert tight.gap_mm < loose.gap_mm
    said = details(answer)
    assert CUT in said
    gaps = f"The drawn gaps are {tight.gap_mm:.2f} and {loose.gap_mm:.2f} mm over both sides."
    assert gaps in said
    least = f"Neighbours differ by at least {answer.choices.least_step_mm:.2f} mm: a hand"
    assert any(line.startswith(least) for line in said)


def test_the_same_is_told_as_data(answer):
    data = choices_data(answer.choices)
    assert [one["notches"] for one in data["pieces"]] == [1, 2]
    assert data["chance"] == answer.choices.chance
    assert choices_data(None) is None


def test_an_answer_without_pieces_is_told_as_ever(answer):
    alone = replace(answer, choices=None)
    assert not any("notch" in line for line in (*headline(alone), *details(alone)))
