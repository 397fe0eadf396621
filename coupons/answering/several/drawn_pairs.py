"""What to draw for a joint of several pairs of faces, and the chance that it fits as a whole."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coupons.answering.chances.demand import not_too_tight
from coupons.answering.chances.drawing import FaceMove
from coupons.answering.chances.next_print import variances
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import Together, chance_together, chances_of_each
from coupons.answering.offset import LOOSE_CHANCE, Answer, Feel, answer, drawn_as
from coupons.answering.origin import Origin, origin_of
from coupons.answering.question import Question
from coupons.answering.several.faces import bent_own, bent_row, pitch_difference, whole_demand
from coupons.answering.several.kinds import Corners, JointKind, Several, check_several
from coupons.answering.sides import check_materials
from coupons.answering.strength.press_and_clip import cantilever_strain
from coupons.answering.told import Told
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import GRADES, SDS_OF_90, Form

# Gaps by so much wider, in steps of what is drawn, than each pair by itself wants.
_LEAST_STEPS, _MOST_STEPS, _STEP_MM = -2, 30, 0.02


@dataclass(frozen=True)
class PairDrawn:
    """One pair of faces of a joint: what it would want by itself, and how it is drawn.

    Parameters
    ----------
    alone : Answer
        To the pair as a question of its own.
    gap_mm : float
    moves : tuple of FaceMove
    """

    alone: Answer
    gap_mm: float
    moves: tuple[FaceMove, ...]


@dataclass(frozen=True)
class PitchTold:
    """By how much two printed pitches differ: expected, and its standard deviation, in mm."""

    mean_mm: float
    sd_mm: float


@dataclass(frozen=True)
class LegsTold:
    """How far the bar bends each leg at the mouth, and what it strains the leg's root.

    ``expected`` and ``tight`` are strains, the second that which one print in twenty exceeds;
    ``limit`` is the material's, None where it was not given.
    """

    deflection_mm: float
    expected: float
    tight: float
    limit: float | None


@dataclass(frozen=True)
class SeveralAnswer(Told):
    """What to draw for all pairs of a joint. Lengths in mm, chances between 0 and 1.

    ``chance`` is that the joint fits as a whole, ``sampling_error`` the half width of the 95 %
    interval that it is known to; ``too_tight`` that a pair is too tight. ``corner_mm`` is the
    smallest radius of outer corners with which faces meet before corners do, None where they do so
    anyhow; ``rounded_chance`` is the chance with that radius.
    """

    question: Several
    pairs: tuple[PairDrawn, ...]
    chance: float
    too_tight: float
    too_loose: float
    sampling_error: float
    feel: Feel
    extrapolated: bool
    rehearsed: bool
    origin: Origin
    makers: tuple[tuple[Form, Origin], ...] = ()
    pitch: PitchTold | None = None
    corner_mm: float | None = None
    rounded_chance: float | None = None
    legs: LegsTold | None = None

    def __repr__(self) -> str:
        """One line: what was asked, which gaps to draw, with what chance."""
        gaps = ", ".join(f"{pair.gap_mm:.2f}" for pair in self.pairs)
        chance = f"{100 * self.chance:.0f} % chance"
        return f"<SeveralAnswer to {self.question.name}: gap {gaps} mm; {chance}>"

    @property
    def gaps_mm(self) -> tuple[float, ...]:
        """Drawn gap of each pair."""
        return tuple(pair.gap_mm for pair in self.pairs)


def answer_several(profile: Profile, asked: Several) -> SeveralAnswer:
    """Answer one question about a joint of several pairs of faces.

    Each pair is first answered by itself; then all gaps are widened by the same amount to where the
    whole fits with the best chance, or with the one asked for.

    Raises
    ------
    AnswerError
        If the joint or the wish makes no sense.
    NotMeasuredError
        If the profile has almost no data on one of its pairs.
    """
    check_several(asked)
    for pair in asked.pairs:
        check_materials(profile, pair)
    alone = [answer(profile, pair) for pair in asked.pairs]
    made = asked.made(profile)
    shared = shared_of(made.prints)
    drawn = _best(profile, asked, alone)
    demand = whole_demand(profile, asked, _gaps(drawn), made)
    fits, loose_enough = (
        chance_together([each], shared) for each in (demand, not_too_tight(demand))
    )
    fits = Together(min(fits.chance, loose_enough.chance), fits.error)
    corner_mm = _corner_mm(asked, drawn)
    rounded = None
    if corner_mm is not None:
        free = whole_demand(profile, _without_corners(asked), _gaps(drawn), made)
        rounded = chance_together([free], shared).chance
    return SeveralAnswer(
        question=asked,
        pairs=drawn,
        chance=fits.chance,
        too_tight=1 - loose_enough.chance,
        too_loose=loose_enough.chance - fits.chance,
        sampling_error=fits.sampling_error,
        feel=max((one.feel for one in alone), key=list(Feel).index),
        extrapolated=any(one.extrapolated for one in alone),
        rehearsed=any(one.rehearsed for one in made.prints.profiles),
        origin=origin_of(profile),
        makers=alone[0].makers,
        pitch=PitchTold(*pitch_difference(profile, asked))
        if asked.kind is JointKind.HOLES
        else None,
        corner_mm=corner_mm,
        rounded_chance=rounded,
        legs=_legs_told(profile, asked, drawn),
    )


def _best(profile: Profile, asked: Several, alone: Sequence[Answer]) -> tuple[PairDrawn, ...]:
    """Widen the gaps of all pairs by the same amount, as far as serves the whole."""
    if asked.drawn_gap_mm is not None:
        return tuple(PairDrawn(one, one.gap_mm, one.moves) for one in alone)
    made = asked.made(profile)
    steps = range(_LEAST_STEPS, _MOST_STEPS + 1)
    tried = [
        tuple(_wider(profile, one.question, one, step * _STEP_MM) for one in alone)
        for step in steps
    ]
    # Corners that meet too early are for their radius to cure, not for the gap.
    free = _without_corners(asked)
    demands = [whole_demand(profile, free, _gaps(drawn), made) for drawn in tried]
    chances = chances_of_each(demands, shared_of(made.prints))
    if asked.at_least is None and asked.fit is not GRADES[-1]:
        return tried[int(np.argmax(chances))]
    wanted = LOOSE_CHANCE if asked.at_least is None else asked.at_least
    if not (chances >= wanted).any():
        raise AnswerError(
            f"No gap up to {tried[-1][0].gap_mm:.2f} mm is {asked.fit} or looser as a whole with a "
            f"chance of {100 * wanted:g}\N{NO-BREAK SPACE}%. Ask for a smaller chance, or measure "
            "again to reduce the uncertainty."
        )
    return tried[int(np.argmax(chances >= wanted))]


def _gaps(drawn: Sequence[PairDrawn]) -> tuple[float, ...]:
    return tuple(pair.gap_mm for pair in drawn)


def _without_corners(asked: Several) -> Several:
    return replace(asked, corners=Corners())


def _wider(profile: Profile, pair: Question, alone: Answer, more_mm: float) -> PairDrawn:
    drawn = drawn_as(profile, pair, alone.best_gap_mm + more_mm)
    return PairDrawn(alone, drawn.gap_mm, drawn.moves)


def _corner_mm(asked: Several, drawn: Sequence[PairDrawn]) -> float | None:
    """Return the radius of outer corners that keeps them as far off as the faces are."""
    corners = asked.corners
    if corners.internal_mm is None:
        return None
    least_mm = corners.internal_mm - max(0.0, min(pair.gap_mm for pair in drawn)) / 2
    return least_mm if corners.external_mm < least_mm else None


def _legs_told(profile: Profile, asked: Several, drawn: Sequence[PairDrawn]) -> LegsTold | None:
    legs = asked.legs
    if legs is None or legs.mouth_mm is None:
        return None
    made = asked.made(profile)
    bent_mm, row = bent_row(asked, made, drawn[0].gap_mm)
    spread, weights = variances(made.prints, row[None, :])
    own = bent_own(asked, made).mean_square(made.prints)
    sd_mm = float(np.sqrt(weights @ spread[:, 0] + own))
    bent_mm += float(row @ made.prints.mean_vector)
    expected, tight = (max(0.0, mm) / 2 for mm in (bent_mm, bent_mm + SDS_OF_90 * sd_mm))
    strains = [
        cantilever_strain(mm, legs.length_mm, legs.thickness_mm) if mm > 0 else 0.0
        for mm in (expected, tight)
    ]
    return LegsTold(expected, strains[0], strains[1], legs.strain_limit)
