"""Which rows, gaps and gauges of ``starter`` teach most for the minutes of its user.

    PYTHONPATH=tests nice python tests/bench/compare_starters.py --printers 100

Each variant is printed as three jobs, and 16 entries are chosen of each. What they are expected to
teach follows from the guide's own arithmetic: half the 90 % interval of the wanted gaps for the
next print, after the first job and after all three. Minutes are those of the printer, at 120 mm/s,
and of the person at the bench (`coupons.making.bench_time`). *Gain* is the fall of the logarithm of
what a joint of the next print may vary by, on average over the wants, in percent.

With ``--printers`` the same is simulated on printers from the prior, where each entry is chosen by
what was found before: first-time success of the guide's own gaps as a share of the oracle's. What
is expected does not show how well a variant finds a printer that is far off; this does.
"""

import argparse
from dataclasses import dataclass

import numpy as np
from bench.study_entries import Case, one_case, share_of_oracle
from support.prior_printer import draw_printer

from coupons.answering.next.guide import fixed_order, guide_of, known
from coupons.learning.effects import TERMS
from coupons.making.bench_time import coupon_seconds, seconds_of
from coupons.making.estimate import estimate
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec

CHOSEN = 16
TRIED = ("A", "B", "C", "E", "F", "G", "J", "L")  # the graded rows; K is the long contact
HOLES = ("C", "G", "L")


@dataclass(frozen=True)
class Costs:
    """What jobs cost and are expected to teach; minutes at 120 mm/s unless their name says else."""

    cm3: list
    minutes: list
    minutes_60: list
    trials: list
    readings: list
    bench: list
    halves: list
    gain: float


def changed(letters=TRIED, **what):
    """Return ``starter`` with other values in some rows."""
    spec = load_spec("starter")
    rows = tuple(
        row.model_copy(update=what) if letter in letters else row
        for letter, row in zip(spec.row_ids(), spec.rows, strict=True)
    )
    return spec.model_copy(update={"rows": rows})


def with_jobs(**jobs):
    """Return these rows of ``starter`` alone, each with the jobs on which it is."""
    spec = load_spec("starter")
    rows = tuple(
        row.model_copy(update={"id": letter, "jobs": jobs[letter]})
        for letter, row in zip(spec.row_ids(), spec.rows, strict=True)
        if letter in jobs
    )
    return spec.model_copy(update={"rows": rows})


def variants():
    """Return the variants by name, the shipped one first."""
    return {
        "as shipped": load_spec("starter"),
        "two gaps": changed(gaps_mm=(0.25, 0.45)),
        "three gaps": changed(gaps_mm=(0.2, 0.35, 0.5)),
        "five gaps": changed(gaps_mm=(0.0, 0.15, 0.3, 0.45, 0.6)),
        "the same gaps on each job": changed(gaps_mm=(0.1, 0.25, 0.4, 0.55)),
        "one gauge": changed(gauges=1),
        "three gauges": changed(gauges=3),
        "every size read": changed(read_every=1),
        "4 mm holes": changed(HOLES, size_mm=4.0),
        "6 mm holes": changed(HOLES, size_mm=6.0),
        "8 mm holes": changed(HOLES, size_mm=8.0),
        "no small hole beside the bore": changed(("D",), sizes_mm=(18.0,)),
        "no bore, rule, long contact": with_jobs(
            A=(1, 3), B=(1,), C=(1,), E=(2,), F=(2,), G=(2,), J=(3,), L=(3,)
        ),
    }


def costs(spec, jobs=3, chosen=CHOSEN):
    """Work out what some jobs of a spec cost and teach."""
    mean = covariance = None
    found = Costs([], [], [], [], [], [], [], 0.0)
    start = last = None
    for job in range(1, jobs + 1):
        plan = plan_coupon(spec, job=job)
        coupon = record(plan)
        guide = guide_of(coupon, mean=mean, covariance=covariance)
        start = spread(guide, guide.start) if start is None else start
        order = fixed_order(guide, count=chosen)
        now = order.known[-1]
        mean, covariance = now.mean[: len(TERMS)], now.covariance[: len(TERMS), : len(TERMS)]
        last = spread(guide, now)
        every = chosen is None
        tasks = [guide.tasks[number] for number in order.numbers]
        found.bench.append((coupon_seconds(coupon) if every else seconds_of(tasks)) / 60)
        found.cm3.append(estimate(plan, 120).plastic_cm3)
        found.minutes.append(estimate(plan, 120).minutes)
        found.minutes_60.append(estimate(plan, 60).minutes)
        found.trials.append(len(coupon.trials))
        found.readings.append(len(coupon.readings))
        found.halves.append(float(np.mean(known(guide, now).halves_mm)))
    gain = float(np.mean(np.log(start / last)))
    return Costs(**{**found.__dict__, "gain": gain})


def spread(guide, now):
    """Return what a joint of the next print may vary by, for each want."""
    of_machine = np.einsum("wi,ij,wj->w", guide.wanted, now.covariance, guide.wanted)
    return (of_machine + guide.prints_mm2 + guide.alone_mm2)[:4]


def success(spec, jobs, chosen, printers, seed=7):
    """Simulate some jobs of a spec; return the success and its standard error in percent."""
    coupons = tuple(record(plan_coupon(spec, job=job)) for job in range(1, jobs + 1))
    rows = []
    for number in range(printers):
        rng = np.random.default_rng([seed, number])
        printer = draw_printer(rng)
        found = one_case(printer, Case("", coupons, chosen), rng, fitted=False)
        rows += [{"printer": number, **row} for row in found]
    share, error = share_of_oracle(rows, "guide")
    return f"{100 * share:.1f} ± {100 * error:.1f}"


def line(name, found, came=""):
    """Return one line of the table."""
    total = sum(found.minutes) + sum(found.bench)
    cells = [
        name,
        " · ".join(f"{one:.1f}" for one in found.cm3),
        " · ".join(f"{one:.0f}" for one in found.minutes),
        " · ".join(f"{one:.0f}" for one in found.minutes_60),
        " · ".join(map(str, found.trials)),
        " · ".join(map(str, found.readings)),
        f"{sum(found.bench):.0f}",
        f"{found.halves[0]:.3f}",
        f"{found.halves[-1]:.3f}",
        f"{100 * found.gain / total:.2f}",
        *([came] if came else []),
    ]
    return f"| {' | '.join(cells)} |"


def main():
    """Print the table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=0)
    printers = parser.parse_args().printers
    head = (
        "| variant | cm³ | min at 120 mm/s | min at 60 mm/s | trials | readings | bench, min "
        "| ± after job 1, mm | ± after all, mm | gain a minute, % |"
    )
    head += " of the oracle, % |" if printers else ""
    print(f"{head}\n{'|---' * (head.count('|') - 1)}|")
    whole = load_spec("first")
    work = [(name, spec, 3, CHOSEN) for name, spec in variants().items()]
    work += [
        ("`first` once, 16 chosen", whole, 1, CHOSEN),
        ("`first` once, all", whole, 1, None),
        ("`first` three times, 16 chosen", whole, 3, CHOSEN),
        ("`first` three times, all", whole, 3, None),
    ]
    for name, spec, jobs, chosen in work:
        came = success(spec, jobs, chosen, printers) if printers else ""
        print(line(name, costs(spec, jobs, chosen), came), flush=True)


if __name__ == "__main__":
    main()
