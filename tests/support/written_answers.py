"""Answers written down by hand, so that what is said of them can be read off their numbers."""

from dataclasses import replace
from datetime import date

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.pieces import Choices, Piece
from coupons.answering.chances.together import Together
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.whole_part import JointAnswer, PartAnswer
from coupons.answering.offset import Answer, Feel
from coupons.answering.origin import Origin
from coupons.answering.question import Question
from coupons.answering.several.drawn_pairs import PairDrawn, SeveralAnswer
from coupons.answering.several.kinds import JointKind, Several
from coupons.answering.single import SizeAnswer, SizeQuestion
from coupons.answering.standards.hardware import hardware
from coupons.terms import GRADES, Direction, Form, Grade, Joint, MovingBody

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


def joined(found, **listed):
    """Return a row of a list with its answer, as the answer's question asks it."""
    asked = found.question if isinstance(found, Answer) else SLIDE
    fields = {
        "row": 2,
        "name": "drawer",
        "joint": asked.joint,
        "fit": asked.fit,
        "gap_mm": None,
        "move": asked.move,
    }
    return JointAnswer(ListedJoint(**(fields | listed)), found)


def written_part(*joints, **changes):
    """Return a part of joints that are all counted."""
    fields = {
        "joints": joints,
        "together": Together(0.72, 0.0),
        "not_too_tight": Together(0.83, 0.0),
        "loosen": None,
        "counted": joints,
        "rehearsed": False,
        "origin": replace(ORIGIN, printed_on=None),  # whose age no day changes
    }
    return PartAnswer(**(fields | changes))


# 40 mm less two faces of 0.17 mm, 25 mm less two of 0.2 mm.
SLIMMER_PLATE = (
    (FaceMove(Form.TONGUE, -0.17, 2, 39.66),),
    (FaceMove(Form.TONGUE, -0.2, 2, 24.6),),
)
LID = Several(JointKind.POCKET, (40.0, 25.0), ((X, Y), (X, Y)))


def written_several(asked=LID, drawn=SLIMMER_PLATE, **changes):
    """Return an answer about several pairs of faces; by default a plate in a pocket."""
    gaps_mm = (0.34, 0.4)
    pairs = tuple(
        PairDrawn(written(question, gap_mm=0.3, chance=alone, moves=moves), gap_mm, moves)
        for question, gap_mm, alone, moves in zip(
            asked.pairs, gaps_mm, (0.9, 0.84), drawn, strict=False
        )
    )
    fields = {
        "question": asked,
        "pairs": pairs,
        "chance": 0.7,
        "too_tight": 0.18,
        "too_loose": 0.12,
        "sampling_error": 0.0,
        "feel": Feel.HAND,
        "extrapolated": False,
        "rehearsed": False,
        "origin": ORIGIN,
    }
    return SeveralAnswer(**(fields | changes))


SCREW = hardware("screw M3 medium")
HOLE_M3 = Joint(Form.HOLE, Form.PIN, 3.0, Z)


def screw_hole(**changes):
    """The hole of 3.4 mm that a standard gives a screw of 3 mm, drawn 3.7 mm."""
    asked = SizeQuestion(Form.HOLE, 3.47, Z, SCREW.printed, hardware=SCREW)
    fields = {"drawn_mm": 3.7, "offset_mm": -0.15, "chance": 0.93}
    found = written_size(asked, **(fields | changes))
    listed = {"name": "cover", "joint": HOLE_M3, "fit": None, "move": MovingBody.INTERNAL}
    return joined(found, hardware=SCREW, **listed)


def unanswered(why="Not measured."):
    return replace(joined(written(), name="shelf"), found=None, why=why)


PIECES = Choices(
    (
        Piece(1, 0.3, (FaceMove(Form.TONGUE, -0.15, 2, 11.7),), 0.6),
        Piece(2, 0.4, (FaceMove(Form.TONGUE, -0.2, 2, 11.6),), 0.7),
    ),
    chance=0.95,
    error=0.001,
    all_too_tight=0.03,
    all_too_loose=0.015,
    least_step_mm=0.1,
    from_one_print=True,
)
