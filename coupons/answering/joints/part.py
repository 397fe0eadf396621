"""A whole part: what to draw for each of its joints, and the chance that all of them fit."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coupons.answering.clearance import Clearance
from coupons.answering.drawing import FaceMove, gap_step_mm
from coupons.answering.joints.joint_list import ListedJoint
from coupons.answering.joints.loosen import Loosening, Wider, most_gained, not_too_tight
from coupons.answering.offset import Answer, Question, answer, clearances, moves_at
from coupons.answering.origin import Origin, origin_of
from coupons.answering.single import DRAWN_STEP_MM, SizeAnswer, SizeQuestion, draw_hole, size_demand
from coupons.answering.together import Demand, Together, chance_together, shared_of
from coupons.answering.told import Told
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import GRADES, Form, Grade

# So much wider, and so many joints, are tried to find the one to loosen.
_WIDEST_MM = 0.2
_MOST_TRIED = 12


@dataclass(frozen=True)
class JointAnswer:
    """One row of the list with its answer; ``found`` is None without one, ``why`` says why.

    A screw with its standard hole is answered by one size, others as joints.
    """

    listed: ListedJoint
    found: Answer | SizeAnswer | None
    why: str = ""

    @property
    def chance(self) -> float | None:
        """Chance of what was wanted; None without an answer, or for a gap in mm.

        With ``at_least`` it is the chance of the wanted fit or a looser one.
        """
        if self.found is None or self.listed.gap_mm is not None:
            return None
        if isinstance(self.found, Answer) and self.listed.at_least is not None:
            return self.found.chance + self.found.too_loose
        return self.found.chance

    @property
    def too_tight(self) -> float | None:
        """Chance that it is tighter than wanted; None if no fit was wanted."""
        has_fit = isinstance(self.found, Answer) and self.listed.fit is not None
        return self.found.too_tight if isinstance(self.found, Answer) and has_fit else None

    @property
    def moves(self) -> tuple[FaceMove, ...]:
        """What to do with each body that moves."""
        if isinstance(self.found, Answer):
            return self.found.moves
        if self.found is None:
            return ()
        size = self.found
        return (FaceMove(size.question.form, size.offset_mm, size.faces, size.drawn_mm),)

    def drawn_mm(self, form: Form) -> float | None:
        """Size to draw for one of the two bodies; None for hardware, or without an answer."""
        piece = self.listed.hardware
        if self.found is None or (piece is not None and piece.form is form):
            return None
        moved = {move.form: move.drawn_mm for move in self.moves}
        return moved.get(form, self.listed.joint.size_mm)


@dataclass(frozen=True)
class PartAnswer(Told):
    """All joints of a part.

    ``together`` is the chance that all joints in ``counted`` fit on one print, ``not_too_tight``
    that none of them is too tight; joints without an answer, and gaps in mm, are not counted.
    ``loosen`` is the one of ``counted`` to draw wider, if that helps.
    """

    joints: tuple[JointAnswer, ...]
    together: Together
    not_too_tight: Together
    loosen: Loosening | None
    counted: tuple[JointAnswer, ...]
    rehearsed: bool
    origin: Origin

    def __repr__(self) -> str:
        """One line: how many joints, and the chance that they all fit at once."""
        unanswered = sum(joint.found is None for joint in self.joints)
        left = f", {unanswered} without an answer" if unanswered else ""
        chance = f"{100 * self.together.chance:.0f} % chance"
        return f"<PartAnswer to {len(self.joints)} joints{left}: all fit with {chance}>"

    @property
    def loosened(self) -> tuple[float, float]:
        """Chances that no joint is too tight and that all fit, with ``loosen`` drawn wider."""
        now = self.not_too_tight.chance, self.together.chance
        if self.loosen is None:
            return now
        added = self.loosen.not_too_tight, self.loosen.together
        return now[0] + added[0], max(0.0, now[1] + added[1])


def answer_part(profile: Profile, listed: Sequence[ListedJoint]) -> PartAnswer:
    """Answer every joint of a list.

    A joint without an answer, because the profile has no data on it, does not stop the others.
    """
    known: dict[ListedJoint, JointAnswer] = {}
    joints = tuple(_answer_once(profile, joint, known) for joint in listed)
    demanding = [(joint, demand_of(profile, joint)) for joint in joints]
    counted = tuple(joint for joint, demand in demanding if demand is not None)
    demands = [demand for _, demand in demanding if demand is not None]
    return PartAnswer(
        joints=joints,
        together=_together(profile, counted, demands),
        not_too_tight=_not_too_tight(profile, counted, demands),
        loosen=_what_to_loosen(profile, counted, demands),
        counted=counted,
        rehearsed=profile.rehearsed,
        origin=origin_of(profile),
    )


def question_of(listed: ListedJoint) -> Question:
    """Turn a listed joint into a question about its gap.

    A gap in mm is asked with a slide fit; a hole whose limits a standard sets, as the printed gap
    that puts it in their middle.
    """
    piece, gap_mm = listed.hardware, listed.gap_mm
    if has_standard_hole(listed) and piece is not None and piece.printed is not None:
        gap_mm = piece.printed.middle_mm - piece.size_mm
        piece = piece.alone
    return Question(
        listed.joint,
        listed.fit or Grade.SLIDE,
        listed.move,
        at_least=listed.at_least,
        printed_gap_mm=gap_mm,
        hardware=piece,
        bed=listed.bed,
    )


def has_standard_hole(listed: ListedJoint) -> bool:
    """Tell whether a joint is wanted with the standard hole of its screw."""
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
            return JointAnswer(
                listed, draw_hole(profile, piece, listed.joint.direction, listed.bed)
            )
        return JointAnswer(listed, answer(profile, question_of(listed)))
    except AnswerError as error:
        return JointAnswer(listed, None, error.message)


def demand_of(profile: Profile, joint: JointAnswer) -> Demand | None:
    """Return the condition for a joint to fit, next to the others of its print.

    None if it has no answer, or if its gap was wanted in mm, which no print meets exactly.
    """
    found = joint.found
    if found is None or joint.listed.gap_mm is not None:
        return None
    if isinstance(found, Answer):
        return fit_demand(profile, found.question, found.gap_mm)
    return _size_demand(profile, found.question, found.drawn_mm)


def _size_demand(profile: Profile, question: SizeQuestion, drawn_mm: float) -> Demand | None:
    if question.limits is None:
        return None
    return size_demand(profile, question, drawn_mm, question.limits)


def fit_demand(profile: Profile, question: Question, gap_mm: float) -> Demand:
    """Return the demand that a joint drawn with a gap has the wanted grade.

    With ``at_least``, the wanted grade or a looser one.
    """
    first, *others = (
        _case_demand(clearance, question)
        for clearance in clearances(profile, question, np.array([gap_mm]))
    )
    return replace(first, or_else=tuple(others))


def _case_demand(clearance: Clearance, question: Question) -> Demand:
    """Return the demand in one of the cases of what stands on the bed."""
    above = GRADES[GRADES.index(question.fit) + 1 :]
    judged = clearance.judged
    judged = replace(judged, known_mm2=judged.known_mm2 + clearance.size_doubt)
    return Demand(
        lower=clearance.margin(question.fit),
        upper=clearance.margin(above[0]) if above and question.at_least is None else None,
        own_sd_mm=math.sqrt(judged.known_mm2),
        counts=judged.counts,
    )


def _together(
    profile: Profile, counted: Sequence[JointAnswer], demands: Sequence[Demand]
) -> Together:
    if len(counted) == 1:  # what a joint alone has, exactly
        return Together(counted[0].chance or 0.0, 0.0)
    return chance_together(demands, shared_of(profile))


def _not_too_tight(
    profile: Profile, counted: Sequence[JointAnswer], demands: Sequence[Demand]
) -> Together:
    if len(counted) == 1 and counted[0].too_tight is not None:
        return Together(1 - counted[0].too_tight, 0.0)
    return chance_together([not_too_tight(demand) for demand in demands], shared_of(profile))


def _what_to_loosen(
    profile: Profile, counted: Sequence[JointAnswer], demands: Sequence[Demand]
) -> Loosening | None:
    """Try the joints with the lowest chances drawn wider; a single joint leaves no choice.

    With ``at_least`` the designer has already chosen how loose the joint is.
    """
    free = [n for n, joint in enumerate(counted) if joint.listed.at_least is None]
    if len(counted) < 2:
        return None
    least_sure = sorted(free, key=lambda n: counted[n].chance or 0.0)[:_MOST_TRIED]
    tried = [wider for n in least_sure for wider in _drawn_wider(profile, counted[n].found, n)]
    return most_gained(demands, tried, shared_of(profile))


def _drawn_wider(profile: Profile, found: Answer | SizeAnswer | None, at: int) -> Iterator[Wider]:
    """Yield a joint step by step wider, as it can be drawn."""
    if found is None:
        return
    step_mm = _step_mm(found)
    for steps in range(1, max(1, math.floor(_WIDEST_MM / step_mm)) + 1):
        wider_mm = round(steps * step_mm, 6)
        if isinstance(found, SizeAnswer):
            yield from _wider_hole(profile, found, wider_mm, at)
        else:
            gap_mm = round(found.gap_mm + wider_mm, 6)
            moves = moves_at(profile, found.question, gap_mm)
            yield Wider(at, wider_mm, moves, fit_demand(profile, found.question, gap_mm))


def _step_mm(found: Answer | SizeAnswer) -> float:
    if found.layer_mm is not None:
        return found.layer_mm
    return gap_step_mm(found.question.move) if isinstance(found, Answer) else DRAWN_STEP_MM


def _wider_hole(profile: Profile, found: SizeAnswer, wider_mm: float, at: int) -> Iterator[Wider]:
    drawn_mm = round(found.drawn_mm + wider_mm, 6)
    offset_mm = round(found.offset_mm - wider_mm / found.faces, 6)
    move = FaceMove(found.question.form, offset_mm, found.faces, drawn_mm)
    demand = _size_demand(profile, found.question, drawn_mm)
    if demand is not None:
        yield Wider(at, wider_mm, (move,), demand)
