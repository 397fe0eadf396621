"""A whole part: what to draw for each of its joints, and the chance that all of them fit."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.demand import Demand, OneOf, not_too_tight
from coupons.answering.chances.drawing import FaceMove, gap_step_mm
from coupons.answering.chances.pieces import Choices
from coupons.answering.chances.prints import MadeFrom, made_by
from coupons.answering.chances.shared import Shared, shared_of
from coupons.answering.chances.together import Together, chance_together
from coupons.answering.choices import answer_with_choices, one_of
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.loosen import Loosening, Wider, most_gained
from coupons.answering.joints.print_plan import plan_prints
from coupons.answering.offset import Answer, clearances, moves_at
from coupons.answering.origin import Origin, origin_of
from coupons.answering.question import Question
from coupons.answering.several.drawn_pairs import SeveralAnswer, answer_several
from coupons.answering.several.faces import whole_demand
from coupons.answering.single import DRAWN_STEP_MM, SizeAnswer, SizeQuestion, draw_hole, size_demand
from coupons.answering.told import Told
from coupons.answering.ways import joint_way
from coupons.errors import AnswerError, NotMeasuredError, UntriedError
from coupons.learning.profile import Profile
from coupons.terms import GRADES, Form, Grade

# So much wider, and so many joints, are tried to find the one to loosen.
_WIDEST_MM = 0.2
_MOST_TRIED = 12


class Lack(StrEnum):
    """What is missing where a joint has no answer."""

    DATA = "not measured"
    TRIALS = "two materials"
    ANSWER = "no answer"


@dataclass(frozen=True)
class JointAnswer:
    """One row of the list with its answer; ``found`` is None without one, ``why`` says why.

    A screw with its standard hole is answered by one size, others as joints. ``lacks`` is None
    where there is an answer.
    """

    listed: ListedJoint
    found: Answer | SizeAnswer | SeveralAnswer | None
    why: str = ""
    lacks: Lack | None = None

    @property
    def chance(self) -> float | None:
        """Chance of what was wanted; None without an answer, or for a gap in mm.

        With ``at_least`` it is the chance of the wanted fit or a looser one; with pieces to choose
        from, that one of them fits.
        """
        if self.found is None or self.listed.gap_mm is not None:
            return None
        if self.choices is not None:
            return self.choices.chance
        # Of several pairs at once the chance is already that.
        if isinstance(self.found, Answer) and self.listed.at_least is not None:
            return self.found.chance + self.found.too_loose
        return self.found.chance

    @property
    def too_tight(self) -> float | None:
        """Chance that it is tighter than wanted; None if no fit was wanted.

        With pieces to choose from, that all of them are.
        """
        if self.choices is not None:
            return self.choices.all_too_tight
        found = self.found
        if isinstance(found, Answer | SeveralAnswer) and self.listed.fit is not None:
            return found.too_tight
        return None

    @property
    def choices(self) -> Choices | None:
        """Pieces to choose from, where they were asked for."""
        return self.found.choices if isinstance(self.found, Answer) else None

    @property
    def moves(self) -> tuple[FaceMove, ...]:
        """What to do with each body that moves; with pieces to choose from, for the best one."""
        if isinstance(self.found, Answer):
            return self.found.moves
        if self.found is None:
            return ()
        if isinstance(self.found, SeveralAnswer):
            return tuple(move for pair in self.found.pairs for move in pair.moves)
        size = self.found
        return (FaceMove(size.question.form, size.offset_mm, size.faces, size.drawn_mm),)

    def pieces(self) -> Iterator[tuple[int, "JointAnswer"]]:
        """Yield the pieces to choose from as joints by themselves, each with its notches.

        Only the joint itself, with no notch, where there is nothing to choose.
        """
        if self.choices is None or not isinstance(self.found, Answer):
            yield 0, self
            return
        for piece in self.choices.pieces:
            alone = replace(self.found, gap_mm=piece.gap_mm, moves=piece.moves)
            yield piece.notches, replace(self, found=alone)

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
    ``loosen`` is the one of ``counted`` to draw wider, if that helps. ``prints`` is how many prints
    the bodies come from, ``makers`` what is known of other printers than the one that is asked.
    """

    joints: tuple[JointAnswer, ...]
    together: Together
    not_too_tight: Together
    loosen: Loosening | None
    counted: tuple[JointAnswer, ...]
    rehearsed: bool
    origin: Origin
    prints: int = 1
    makers: tuple[Origin, ...] = ()

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
    known: dict[object, JointAnswer] = {}
    joints = tuple(_answer_once(profile, joint, known) for joint in listed)
    prints, places = plan_prints(profile, listed)
    found = demanding(profile, joints, places)
    counted = tuple(joint for joint, _, _ in found)
    demands = [demand for _, demand, _ in found]
    makes = tuple(made for _, _, made in found)
    shared = shared_of(prints)
    used = {at for made in places for at in (made.internal, made.external)}
    return PartAnswer(
        joints=joints,
        together=_together(shared, counted, demands),
        not_too_tight=_not_too_tight(shared, counted, demands),
        loosen=_what_to_loosen(profile, shared, counted, demands, makes),
        counted=counted,
        rehearsed=any(one.rehearsed for one in prints.profiles),
        origin=origin_of(profile),
        prints=max(1, len(used)),
        makers=tuple(map(origin_of, prints.profiles[1:])),
    )


def demanding(
    profile: Profile, joints: Sequence[JointAnswer], places: Sequence[MadeFrom]
) -> list[tuple[JointAnswer, Demand | OneOf, MadeFrom]]:
    """Return the joints that a part's chance counts, with what they ask and their prints."""
    return [
        (joint, demand, made)
        for joint, made in zip(joints, places, strict=True)
        if (demand := demand_of(profile, joint, made)) is not None
    ]


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
        contact_mm=listed.contact_mm,
        internal_profile=listed.internal_profile,
        external_profile=listed.external_profile,
        two_prints=piece is None and listed.internal_print != listed.external_print,
        choices=listed.choices,
        loose_costs=listed.loose_costs,
    )


def questions_of(listed: ListedJoint) -> dict[str, Question]:
    """Return a listed joint as questions by name: one, or one for each of its pairs of faces."""
    if listed.several is None:
        return {listed.name: question_of(listed)}
    pairs = listed.several.pairs
    if len(pairs) == 1:
        return {listed.name: pairs[0]}
    return {f"{listed.name}, {joint_way(pair.joint)}": pair for pair in pairs}


def has_standard_hole(listed: ListedJoint) -> bool:
    """Tell whether a joint is wanted with the standard hole of its screw."""
    piece = listed.hardware
    unsaid = listed.fit is None and listed.gap_mm is None
    return unsaid and piece is not None and piece.printed is not None


def _answer_once(
    profile: Profile, listed: ListedJoint, known: dict[object, JointAnswer]
) -> JointAnswer:
    """Answer a joint, or copy the answer of an earlier row that asks the same."""
    if listed.key not in known:
        known[listed.key] = answer_listed(profile, listed)
    return replace(known[listed.key], listed=listed)


def answer_listed(profile: Profile, listed: ListedJoint) -> JointAnswer:
    """Answer one row of a list; without data on it, the answer says why there is none."""
    piece = listed.hardware
    try:
        if listed.several is not None:
            return JointAnswer(listed, answer_several(profile, listed.several))
        if piece is not None and has_standard_hole(listed):
            maker = listed.internal_profile or profile
            return JointAnswer(listed, draw_hole(maker, piece, listed.joint.direction, listed.bed))
        return JointAnswer(listed, answer_with_choices(profile, question_of(listed)))
    except AnswerError as error:
        return JointAnswer(listed, None, error.message, _lack_of(error))


def _lack_of(error: AnswerError) -> Lack:
    if isinstance(error, NotMeasuredError):
        return Lack.DATA
    return Lack.TRIALS if isinstance(error, UntriedError) else Lack.ANSWER


def demand_of(
    profile: Profile, joint: JointAnswer, made: MadeFrom | None = None
) -> Demand | OneOf | None:
    """Return the condition for a joint to fit, next to the others of its part.

    ``made`` says which of the part's prints its bodies come from; one print makes all if not given.
    None if it has no answer, or if its gap was wanted in mm, which no print meets exactly.
    """
    found = joint.found
    if found is None or joint.listed.gap_mm is not None:
        return None
    if isinstance(found, SeveralAnswer):
        return whole_demand(profile, found.question, found.gaps_mm, made)
    if isinstance(found, Answer):
        if found.choices is not None:
            gaps_mm = [one.gap_mm for one in found.choices.pieces]
            return one_of(profile, found.question, gaps_mm, made)
        return fit_demand(profile, found.question, found.gap_mm, made)
    return _size_demand(profile, found.question, found.drawn_mm, made)


def _size_demand(
    profile: Profile, question: SizeQuestion, drawn_mm: float, made: MadeFrom | None
) -> Demand | None:
    if question.limits is None:
        return None
    made = made or made_by(profile)
    maker = made.profile_of(internal=True)
    return size_demand(maker, question, drawn_mm, question.limits, made.prints, made.internal)


def fit_demand(
    profile: Profile, question: Question, gap_mm: float, made: MadeFrom | None = None
) -> Demand:
    """Return the demand that a joint drawn with a gap has the wanted grade.

    With ``at_least``, the wanted grade or a looser one. ``made`` is as in `demand_of`.
    """
    first, *others = (
        _case_demand(clearance, question)
        for clearance in clearances(profile, question, np.array([gap_mm]), made)
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
    shared: Shared, counted: Sequence[JointAnswer], demands: Sequence[Demand | OneOf]
) -> Together:
    if len(counted) == 1:  # what a joint alone has, exactly
        choices = counted[0].choices
        return Together(counted[0].chance or 0.0, choices.error if choices else 0.0)
    return chance_together(demands, shared)


def _not_too_tight(
    shared: Shared, counted: Sequence[JointAnswer], demands: Sequence[Demand | OneOf]
) -> Together:
    if len(counted) == 1 and counted[0].too_tight is not None:
        return Together(1 - counted[0].too_tight, 0.0)
    return chance_together([not_too_tight(demand) for demand in demands], shared)


def _what_to_loosen(
    profile: Profile,
    shared: Shared,
    counted: Sequence[JointAnswer],
    demands: Sequence[Demand | OneOf],
    makes: Sequence[MadeFrom],
) -> Loosening | None:
    """Try the joints with the lowest chances drawn wider; a single joint leaves no choice.

    With ``at_least``, or what too loose costs, the designer has already chosen how loose the joint
    is, and pieces to choose from hold a looser one already.
    """
    free = [n for n, joint in enumerate(counted) if _may_loosen(joint)]
    if len(counted) < 2:
        return None
    least_sure = sorted(free, key=lambda n: counted[n].chance or 0.0)[:_MOST_TRIED]
    tried = [
        wider for n in least_sure for wider in _drawn_wider(profile, counted[n].found, n, makes[n])
    ]
    return most_gained(demands, tried, shared)


def _may_loosen(joint: JointAnswer) -> bool:
    listed = joint.listed
    return listed.at_least is None and listed.loose_costs == 1 and joint.choices is None


def _drawn_wider(
    profile: Profile, found: Answer | SizeAnswer | SeveralAnswer | None, at: int, made: MadeFrom
) -> Iterator[Wider]:
    """Yield a joint step by step wider, as it can be drawn; none of several pairs of faces."""
    if found is None or isinstance(found, SeveralAnswer):
        return
    step_mm = _step_mm(found)
    for steps in range(1, max(1, math.floor(_WIDEST_MM / step_mm)) + 1):
        wider_mm = round(steps * step_mm, 6)
        if isinstance(found, SizeAnswer):
            yield from _wider_hole(profile, found, wider_mm, at, made)
        else:
            gap_mm = round(found.gap_mm + wider_mm, 6)
            moves = moves_at(profile, found.question, gap_mm)
            demand = fit_demand(profile, found.question, gap_mm, made)
            yield Wider(at, wider_mm, moves, demand)


def _step_mm(found: Answer | SizeAnswer) -> float:
    if found.layer_mm is not None:
        return found.layer_mm
    return gap_step_mm(found.question.move) if isinstance(found, Answer) else DRAWN_STEP_MM


def _wider_hole(
    profile: Profile, found: SizeAnswer, wider_mm: float, at: int, made: MadeFrom
) -> Iterator[Wider]:
    drawn_mm = round(found.drawn_mm + wider_mm, 6)
    offset_mm = round(found.offset_mm - wider_mm / found.faces, 6)
    move = FaceMove(found.question.form, offset_mm, found.faces, drawn_mm)
    demand = _size_demand(profile, found.question, drawn_mm, made)
    if demand is not None:
        yield Wider(at, wider_mm, (move,), demand)
