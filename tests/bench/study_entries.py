"""What chosen entries are worth: first-time success of 12 or 24 of them, of all, of three prints.

    PYTHONPATH=tests nice python tests/bench/study_entries.py --printers 60 --rows rows.jsonl

Printers are drawn from the model's prior. The guide chooses each next entry by what was found
before, for what the person wants to know (``--choice``; the joints asked about are sliding faces
and push pins). Hands and caliper report, the fit makes a profile, and a joint is drawn by its
answer. The chance that the next print has the wanted fit is then known exactly; it is given as a
share of what somebody reaches who knows the machine (the oracle). The same is asked of the guide's
own provisional gap, and both 90 % intervals are held against the gap that the next print really
needs.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from bench.kept_rows import add_rows, rows_of_whole_printers
from scipy.stats import norm
from support.prior_printer import draw_printer, observe, print_sizes

from coupons.answering.next.expected_information import as_if_done
from coupons.answering.next.guide import best_task, guide_of, known, learned
from coupons.answering.next.wants import CHOICES
from coupons.answering.offset import answer
from coupons.answering.question import Question
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
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
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
    choice: str = "fits"  # for what they are chosen


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


def chosen(guide, told, count, start, choice="fits"):
    """Let the guide choose, one after the other, and return the entries and what it then knows."""
    left, held, entries, now = set(range(len(told))), None, [], start
    for _ in range(count if count is not None else len(told)):
        number = min(left) if count is None else best_task(guide, now, left, held, choice)
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
        entries, now = chosen(guide, told, case.entries, guide.start, case.choice)
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
    return replace(
        run,
        fits=tuple(one for one in entries if isinstance(one, FitEntry)),
        sizes=tuple(one for one in entries if isinstance(one, SizeEntry)),
    )


def cases():
    """Return the ways to work that are compared, the reference first.

    The last ones choose as many entries from all that ``first`` has: no short coupon can offer more
    to choose from.
    """
    spec, whole = load_spec("starter"), record(plan_coupon(load_spec("first")))
    jobs = tuple(record(plan_coupon(spec, job=job)) for job in (1, 2, 3))
    return (
        Case("first, all 140", (whole,), None),
        Case("starter, 12 chosen", jobs[:1], 12),
        Case("starter, 24 chosen", jobs[:1], 24),
        Case("three starters, 16 chosen each", jobs, 16),
        Case("three first, all 140 each", (whole,) * 3, None),
        Case("first, 12 chosen", (whole,), 12),
        Case("first, 24 chosen", (whole,), 24),
        Case("three first, 16 chosen each", (whole,) * 3, 16),
    )


def rows_of_printer(number, seed, choice):
    """Return every case of one printer; each has hands and prints of its own."""
    printer = draw_printer(np.random.default_rng([seed, number]))
    for at, case in enumerate(cases()):
        rng = np.random.default_rng([seed, number, at])
        for row in one_case(printer, replace(case, choice=choice), rng):
            yield {"printer": number, "case": case.name, **row}


def share_of_oracle(rows, key):
    """Return the success as a share of the oracle's, with its standard error over printers."""
    printers = sorted({row["printer"] for row in rows})
    mine = [[row for row in rows if row["printer"] == number] for number in printers]
    got = np.array([np.mean([row[key] for row in one]) for one in mine])
    best = np.array([np.mean([row["oracle"] for row in one]) for one in mine])
    share = got.mean() / best.mean()
    error = np.std(got - share * best, ddof=1) / np.sqrt(len(printers)) / best.mean()
    return share, error


def against(rows, reference, key):
    """Return how many points a case is above another, with the standard error of the pairs."""
    both = [{row["printer"]: [] for row in reference} for _ in range(2)]
    for found, each in zip(both, (rows, reference), strict=True):
        for row in each:
            if row["printer"] in found:
                found[row["printer"]].append(row[key])
    numbers = [number for number in both[0] if both[0][number]]
    off = np.array([np.mean(both[0][n]) - np.mean(both[1][n]) for n in numbers])
    best = np.mean([row["oracle"] for row in reference])
    return off.mean() / best, off.std(ddof=1) / np.sqrt(len(off)) / best


def table(rows):
    """Return the lines of a table in Markdown."""
    names = [case.name for case in cases()]
    reference, most = names[0], "three first, all 140 each"
    by_case = {name: [row for row in rows if row["case"] == name] for name in names}
    lines = [
        "| entries | of the oracle | above `first` | above three `first` "
        "| 90 % intervals hold | half width, mm | the page's own gap | its intervals hold |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name in names:
        mine = by_case[name]
        share, error = share_of_oracle(mine, "fit")
        above, above_error = against(mine, by_case[reference], "fit")
        below, below_error = against(mine, by_case[most], "fit")
        page, page_error = share_of_oracle(mine, "guide")
        held = np.mean([row["fit held"] for row in mine if "fit held" in row])
        half = np.mean([row["fit half"] for row in mine if "fit half" in row])
        page_held = np.mean([row["guide held"] for row in mine])
        lines.append(
            f"| {name} | {share:.3f} ± {error:.3f} | {100 * above:+.1f} ± {100 * above_error:.1f} "
            f"| {100 * below:+.1f} ± {100 * below_error:.1f} "
            f"| {100 * held:.1f} % | {half:.3f} | {page:.3f} ± {page_error:.3f} "
            f"| {100 * page_held:.1f} % |"
        )
    refused = np.mean([row["refused"] for row in rows])
    lines += [
        "",
        f"Answers refused as not measured: {100 * refused:.1f} % (the page's gap counts).",
    ]
    return lines


def main():
    """Run the study printer by printer, keep its rows, and print the table of all that are kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=60)
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--choice", choices=CHOICES, default="fits")
    parser.add_argument("--rows", type=Path, default=Path("study_entries.jsonl"))
    options = parser.parse_args()
    rows = rows_of_whole_printers(options.rows, len(cases()) * len(JOINTS))
    done = {row["printer"] for row in rows}
    for number in range(options.printers):
        if number in done:
            continue
        new = list(rows_of_printer(number, options.seed, options.choice))
        rows += new
        add_rows(options.rows, new)
    print(f"{len({row['printer'] for row in rows})} printers from the prior, seed {options.seed}\n")
    print("\n".join(table(rows)))


if __name__ == "__main__":
    main()
