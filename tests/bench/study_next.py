"""What a coupon of `coupons next` is worth, and whether what it promises is found.

    PYTHONPATH=tests nice python tests/bench/study_next.py --random 300 --printers 20

*Search*: the coupon found against the best of many random ones at equal minutes, both judged on
printers that neither was chosen on. *Again*: the sd of the next print's gap after another print of
``first``, against what a new coupon leaves in as many minutes, printed once to five times, for
someone who has printed ``first``; *least*: were everything of so many prints known exactly.
*Promised*: half widths of the 90 % intervals promised for a first coupon, against those that fits
of simulated printers give.
"""

import argparse
import json

import numpy as np
from bench.calibration import profile_of_fit
from support.prior_printer import draw_printer, observe, print_sizes

from coupons.answering.next.coupon import ask_about
from coupons.answering.next.exchange import Search, with_row
from coupons.answering.next.expected_information import as_if_done
from coupons.answering.next.from_nothing import profile_from_nothing
from coupons.answering.next.goal import Goal, Want
from coupons.answering.next.judged import Judge
from coupons.answering.next.priced_rows import PriceList, minutes_of
from coupons.answering.next.row_information import N_TERMS, draw_printers
from coupons.answering.next.row_options import Options
from coupons.answering.wanted_text import parse_want
from coupons.learning.design import design_of
from coupons.learning.fit import fit_design
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import Assumed, Spec, load_spec

SPEED_MM_S = 120.0
WANTS = {
    "push": ("push hole/pin across z at 8",),
    "flat": ("slide slot/tongue across x at 12",),
    "three": (
        "slide slot/tongue across x at 12",
        "slide slot/tongue across y at 12",
        "push hole/pin across z at 8",
    ),
    "upright": ("slide slot/tongue across z at 12",),
}


def workshop(profile, texts, minutes):
    """Return a search for some wants, and a judge of what it finds."""
    wants = [Want(ask_about(profile, parse_want(text)[0])) for text in texts]
    goal = Goal(profile, wants)
    options = Options(Assumed(), [want.target for want in wants])
    prices, others = (
        PriceList(Assumed(), SPEED_MM_S, draw_printers(profile, count, seed=seed))
        for count, seed in ((16, 0), (64, 1))
    )
    return Search(goal, options, prices, minutes), Judge(goal, others)


def rows_of(draft):
    return [each.row for each in draft.rows]


def random_rows(search, rng):
    """Return rows drawn at random, each a few steps from a start, until nothing more fits."""
    starts, rows, failed = search.options.starts(), [], 0
    while failed < 4:
        row = starts[rng.integers(len(starts))]
        for _ in range(rng.integers(0, 5)):
            near = search.options.near(row)
            row = near[rng.integers(len(near))] if near else row
        priced = search.prices(row)
        if priced and sum(minutes_of([*rows, priced], 0.2)) <= search.minutes:
            rows.append(priced)
        else:
            failed += 1
    return rows


def against_random(texts, minutes, count, seed=0):
    """Return mean half widths of the found coupon and of the best random one, both as judged."""
    search, judge = workshop(profile_from_nothing(), texts, minutes)
    found = judge.known_to_mm([judge.priced(rows_of(search.run()))])
    rng = np.random.default_rng(seed)
    drafts = [search.draft(random_rows(search, rng)) for _ in range(count)]
    best = min(drafts, key=lambda one: one.loss)
    random = judge.known_to_mm([judge.priced(rows_of(best))])
    return {
        "found_mm": found,
        "random_mm": random,
        "ratio": float(np.exp(np.mean(np.log(found) - np.log(random)))),
    }


def against_again(texts, name="first"):
    """Return the ratio of sds that a new coupon and another print of the same leave."""
    search, judge = workshop(profile_from_nothing(), texts, 1.0)
    rows = judge.priced(load_spec(name).rows)
    of_search = [search.prices(row) for row in load_spec(name).rows]
    minutes = sum(minutes_of(rows, 0.2))
    state = search.start
    for row in of_search:
        state = with_row(state, row.roots)
    search.already = judge.reaches([rows])
    once, again = judge.known_to_mm([rows]), judge.known_to_mm([rows] * 2)
    told = {"minutes": minutes, "once_mm": once, "again_mm": again}
    for prints in (1, 2, 3, 4, 5):  # the command takes the best of these
        search.minutes, search.prints = minutes / prints, prints
        search.start = search.prices.printers.state(state[:, :N_TERMS, :N_TERMS], prints)
        new = judge.priced(rows_of(search.run()))
        other = judge.known_to_mm([rows, *[new] * prints])
        told[f"ratio of {prints}"] = [float(a / b) for a, b in zip(other, again, strict=True)]
        least = judge.least_mm([rows], prints)
        told[f"least of {prints}"] = [float(a / b) for a, b in zip(least, again, strict=True)]
    return told


def promised(texts, minutes, count, seed=1):
    """Return promised half widths and those of fits, with the standard error of their mean."""
    profile = profile_from_nothing()
    search, judge = workshop(profile, texts, minutes)
    rows = rows_of(search.run())
    told = judge.known_to_mm([judge.priced(rows)])
    measured = search.goal.measured_with(judge.reaches([judge.priced(rows)]))
    spec = Spec.model_construct(
        title="new", name="new", digest="", rows=tuple(rows), assumed=Assumed()
    )
    run = as_if_done(record(plan_coupon(spec)))
    design, found = design_of([run]), []
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        printer = draw_printer(rng)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        fitted = profile_of_fit(fit_design(seen)).model_copy(update={"measured": measured})
        questions = [want.asked.question for want in search.goal.wants]
        found.append([ask_about(fitted, question).known_to_mm for question in questions])
    mean, error = np.mean(found, axis=0), np.std(found, axis=0, ddof=1) / np.sqrt(count)
    return {
        "promised_mm": told,
        "found_mm": mean.tolist(),
        "error_mm": error.tolist(),
        "median_mm": np.median(found, axis=0).tolist(),
        "ratio": [float(a / b) for a, b in zip(told, mean, strict=True)],
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--random", type=int, default=300)
    parser.add_argument("--printers", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=40.0)
    parser.add_argument("--parts", nargs="+", default=["search", "again", "promised"])
    given = parser.parse_args()
    parts = {
        "search": lambda texts: against_random(texts, given.minutes, given.random),
        "again": against_again,
        "promised": lambda texts: promised(texts, given.minutes, given.printers),
    }
    for part in given.parts:
        for name, texts in WANTS.items():
            print(json.dumps({"part": part, "wants": name, **parts[part](texts)}), flush=True)


if __name__ == "__main__":
    main()
