"""The designer's question: how far to move which face, in which direction, with what chance.

Everything is a search over the drawn gap. Signs: a positive offset moves a face outward from its
material (material added), a negative one into it (material removed).
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from coupons.answering.clearance import Clearance, drawn_sizes
from coupons.answering.hardware import Hardware
from coupons.answering.next_print import half_width, learned_share
from coupons.answering.own_spread import with_own
from coupons.answering.where_measured import advice
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS, THRESHOLDS, height_share
from coupons.learning.profile import Profile
from coupons.terms import EXTERNAL, GRADES, INTERNAL, Feature, Form, Gives, Grade, Joint

Array = NDArray[np.floating]

INTERVAL = 0.90
SMALLEST_MM, LARGEST_MM = 0.5, 500.0
# A fit is refused as not measured when this share of its prior variance is left.
NOTHING_LEARNED = 0.5
# Below it a joint is printed by itself and tried before the part is.
EVEN_CHANCE = 0.5
# Loose has no upper bound, so its chance grows for ever: this much is asked of it.
_LOOSE_CHANCE = 0.95
_DRAWN_STEP_MM = 0.01
_GAP_RANGE_MM = (-1.2, 2.5)
_COARSE_MM, _FINE_MM = 0.02, 0.0005
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Question:
    """What a designer asks of a joint.

    Parameters
    ----------
    joint : Joint
    fit : Grade
        The grade wanted, any but no-go.
    gives : Gives
        Which body's faces may move.
    at_least : float, optional
        Ask for the smallest gap that goes at least this easily with this chance, instead of the gap
        with the best chance of exactly the grade.
    drawn_gap_mm : float, optional
        Ask about this gap instead of looking for one.
    printed_gap_mm : float, optional
        Ask for the gap to draw that prints as this one, whatever fit it makes. Only one of this and
        the two before can be asked.
    bought : Hardware, optional
        A bought mate; the printed body is the one that gives way.
    """

    joint: Joint
    fit: Grade
    gives: Gives = Gives.EXTERNAL
    at_least: float | None = None
    drawn_gap_mm: float | None = None
    printed_gap_mm: float | None = None
    bought: Hardware | None = None

    @property
    def name(self) -> str:
        """The question in few words."""
        joint, mate = self.joint, f"{self.joint.internal}/{self.joint.external}"
        what = self.bought.name if self.bought else f"{mate} {joint.size_mm:g} mm"
        return f"{self.fit} {what} along {joint.direction}"

    @property
    def printed_forms(self) -> tuple[Form, ...]:
        """Forms that come from the printer: both, or the one that meets a bought mate."""
        forms = (self.joint.internal, self.joint.external)
        return tuple(form for form in forms if not self.bought or form is not self.bought.form)


class Feel(StrEnum):
    """Whose judgement of a fit an answer leans on."""

    HAND = "hand"
    UNCLEAR = "unclear"
    UNTRIED = "untried"


@dataclass(frozen=True)
class FaceMove:
    """What to do with one body: its form, the offset of each moved face, the size to draw.

    ``faces`` is 2, or 1 across layers where whole layers come off or go on at one side only.
    """

    form: Form
    offset_mm: float
    faces: int
    drawn_mm: float


@dataclass(frozen=True)
class Answer:
    """What to draw, and how sure that is. Lengths in mm, chances between 0 and 1.

    ``gap_mm`` is the gap to draw, rounded as a person draws it; ``best_gap_mm`` the unrounded one.
    ``low_mm`` to ``high_mm`` holds, with 90 % probability, the gap that puts the next print in the
    middle of the wanted grade's window; or, where ``at_edge``, the gap at which the grade begins;
    or the gap with which one pair of the next print has the wanted one. ``feel`` says whether
    trials showed where the fit begins and ends.
    """

    question: Question
    gap_mm: float
    best_gap_mm: float
    low_mm: float
    high_mm: float
    at_edge: bool
    chance: float
    too_tight: float
    too_loose: float
    grade_chances: dict[Grade, float]
    moves: tuple[FaceMove, ...]
    measured: tuple[tuple[Form, float, float], ...]
    extrapolated: bool
    rehearsed: bool
    layers: int | None
    feel: Feel

    @property
    def unmeasured(self) -> tuple[Form, ...]:
        """Printed forms of which no size was measured along the joint's direction."""
        found = {form for form, _, _ in self.measured}
        return tuple(form for form in self.question.printed_forms if form not in found)


def answer(profile: Profile, question: Question) -> Answer:
    """Answer one question about one joint.

    Raises
    ------
    AnswerError
        If the joint or the wish makes no sense.
    NotMeasuredError
        If the profile learned next to nothing about the fit asked for.
    """
    check_question(question)
    best = _best_gap(profile, question)
    low, high = _interval(profile, question, best)
    gap_mm, layers = _as_drawn(profile, question, best)
    at_gap = _clearance(profile, question, np.array([gap_mm]))
    from_grade = [float(at_gap.chance_from(grade)[0]) for grade in GRADES]
    chances = -np.diff([*from_grade, 0.0])
    rank = GRADES.index(question.fit)
    ranges, extrapolated = _measured(profile, question)
    return Answer(
        question=question,
        gap_mm=gap_mm,
        best_gap_mm=best,
        low_mm=low,
        high_mm=high,
        at_edge=_asks_for_edge(question),
        chance=float(chances[rank]),
        too_tight=float(chances[:rank].sum()),
        too_loose=float(chances[rank + 1 :].sum()),
        grade_chances=dict(zip(GRADES, map(float, chances), strict=True)),
        moves=face_moves(question, gap_mm, layers),
        measured=ranges,
        extrapolated=extrapolated,
        rehearsed=profile.rehearsed,
        layers=layers,
        feel=_feel(profile, question.fit),
    )


def _feel(profile: Profile, fit: Grade) -> Feel:
    """Tell whether trials narrowed the windows of a grade and of its neighbours.

    Grades all on one side of a fit move its window, and leave its width as unknown as it was.
    """
    if not profile.counts.trials:
        return Feel.UNTRIED
    at = TERMS.index(f"from_{THRESHOLDS[0]}")
    widths = np.diff(np.eye(len(TERMS))[at : at + len(THRESHOLDS)], axis=0)
    own = THRESHOLDS.index(fit)
    left = learned_share(profile, widths[max(own - 1, 0) : own + 2])
    return Feel.UNCLEAR if (left > NOTHING_LEARNED).any() else Feel.HAND


def printed_gap_mm(profile: Profile, question: Question, gap_mm: float) -> tuple[float, float]:
    """Return the gap that a drawn one is expected to print with, and its standard deviation."""
    clearance = _clearance(profile, question, np.array([gap_mm]))
    rows = clearance.printed_rows
    variances, weights = clearance.variances(rows)
    mean = clearance.given_mm[0] + rows[0] @ profile.mean_vector
    own = clearance.own.mean_square(profile)
    return float(mean), float(np.sqrt(weights @ variances[:, 0] + own))


def check_question(question: Question) -> None:
    """Refuse what makes no sense, whatever the profile.

    Raises
    ------
    AnswerError
    """
    joint = question.joint
    wrong: list[str] = []
    if joint.internal not in INTERNAL or joint.external not in EXTERNAL:
        wrong.append(
            f"A joint is internal/external, such as slot/tongue or hole/pin, not "
            f"{joint.internal}/{joint.external}."
        )
    elif (joint.internal, joint.external) == (Form.HOLE, Form.TONGUE):
        wrong.append(
            "A tongue in a hole touches along four edges: ask for hole/pin or slot/tongue."
        )
    if not SMALLEST_MM <= joint.size_mm <= LARGEST_MM:
        wrong.append(
            f"A joint's size must be {SMALLEST_MM:g} to {LARGEST_MM:g} mm, not {joint.size_mm:g}."
        )
    if question.fit is Grade.NO_GO:
        wrong.append("Ask for force, push, slide or loose: no-go is not a fit.")
    if question.at_least is not None and not 0 < question.at_least < 1:
        wrong.append(f"A chance lies between 0 and 1, not at {question.at_least:g}.")
    wishes = (question.at_least, question.drawn_gap_mm, question.printed_gap_mm)
    if sum(wish is not None for wish in wishes) > 1:
        wrong.append("Ask for a chance at least, about a drawn gap or for a printed gap: only one.")
    wrong += _gaps_too_large(question)
    if wrong:
        raise AnswerError("\n".join(wrong))


def _gaps_too_large(question: Question) -> list[str]:
    """No size may vanish: a gap of half the size is beyond every fit."""
    return [
        f"A gap must be under half of the joint's size, not {gap_mm:g} mm."
        for gap_mm in (question.drawn_gap_mm, question.printed_gap_mm)
        if gap_mm is not None and not abs(gap_mm) < question.joint.size_mm / 2
    ]


def _clearance(profile: Profile, question: Question, gaps_mm: Array) -> Clearance:
    return Clearance(profile, question.joint, question.gives, gaps_mm, question.bought)


def _next_grade(grade: Grade) -> Grade | None:
    rank = GRADES.index(grade) + 1
    return GRADES[rank] if rank < len(GRADES) else None


def _best_gap(profile: Profile, question: Question) -> float:
    """Search a coarse grid of gaps, then a fine one around its best."""
    low, high = np.array(_GAP_RANGE_MM) + (question.printed_gap_mm or 0.0)
    limit = question.joint.size_mm / 2
    coarse = np.arange(max(low, -limit), min(high, limit), _COARSE_MM)
    at = _pick(profile, question, coarse)
    fine = at + np.arange(-_COARSE_MM, _COARSE_MM + _FINE_MM / 2, _FINE_MM)
    return _pick(profile, question, fine)


def _pick(profile: Profile, question: Question, gaps_mm: Array) -> float:
    if question.drawn_gap_mm is not None:
        return question.drawn_gap_mm
    clearance = _clearance(profile, question, gaps_mm)
    if question.printed_gap_mm is not None:
        printed = clearance.given_mm + clearance.printed_rows @ profile.mean_vector
        return float(gaps_mm[np.argmin(abs(printed - question.printed_gap_mm))])
    from_fit = clearance.chance_from(question.fit)
    above = _next_grade(question.fit)
    if question.at_least is None and above is not None:
        chance = from_fit - clearance.chance_from(above)
        # On a printer that is known well many gaps are as good as certain: take their middle.
        best = np.flatnonzero(chance > chance.max() - 1e-9)
        return float(gaps_mm[best[len(best) // 2]])
    wanted = _LOOSE_CHANCE if question.at_least is None else question.at_least
    enough = from_fit >= wanted
    if not enough.any():
        raise AnswerError(
            f"No gap up to {gaps_mm[-1]:.2f} mm is {question.fit} or looser with a chance of "
            f"{100 * wanted:g}\N{NO-BREAK SPACE}%. Ask for a smaller chance, or measure again to "
            "know more."
        )
    return float(gaps_mm[np.argmax(enough)])


def _interval(profile: Profile, question: Question, gap_mm: float) -> tuple[float, float]:
    """90 % interval of the gap that puts the next print in the middle of the wanted window.

    Where a printed gap is wanted, of the gap with which one pair of the next print has it.
    """
    clearance = _clearance(profile, question, np.array([gap_mm]))
    row = window_row(clearance, question)
    if learned_share(profile, row)[0] > NOTHING_LEARNED:
        raise NotMeasuredError(_not_measured(question))
    variances, weights = clearance.variances(row)
    if question.printed_gap_mm is not None:  # what one pair measures, own deviations and all
        variances, weights = with_own(variances, weights, clearance.own.variance_rule(profile))
    wanted = question.printed_gap_mm or 0.0
    needed = gap_mm + wanted - float(clearance.given_mm[0] + row[0] @ profile.mean_vector)
    half = half_width(variances[:, 0], weights, INTERVAL)
    return needed - half, needed + half


def window_row(clearance: Clearance, question: Question) -> Array:
    """Rows, over the terms, of what decides a question: clearance − middle of the wanted window.

    Where the window has no upper edge, or its lower one is asked for, clearance − lower edge; for a
    printed gap, that gap.
    """
    if question.printed_gap_mm is not None:
        return clearance.printed_rows
    lower = clearance.margin_row(question.fit)
    above = _next_grade(question.fit)
    if above is None or _asks_for_edge(question):
        return lower
    middle: Array = (lower + clearance.margin_row(above)) / 2
    return middle


def _asks_for_edge(question: Question) -> bool:
    """Tell whether an answer is about where a grade begins, not about the middle of its window."""
    if question.printed_gap_mm is not None:
        return False
    return question.at_least is not None or question.fit is GRADES[-1]


def _not_measured(question: Question) -> str:
    joint = question.joint
    what = f"{joint.internal}/{joint.external} along {joint.direction}"
    return (
        f"Not measured: this profile learned next to nothing about {question.fit} fits of {what}. "
        f"{advice(joint.internal, joint.direction)}"
    )


def _as_drawn(profile: Profile, question: Question, gap_mm: float) -> tuple[float, int | None]:
    """Round a gap to what a person draws: 0.01 mm a face, whole layers across layers."""
    joint = question.joint
    if question.drawn_gap_mm is not None:
        return gap_mm, None
    if height_share(Feature(joint.internal, joint.size_mm, joint.direction)) == 1:
        layers = _whole(question, gap_mm / profile.layer_height_mm)
        return round(layers * profile.layer_height_mm, 6), layers
    step = _DRAWN_STEP_MM * (4 if question.gives is Gives.BOTH else 2)
    return round(_whole(question, gap_mm / step) * step, 6), None


def _whole(question: Question, steps: float) -> int:
    """Round to whole steps; up where a chance is wanted that a smaller gap would not have."""
    return round(steps) if question.at_least is None else math.ceil(steps - _ROUNDING)


def face_moves(question: Question, gap_mm: float, layers: int | None) -> tuple[FaceMove, ...]:
    """Share a gap out over the faces that may move.

    A gap g over one pair of opposite faces is −g/2 on each face of the one body that gives way, or
    −g/4 on each face of both. Across layers only whole layers can be drawn, so a body's whole share
    comes off one of its faces.
    """
    joint, gives = question.joint, question.gives
    internal, external = (float(size[0]) for size in drawn_sizes(joint, gives, np.array([gap_mm])))
    if layers is not None and gives is Gives.BOTH:
        # An odd layer goes to the internal body: a roof may be raised, a step must stay strong.
        external = joint.size_mm - (layers // 2) * gap_mm / layers if layers else joint.size_mm
        internal = external + gap_mm
    faces = 2 if layers is None else 1
    moves = [
        FaceMove(joint.internal, _clean((joint.size_mm - internal) / faces), faces, internal),
        FaceMove(joint.external, _clean((external - joint.size_mm) / faces), faces, external),
    ]
    if gives is not Gives.BOTH:
        moves = [moves[0 if gives is Gives.INTERNAL else 1]]
    return tuple(moves)


def _clean(offset_mm: float) -> float:
    return round(offset_mm, 6) + 0.0  # no −0.0


def _measured(
    profile: Profile, question: Question
) -> tuple[tuple[tuple[Form, float, float], ...], bool]:
    """Sizes that were measured of each printed form, and whether this joint lies outside them."""
    joint, forms = question.joint, question.printed_forms
    found = [
        (m.form, m.low_mm, m.high_mm)
        for form in forms
        for m in profile.measured
        if (m.form, m.direction) == (form, joint.direction)
    ]
    inside = [low <= joint.size_mm <= high for _, low, high in found]
    return tuple(found), len(inside) < len(forms) or not all(inside)
