"""What pieces to choose from are worth, and whether the chances stated for them come true.

Printers drawn from the prior print a coupon once; hands and caliper report, a profile is made. Then
each joint is drawn with one piece and with three, and all next prints of that printer are asked:
printed, and every piece tried in the one body that it is made for. Sets that are off by some gap
are asked too, so that low chances occur. Run from the checkout:

    PYTHONPATH=tests nice python tests/bench/study_choices.py --printers 1000 --rows rows.jsonl

Beside it stands what can be had at best. *All of one print*: by somebody who knows everything about
the one print, its hand and all scatters, but not how much of the print was the machine. *The
machine*: by somebody who knows all but the next print. Both try every set of three. *Every set*:
the chance that a profile states for its choice, against the best of all sets that can be drawn.
"""

import argparse
from itertools import pairwise
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from bench.choice_bounds import (
    best_of_all,
    best_set,
    of_known_machine,
    of_known_print,
    pair_of,
)
from bench.kept_rows import add_rows, rows_of_whole_printers
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.chances.pieces import MOST_CHOICES
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import piece_chances
from coupons.answering.choices import answer_with_choices, one_of, stated_chance
from coupons.answering.question import Question
from coupons.errors import NotMeasuredError
from coupons.learning.design import design_of
from coupons.learning.effects import effect_row, height_share, loss_row, print_moves
from coupons.learning.fit import fit_design
from coupons.terms import GRADES, ROUND, Direction, Feature, Form, Grade, Joint

COUPONS = ("first",)
JOINTS = (
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
)
COUNTS = (1, 3)
PRINTS = 2000  # next prints of each printer
OFF_MM = 0.3  # sets are moved by up to so much
BINS = np.linspace(0, 1, 11)
EVERY = 10  # on each tenth printer all sets are tried


def grades_of(printer, joint, gaps_mm, rng, prints=PRINTS):
    """Print the slot once and a tongue for each gap, many prints; ranks of the grades felt."""
    s = printer.scatters
    shifts = rng.normal(0, printer.print_sds, (prints, len(printer.print_sds)))
    effects = printer.effects + shifts @ print_moves(printer.table).T

    def printed(form, drawn_mm):
        feature = Feature(form, drawn_mm, joint.direction)
        z = height_share(feature)
        own = rng.normal(0, np.sqrt((1 - z) * s.tau**2 + z * s.tau_z**2), prints)
        return drawn_mm + effects @ effect_row(feature) + own

    opening = printed(joint.internal, joint.size_mm)
    gaps = [opening - printed(joint.external, joint.size_mm - gap_mm) for gap_mm in gaps_mm]
    is_round = joint.internal in ROUND
    lost = float(loss_row(is_round, joint.direction, seam=is_round) @ printer.losses)
    felt = np.array(gaps).T - lost + rng.normal(0, s.omega, (prints, len(gaps)))
    return (felt[:, :, None] >= printer.thresholds).sum(axis=2)


def one_fits(printer, joint, gaps_mm, fit, rng):
    """Return the share of next prints on which one of the pieces fits."""
    ranks = grades_of(printer, joint, gaps_mm, rng)
    return float((ranks == GRADES.index(fit)).any(axis=1).mean())


def rows_of_printer(number, seed, joints=JOINTS, fit=Grade.SLIDE):
    """Return for each joint what is stated, what comes true and what could be had at best."""
    rng = np.random.default_rng([seed, number])
    printer, design = draw_printer(rng), design_of(done_coupons(*COUPONS))
    printed = print_sizes(printer, design, rng)
    profile = profile_of_fit(fit_design(observe(printer, design, printed, rng)))
    seen = printed.effects[0]
    for joint in joints:
        row = {"printer": number, "joint": str(joint.internal)}
        row |= _at_best(printer, joint, fit, seen, rng)
        yield row | _by_profile(profile, printer, joint, fit, rng, number % EVERY == 0)


def _at_best(printer, joint, fit, seen, rng):
    """Return how often the best sets fit of those who know the machine, or all of one print."""
    pair, row = pair_of(printer, joint, fit), {}
    for name, known in (
        ("machine", of_known_machine(printer, pair)),
        ("print", of_known_print(pair, seen, rng)),
    ):
        for count in COUNTS:
            gaps_mm, stated = best_set(known, pair, count)
            row[f"{name} {count}"] = one_fits(printer, joint, gaps_mm, fit, rng)
            row[f"{name} {count} stated"] = stated
    return row


def _by_profile(profile, printer, joint, fit, rng, every):
    row = {}
    for count in COUNTS:
        question = Question(joint, fit, choices=count)
        try:
            answer = answer_with_choices(profile, question)
        except NotMeasuredError:
            return {"refused": 1}
        gaps_mm, stated = [answer.gap_mm], answer.chance
        if answer.choices is not None:
            gaps_mm = [piece.gap_mm for piece in answer.choices.pieces]
            stated = answer.choices.chance
        row[f"stated {count}"] = stated
        row[f"true {count}"] = one_fits(printer, joint, gaps_mm, fit, rng)
    if every:
        row |= against_every_set(profile, question, answer, gaps_mm)
    count = int(rng.integers(2, MOST_CHOICES))
    moved = np.sort(rng.choice(np.arange(0.0, 0.6, 0.04), count, replace=False))
    moved = moved - 0.3 + answer.gap_mm + rng.uniform(-OFF_MM, OFF_MM)
    row["off stated"] = stated_chance(profile, question, moved)[0]
    row["off true"] = one_fits(printer, joint, list(moved), fit, rng)
    return row | {"refused": 0}


def against_every_set(profile, question, answer, chosen_mm):
    """Return the stated chance of the chosen set, and of the best of all that can be drawn."""
    gaps_mm = np.round(answer.gap_mm + 0.02 * np.arange(-30, 31), 6)
    here = piece_chances(one_of(profile, question, gaps_mm), shared_of(profile), seed=9)
    misses = here.too_tight + here.too_loose
    at = [int(np.argmin(abs(gaps_mm - one))) for one in chosen_mm]
    told = {"chosen": float(1 - here.weights @ misses[:, at].prod(axis=1))}
    for name, least_mm in (("every", answer.choices.least_step_mm), ("closer", 0.0)):
        told[name] = best_of_all(gaps_mm, misses, here.weights, len(at), least_mm)[1]
    return told


def study(n_printers, seed=11, joints=JOINTS):
    """Return the rows of some printers."""
    return [row for n in range(n_printers) for row in rows_of_printer(n, seed, joints)]


def column(rows, key, joint=None):
    """Return the figures of all rows that have one, of a joint or of all."""
    mine = [row for row in rows if joint is None or row["joint"] == joint]
    return np.array([row[key] for row in mine if key in row])


def bins(rows):
    """Return for each of ten bins of sets off the best: sets, mean stated, mean true, error.

    The error bar counts printers, not sets.
    """
    answered = [row for row in rows if not row["refused"]]
    printer = np.array([row["printer"] for row in answered], int)
    stated, true = column(answered, "off stated"), column(answered, "off true")
    found = []
    for low, high in pairwise(BINS):
        inside = (stated >= low) & (stated < high)
        if inside.any():
            sums = np.bincount(printer[inside], (true - stated)[inside])
            n = int(inside.sum())
            error = float(np.sqrt((sums**2).sum()) / n)
            found.append((n, float(stated[inside].mean()), float(true[inside].mean()), error))
    return found


def mean_and_error(figures):
    return float(np.mean(figures)), float(np.std(figures, ddof=1) / np.sqrt(len(figures)))


def _told(figures):
    mean, error = mean_and_error(figures)
    return f"{mean:.3f} ± {error:.3f}"


def lines(rows, seed):
    """Lay the figures out as Markdown."""
    n_printers = len({row["printer"] for row in rows})
    yield (
        f"{n_printers} printers from the prior, one print of `{COUPONS[0]}` with all its entries, "
        f"seed {seed}. ± are standard errors over printers."
    )
    yield from (
        "",
        "| sliding | pieces | stated | came true | true less stated |",
        "|---|---|---|---|---|",
    )
    for joint in dict.fromkeys(row["joint"] for row in rows):
        for count in COUNTS:
            stated, true = (column(rows, f"{what} {count}", joint) for what in ("stated", "true"))
            each = map(_told, (stated, true, true - stated))
            yield f"| {joint} | {count} | {' | '.join(each)} |"
    yield from (
        "",
        "| sliding | pieces | by the profile | all of one print known | the machine known |",
    )
    yield "|---|---|---|---|---|"
    for joint in dict.fromkeys(row["joint"] for row in rows):
        answered = [row for row in rows if row["joint"] == joint and not row["refused"]]
        for count in COUNTS:
            each = (
                _told(column(answered, f"{what} {count}")) for what in ("true", "print", "machine")
            )
            yield f"| {joint} | {count} | {' | '.join(each)} |"
    chosen = column(rows, "chosen")
    lost, closer = column(rows, "every") - chosen, column(rows, "closer") - chosen
    yield ""
    yield (
        f"The search against all sets of three that can be drawn, as the profile states them, on "
        f"{len(lost)} joints: {100 * lost.mean():.2f} points less on average, "
        f"{100 * lost.max():.2f} at most. Pieces closer together than a hand can tell would have "
        f"{100 * closer.mean():.2f} points more."
    )
    yield from (
        "",
        "| sets off the best | stated | came true | standard error |",
        "|---|---|---|---|",
    )
    for n, stated, true, error in bins(rows):
        yield f"| {n} | {stated:.3f} | {true:.3f} | {error:.3f} |"


def main():
    """Run the study printer by printer, keep its rows, and print the tables of all kept."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=400)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--rows", type=Path, default=Path("study_choices.jsonl"))
    options = parser.parse_args()
    rows = rows_of_whole_printers(options.rows, len(JOINTS))
    done = {row["printer"] for row in rows}
    for number in range(options.printers):
        if number not in done:
            new = list(rows_of_printer(number, options.seed))
            rows += new
            add_rows(options.rows, new)
    print("\n".join(lines(rows, options.seed)))


if __name__ == "__main__":
    main()
