"""Answers written down by hand, so that what is said of them can be read off their numbers."""

from datetime import date

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.offset import Answer, Feel
from coupons.answering.origin import Origin
from coupons.answering.question import Question
from coupons.answering.single import SizeAnswer, SizeQuestion
from coupons.terms import GRADES, Direction, Form, Grade, Joint

X, Y, Z = Direction.X, Direction.Y, Direction.Z
TODAY = date(2026, 3, 13)
ORIGIN = Origin("bench-1", "grey", 0.2, date(2026, 3, 1))
ORIGIN_SAID = (
    "For bench-1, grey, 0.2 mm layers; printed 2026-03-01 (fresh, 12 days old)."  # as of TODAY
)
DRAWER = Joint(Form.SLOT, Form.TONGUE, 12.0, X)
SLIDE = Question(DRAWER, Grade.SLIDE)
# 12 mm less two faces of 0.17 mm.
SLIMMER = FaceMove(Form.TONGUE, -0.17, 2, 11.66)


def written(question=SLIDE, **changes):
    """Return an answer with numbers that are easy to tell apart."""
    fields = {
        "question": question,
        "gap_mm": 0.34,
        "best_gap_mm": 0.336,
        "low_mm": 0.28,
        "high_mm": 0.4,
        "at_edge": False,
        "chance": 0.81,
        "too_tight": 0.12,
        "too_loose": 0.07,
        "grade_chances": dict(zip(GRADES, (0.01, 0.02, 0.09, 0.81, 0.07), strict=True)),
        "moves": (SLIMMER,),
        "measured": (),
        "extrapolated": False,
        "rehearsed": False,
        "layer_mm": None,
        "layers": None,
        "prints_as": (),
        "feel": Feel.HAND,
        "origin": ORIGIN,
    }
    return Answer(**(fields | changes))


HOLE = SizeQuestion(Form.HOLE, 8.0, Z)


def written_size(question=HOLE, **changes):
    """Return the answer to one size: a hole drawn 8.24 mm, so that it prints at 8 mm."""
    fields = {
        "question": question,
        "drawn_mm": 8.24,
        "expected_mm": 8.01,
        "low_mm": 7.93,
        "high_mm": 8.09,
        "sd_mm": 0.05,
        "offset_mm": -0.12,
        "faces": 2,
        "chance": None,
        "measured": None,
        "extrapolated": False,
        "rehearsed": False,
        "layer_mm": None,
        "layers": None,
        "origin": ORIGIN,
    }
    return SizeAnswer(**(fields | changes))


def plain(text):
    """Return a sentence, or sentences, with usual blanks in place of those that hold a line."""
    if isinstance(text, str):
        return text.replace("\N{NO-BREAK SPACE}", " ")
    return [plain(line) for line in text]
