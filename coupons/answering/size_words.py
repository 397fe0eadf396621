"""Answers about single sizes and about limits, in words and as data."""

from collections.abc import Sequence
from itertools import groupby

from coupons.answering.capability import BAND_RULE, LimitsAnswer, Reach
from coupons.answering.offset import FaceMove
from coupons.answering.single import SizeAnswer
from coupons.answering.standards import Limits
from coupons.answering.words import (
    REHEARSED,
    SURE,
    chance,
    evidence,
    extrapolated,
    move_data,
    move_sentence,
    percent,
    size_range,
)
from coupons.terms import Form


def size_move(answer: SizeAnswer) -> FaceMove:
    """Return what to do with the faces of a single size."""
    return FaceMove(answer.question.form, answer.offset_mm, answer.faces, answer.drawn_mm)


def size_sentences(answer: SizeAnswer) -> list[str]:
    """Return the answer about one size as sentences, most important first."""
    lines = [REHEARSED] if answer.rehearsed else []
    return lines + _side_sentences(answer) + _size_evidence(answer)


def _side_sentences(answer: SizeAnswer) -> list[str]:
    lines = [
        move_sentence(size_move(answer)),
        f"It prints as {answer.expected_mm:.2f} mm, from {answer.low_mm:.2f} to "
        f"{answer.high_mm:.2f} mm {SURE}.",
    ]
    limits = answer.question.limits
    if limits is not None and answer.chance is not None:
        lines.append(f"It lies within {_limits(limits)} with {chance(answer.chance)} chance.")
    if answer.layers is not None:
        lines.append(f"That is {answer.layers} whole layers; a part of one cannot be printed.")
    return lines


def _size_evidence(answer: SizeAnswer) -> list[str]:
    question = answer.question
    measured = [(question.form, *answer.measured)] if answer.measured else []
    lines = evidence(measured, question.direction)
    if answer.extrapolated:
        lines.append(extrapolated(question.printed_mm, question.direction, answer.unmeasured))
    return lines


def _limits(limits: Limits) -> str:
    return f"{limits.code}, {limits.lower_mm:.3f} to {limits.upper_mm:.3f} mm,"


def limits_sentences(answer: LimitsAnswer) -> list[str]:
    """Return the answer about limits of a fit as sentences, most important first."""
    lines = [REHEARSED] if answer.hole.rehearsed else []
    lines += _side_sentences(answer.hole) + _side_sentences(answer.shaft)
    lines.append(
        f"A pair of one print holds all four limits with {chance(answer.both.chance)} chance."
    )
    lines += [_reach_sentence(side, answer.reached) for side in (answer.hole, answer.shaft)]
    lines += [
        _all_reached(form, answer.reached) for form in dict.fromkeys(r.form for r in answer.reached)
    ]
    if answer.reached:
        lines.append(BAND_RULE)
    if any(reach.assumed for reach in answer.reached):
        lines.append(_assumed_sentence(answer.reached))
    for side in (answer.hole, answer.shaft):
        lines += _size_evidence(side)
    return lines


def _reach_sentence(side: SizeAnswer, reached: Sequence[Reach]) -> str:
    """Say whether the printer reaches what is asked of one side, at its size."""
    question = side.question
    here = [
        reach
        for reach in reached
        if reach.form is question.form and reach.low_mm <= question.nominal_mm <= reach.high_mm
    ]
    what = f"{question.form.capitalize()}s of"
    if not here or question.limits is None:
        return (
            f"{what} {question.nominal_mm:g} mm along {question.direction}: not measured at this "
            "size, so that the grade they reach is not known."
        )
    reach, asked = here[0], question.limits.grade_number
    able = reach.grade is not None and reach.grade <= asked
    sure = reach.confidences[asked]
    verdict = (
        f"reached ({chance(sure)} sure)"
        if able
        else f"not reached ({chance(1 - sure)} sure), so that some will miss it"
    )
    return (
        f"{what} {size_range(reach.low_mm, reach.high_mm)} along {reach.direction} reach "
        f"{_grade(reach)} ({chance(reach.confidence)} sure; scatter of {reach.band_mm:.2f} mm); "
        f"{question.limits.code} asks for IT{asked}: {verdict}."
    )


def _assumed_sentence(reached: Sequence[Reach]) -> str:
    """Say how much of the scatter no print has shown, and what would show it."""
    assumed = max(reach.assumed for reach in reached)
    return (
        f"Up to {percent(assumed)} of that scatter (as a variance) is common practice, not "
        "measured. How far prints differ shows only when several are fitted together: a second "
        "print begins to show it, each further one makes the grade surer."
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
    return f"Grades reached by {form}s along {steps[0].direction}: {grades}."


def size_data(answer: SizeAnswer) -> dict[str, object]:
    """Return the answer about one size as plain data, units in the names."""
    limits = answer.question.limits
    return {
        **move_data(size_move(answer)),
        "along": str(answer.question.direction),
        "printed_mm": answer.expected_mm,
        "low_mm": answer.low_mm,
        "high_mm": answer.high_mm,
        "limits": None
        if limits is None
        else {"code": limits.code, "lower_mm": limits.lower_mm, "upper_mm": limits.upper_mm},
        "chance": answer.chance,
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "layers": answer.layers,
        "words": size_sentences(answer),
    }


def limits_data(answer: LimitsAnswer) -> dict[str, object]:
    """Return the answer about limits of a fit as plain data, units in the names."""
    return {
        "hole": size_data(answer.hole),
        "shaft": size_data(answer.shaft),
        "both": {"chance": answer.both.chance, "error": answer.both.error},
        "reached": [
            {
                "form": str(reach.form),
                "along": str(reach.direction),
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
        "words": limits_sentences(answer),
    }
