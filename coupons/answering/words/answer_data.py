"""An answer to one joint as plain data."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.slants import pull_gap_mm
from coupons.answering.offset import Answer
from coupons.answering.origin import origin_data
from coupons.answering.question import Question
from coupons.answering.ways import across_of
from coupons.answering.words.answers import sentences
from coupons.learning.profile import MeasuredRange


def measured_data(measured: Iterable[MeasuredRange]) -> list[dict[str, object]]:
    """Return the measured sizes behind an answer as plain data."""
    return [each.model_dump(mode="json") for each in measured]


def move_data(move: FaceMove) -> dict[str, object]:
    """Return one body's move as plain data."""
    return {
        "form": str(move.form),
        "from_mm": move.from_mm,
        "offset_mm": move.offset_mm,
        "faces": move.faces,
        "drawn_mm": move.drawn_mm,
    }


def question_data(question: Question) -> dict[str, object]:
    """Return what was asked of a joint as plain data."""
    return {
        "joint": f"{question.joint.internal}/{question.joint.external}",
        "size_mm": question.joint.size_mm,
        "across": across_of(question.joint),
        "slant_deg": question.joint.slant and question.joint.slant.angle_deg,
        "hardware": question.hardware.name if question.hardware else None,
        "fit": str(question.fit),
        "move": str(question.move),
        "at_least": question.at_least,
        "drawn_gap_mm": question.drawn_gap_mm,
        "printed_gap_mm": question.printed_gap_mm,
        "bed": None if question.bed is None else str(question.bed),
        "contact_mm": question.contact_mm,
        "two_prints": question.two_prints,
        "choices": question.choices,
        "loose_costs": question.loose_costs,
    }


def _even_data(even: Answer) -> dict[str, object]:
    return {
        "gap_mm": even.gap_mm,
        "chance": even.chance,
        "too_tight": even.too_tight,
        "too_loose": even.too_loose,
    }


def as_data(answer: Answer, today: date | None = None) -> dict[str, object]:
    """Return the answer as plain data, units in the names, question and sentences with it."""
    question = answer.question
    drawn_anew = {move.form for move in answer.moves}
    stays = None if question.staying in drawn_anew else question.staying
    return {
        "question": question_data(question),
        "moves": [move_data(move) for move in answer.moves],
        "stays": None if stays is None else str(stays),
        "gap_mm": answer.gap_mm,
        "pull_gap_mm": pull_gap_mm(question.joint, answer.gap_mm) if question.joint.slant else None,
        "best_gap_mm": answer.best_gap_mm,
        "low_mm": answer.low_mm,
        "high_mm": answer.high_mm,
        "chance": answer.chance,
        "too_tight": answer.too_tight,
        "too_loose": answer.too_loose,
        "expected_cost": answer.expected_cost,
        "at_equal_costs": None
        if answer.at_equal_costs is None
        else _even_data(answer.at_equal_costs),
        "grades": {str(grade): p for grade, p in answer.grade_chances.items()},
        "measured": measured_data(answer.measured),
        "extrapolated": answer.extrapolated,
        "rehearsed": answer.rehearsed,
        "layers": answer.layers,
        "layer_mm": answer.layer_mm,
        "prints_as": [{"gap_mm": gap_mm, "chance": p} for gap_mm, p in answer.prints_as],
        "feel": str(answer.feel),
        "beds": [{"bed": str(bed), "interval_mm": mm} for bed, mm in answer.beds],
        "contact": None if answer.contact is None else asdict(answer.contact),
        "one_print": None if answer.one_print is None else asdict(answer.one_print),
        "origin": origin_data(answer.origin, today),
        "makers": [
            {"form": str(form), **origin_data(origin, today)} for form, origin in answer.makers
        ],
        "words": sentences(answer, today),
    }
