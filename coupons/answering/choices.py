"""Which sizes to draw of a body that is printed several times, so that one of them fits.

The pieces are searched among the sizes that can be drawn: one after another, each where it adds
most, then each moved while the others stay, and all together, as long as that gains. Every trial
set is judged at the same points of what is not known, so that sets differ by far less than each is
off.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.demand import Demand, OneOf
from coupons.answering.chances.drawing import gap_step_mm
from coupons.answering.chances.one_print import one_print_only
from coupons.answering.chances.pieces import Choices, Piece
from coupons.answering.chances.prints import MadeFrom
from coupons.answering.chances.shared import Shared, shared_of
from coupons.answering.chances.slants import share_of_height
from coupons.answering.chances.together import PieceChances, piece_chances
from coupons.answering.offset import Answer, answer, clearances, moves_at
from coupons.answering.question import Question
from coupons.learning.profile import Profile
from coupons.terms import GRADES, INTERNAL, Feature, Grade

Array = NDArray[np.floating]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]

# Pieces are looked for so far to either side of the best single one.
_REACH_MM = 0.6
_SEEDS = 4  # of the lattice, for the chance that is stated and its error
_ROUNDING = 1e-6
_MOST_ROUNDS = 20


def answer_with_choices(profile: Profile, question: Question) -> Answer:
    """Answer one question; where pieces to choose from are wanted, with those.

    Raises
    ------
    AnswerError
        If the joint or the wish makes no sense.
    NotMeasuredError
        If the profile has almost no data on the fit asked for.
    """
    found = answer(profile, question)
    return found if question.choices == 1 else replace(found, choices=_choose(profile, found))


def least_step_mm(profile: Profile, found: Answer) -> float:
    """Return by how much two pieces must differ at least so that a hand tells them apart.

    By one step as sizes are drawn (0.02 mm over both faces, a whole layer across layers), and not
    less than the scatter of a hand's judgement, rounded up to such steps.
    """
    step_mm = found.layer_mm or gap_step_mm(found.question.move)
    steps = np.ceil(profile.scatters["omega"].median_mm / step_mm - _ROUNDING)
    return round(max(1.0, float(steps)) * step_mm, 6)


def one_of(
    profile: Profile,
    question: Question,
    gaps_mm: Sequence[float] | Array,
    made: MadeFrom | None = None,
) -> OneOf:
    """Return the condition that one of several pieces, each drawn with its gap, fits.

    ``made`` says which of the part's prints the bodies come from; all pieces are of one print.
    """
    cases: list[tuple[Demand, ...]] = []
    common_mm2 = 0.0
    of_staying: Array = np.zeros(3)
    for clearance in clearances(profile, question, np.array(gaps_mm), made):
        # Hardware and what is not known beyond the measured sizes are the same for every piece.
        common_mm2 = clearance.judged.known_mm2 + clearance.size_doubt
        of_staying = _counts_of_staying(clearance, question)
        counts = np.array(clearance.judged.counts) - of_staying
        margins = [
            _margins(clearance, grade)
            for grade in (question.fit, GRADES[GRADES.index(question.fit) + 1])
        ]
        cases.append(
            tuple(
                Demand(lower, upper, 0.0, tuple(map(float, counts)))
                for lower, upper in zip(*margins, strict=True)
            )
        )
    return OneOf(tuple(cases), common_mm2, tuple(map(float, of_staying)))


def _margins(clearance: Clearance, grade: Grade) -> list[tuple[float, Array]]:
    """Return mean and row of the margin over a grade's threshold at each gap."""
    rows, prints = clearance.margin_row(grade), clearance.prints
    means = clearance.given_mm + rows @ prints.mean_vector
    return list(zip(map(float, means), map(prints.shared_row, rows), strict=True))


def _counts_of_staying(clearance: Clearance, question: Question) -> Array:
    """How often each own scatter acts on the one body that all pieces are made for."""
    counts = np.zeros((len(clearance.prints.profiles), 3))
    joint, form = question.joint, question.staying
    if form is not None and form in question.printed_forms:
        z = share_of_height(joint, Feature(form, joint.size_mm, joint.direction_of(form)))
        at = clearance.source.place_of(internal=form in INTERNAL)
        counts[clearance.prints.of[at], :2] = 1 - z, z
    return counts.ravel()


def _shared(profile: Profile, question: Question) -> Shared:
    return shared_of(question.made(profile).prints)


def _choose(profile: Profile, found: Answer) -> Choices:
    question, step_mm = found.question, least_step_mm(profile, found)
    gaps_mm = _drawable(found)
    here = piece_chances(one_of(profile, question, gaps_mm), _shared(profile, question))
    judged = _Judged(here, question.loose_costs)
    at = _best_set(judged, gaps_mm, step_mm, question.choices)
    pieces = tuple(
        Piece(n, gap_mm, moves_at(profile, question, gap_mm), alone)
        for n, (gap_mm, alone) in enumerate(_alone(profile, question, gaps_mm[at]), start=1)
    )
    chance, error, tight, loose = stated_chance(profile, question, gaps_mm[at])
    return Choices(
        pieces, chance, error, tight, loose, step_mm, from_one_print=one_print_only(profile)
    )


def _drawable(found: Answer) -> Array:
    """Return the gaps that can be drawn around the best single one, rising."""
    step_mm, joint = found.layer_mm or gap_step_mm(found.question.move), found.question.joint
    steps = max(2 * found.question.choices, int(_REACH_MM / step_mm))
    gaps_mm = found.gap_mm + step_mm * np.arange(-steps, steps + 1)
    return np.asarray(np.round(gaps_mm[abs(gaps_mm) < joint.size_mm / 2], 6))


def _alone(profile: Profile, question: Question, gaps_mm: Array) -> Iterator[tuple[float, float]]:
    """Yield each gap with the chance of that piece by itself, as an answer about it states it."""
    for gap_mm in map(float, gaps_mm):
        alone = replace(question, choices=1, loose_costs=1.0, drawn_gap_mm=gap_mm)
        yield gap_mm, answer(profile, alone).chance


def stated_chance(
    profile: Profile, question: Question, gaps_mm: Array
) -> tuple[float, float, float, float]:
    """Chance that one fits, its standard error, chances of all too tight and all too loose."""
    pieces, shared = one_of(profile, question, gaps_mm), _shared(profile, question)
    each = []
    for seed in range(_SEEDS):
        here = piece_chances(pieces, shared, seed)
        sets = (here.too_tight + here.too_loose, here.too_tight, here.too_loose)
        each.append([float(here.weights @ np.prod(one, axis=1)) for one in sets])
    missed, tight, loose = np.mean(each, axis=0)
    error = np.std(each, axis=0, ddof=1)[0] / np.sqrt(_SEEDS)
    return float(1 - missed), float(error), float(tight), float(loose)


@dataclass(frozen=True)
class _Judged:
    """Candidates with what a set of them that misses costs: 1, or if all are loose, so much."""

    here: PieceChances
    loose_costs: float

    def cost_with_each(self, others: Sequence[int]) -> Array:
        """Return the expected cost of a set with each candidate added to it."""
        weights, places = self.here.weights, list(others)
        return self._cost(lambda of_each: (weights * np.prod(of_each[:, places], axis=1)) @ of_each)

    def cost_of(self, sets: Indices) -> Array:
        """Return the expected cost of sets, given as places of shape (n_sets, n_pieces)."""
        weights = self.here.weights
        return self._cost(lambda of_each: weights @ np.prod(of_each[:, sets], axis=2))

    def _cost(self, of_all: Callable[[Array], Array]) -> Array:
        """Return costs from the chance that what may happen to each piece happens to all."""
        here = self.here
        cost = of_all(here.too_tight + here.too_loose)
        if self.loose_costs != 1:
            cost = cost + (self.loose_costs - 1) * of_all(here.too_loose)
        return np.asarray(cost)


def _best_set(judged: _Judged, gaps_mm: Array, step_mm: float, count: int) -> list[int]:
    """Return the places of the gaps that together cost least, rising."""
    chosen: list[int] = []
    for _ in range(count):
        chosen.append(_best_place(judged, chosen, _free(gaps_mm, chosen, step_mm)))
    for _ in range(_MOST_ROUNDS):
        before = list(chosen)
        for n in range(count):
            others = chosen[:n] + chosen[n + 1 :]
            chosen[n] = _best_place(judged, others, _free(gaps_mm, others, step_mm))
        chosen = _best_shift(judged, chosen, len(gaps_mm))
        if chosen == before:
            break
    return sorted(chosen)


def _best_shift(judged: _Judged, chosen: Sequence[int], n_gaps: int) -> list[int]:
    """Move all pieces alike: those that stand as close as they may cannot move one by one."""
    steps = np.arange(-min(chosen), n_gaps - max(chosen))
    sets = np.array(chosen) + steps[:, None]
    costs = judged.cost_of(sets)
    best = int(np.argmin(costs))
    is_better = costs[best] < costs[min(chosen)] - _ROUNDING
    return [int(place) for place in sets[best]] if is_better else list(chosen)


def _best_place(judged: _Judged, others: Sequence[int], free: Mask) -> int:
    """Return where one more piece leaves the smallest expected cost."""
    return int(np.argmin(np.where(free, judged.cost_with_each(others), np.inf)))


def _free(gaps_mm: Array, others: Sequence[int], step_mm: float) -> Mask:
    """Tell at which gaps a piece can be told from the others by hand."""
    apart = abs(gaps_mm[:, None] - gaps_mm[list(others)]) > step_mm - _ROUNDING
    return np.asarray(apart.all(axis=1))
