"""Which trial or reading to do next: the one that teaches most for its time.

The guide of a coupon holds, as plain arrays, every trial and reading that it asks for and the
numbers that are wanted. What is known so far is one normal distribution
(:mod:`coupons.learning.posterior.stepwise`). A task's gain is the expected fall of the logarithm of
what each wanted joint may vary by, summed over the wants; its worth is the gain a second. The
entry page does the same in its script, on the same arrays.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.next.expected_information import as_if_done, clearance_rows, drawn_gaps
from coupons.answering.next.wants import Want, wants_of
from coupons.learning.design import design_of
from coupons.learning.effects import TERMS, THRESHOLDS, print_moves
from coupons.learning.posterior.latent import AT_THRESHOLDS, Scatters, latent_model
from coupons.learning.posterior.stepwise import (
    Noise,
    NormalPosterior,
    after_reading,
    after_trial,
    before_any,
    expected_after,
    falls_by_readings,
    falls_by_trials,
    noise_of,
    told_by_reading,
    told_by_trial,
)
from coupons.learning.prior_table import EXTRUSION, PriorTable
from coupons.making.bench_time import in_hand, task_seconds
from coupons.making.record import Coupon, CouponReading, CouponTrial
from coupons.measuring.run.conditions import Caliper
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.terms import GRADES

Array = NDArray[np.floating]
Task = CouponTrial | CouponReading

MORE = 5
"""How many further entries are looked ahead at."""
ENOUGH = 0.03
"""It is enough when so many more entries would narrow the wanted gaps by less than this share; and
the rest of a row is not worth doing when all of it would."""
MOST_TASKS = 600
"""With more tasks than these the arithmetic would make a phone wait; they go by the list."""
NINETY = 1.6448536269514722  # half width of a normal's 90 % interval, in standard deviations


@dataclass(frozen=True)
class Guide:
    """What the guide of one coupon works from.

    Parameters
    ----------
    tasks : tuple of CouponTrial or CouponReading
        Trials, then readings, as in the record.
    rows : ndarray of shape (n_tasks, n)
        Weights of the latent values in each task's clearance or reading.
    drawn_mm : ndarray of shape (n_tasks,)
        Drawn gap of a trial, drawn size of what is read.
    row_letters : tuple of str
        Row of the coupon to which each task belongs.
    wants : tuple of Want
    wanted : ndarray of shape (n_wants, n)
        Weights of the latent values in each wanted number.
    prints_mm2, alone_mm2 : ndarray of shape (n_wants,)
        Variance between prints, and what one joint has by itself.
    start : NormalPosterior
    noise : Noise
    hand_mm2 : float
        Variance by which the judgement of a second person differs from that of the first.
    """

    tasks: tuple[Task, ...]
    rows: Array
    drawn_mm: Array
    row_letters: tuple[str, ...]
    wants: tuple[Want, ...]
    wanted: Array
    prints_mm2: Array
    alone_mm2: Array
    start: NormalPosterior
    noise: Noise
    hand_mm2: float

    @property
    def n_trials(self) -> int:
        """How many of the tasks are trials; they come first."""
        return sum(isinstance(task, CouponTrial) for task in self.tasks)

    def weights(self, choice: str) -> Array:
        """Return 1 for each want under a choice and 0 for the others.

        All count for "all", and for a choice of which the coupon has nothing.
        """
        chosen = np.array([float(choice in want.choices) for want in self.wants])
        return chosen if chosen.any() else np.ones(len(self.wants))


def guide_of(
    coupon: Coupon,
    table: PriorTable = EXTRUSION,
    mean: Array | None = None,
    covariance: Array | None = None,
    scatters: Scatters | None = None,
) -> Guide | None:
    """Build the guide of a coupon.

    Parameters
    ----------
    coupon : Coupon
    table : PriorTable
    mean, covariance : ndarray of shape (n_terms,) and (n_terms, n_terms), optional
        What earlier prints taught of the terms; the prior if not given.
    scatters : Scatters, optional
        Their root mean squares, as far as they are known; the prior's if not given.

    Returns
    -------
    Guide or None
        None for a coupon with nothing to do or nothing that anybody wants to know, or with more
        than `MOST_TASKS`.
    """
    tasks: tuple[Task, ...] = (*coupon.trials, *coupon.readings)
    wants = wants_of(coupon)
    if not wants or not 0 < len(tasks) <= MOST_TASKS:
        return None
    scatters = scatters or plugged_in(table)
    model = latent_model(design_of([as_if_done(coupon)]), table)
    trials = clearance_rows(model)
    readings = np.concatenate([model.reading_shared, model.reading_own.T.toarray()], axis=1)
    drawn = model.design.sizes.drawn
    wanted = np.zeros((len(wants), trials.shape[1]))
    wanted[:, : len(TERMS)] = [want.row for want in wants]
    letters = {feature.id: feature.row for feature in coupon.features}
    return Guide(
        tasks=tasks,
        rows=np.concatenate([trials, readings]),
        drawn_mm=np.concatenate([drawn_gaps(model.design), drawn[model.design.readings.size]]),
        row_letters=tuple(letters[task.feature] for task in tasks),
        wants=wants,
        wanted=wanted,
        prints_mm2=_between_prints(wants, scatters, table),
        alone_mm2=np.array([_alone(want, scatters) for want in wants]),
        start=before_any(model, scatters, mean, covariance),
        noise=noise_of(scatters, table, Caliper().resolution_mm),
        hand_mm2=2 * table.hand.sd**2,
    )


def plugged_in(table: PriorTable) -> Scatters:
    """Return the scatters that stand for all that they may be: their root mean squares."""
    return Scatters(**{n: float(np.sqrt(s.mean_square)) for n, s in table.scatters.items()})


def _between_prints(wants: Sequence[Want], scatters: Scatters, table: PriorTable) -> Array:
    sds = np.array([one.share * getattr(scatters, one.scatter) for one in table.prints])
    effects = np.array([want.row[: AT_THRESHOLDS.start] for want in wants])
    return np.asarray((effects @ print_moves(table)) ** 2 @ sds**2)


def _alone(want: Want, scatters: Scatters) -> float:
    return (
        want.in_plane * scatters.tau**2
        + want.along_z * scatters.tau_z**2
        + want.judged * scatters.omega**2
    )


def learned(
    guide: Guide, entries: Iterable[FitEntry | SizeEntry], start: NormalPosterior | None = None
) -> NormalPosterior:
    """Return what is known after some entries; those that the coupon does not ask for say nothing.

    Parameters
    ----------
    guide : Guide
    entries : iterable of FitEntry or SizeEntry
        In the order in which they were made. Who tried first is the one whose hand is meant.
    start : NormalPosterior, optional
        What was known before them, if more than the guide starts with.
    """
    places = {key_of(task): number for number, task in enumerate(guide.tasks)}
    hand: str | None = None
    now = guide.start if start is None else start
    for entry in entries:
        number = places.get(key_of(entry))
        if number is None:
            continue
        row, drawn_mm = guide.rows[number], float(guide.drawn_mm[number])
        if isinstance(entry, SizeEntry):
            now = after_reading(now, row, entry.size_mm - drawn_mm, guide.noise)
            continue
        hand = entry.by if hand is None else hand
        noise = guide.noise if entry.by == hand else _other_hand(guide)
        ranks = GRADES.index(entry.tightest), GRADES.index(entry.loosest)
        now = after_trial(now, row, drawn_mm, ranks, noise)
    return now


def _other_hand(guide: Guide) -> Noise:
    return replace(guide.noise, judged_mm2=guide.noise.judged_mm2 + guide.hand_mm2)


def key_of(one: Task | FitEntry | SizeEntry) -> tuple[str, ...]:
    """Return what a task and an entry for it have in common."""
    if isinstance(one, CouponTrial | FitEntry):
        return ("fit", one.feature, one.mate)
    return ("size", one.feature, one.jaws, one.along or "")


def falls(guide: Guide, now: NormalPosterior) -> Array:
    """Return by how much each task would lower the variance of each want, (n_tasks, n_wants)."""
    split = guide.n_trials
    rows, drawn = guide.rows, guide.drawn_mm
    return np.concatenate(
        [
            falls_by_trials(now, rows[:split], drawn[:split], guide.wanted, guide.noise),
            falls_by_readings(now, rows[split:], guide.wanted, guide.noise),
        ]
    )


def gains(guide: Guide, now: NormalPosterior, choice: str = "all") -> Array:
    """Return the gain of each task, shape (n_tasks,); see the module."""
    known = np.einsum("wi,ij,wj->w", guide.wanted, now.covariance, guide.wanted)
    spread = known + guide.prints_mm2 + guide.alone_mm2
    return np.asarray(falls(guide, now) @ (guide.weights(choice) / spread))


def worths(
    guide: Guide, now: NormalPosterior, held: str | None = None, choice: str = "all"
) -> Array:
    """Return the gain of each task a second, shape (n_tasks,).

    Parameters
    ----------
    guide : Guide
    now : NormalPosterior
    held : str, optional
        What the hand holds; see `coupons.making.bench_time.in_hand`.
    choice : str
        One of `CHOICES`.
    """
    seconds = [task_seconds(held, in_hand(task)) for task in guide.tasks]
    return np.asarray(gains(guide, now, choice) / np.array(seconds))


def best_task(
    guide: Guide,
    now: NormalPosterior,
    left: Collection[int],
    held: str | None = None,
    choice: str = "all",
) -> int | None:
    """Return the number of the task to do next, of those that are left; None if none is."""
    if not left:
        return None
    worth = worths(guide, now, held, choice)
    return max(sorted(left), key=lambda number: worth[number])


@dataclass(frozen=True)
class Ahead:
    """Tasks in the order in which they would be done, and what would be known after each."""

    numbers: tuple[int, ...]
    known: tuple[NormalPosterior, ...]


def look_ahead(
    guide: Guide,
    now: NormalPosterior,
    left: Collection[int],
    held: str | None = None,
    choice: str = "all",
    count: int = MORE,
) -> Ahead:
    """Return the next tasks if each taught what is expected of it, whatever it finds."""
    open_, steps = set(left), list[tuple[int, NormalPosterior]]()
    while len(steps) < count:
        number = best_task(guide, now, open_, held, choice)
        if number is None:
            break
        now, held = _expected(guide, now, number), in_hand(guide.tasks[number])
        open_.remove(number)
        steps.append((number, now))
    return Ahead(tuple(number for number, _ in steps), tuple(later for _, later in steps))


def _expected(guide: Guide, now: NormalPosterior, number: int) -> NormalPosterior:
    row = guide.rows[number]
    if number < guide.n_trials:
        told = told_by_trial(now, row, float(guide.drawn_mm[number]), guide.noise)
    else:
        told = told_by_reading(now, row, guide.noise)
    return expected_after(now, told)


@dataclass(frozen=True)
class Known:
    """The wanted numbers so far: for the next print, with half their 90 % intervals.

    ``chances`` are those of the wanted fit, drawn so; nan for a size.
    """

    values_mm: Array
    halves_mm: Array
    chances: Array


def known(guide: Guide, now: NormalPosterior) -> Known:
    """Return the wanted numbers as they are known now."""
    variance = np.einsum("wi,ij,wj->w", guide.wanted, now.covariance, guide.wanted)
    halves_mm = NINETY * np.sqrt(variance + guide.prints_mm2)
    chances = [_chance(guide, now, number) for number in range(len(guide.wants))]
    return Known(guide.wanted @ now.mean, halves_mm, np.array(chances))


def _chance(guide: Guide, now: NormalPosterior, number: int) -> float:
    """Return the chance that a joint drawn in the middle of its window lies between its ends."""
    grade = guide.wants[number].grade
    if grade is None:
        return float("nan")
    first = AT_THRESHOLDS.start + THRESHOLDS.index(grade)
    half_mm = (now.mean[first + 1] - now.mean[first]) / 2
    spread_mm2 = guide.prints_mm2[number] + guide.alone_mm2[number]
    inside = -1.0
    for threshold in (first, first + 1):
        row = guide.wanted[number].copy()
        row[first : first + 2] = 0.0
        row[threshold] = 1.0
        inside += float(ndtr(half_mm / np.sqrt(row @ now.covariance @ row + spread_mm2)))
    return max(inside, 0.0)


def narrowing(
    guide: Guide, now: NormalPosterior, later: NormalPosterior, choice: str = "all"
) -> float:
    """Return the mean share by which the intervals of the chosen wants are narrower later."""
    before, after = known(guide, now).halves_mm, known(guide, later).halves_mm
    return float(np.average(1 - after / before, weights=guide.weights(choice)))


def fixed_order(guide: Guide, choice: str = "all", count: int | None = None) -> Ahead:
    """Return the best order for somebody who cannot look at what was found in between."""
    left = range(len(guide.tasks))
    return look_ahead(guide, guide.start, left, None, choice, len(left) if count is None else count)


def enough_after(guide: Guide, order: Ahead, choice: str = "all") -> int:
    """Return after how many tasks of an order `MORE` others are expected to bring too little."""
    steps = (guide.start, *order.known)
    for count in range(len(steps) - MORE):
        if narrowing(guide, steps[count], steps[count + MORE], choice) < ENOUGH:
            return count
    return len(order.numbers)
