"""Is it still good? A full profile held against all re-checks since: yes, watch or no."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

import numpy as np

from coupons.answering.compare.likelihood_ratio import NO_FROM, WATCH_FROM, RecheckEvidence, weigh
from coupons.answering.compare.recheck_series import RecheckSeries
from coupons.answering.compare.side_by_side import LOSS, Verdict
from coupons.answering.offset import EVEN_CHANCE, answer
from coupons.answering.origin import is_old_model
from coupons.answering.question import Question
from coupons.errors import AnswerError, NotMeasuredError, Problem
from coupons.learning.effects import TERMS, THRESHOLDS, prior_sd
from coupons.learning.profile import Profile

MONTH_DAYS = 365.25 / 12
_KIND = ("machine", "material", "nozzle_mm", "layer_height_mm")
RECHECK_SHARE = 0.5
"""With less than this share of an earlier print's trials and readings a print is a re-check."""
FACES = 4  # of a joint: a growth of every face moves its gap four times as far


class Still(StrEnum):
    """Whether a profile still holds."""

    YES = "yes"
    WATCH = "watch"
    NO = "no"


@dataclass(frozen=True)
class JointStill:
    """A joint drawn by the full profile, on the machine as it is now.

    Parameters
    ----------
    name : str
    gap_mm : float
        As the full profile said to draw it.
    chance_then, chance : float
        Of the wanted fit by the full profile, and now.
    best_gap_mm, best_chance : float
        What would be drawn now, and its chance.
    """

    name: str
    gap_mm: float
    chance_then: float
    chance: float
    best_gap_mm: float
    best_chance: float

    @property
    def verdict(self) -> Verdict:
        """Whether the drawing still works."""
        if self.chance < self.best_chance - LOSS:
            return Verdict.REDRAW
        return Verdict.WORKS if self.chance >= EVEN_CHANCE else Verdict.NO_WORSE


@dataclass(frozen=True)
class StillGood:
    """What all re-checks together say of a profile.

    Parameters
    ----------
    base : Profile
        The full profile.
    dates : tuple of date or None
        When the re-checks were printed.
    evidence : RecheckEvidence
    joints : tuple of JointStill
        Those that can be answered; ``unanswered`` names the others.
    detectable_mm : float or None
        The change of a gap, from more or less plastic on all faces, that would be found with 80 %
        power if it came with the last re-check; None if the re-check says nothing of it.
    runs : tuple of str
        Run folder of each re-check, in the order of ``dates``; empty where it is not known.
    """

    base: Profile
    dates: tuple[date | None, ...]
    evidence: RecheckEvidence
    joints: tuple[JointStill, ...]
    unanswered: tuple[str, ...]
    detectable_mm: float | None
    runs: tuple[str, ...] = ()

    @property
    def verdict(self) -> Still:
        """Yes, watch or no, by all re-checks so far."""
        if self.evidence.value >= NO_FROM:
            return Still.NO
        return Still.WATCH if self.evidence.value >= WATCH_FROM else Still.YES

    @property
    def since(self) -> date | None:
        """The re-check from which on the likeliest step came; None if undated, or no step."""
        return None if self.evidence.since is None else self.dates[self.evidence.since]


def still_good(
    base: Profile,
    rechecks: Sequence[Profile],
    questions: Mapping[str, Question],
    same_hand: bool = False,
    runs: Sequence[str] = (),
) -> StillGood:
    """Hold a profile against all its re-checks.

    Parameters
    ----------
    base : Profile
    rechecks : sequence of Profile
        In any order: they are sorted by their dates where all have one.
    questions : mapping of str to Question
        Joints that were drawn by ``base``.
    same_hand : bool
        One person tried all prints. It is known without where all profiles name the same person.
    runs : sequence of str, optional
        Run folder of each re-check, to name it in what to do; empty where it is not known.

    Raises
    ------
    AnswerError
        If the profiles are not of one machine, material, nozzle and layer height, of today's model,
        or not in the order of time. All problems at once.
    """
    ordered = _in_order(rechecks)
    _check(base, ordered)
    profiles = [base, *ordered]
    series = RecheckSeries(profiles, same_hand or _of_one_hand(profiles), _months(profiles))
    if not series.causes:
        raise AnswerError("These re-checks say nothing of this machine: print a coupon with more.")
    evidence = weigh(series)
    now = _as_now(base, ordered, evidence)
    joints, unanswered = [], []
    for name, question in questions.items():
        found = _joint(base, now, name, question)
        if found is None:
            unanswered.append(name)
        else:
            joints.append(found)
    run_of = {id(one): run for one, run in zip(rechecks, runs, strict=False)}
    sds = evidence.detectable_sds.get("extrusion")
    growth_sd = prior_sd(base.prior_table)[TERMS.index("growth_ext")]
    return StillGood(
        base,
        tuple(one.printed_on for one in ordered),
        evidence,
        tuple(joints),
        tuple(unanswered),
        None if sds is None else float(FACES * growth_sd * sds),
        tuple(run_of.get(id(one), "") for one in ordered),
    )


def is_recheck(one: Profile, full: Profile) -> bool:
    """Tell whether a profile is of the kind of a full one and rests on less than half of it."""
    same = all(getattr(one, key) == getattr(full, key) for key in _KIND)
    entries, of_full = (each.counts.trials + each.counts.readings for each in (one, full))
    return same and entries < RECHECK_SHARE * of_full


def _of_one_hand(profiles: Sequence[Profile]) -> bool:
    """Tell whether all profiles name one and the same person."""
    names = {one.hand.by if one.hand else None for one in profiles}
    return len(names) == 1 and None not in names


def _in_order(rechecks: Sequence[Profile]) -> list[Profile]:
    if any(one.printed_on is None for one in rechecks):
        return list(rechecks)
    return sorted(rechecks, key=lambda one: one.printed_on or date.min)


def _check(base: Profile, rechecks: Sequence[Profile]) -> None:
    """Refuse what cannot be held against one another."""
    if not rechecks:
        raise AnswerError("Give at least one re-check beside the full profile.")
    problems = []
    seen, of_before = {base.entries_sha256}, set(base.prints)
    for n, one in enumerate(rechecks, start=1):
        where = f"re-check {n}"
        problems += _unlike(base, one, where)
        if one.entries_sha256 in seen:
            problems.append(Problem(where, "a print of its own", "the same entries again"))
        elif of_before & set(one.prints):
            got = "a print that is in the full profile, or in another re-check, as well"
            problems.append(Problem(where, "a print of its own", got, "Leave it out"))
        problems += _too_early(base, one, where)
        seen.add(one.entries_sha256)
        of_before |= set(one.prints)
    for where, one in (
        ("the full profile", base),
        *((f"re-check {n}", r) for n, r in enumerate(rechecks, 1)),
    ):
        if is_old_model(one.version):
            todo = "Fit its runs again with `coupons fit`"
            problems.append(Problem(where, "a profile of today's model", "an older one", todo))
    if problems:
        raise AnswerError(problems)


def _unlike(base: Profile, one: Profile, where: str) -> list[Problem]:
    """Return in what the conditions of a re-check differ from those of the full profile."""
    return [
        Problem(where, f"{key} {getattr(base, key)!r} as in the full profile", repr(got))
        for key in _KIND
        if (got := getattr(one, key)) != getattr(base, key)
    ]


def _too_early(base: Profile, one: Profile, where: str) -> list[Problem]:
    if one.printed_on and base.printed_on and one.printed_on < base.printed_on:
        got = f"{one.printed_on}, before {base.printed_on}"
        return [Problem(where, "a later print", got, "Give the full profile first")]
    return []


def _months(profiles: Sequence[Profile]) -> list[float] | None:
    """Return months since the first; None if they are not all known."""
    days = [one.printed_on for one in profiles]
    known = [day for day in days if day is not None]
    if len(known) < len(days):
        return None
    return [(day - known[0]).days / MONTH_DAYS for day in known]


def _as_now(base: Profile, rechecks: Sequence[Profile], evidence: RecheckEvidence) -> Profile:
    """Return the full profile with what the re-checks taught of the machine as it is now."""
    first = TERMS.index(f"from_{THRESHOLDS[0]}")
    mean = evidence.mean.copy()
    thresholds = slice(first, first + len(THRESHOLDS))
    if np.any(np.diff(mean[thresholds]) < 0):
        mean[thresholds] = base.mean_vector[thresholds]
    prints = np.sum([one.counts.informing for one in (base, *rechecks)], axis=0)
    counts = base.counts.model_copy(update={"by_print_effect": tuple(map(int, prints))})
    lower = np.tril_indices(len(TERMS))
    changes = {
        "means": dict(zip(TERMS, map(float, mean), strict=True)),
        "covariance": tuple(map(float, evidence.covariance[lower])),
        "counts": counts,
    }
    return Profile(**{**{key: getattr(base, key) for key in type(base).model_fields}, **changes})


def _joint(base: Profile, now: Profile, name: str, question: Question) -> JointStill | None:
    if question.printed_gap_mm is not None:  # a hole of a standard, or a gap: no fit, no chance
        return None
    try:
        then = answer(base, question)
        best = answer(now, question)
        drawn = replace(question, at_least=None, printed_gap_mm=None, drawn_gap_mm=then.gap_mm)
        kept = answer(now, drawn)
    except NotMeasuredError:
        return None
    return JointStill(name, then.gap_mm, then.chance, kept.chance, best.gap_mm, best.chance)
