"""Two or more profiles side by side: which answers moved, and whether old drawings still work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from coupons.answering.compare_terms import BEYOND_SDS, SEEN_SDS
from coupons.answering.drift import Chart, chart
from coupons.answering.offset import (
    EVEN_CHANCE,
    Answer,
    Question,
    answer,
    clearances,
    window_row,
)
from coupons.errors import NotMeasuredError
from coupons.learning.profile import Profile

_LOSS = 0.10

RULE = (
    "An answer moved if it differs by more than 1.96 standard deviations of what is not known of "
    "both (one in twenty does by chance). A drawing still works if its chance is at most 10 points "
    "below the best there is, and at least even; it is no worse if only the first is so. It is to "
    "be redrawn if it lost more and its answer moved, and unclear if its answer did not."
)


class Verdict(StrEnum):
    """What becomes of a drawing made for the first printer on the second."""

    WORKS = "works"
    NO_WORSE = "no worse"
    UNCLEAR = "unclear"
    REDRAW = "REDRAW"


@dataclass(frozen=True)
class Moved:
    """One question asked of two profiles.

    Parameters
    ----------
    name : str
    question : Question
    before, after : Answer or None
        None where that profile never measured the like.
    moved_mm : float
        How much wider the gap has to be drawn for the second profile.
    sd_mm : float
        Standard deviation of that difference, from what is not known of both printers.
    kept_chance : float or None
        Chance of the wanted grade on the second printer, drawn as the first one's answer says; None
        for a gap wanted as a number, which has no chance to lose.
    """

    name: str
    question: Question
    before: Answer | None
    after: Answer | None
    moved_mm: float = 0.0
    sd_mm: float = 0.0
    kept_chance: float | None = None

    @property
    def is_beyond(self) -> bool:
        """Whether the answer moved by more than what is not known explains."""
        return abs(self.moved_mm) > BEYOND_SDS * self.sd_mm

    @property
    def seen_mm(self) -> float:
        """The move that would have been found in four cases of five."""
        return SEEN_SDS * self.sd_mm

    @property
    def verdict(self) -> Verdict | None:
        """What becomes of a joint drawn for the first printer; None without an answer of both.

        A gap wanted as a number has no chance to lose: it works unless its answer moved. A chance
        that is lost though the answer did not move tells of the second profile's own doubt, not of
        a change: drawn anew by that profile alone, nothing would be gained.
        """
        if self.before is None or self.after is None:
            return None
        if self.kept_chance is None:
            return Verdict.REDRAW if self.is_beyond else Verdict.WORKS
        if self.kept_chance < self.after.chance - _LOSS:
            return Verdict.REDRAW if self.is_beyond else Verdict.UNCLEAR
        return Verdict.WORKS if self.kept_chance >= EVEN_CHANCE else Verdict.NO_WORSE


def compare(
    before: Profile, after: Profile, questions: Mapping[str, Question]
) -> tuple[Moved, ...]:
    """Ask two profiles the same questions.

    Parameters
    ----------
    before, after : Profile
    questions : mapping of str to Question
        By the name to tell them by.

    Raises
    ------
    AnswerError
        If a question makes no sense.

    Examples
    --------
    >>> from coupons import Joint, load_profile
    >>> from coupons.terms import Direction, Form, Grade
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> drawer = Question(Joint(Form.SLOT, Form.TONGUE, 12, Direction.X), Grade.SLIDE)
    >>> (move,) = compare(profile, profile, {"drawer": drawer})
    >>> move.moved_mm, move.is_beyond, move.verdict
    (0.0, False, <Verdict.WORKS: 'works'>)
    """
    return tuple(_moved(before, after, *named) for named in questions.items())


def _moved(before: Profile, after: Profile, name: str, question: Question) -> Moved:
    first, second = _ask(before, question), _ask(after, question)
    if first is None or second is None:
        return Moved(name, question, first, second)
    kept = None
    if question.printed_gap_mm is None:
        drawn = replace(question, at_least=None, drawn_gap_mm=first.gap_mm)
        kept = answer(after, drawn).chance
    variance = sum(_variance(profile, question) for profile in (before, after))
    return Moved(
        name,
        question,
        first,
        second,
        moved_mm=second.best_gap_mm - first.best_gap_mm,
        sd_mm=float(np.sqrt(variance)),
        kept_chance=kept,
    )


def _ask(profile: Profile, question: Question) -> Answer | None:
    try:
        return answer(profile, question)
    except NotMeasuredError:
        return None


def _variance(profile: Profile, question: Question) -> float:
    """Variance of the needed gap from the terms; they hold their own print's shift already."""
    cases = clearances(profile, question, np.zeros(1))
    rows = np.array([window_row(one, question)[0] for one in cases])
    # Parts stand on the bed alike on both printers: the mean of the cases is what moves.
    row = rows.mean(axis=0)
    return float(row @ profile.covariance_matrix @ row)


@dataclass(frozen=True)
class Drift:
    """One answer's gap over runs in the order of time, charted."""

    name: str
    chart: Chart


def drifts(profiles: Sequence[Profile], questions: Mapping[str, Question]) -> tuple[Drift, ...]:
    """Chart the answer to each question over profiles, one a run, in the order given.

    Questions that some profile has no answer to are left out.

    Raises
    ------
    AnswerError
        If there are fewer than two profiles.
    """
    found = []
    for name, question in questions.items():
        answers = [_ask(profile, question) for profile in profiles]
        gaps = [each.best_gap_mm for each in answers if each is not None]
        if len(gaps) == len(profiles):
            sds = [float(np.sqrt(_variance(profile, question))) for profile in profiles]
            found.append(Drift(name, chart(gaps, sds)))
    return tuple(found)
