"""What a coupon of `coupons next` is worth, and whether what it promises is found.

    PYTHONPATH=tests nice python tests/bench/study_next.py --random 300 --printers 20 \\
        --rows rows.jsonl

*Search*: the coupon found against the best of many random ones at equal minutes, both judged on
printers that neither was chosen on. *Again*: the sd of the next print's gap after another print of
``first``, against what a new coupon leaves in as many minutes, printed once to five times, for
someone who has printed ``first``; *least*: were everything of so many prints known exactly.
*Restarts*: the same, searched again from random coupons, to see whether the search is what limits
it; *longer*: with more minutes, to see whether they are. *Promised*: half widths of the 90 %
intervals promised for a first coupon, against those that fits of simulated printers give. Errors
but of the last are standard errors over sets of printers on which coupons are judged; of the last,
over simulated printers. Seconds are of the processor.
"""

import argparse
import json
import time
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from bench.kept_rows import add_rows
from support.prior_printer import draw_printer, observe, print_sizes

from coupons.answering.next.coupon import ask_about
from coupons.answering.next.exchange import Search, with_row
from coupons.answering.next.expected_information import as_if_done
from coupons.answering.next.from_nothing import profile_from_nothing
from coupons.answering.next.goal import Goal, JointWant
from coupons.answering.next.judged import Judge
from coupons.answering.next.priced_rows import PriceList, minutes_of
from coupons.answering.next.row_information import N_TERMS, draw_printers
from coupons.answering.next.row_options import RowOptions
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
    "lid": ("push slot/tongue across x at 20",),
    "drawer": ("slide slot/tongue across y at 40",),
    "small": ("push slot/tongue across y at 5",),
    "bearing": ("force hole/pin across z at 22",),
    "lying": ("slide hole/pin across x at 8",),
    "hinge": ("slide hole/pin across z at 4",),
    "two": ("slide slot/tongue across x at 12", "push slot/tongue across x at 12"),
}
PARTS = ("search", "again", "restarts", "longer", "promised")
LOOKED_INTO = ("restarts", "longer")  # only for these wants:
RESTARTED = ("three",)
PRINTS = (1, 2, 3, 4, 5)  # the command takes the best of these
SETS = 4  # of printers, on which coupons are judged


def workshop(profile, texts, minutes):
    """Return a search for some wants, and judges of what it finds, each on printers of its own."""
    wants = [JointWant(ask_about(profile, parse_want(text)[0])) for text in texts]
    goal = Goal(profile, wants)
    options = RowOptions(Assumed(), [want.target for want in wants])
    prices, *others = (
        PriceList(Assumed(), SPEED_MM_S, draw_printers(profile, count, seed=seed))
        for count, seed in ((16, 0), *((64, n) for n in range(1, SETS + 1)))
    )
    return Search(goal, options, prices, minutes), [Judge(goal, each) for each in others]


def judged(judges, ratio):
    """Return mean and standard error over sets of printers of a figure for each want."""
    each = np.array([ratio(judge) for judge in judges])
    error = each.std(axis=0, ddof=1) / np.sqrt(len(each))
    return {"mean": each.mean(axis=0).tolist(), "error": error.tolist()}


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
    """Return the ratio of half widths that the found coupon and the best random one leave."""
    search, judges = workshop(profile_from_nothing(), texts, minutes)
    began = time.process_time()
    found = rows_of(search.run())
    taken_s = time.process_time() - began
    rng = np.random.default_rng(seed)
    drafts = [search.draft(random_rows(search, rng)) for _ in range(count)]
    best = rows_of(min(drafts, key=lambda one: one.loss))

    def ratio(judge):
        ours, theirs = (judge.known_to_mm([judge.priced(rows)]) for rows in (found, best))
        return [float(np.exp(np.mean(np.log(ours) - np.log(theirs))))]

    return {"ratio": judged(judges, ratio), "search_s": taken_s}


def after_one(texts, name="first"):
    """Return a search and judges for somebody who printed a coupon, with its rows and minutes."""
    search, judges = workshop(profile_from_nothing(), texts, 1.0)
    rows = load_spec(name).rows
    priced = [judge.priced(rows) for judge in judges]
    state = search.start
    for row in rows:
        state = with_row(state, search.prices(row).roots)
    search.already = judges[0].reaches(priced[:1])
    return search, judges, priced, state, sum(minutes_of(priced[0], 0.2))


def prepared(search, state, minutes, prints):
    """Set the search to coupons that are printed so often within the minutes."""
    search.minutes, search.prints = minutes / prints, prints
    search.start = search.prices.printers.state(state[:, :N_TERMS, :N_TERMS], prints)


def sd_ratios(judges, priced, rows, prints):
    """Return the sds that a new coupon leaves, as a share of what another print of the old does."""
    old = {id(judge): each for judge, each in zip(judges, priced, strict=True)}

    def ratio(judge):
        once = old[id(judge)]
        new = [judge.priced(rows)] * prints
        return np.divide(judge.known_to_mm([once, *new]), judge.known_to_mm([once] * 2))

    return judged(judges, ratio)


def against_again(texts, name="first"):
    """Return the ratio of sds that a new coupon and another print of the same leave."""
    search, judges, priced, state, minutes = after_one(texts, name)
    told = {"minutes": minutes}
    for prints in PRINTS:
        prepared(search, state, minutes, prints)
        rows = rows_of(search.run())
        told[f"ratio of {prints}"] = sd_ratios(judges, priced, rows, prints)
        least = judges[0].least_mm(priced[:1], prints)
        again = judges[0].known_to_mm(priced[:1] * 2)
        told[f"least of {prints}"] = [float(a / b) for a, b in zip(least, again, strict=True)]
    return told


def with_longer(texts, times=(2, 4), prints=4):
    """Return the same where the new coupon may take so many times the minutes of the old."""
    search, judges, priced, state, minutes = after_one(texts)
    told = {}
    for more in times:
        prepared(search, state, more * minutes, prints)
        told[f"times {more}"] = sd_ratios(judges, priced, rows_of(search.run()), prints)
    return told


def restarted(texts, count=4, seed=3, prints=(4,)):
    """Return the same for the best of searches that begin with random coupons."""
    search, judges, priced, state, minutes = after_one(texts)
    rng, told = np.random.default_rng(seed), {}
    for each in prints:
        prepared(search, state, minutes, each)
        drafts = [search.draft(random_rows(search, rng)) for _ in range(20 * count)]
        drafts.sort(key=lambda one: one.loss)
        found, best = search.run(), min(map(search.improved, drafts[:count]), key=lambda o: o.loss)
        told[f"loss of {each}"] = [found.loss, best.loss, drafts[0].loss]
        told[f"ratio of {each}"] = sd_ratios(judges, priced, rows_of(best), each)
    return told


def promised(texts, minutes, count, seed=1):
    """Return promised half widths and those of fits, with the standard error of their mean."""
    profile = profile_from_nothing()
    search, (judge, *_) = workshop(profile, texts, minutes)
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
        "ratio_error": (np.array(told) / mean * error / mean).tolist(),
    }


def lines(rows):
    """Lay the figures out as Markdown."""
    of = {(row["part"], row["wants"]): row for row in rows}

    def mine(part):
        return [(name, of[part, name]) for name in WANTS if (part, name) in of]

    yield from ("| name | wants |", "|---|---|")
    yield from (f"| {name} | {'; '.join(texts)} |" for name, texts in WANTS.items())
    yield from (
        "",
        "| search | half width ÷ best random one's | seconds of the search |",
        "|---|---|---|",
    )
    for name, row in mine("search"):
        yield f"| {name} | {_told(row['ratio'])} | {row['search_s']:.0f} |"
    yield from ("", f"| again | {' | '.join(f'{n} prints' for n in PRINTS)} |", "|---" * 6 + "|")
    for part in ("again", "restarts"):
        for name, row in mine(part):
            cells = [_told(row.get(f"ratio of {n}")) for n in PRINTS]
            yield f"| {name}{', restarted' * (part == 'restarts')} | {' | '.join(cells)} |"
            if part == "again":
                least = ["; ".join(f"{x:.2f}" for x in row[f"least of {n}"]) for n in PRINTS]
                yield f"| {name}, least | {' | '.join(least)} |"
    yield from (
        "",
        "| promised | promised, mm | found, mm | promised ÷ found |",
        "|---|---|---|---|",
    )
    for name, row in mine("promised"):
        found = _told({"mean": row["found_mm"], "error": row["error_mm"]})
        ratios = _told({"mean": row["ratio"], "error": row["ratio_error"]})
        told = "; ".join(f"{x:.3f}" for x in row["promised_mm"])
        yield f"| {name} | {told} | {found} | {ratios} |"


def _told(figures):
    if figures is None:
        return ""
    both = zip(figures["mean"], figures["error"], strict=True)
    return "; ".join(f"{mean:.3f} ± {error:.3f}" for mean, error in both)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--random", type=int, default=300)
    parser.add_argument("--printers", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=40.0)
    parser.add_argument("--parts", nargs="+", default=list(PARTS))
    parser.add_argument("--wants", nargs="+", default=list(WANTS))
    parser.add_argument("--rows", type=Path, default=Path("study_next.jsonl"))
    given = parser.parse_args()
    parts = {
        "search": lambda texts: against_random(texts, given.minutes, given.random),
        "again": against_again,
        "restarts": restarted,
        "longer": with_longer,
        "promised": lambda texts: promised(texts, given.minutes, given.printers),
    }
    kept = given.rows.read_text(encoding="utf-8").splitlines() if given.rows.exists() else []
    rows = [json.loads(line) for line in kept]
    done = {(row["part"], row["wants"]) for row in rows}
    for part in given.parts:
        for name in given.wants:
            if (part, name) in done or (part in LOOKED_INTO and name not in RESTARTED):
                continue
            rows.append({"part": part, "wants": name, **parts[part](WANTS[name])})
            add_rows(given.rows, rows[-1:])
    print("\n".join(lines(rows)))


if __name__ == "__main__":
    main()
