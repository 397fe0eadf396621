"""What chosen entries are worth: first-time success of 12 or 24 of them, of all, of three prints.

    PYTHONPATH=tests nice python tests/bench/study_entries.py --printers 60

Printers are drawn from the model's prior. The guide chooses each next entry from what was found
before, hands and caliper report, the fit makes a profile, and a joint is drawn by its answer. The
chance that the next print has the wanted fit is then known exactly; it is given as a share of what
somebody reaches who knows the machine (the oracle). The same is asked of the guide's own
provisional gap, and both 90 % intervals are held against the gap that the next print really needs.
"""

from dataclasses import dataclass

import numpy as np
from bench.calibration import profile_of_fit
from prior_printer import observe, print_sizes
from scipy.stats import norm

from coupons.answering.next.expected_information import as_if_done
from coupons.answering.next.guide import best_task, guide_of, known, learned
from coupons.answering.offset import Question, answer
from coupons.errors import NotMeasuredError
from coupons.learning.design import design_of
from coupons.learning.effects import (
    TERMS,
    effect_row,
    height_share,
    loss_row,
    print_moves,
)
from coupons.learning.fit import fit_design
from coupons.making.bench_time import in_hand
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.terms import GRADES, ROUND, Direction, Feature, Form, Grade, Joint

JOINTS = (
    (Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE),
    (Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Y), Grade.SLIDE),
    (Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z), Grade.PUSH),
)
DRAWN_GAP_MM = 0.3


@dataclass(frozen=True)
class Case:
    """A way to work: the coupons printed, one after the other, and how many entries of each."""

    name: str
    coupons: tuple
    entries: int | None  # None for all


def joint_truth(printer, joint, grade):
    """Return the machine's best gap, half its window, and the sds of one pair and of a print."""
    inner = Feature(joint.internal, joint.size_mm + DRAWN_GAP_MM, joint.direction)
    outer = Feature(joint.external, joint.size_mm, joint.direction)
    opens = effect_row(inner) - effect_row(outer)
    is_round = joint.internal in ROUND
    lost = float(loss_row(is_round, joint.direction, seam=is_round) @ printer.losses)
    low, high = printer.thresholds[GRADES.index(grade) - 1 : GRADES.index(grade) + 1]
    best_mm = (low + high) / 2 + lost - float(opens @ printer.effects)
    s = printer.scatters
    own = sum(
        (1 - height_share(one)) * s.tau**2 + height_share(one) * s.tau_z**2
        for one in (inner, outer)
    )
    between = float(np.sum((opens @ print_moves(printer.table) * printer.print_sds) ** 2))
    return best_mm, (high - low) / 2, np.sqrt(own + s.omega**2 + between), np.sqrt(between)


def chance(truth, gap_mm):
    """Return the chance that the next print has the wanted fit, drawn with a gap."""
    best_mm, half_mm, sd_mm, _ = truth
    off = gap_mm - best_mm
    return float(norm.cdf((off + half_mm) / sd_mm) - norm.cdf((off - half_mm) / sd_mm))


def outcomes(printer, coupon, rng):
    """Print a coupon once and return the entry of every task, trials first, as if all were done."""
    run = as_if_done(coupon)
    design = design_of([run])
    seen = observe(printer, design, print_sizes(printer, design, rng), rng)
    fits = [
        FitEntry(number, one.feature, one.mate, GRADES[rank], GRADES[rank])
        for number, (one, rank) in enumerate(zip(run.fits, seen.trials.tightest, strict=True))
    ]
    sizes = [
        SizeEntry(number, one.feature, float(value), one.jaws, one.along)
        for number, (one, value) in enumerate(
            zip(run.sizes, seen.readings.value, strict=True), start=len(fits)
        )
    ]
    return run, [*fits, *sizes]


def chosen(guide, told, count, start):
    """Let the guide choose, one after the other, and return the entries and what it then knows."""
    left, held, entries, now = set(range(len(told))), None, [], start
    for _ in range(count if count is not None else len(told)):
        number = min(left) if count is None else best_task(guide, now, left, held)
        left.remove(number)
        held = in_hand(guide.tasks[number])
        entries.append(told[number])
        now = learned(guide, [told[number]], now)
    return entries, now


def one_case(printer, case, rng, fitted=True):
    """Return, for each joint, (chance, held) by the fit and by the guide."""
    runs, mean, covariance = [], None, None
    for coupon in case.coupons:
        guide = guide_of(coupon, mean=mean, covariance=covariance)
        run, told = outcomes(printer, coupon, rng)
        entries, now = chosen(guide, told, case.entries, guide.start)
        mean, covariance = now.mean[: len(TERMS)], now.covariance[: len(TERMS), : len(TERMS)]
        runs.append(as_run(run, entries))
    profile = profile_of_fit(fit_design(design_of(runs))) if fitted else None
    rows = []
    so_far = known(guide, now)
    for number, (joint, grade) in enumerate(JOINTS):
        truth = joint_truth(printer, joint, grade)
        gap_mm, half_mm = float(so_far.values_mm[number]), float(so_far.halves_mm[number])
        row = {"oracle": chance(truth, truth[0])}
        row["guide"] = chance(truth, gap_mm)
        row["guide held"] = holds(truth, gap_mm - half_mm, gap_mm + half_mm)
        row["guide half"] = half_mm
        row["guide gap"] = gap_mm
        if fitted:
            row |= by_fit(profile, truth, Question(joint, grade), gap_mm)
        rows.append(row)
    return rows


def by_fit(profile, truth, question, otherwise_mm):
    """Ask the profile; who is told nothing draws the guide's provisional gap."""
    try:
        found = answer(profile, question)
    except NotMeasuredError:
        return {"fit": chance(truth, otherwise_mm), "refused": 1.0}
    return {
        "fit": chance(truth, found.best_gap_mm),
        "refused": 0.0,
        "fit held": holds(truth, found.low_mm, found.high_mm),
        "fit half": (found.high_mm - found.low_mm) / 2,
        "fit gap": found.best_gap_mm,
    }


def holds(truth, low_mm, high_mm):
    """Return the chance that the middle of the next print's window lies in an interval."""
    needed = norm(truth[0], max(truth[3], 1e-9))
    return float(needed.cdf(high_mm) - needed.cdf(low_mm))


def as_run(run, entries):
    """Return the run with these entries alone."""
    from dataclasses import replace

    return replace(
        run,
        fits=tuple(one for one in entries if isinstance(one, FitEntry)),
        sizes=tuple(one for one in entries if isinstance(one, SizeEntry)),
    )
