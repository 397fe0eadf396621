"""An answer in words, where there are pieces to choose from; all others are told elsewhere."""

from dataclasses import replace
from datetime import date

from coupons.answering.chances.one_print import HIGH_CHANCE
from coupons.answering.chances.pieces import Choices
from coupons.answering.offset import Answer
from coupons.answering.words import answer_data, answers
from coupons.answering.words.answer_data import move_data
from coupons.answering.words.answers import (
    VERBS,
    background,
    costs_sentences,
    draw_sentence,
    feel_sentences,
    length,
    stays_words,
)
from coupons.answering.words.numbers import chance, chances, counted, minus

CUT = (
    "Cut the notches where no face mates. Try the piece with the most notches first, it is the "
    "loosest, then the others in turn."
)
RESTS_ON_PRACTICE = (
    "One print cannot show how far prints differ: there this chance rests on common practice. A "
    "second print, fitted together, shows it."
)


def sentences(answer: Answer, today: date | None = None) -> list[str]:
    """Return the answer as sentences: the decision, then details."""
    return [*headline(answer, today), *details(answer, today)]


def headline(answer: Answer, today: date | None = None) -> list[str]:
    """Return marks, what to draw, the chance, and what makes that chance doubtful."""
    found = answer.choices
    if found is None:
        return answers.headline(answer, today)
    lines = answers.marks_of_all(answer, today)
    lines.append(_print_sentence(answer, found))
    for piece in found.pieces:
        lines.append(f"{notches(piece.notches)}: {_small(draw_sentence(piece.moves))}")
    lines.append(chance_sentence(answer, found))
    return lines + answers.slant_sentences(answer) + answers.doubts(answer)


def details(answer: Answer, today: date | None = None) -> list[str]:
    """Return the details of an answer, most important first."""
    found = answer.choices
    if found is None:
        return answers.details(answer, today)
    gaps = in_turn([minus(piece.gap_mm) for piece in found.pieces])
    lines = [
        *costs_sentences(answer),
        CUT,
        *feel_sentences(answer),
        f"The drawn gaps are {gaps} mm over both sides.",
    ]
    lines.append(_step_sentence(answer, found))
    if found.chance > HIGH_CHANCE and found.from_one_print:
        lines.append(RESTS_ON_PRACTICE)
    return lines + background(replace(answer, one_print=None), today)


def notches(count: int) -> str:
    """Name a piece by its mark.

    Examples
    --------
    >>> notches(1), notches(2)
    ('1 notch', '2 notches')
    """
    return counted(count, "notch", "notches")


def in_turn(numbers: list[str]) -> str:
    """List numbers in a sentence.

    Examples
    --------
    >>> in_turn(["11.82", "11.72", "11.62"])
    '11.82, 11.72 and 11.62'
    """
    return f"{', '.join(numbers[:-1])} and {numbers[-1]}"


def chance_sentence(answer: Answer, found: Choices) -> str:
    """Give the chance that one of the pieces fits, beside that of the best single one."""
    verb = VERBS[answer.question.fit]
    mixed = max(0.0, 1 - found.chance - found.all_too_tight - found.all_too_loose)
    one, tight, loose, between = chances(
        found.chance, found.all_too_tight, found.all_too_loose, mixed
    )
    alone = length(answer.moves[0].drawn_mm)
    return (
        f"At least one {verb} with {one} chance (all too tight {tight}, all too loose {loose}, "
        f"some of each {between}). The best single one, {alone} mm, {verb} with "
        f"{chance(answer.chance)}."
    )


def as_data(answer: Answer, today: date | None = None) -> dict[str, object]:
    """Return the answer as plain data, units in the names, question and sentences with it."""
    data = answer_data.as_data(answer, today)
    return data | {"choices": choices_data(answer.choices), "words": sentences(answer, today)}


def choices_data(found: Choices | None) -> dict[str, object] | None:
    """Return pieces to choose from as plain data; None where there are none."""
    if found is None:
        return None
    return {
        "chance": found.chance,
        "error": found.error,
        "all_too_tight": found.all_too_tight,
        "all_too_loose": found.all_too_loose,
        "least_step_mm": found.least_step_mm,
        "pieces": [
            {
                "notches": piece.notches,
                "gap_mm": piece.gap_mm,
                "chance": piece.chance,
                "moves": [move_data(move) for move in piece.moves],
            }
            for piece in found.pieces
        ],
    }


def _print_sentence(answer: Answer, found: Choices) -> str:
    form, stays = found.pieces[0].moves[0].form, stays_words(answer.question, answer.moves)
    kept = f"; {stays}" if stays else ""
    verb = VERBS[answer.question.fit]
    return f"Print {len(found.pieces)} {form}s, marked by notches, and keep one that {verb}{kept}."


def _step_sentence(answer: Answer, found: Choices) -> str:
    least = f"{found.least_step_mm:.2f} mm"
    if answer.layer_mm is not None:
        return f"Neighbours differ by whole layers, at least {least}."
    return f"Neighbours differ by at least {least}: a hand can hardly tell less."


def _small(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]
