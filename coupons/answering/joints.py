"""A whole part at once: what to draw for each of its joints, and the chance that all of it fits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coupons.answering.clearance import Clearance
from coupons.answering.joint_list import ListedJoint
from coupons.answering.offset import Answer, FaceMove, Question, answer
from coupons.answering.single import PrintedSize, SizeAnswer, draw_hole
from coupons.answering.together import Demand, Together, chance_together, shared_of
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import GRADES, Feature, Form, Grade


@dataclass(frozen=True)
class JointAnswer:
    """One row of the list, answered; ``found`` is None where there is no answer, ``why`` says why.

    A screw with the hole that its standard gives it is answered by one size, others as joints.
    """

    listed: ListedJoint
    found: Answer | SizeAnswer | None
    why: str = ""

    @property
    def chance(self) -> float | None:
        """Chance of what was wanted; None without an answer, or for a gap wanted as a number."""
        if self.found is None or self.listed.gap_mm is not None:
            return None
        return self.found.chance

    @property
    def moves(self) -> tuple[FaceMove, ...]:
        """What to do with each body that gives way."""
        if isinstance(self.found, Answer):
            return self.found.moves
        if self.found is None:
            return ()
        size = self.found
        return (FaceMove(size.question.form, size.offset_mm, size.faces, size.drawn_mm),)

    def drawn_mm(self, form: Form) -> float | None:
        """Size to draw for one of the two bodies; None for a bought one, or without an answer."""
        piece = self.listed.hardware
        if self.found is None or (piece is not None and piece.form is form):
            return None
        moved = {move.form: move.drawn_mm for move in self.moves}
        return moved.get(form, self.listed.joint.size_mm)


@dataclass(frozen=True)
class PartAnswer:
    """All joints of a part.

    ``together`` is the chance that the joints in ``counted`` all fit at once, on one print; those
    without an answer, and gaps wanted as numbers, are not counted.
    """

    joints: tuple[JointAnswer, ...]
    together: Together
    counted: tuple[JointAnswer, ...]
    machine: str
    material: str
    rehearsed: bool


def answer_part(profile: Profile, listed: Sequence[ListedJoint]) -> PartAnswer:
    """Answer every joint of a list.

    A joint that has no answer, because the profile never measured the like, does not keep the
    others from theirs.
    """
    known: dict[ListedJoint, JointAnswer] = {}
    joints = tuple(_answer_once(profile, joint, known) for joint in listed)
    demanding = [(joint, demand_of(profile, joint)) for joint in joints]
    counted = tuple(joint for joint, demand in demanding if demand is not None)
    demands = [demand for _, demand in demanding if demand is not None]
    return PartAnswer(
        joints=joints,
        together=_together(profile, counted, demands),
        counted=counted,
        machine=profile.machine,
        material=profile.material,
        rehearsed=profile.rehearsed,
    )


def question_of(listed: ListedJoint) -> Question:
    """Put a listed joint as a question about its gap.

    A gap wanted as a number is asked with a sliding fit; a hole whose limits a standard gives, as
    the printed gap that puts it in their middle.
    """
    piece, gap_mm = listed.hardware, listed.gap_mm
    if has_standard_hole(listed) and piece is not None and piece.printed is not None:
        gap_mm = piece.printed.middle_mm - piece.size_mm
    return Question(
        listed.joint,
        listed.fit or Grade.SLIDE,
        listed.gives,
        printed_gap_mm=gap_mm,
        bought=piece,
    )


def has_standard_hole(listed: ListedJoint) -> bool:
    """Tell whether a joint is wanted as the standard of its screw has it."""
    piece = listed.hardware
    unsaid = listed.fit is None and listed.gap_mm is None
    return unsaid and piece is not None and piece.printed is not None


def _answer_once(
    profile: Profile, listed: ListedJoint, known: dict[ListedJoint, JointAnswer]
) -> JointAnswer:
    """Answer a joint, or copy the answer of an earlier row that asks the same."""
    same = replace(listed, row=0, name="")
    if same not in known:
        known[same] = _answer_one(profile, listed)
    return replace(known[same], listed=listed)


def _answer_one(profile: Profile, listed: ListedJoint) -> JointAnswer:
    piece = listed.hardware
    try:
        if piece is not None and has_standard_hole(listed):
            return JointAnswer(listed, draw_hole(profile, piece, listed.joint.direction))
        return JointAnswer(listed, answer(profile, question_of(listed)))
    except AnswerError as error:
        return JointAnswer(listed, None, error.message)


def demand_of(profile: Profile, joint: JointAnswer) -> Demand | None:
    """Return what a joint must do to fit, next to the others of its print.

    None if it has no answer, or if its gap was wanted as a number, which none meets exactly.
    """
    found = joint.found
    if found is None or joint.listed.gap_mm is not None:
        return None
    if isinstance(found, Answer):
        return fit_demand(profile, found.question, found.gap_mm)
    size = found.question
    feature = Feature(size.form, found.drawn_mm, size.direction)
    return None if size.limits is None else PrintedSize(profile, feature).demand(size.limits)


def fit_demand(profile: Profile, question: Question, gap_mm: float) -> Demand:
    """Return the demand that a joint drawn with a gap shows the wanted grade."""
    gaps = np.array([gap_mm])
    clearance = Clearance(profile, question.joint, question.gives, gaps, question.bought)
    above = GRADES[GRADES.index(question.fit) + 1 :]
    judged = clearance.judged
    return Demand(
        lower=clearance.margin(question.fit),
        upper=clearance.margin(above[0]) if above else None,
        own_sd_mm=math.sqrt(judged.known_mm2),
        counts=judged.counts,
    )


def _together(
    profile: Profile, counted: Sequence[JointAnswer], demands: Sequence[Demand]
) -> Together:
    if len(counted) == 1:  # what a joint alone has, exactly
        return Together(counted[0].chance or 0.0, 0.0)
    return chance_together(demands, shared_of(profile))
