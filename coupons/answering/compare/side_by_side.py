"""Two or more profiles side by side: which answers changed, and which drawings still work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from coupons.answering.compare.drift import Chart, chart
from coupons.answering.compare.effect_changes import CHANGED_SDS, DETECTABLE_SDS
from coupons.answering.offset import EVEN_CHANCE, Answer, answer, clearances
from coupons.answering.question import Question
from coupons.answering.wanted_window import window_row
from coupons.errors import NotMeasuredError
from coupons.learning.profile import Profile

LOSS = 0.10

RULE = (
    "An answer counts as changed if it differs by more than 1.96 times the combined standard "
    "uncertainty (one in twenty does by chance). A drawing for A still works on B if its chance is "
    "at least 50\N{NO-BREAK SPACE}% and at most 10 points below the best on B; it is no worse if "
    "only the second is true. If it lost more than 10 points, redraw it if its answer changed; if "
    "its answer did not change, the case is unclear."
)


class Verdict(StrEnum):
    """Whether a drawing made for the first printer works on the second."""

    WORKS = "works"
    NO_WORSE = "no worse"
    UNCLEAR = "unclear"
    REDRAW = "REDRAW"


@dataclass(frozen=True)
class AnswerChange:
    """One question asked of two profiles.

    Parameters
    ----------
    name : str
    question : Question
    before, after : Answer or None
        None if that profile has no data on it.
    change_mm : float
        How much wider the gap has to be drawn for the second profile.
    sd_mm : float
        Combined standard uncertainty of that difference.
    kept_chance : float or None
        Chance of the wanted grade on the second printer, drawn as the first one's answer says; None
        for a gap wanted as a number, which has no chance to lose.
    """

    name: str
    question: Question
    before: Answer | None
    after: Answer | None
    change_mm: float = 0.0
    sd_mm: float = 0.0
    kept_chance: float | None = None

    @property
    def is_changed(self) -> bool:
        """Whether the answer changed by more than the combined uncertainty."""
        return abs(self.change_mm) > CHANGED_SDS * self.sd_mm

    @property
    def detectable_mm(self) -> float:
        """The change that would be detected with 80 % power."""
        return DETECTABLE_SDS * self.sd_mm

    @property
    def verdict(self) -> Verdict | None:
        """Whether a joint drawn for the first printer works; None without an answer from both.

        A gap wanted as a number has no chance to lose: it works unless its answer changed. A lower
        chance with an unchanged answer comes from the second profile's own uncertainty: a drawing
        by that profile alone would be no better.
        """
        if self.before is None or self.after is None:
            return None
        if self.kept_chance is None:
            return Verdict.REDRAW if self.is_changed else Verdict.WORKS
        if self.kept_chance < self.after.chance - LOSS:
            return Verdict.REDRAW if self.is_changed else Verdict.UNCLEAR
        return Verdict.WORKS if self.kept_chance >= EVEN_CHANCE else Verdict.NO_WORSE


def compare(
    before: Profile, after: Profile, questions: Mapping[str, Question]
) -> tuple[AnswerChange, ...]:
    """Ask two profiles the same questions.

    Parameters
    ----------
    before, after : Profile
    questions : mapping of str to Question
        By name.

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
    >>> (change,) = compare(profile, profile, {"drawer": drawer})
    >>> change.change_mm, change.is_changed, change.verdict
    (0.0, False, <Verdict.WORKS: 'works'>)
    """
    return tuple(_change(before, after, *named) for named in questions.items())


def _change(before: Profile, after: Profile, name: str, question: Question) -> AnswerChange:
    first, second = _ask(before, question), _ask(after, question)
    if first is None or second is None:
        return AnswerChange(name, question, first, second)
    kept = None
    if question.printed_gap_mm is None:
        drawn = replace(question, at_least=None, drawn_gap_mm=first.gap_mm)
        kept = answer(after, drawn).chance
    variance = sum(_variance(profile, question) for profile in (before, after))
    return AnswerChange(
        name,
        question,
        first,
        second,
        change_mm=second.best_gap_mm - first.best_gap_mm,
        sd_mm=float(np.sqrt(variance)),
        kept_chance=kept,
    )


def _ask(profile: Profile, question: Question) -> Answer | None:
    try:
        return answer(profile, question)
    except NotMeasuredError:
        return None


def gap_sd_mm(profile: Profile, question: Question) -> float:
    """Return the standard deviation of the gap that a question needs, from the terms alone."""
    return float(np.sqrt(_variance(profile, question)))


def _variance(profile: Profile, question: Question) -> float:
    """Variance of the needed gap from the terms; they hold their own print's shift already.

    What is not known of another printer, which makes the one body before and after, cancels.
    """
    cases = clearances(profile, question, np.zeros(1))
    rows = np.array([window_row(one, question)[0] for one in cases])
    # Parts stand on the bed alike on both printers: the mean of the cases is what moves.
    _, terms, _ = next(cases[0].prints.by_profile(rows.mean(axis=0)[None, :]))
    row = terms[0]
    return float(row @ profile.covariance_matrix @ row)


@dataclass(frozen=True)
class Drift:
    """Control chart of one answer's gap over runs in order of time."""

    name: str
    chart: Chart


def drifts(profiles: Sequence[Profile], questions: Mapping[str, Question]) -> tuple[Drift, ...]:
    """Chart the answer to each question over profiles, one for each run, in the order given.

    Questions without an answer from every profile are left out.

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
