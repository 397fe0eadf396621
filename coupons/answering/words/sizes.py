"""Answers about single sizes and about limits, in words and as data."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby

from coupons.answering.capability import BAND_RULE, LimitsAnswer, Reach
from coupons.answering.chances.bed import unsaid_sentence
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.offset import EVEN_CHANCE
from coupons.answering.origin import origin_data, origin_sentence
from coupons.answering.single import SizeAnswer
from coupons.answering.standards.iso286 import Limits
from coupons.answering.ways import sizes_in, way
from coupons.answering.words.answer_data import measured_data, move_data
from coupons.answering.words.answers import (
    PREDICTED,
    draw_sentence,
    evidence,
    extrapolated,
    hardware_sentence,
    marks,
    size_range,
)
from coupons.answering.words.numbers import chance, counted, percent, signed
from coupons.terms import FLAT, Form


def size_move(answer: SizeAnswer) -> FaceMove:
    """Return what to do with the faces of a single size."""
    return FaceMove(answer.question.form, answer.offset_mm, answer.faces, answer.drawn_mm)


def size_sentences(answer: SizeAnswer, today: date | None = None) -> list[str]:
    """Return the answer about one size as sentences: the decision, then details.

    Parameters
    ----------
    answer : SizeAnswer
    today : date, optional
        The day on which the age of the print is counted; today unless given.
    """
    head = size_headline(answer, today)
    unsaid = unsaid_sentence(answer.high_mm - answer.low_mm, answer.beds)
    prints = [] if answer.question.drawn_mm is not None else _prints(answer, "It")[1:]
    lines = [*prints, *filter(None, [unsaid])]
    lines += [*evidence([answer.measured] if answer.measured else [])]
    if answer.question.hardware is not None:
        lines.append(hardware_sentence(answer.question.hardware))
    return [*head, *lines, origin_sentence(answer.origin, today)]


def size_headline(answer: SizeAnswer, today: date | None = None) -> list[str]:
    """Return marks, what to draw, what size that prints at, and what makes it doubtful."""
    lines = marks(answer.rehearsed, answer.origin, today)
    if answer.question.drawn_mm is not None:
        return [*lines, _comes_out(answer), *_within(answer, "it"), *_extrapolated(answer)]
    return [*lines, _draw(answer), _prints(answer, "it")[0], *_extrapolated(answer)]


def _comes_out(answer: SizeAnswer) -> str:
    """Say what a drawn size prints as."""
    asked = answer.question
    between = " " if asked.form in FLAT else " with its "
    return (
        f"Drawn {answer.drawn_mm:g} mm, a {asked.form}{between}{way(asked.form, asked.direction)} "
        f"prints at {answer.expected_mm:.2f} mm (error {signed(answer.error_mm)} mm), between "
        f"{answer.low_mm:.2f} and {answer.high_mm:.2f} mm {PREDICTED}."
    )


def _draw(answer: SizeAnswer) -> str:
    piece = answer.question.hardware
    stays = f"the {piece.alone.name} stays as it is" if piece else ""
    return draw_sentence([size_move(answer)], stays)


def _prints(answer: SizeAnswer, what: str) -> list[str]:
    """Give the predicted size, after the chance that it is within its limits."""
    lines = _within(answer, what)
    lines.append(
        f"{what.capitalize()} prints at {answer.expected_mm:.2f} mm, between {answer.low_mm:.2f} "
        f"and {answer.high_mm:.2f} mm {PREDICTED}."
    )
    if answer.layers is not None:
        layers = counted(answer.layers, "layer")
        lines.append(f"That is {layers} of {answer.layer_mm:g} mm; only whole layers print.")
    return lines


def _within(answer: SizeAnswer, what: str) -> list[str]:
    """Give the chance that a size is within its limits, if it has any."""
    limits = answer.question.limits
    if limits is None or answer.chance is None:
        return []
    return [f"Chance that {what} is within {_limits(limits)}: {chance(answer.chance)}."]


def _extrapolated(answer: SizeAnswer) -> list[str]:
    question = answer.question
    if not answer.extrapolated:
        return []
    unmeasured = [(form, question.direction) for form in answer.unmeasured]
    return [extrapolated(question.printed_mm, unmeasured)]


def _limits(limits: Limits) -> str:
    return f"{limits.code} ({limits.lower_mm:.3f} to {limits.upper_mm:.3f} mm)"


def limits_sentences(answer: LimitsAnswer, today: date | None = None) -> list[str]:
    """Return the answer about limits of a fit as sentences: the decision, then details."""
    lines, sides = limits_headline(answer, today), (answer.hole, answer.shaft)
    for side in sides:
        lines += _prints(side, f"the {side.question.form}")
    lines += [_reach_sentence(side, answer.reached) for side in sides]
    lines += [
        _all_reached(form, answer.reached) for form in dict.fromkeys(r.form for r in answer.reached)
    ]
    if answer.reached:
        lines.append(BAND_RULE)
    if any(reach.assumed for reach in answer.reached):
        lines.append(_assumed_sentence(answer.reached))
    for side in sides:
        lines += evidence([side.measured] if side.measured else [])
    return [*lines, origin_sentence(answer.hole.origin, today)]


def limits_headline(answer: LimitsAnswer, today: date | None = None) -> list[str]:
    """Return marks, what to draw, the chance, and what makes that chance doubtful."""
    hole, shaft = answer.hole, answer.shaft
    both = chance(answer.both.chance)
    prints = "one print" if answer.is_one_print else "two prints"
    return [
        *marks(hole.rehearsed, hole.origin, today),
        draw_sentence([size_move(hole), size_move(shaft)]),
        f"Chance that a pair from {prints} is within all four limits: {both}.",
        *dict.fromkeys(_extrapolated(hole) + _extrapolated(shaft)),
    ]


def _reach_sentence(side: SizeAnswer, reached: Sequence[Reach]) -> str:
    """Say whether the printer reaches the grade that is required of one side, at its size."""
    question = side.question
    here = [
        reach
        for reach in reached
        if reach.form is question.form and reach.low_mm <= question.nominal_mm <= reach.high_mm
    ]
    what = sizes_in(question.form, question.direction).capitalize()
    if not here or question.limits is None:
        return (
            f"{what} of {question.nominal_mm:g} mm: not measured at this size, so the grade "
            "reached is not known."
        )
    reach, grade = here[0], question.limits.grade_number
    width_mm = question.limits.width_mm
    sure = reach.confidence_within(width_mm)
    asked = f"a tolerance of {width_mm:.2f} mm" if grade is None else f"IT{grade}"
    verdict = (
        f"reached ({chance(sure)} confidence)"
        if sure >= EVEN_CHANCE
        else f"not reached ({chance(1 - sure)} confidence), so some parts will be outside"
    )
    return (
        f"{what} of {size_range(reach.low_mm, reach.high_mm)} reach {_grade(reach)} "
        f"({chance(reach.confidence)} confidence; six standard deviations are "
        f"{reach.band_mm:.2f} mm); {question.limits.code} requires {asked}: {verdict}."
    )


def _assumed_sentence(reached: Sequence[Reach]) -> str:
    """Say how much of the scatter no print has shown, and what would show it."""
    widest = max(reached, key=lambda reach: reach.assumed)
    assumed, bands_mm = widest.assumed, widest.quantiles_mm
    what = f"{sizes_in(widest.form, widest.direction)} of "
    what += size_range(widest.low_mm, widest.high_mm)
    return (
        f"Up to {percent(assumed)} of that scatter (as a variance) is common practice, not "
        f"measured: that of {what} may be {bands_mm[10]:.2f} to {bands_mm[90]:.2f} mm (four cases "
        "of five). How far prints differ shows only when several are fitted together: a second "
        f"print begins to show it ({widest.after_mm[0]:.2f} to {widest.after_mm[1]:.2f} mm then), "
        "each further one makes the grade surer."
    )


def _grade(reach: Reach) -> str:
    return f"IT{reach.grade}" if reach.grade else "no grade up to IT14"


def _all_reached(form: Form, reached: tuple[Reach, ...]) -> str:
    """List the grades of one form over the sizes that were measured."""
    steps = [reach for reach in reached if reach.form is form]
    runs = [list(alike) for _, alike in groupby(steps, key=lambda reach: reach.grade)]
    grades = ", ".join(
        f"{_grade(run[0])} at {size_range(run[0].low_mm, run[-1].high_mm)}" for run in runs
    )
    return f"Grades reached by {sizes_in(form, steps[0].direction)}: {grades}."


def size_data(answer: SizeAnswer, today: date | None = None) -> dict[str, object]:
    """Return the answer about one size as plain data, units in the names, question with it."""
    question, limits = answer.question, answer.question.limits
    return {
        "question": {
            "form": str(question.form),
            "across": str(question.direction),
            "prints_mm": question.printed_mm if question.drawn_mm is None else None,
            "drawn_mm": question.drawn_mm,
            "limits": None if limits is None else limits.code,
            "hardware": question.hardware.name if question.hardware else None,
            "bed": None if question.bed is None else str(question.bed),
        },
        **move_data(size_move(answer)),
        "printed_mm": answer.expected_mm,
        "error_mm": answer.error_mm,
        "low_mm": answer.low_mm,
        "high_mm": answer.high_mm,
        "limits": None
        if limits is None
        else {"code": limits.code, "lower_mm": limits.lower_mm, "upper_mm": limits.upper_mm},
        "chance": answer.chance,
        "measured": measured_data([answer.measured] if answer.measured else []),
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "layers": answer.layers,
        "layer_mm": answer.layer_mm,
        "beds": [{"bed": str(bed), "interval_mm": mm} for bed, mm in answer.beds],
        "origin": origin_data(answer.origin, today),
        "words": size_sentences(answer, today),
    }


def limits_data(answer: LimitsAnswer, today: date | None = None) -> dict[str, object]:
    """Return the answer about limits of a fit as plain data, units in the names."""
    internal, external = answer.hole.question, answer.shaft.question
    return {
        "question": {
            "joint": f"{internal.form}/{external.form}",
            "across": str(internal.direction),
            "limits": [limits.code for limits in (answer.fit.hole, answer.fit.shaft)],
        },
        "hole": size_data(answer.hole, today),
        "shaft": size_data(answer.shaft, today),
        "both": {"chance": answer.both.chance, "error": answer.both.error},
        "reached": [
            {
                "form": str(reach.form),
                "across": str(reach.direction),
                "low_mm": reach.low_mm,
                "high_mm": reach.high_mm,
                "band_mm": reach.band_mm,
                "grade": None if reach.grade is None else f"IT{reach.grade}",
                "confidence": reach.confidence,
                "assumed": reach.assumed,
            }
            for reach in answer.reached
        ],
        "rehearsed": answer.hole.rehearsed,
        "origin": origin_data(answer.hole.origin, today),
        "words": limits_sentences(answer, today),
    }
