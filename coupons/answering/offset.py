"""The designer's question: how far to move which face, in which direction, with what chance.

Everything is a search over the drawn gap. Signs: a positive offset moves a face outward from its
material (material added), a negative one into it (material removed).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.bed import bed_cases
from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.contact_length import ContactLength, contact_in
from coupons.answering.chances.drawing import (
    Drawn,
    FaceMove,
    LayersOf,
    draw_as_it_is,
    draw_gap,
    draw_layers,
    draw_off_layers,
    draw_unlike,
    stands_across_layers,
)
from coupons.answering.chances.extrapolation import lies_near, ranges_of
from coupons.answering.chances.next_print import interval, learned_share
from coupons.answering.chances.one_print import HIGH_CHANCE, OnePrint, rests_on_one_print
from coupons.answering.chances.pieces import Choices
from coupons.answering.chances.prints import MadeFrom
from coupons.answering.origin import Origin, origin_of
from coupons.answering.question import Question, check_question
from coupons.answering.sides import check_materials
from coupons.answering.told import Told
from coupons.answering.wanted_window import asks_for_edge, interval_mixture, next_grade, window_row
from coupons.answering.ways import face_hint, flats_hint, joint_way
from coupons.answering.where_measured import advice
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.profile import MeasuredRange, Profile
from coupons.terms import GRADES, INTERNAL, Bed, Form, Grade

Array = NDArray[np.floating]

INTERVAL = 0.90
# A fit is refused as not measured when this share of its prior variance is left.
NOTHING_LEARNED = 0.5
# Below it a joint is printed by itself and tried before the part is.
EVEN_CHANCE = 0.5
# Loose has no upper bound, so its chance grows for ever: this chance is enough.
LOOSE_CHANCE = 0.95
_GAP_RANGE_MM = (-1.2, 2.5)
_COARSE_MM, _FINE_MM = 0.02, 0.0005


class Feel(StrEnum):
    """Where an answer takes its fit from: trials by hand, or common practice."""

    HAND = "hand"
    UNCLEAR = "unclear"
    UNTRIED = "untried"


@dataclass(frozen=True)
class Answer(Told):
    """What to draw, with its uncertainty. Lengths in mm, chances between 0 and 1.

    ``gap_mm`` is the gap to draw, rounded as a person draws it; ``best_gap_mm`` the unrounded one.
    ``low_mm`` to ``high_mm`` holds, with 90 % probability, the gap that puts the next print in the
    middle of the wanted grade's window; or, where ``at_edge``, the gap at which the grade begins;
    or the gap with which one pair of the next print has the wanted one. ``layer_mm`` is the height
    of a layer where sizes are layers, and ``layers`` how many the gap is, if a whole number.
    ``prints_as`` holds the gaps, and the chance at each, as which a gap between two whole numbers
    of layers may print; the chances are then their mean. ``feel`` says whether trials showed where
    the fit begins and ends. ``beds`` holds what may stand on the bed where that was not said, and
    how wide the interval would be if it were. ``contact`` is how long the bodies are taken to bear
    on each other, None where the profile's model knows of no such effect. ``one_print`` says how
    far a high chance rests on what a single print cannot know. ``makers`` holds the bodies that
    another printer makes than the one that is asked, with what is known of it; ``unlike`` says that
    one body is drawn in layers and the other is not, or in layers of another height. ``choices``
    holds the pieces to choose from, where they were asked for; all else is of the best single one.
    ``at_equal_costs`` is the answer if too loose cost no more than too tight, where a cost was
    given.
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
    measured: tuple[MeasuredRange, ...]
    extrapolated: bool
    rehearsed: bool
    layer_mm: float | None
    layers: int | None
    prints_as: tuple[tuple[float, float], ...]
    feel: Feel
    origin: Origin
    beds: tuple[tuple[Bed, float], ...] = ()
    contact: ContactLength | None = None
    one_print: OnePrint | None = None
    makers: tuple[tuple[Form, Origin], ...] = ()
    unlike: bool = False
    choices: Choices | None = None
    at_equal_costs: "Answer | None" = None

    def __repr__(self) -> str:
        """One line: what was asked, what to draw, with what chance."""
        drawn = ", ".join(f"{move.form} {move.drawn_mm:g} mm" for move in self.moves)
        chance = f"{100 * self.chance:.0f} % chance"
        if self.choices is not None:
            one_of = [f"{m.form} {m.drawn_mm:g} mm" for p in self.choices.pieces for m in p.moves]
            drawn, chance = " or ".join(one_of), f"{100 * self.choices.chance:.0f} % chance"
        return f"<Answer to {self.question.name}: draw {drawn}; {chance}>"

    @property
    def expected_cost(self) -> float:
        """What misses cost on average: too tight 1, too loose what was given."""
        return self.too_tight + self.question.loose_costs * self.too_loose

    @property
    def unmeasured(self) -> tuple[Form, ...]:
        """Printed forms of which no size was measured in the joint's direction."""
        found = {each.form for each in self.measured}
        return tuple(form for form in self.question.printed_forms if form not in found)


def answer(profile: Profile, question: Question) -> Answer:
    """Answer one question about one joint.

    Raises
    ------
    AnswerError
        If the joint or the wish makes no sense.
    NotMeasuredError
        If the profile has almost no data on the fit asked for.
    """
    check_question(question)
    check_materials(profile, question)
    best = _best_gap(profile, question)
    at_best = clearances(profile, question, np.array([best]))
    low, high = _interval(profile, question, at_best)
    drawn = drawn_as(profile, question, best)
    at_drawn = clearances(profile, question, np.array([drawn.gap_mm]))
    rank = GRADES.index(question.fit)
    printed = {gap_mm: _chances(profile, question, gap_mm) for gap_mm in set(drawn.prints_mm)}
    # Which way a size between layers is rounded is unknown: each way counts the same.
    chances = (
        np.mean([printed[gap_mm] for gap_mm in drawn.prints_mm], axis=0)
        if printed
        else chances_in(at_drawn)[:, 0]
    )
    ranges, extrapolated = _measured(profile, question)
    return Answer(
        question=question,
        gap_mm=drawn.gap_mm,
        best_gap_mm=best,
        low_mm=low,
        high_mm=high,
        at_edge=asks_for_edge(question),
        chance=float(chances[rank]),
        too_tight=float(chances[:rank].sum()),
        too_loose=float(chances[rank + 1 :].sum()),
        grade_chances=dict(zip(GRADES, map(float, chances), strict=True)),
        moves=drawn.moves,
        measured=ranges,
        extrapolated=extrapolated,
        rehearsed=any(one.rehearsed for one in question.made(profile).prints.profiles),
        layer_mm=drawn.layer_mm,
        layers=drawn.layers,
        prints_as=tuple((gap_mm, float(printed[gap_mm][rank])) for gap_mm in sorted(printed)),
        feel=_feel(profile, question.fit),
        origin=origin_of(profile),
        beds=_beds(question, at_best),
        contact=contact_in(profile, question.contact_mm),
        one_print=_one_print(at_drawn, question.fit, float(chances[rank])),
        makers=question.makers,
        unlike=drawn.unlike,
        at_equal_costs=None
        if question.loose_costs == 1
        else answer(profile, replace(question, loose_costs=1.0)),
    )


def _one_print(cases: Sequence[Clearance], fit: Grade, chance: float) -> OnePrint | None:
    return rests_on_one_print(cases, fit) if chance > HIGH_CHANCE else None


def _beds(question: Question, cases: Sequence[Clearance]) -> tuple[tuple[Bed, float], ...]:
    """Return the cases that an answer covers unsaid, with how wide each by itself would be."""
    if len(cases) == 1:
        return ()
    ends = {one.bed: interval(*interval_mixture([one], question), INTERVAL) for one in cases}
    return tuple((bed, high - low) for bed, (low, high) in ends.items())


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
    means, squares = [], []
    for clearance in clearances(profile, question, np.array([gap_mm])):
        rows, prints = clearance.printed_rows, clearance.prints
        variances, weights = clearance.variances(rows)
        means.append(float(clearance.given_mm[0] + rows[0] @ prints.mean_vector))
        squares.append(float(weights @ variances[:, 0] + clearance.own.mean_square(prints)))
    return float(np.mean(means)), float(np.sqrt(np.mean(squares) + np.var(means)))


def clearances(
    profile: Profile, question: Question, gaps_mm: Array, made: MadeFrom | None = None
) -> tuple[Clearance, ...]:
    """Return the clearance of a question's joint in each case that its answer covers.

    One, or several as likely as one another where nobody said what stands on the bed. ``made`` says
    which of all prints of a part the bodies come from; by default there are no others.
    """
    joint, move, hardware = question.joint, question.move, question.hardware
    made = made or question.made(profile)
    cases = bed_cases(made.profile_of(internal=False), question.ways, question.bed)
    contact_mm = question.contact_mm
    return tuple(
        Clearance(profile, joint, move, gaps_mm, hardware, bed, contact_mm, made) for bed in cases
    )


def _chances_from(cases: Sequence[Clearance], *grades: Grade) -> Array:
    return np.asarray(np.mean([one.chances_from(grades) for one in cases], axis=0))


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
    cases = clearances(profile, question, gaps_mm)
    if question.printed_gap_mm is not None:
        printed = np.mean(
            [one.given_mm + one.printed_rows @ one.prints.mean_vector for one in cases], axis=0
        )
        return float(gaps_mm[np.argmin(abs(printed - question.printed_gap_mm))])
    above = next_grade(question.fit)
    if question.at_least is None and above is not None:
        from_fit, from_above = _chances_from(cases, question.fit, above)
        chance = from_fit - question.loose_costs * from_above
        # On a printer that is known well many gaps are as good as certain: take their middle.
        best = np.flatnonzero(chance > chance.max() - 1e-9)
        return float(gaps_mm[best[len(best) // 2]])
    wanted = LOOSE_CHANCE if question.at_least is None else question.at_least
    enough = _chances_from(cases, question.fit)[0] >= wanted
    if not enough.any():
        raise AnswerError(
            f"No gap up to {gaps_mm[-1]:.2f} mm is {question.fit} or looser with a chance of "
            f"{100 * wanted:g}\N{NO-BREAK SPACE}%. Ask for a smaller chance, or measure again to "
            "reduce the uncertainty."
        )
    return float(gaps_mm[np.argmax(enough)])


def _interval(
    profile: Profile, question: Question, cases: Sequence[Clearance]
) -> tuple[float, float]:
    """90 % interval of the gap that puts the next print in the middle of the wanted window.

    Where a printed gap is wanted, of the gap with which one pair of the next print has it.
    """
    # What is not known of a body on the bed is counted; what is not known either way is no answer.
    if learned_share(cases[0].prints, window_row(cases[0], question))[0] > NOTHING_LEARNED:
        raise NotMeasuredError(_not_measured(profile, question))
    return interval(*interval_mixture(cases, question), INTERVAL)


def _not_measured(profile: Profile, question: Question) -> str:
    joint, made = question.joint, question.made(profile)
    untried = [
        lies
        for form, lies in question.ways
        if not any(
            each.tried_mm
            for each in ranges_of(made.profile_of(internal=form in INTERNAL), [form], lies)
        )
    ]
    what = f"{joint.internal}/{joint.external} {joint_way(joint)}"
    whose = "these profiles have" if _has_other_printer(question) else "this profile has"
    todo = advice(joint.internal, *(untried or joint.directions))
    told = f"Not measured: {whose} almost no data on {question.fit} fits of {what}. {todo}"
    hint = flats_hint(question.hardware, joint.direction) or face_hint(
        joint.internal, joint.direction
    )
    return f"{told} {hint}".rstrip()


def _has_other_printer(question: Question) -> bool:
    return not (question.internal_profile is None and question.external_profile is None)


def drawn_as(profile: Profile, question: Question, gap_mm: float) -> Drawn:
    """Round a gap to what a person draws and a printer prints."""
    joint, move, hardware = question.joint, question.move, question.hardware
    asked, layers_mm = question.drawn_gap_mm is not None, _layers_of(profile, question)
    up = question.at_least is not None  # a smaller gap would not have the chance that is wanted
    if not any(layers_mm.values()):
        return draw_as_it_is(joint, move, gap_mm) if asked else draw_gap(joint, move, gap_mm, up=up)
    if asked:
        form = hardware.form if hardware else None
        return draw_off_layers(joint, move, gap_mm, layers_mm, hardware=form)
    layer_mm = layers_mm[joint.internal]
    if layer_mm and layers_mm[joint.external] == layer_mm:
        return draw_layers(joint, move, gap_mm, layer_mm, up=up, hardware=hardware is not None)
    return draw_unlike(joint, move, gap_mm, layers_mm, up=up)


def _layers_of(profile: Profile, question: Question) -> LayersOf:
    """Return the height of the layers that each body's size is drawn in; hardware as its mate's."""
    made, printed = question.made(profile), dict(question.ways)
    heights = {
        form: made.profile_of(internal=form in INTERNAL).layer_height_mm
        if stands_across_layers(form, lies) and question.joint.slant is None
        else None
        for form, lies in printed.items()
    }
    of_mate = next(iter(heights.values()))
    return {form: heights.get(form, of_mate) for form in question.joint.forms}


def moves_at(profile: Profile, question: Question, gap_mm: float) -> tuple[FaceMove, ...]:
    """Return what to do with each body for another gap than the answer's, rounded as drawn."""
    return drawn_as(profile, question, gap_mm).moves


def _chances(profile: Profile, question: Question, gap_mm: float) -> Array:
    """Chances of all grades at one gap, in their order, shape (n_grades,)."""
    return chances_in(clearances(profile, question, np.array([gap_mm])))[:, 0]


def chances_in(cases: Sequence[Clearance]) -> Array:
    """Chances of all grades over cases as likely as one another, shape (n_grades, n)."""
    return np.asarray(np.mean([one.grade_chances() for one in cases], axis=0))


def _measured(profile: Profile, question: Question) -> tuple[tuple[MeasuredRange, ...], bool]:
    """Sizes that were measured of each printed form, and whether this joint lies outside them."""
    joint, made = question.joint, question.made(profile)
    found = tuple(
        each
        for form, lies in question.ways
        for each in ranges_of(made.profile_of(internal=form in INTERNAL), [form], lies)
    )
    inside = [lies_near(joint.size_mm, each) for each in found]
    return found, len(inside) < len(question.ways) or not all(inside)
