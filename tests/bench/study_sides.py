"""Whether intervals hold for joints whose bodies lie unlike, or come from two prints or printers.

Printers drawn from the prior print one coupon once, slots and tongues across x, y and z and
standing rounds, and are fitted. Each is asked, alone and with the printer before it, at which gap
the middle of a grade is on the next print. Run from the checkout:

    PYTHONPATH=tests nice python tests/bench/study_sides.py --printers 240
"""

import argparse
from collections import defaultdict
from dataclasses import replace

import numpy as np
from bench.calibration import profile_of_fit
from scipy.stats import norm
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import coupon_design

from coupons.answering.chances.next_print import interval, learned_share
from coupons.answering.offset import NOTHING_LEARNED, clearances
from coupons.answering.question import Question
from coupons.answering.wanted_window import interval_mixture, window_row
from coupons.learning.effects import effect_row, loss_row, print_moves
from coupons.learning.fit import fit_design
from coupons.terms import GRADES, ROUND, Bed, Direction, Feature, Form, Grade, Joint

SLOT, TONGUE, HOLE, PIN = Form.SLOT, Form.TONGUE, Form.HOLE, Form.PIN
X, Y, Z = Direction.X, Direction.Y, Direction.Z
ASKED = {
    "slot x, one print": Question(Joint(SLOT, TONGUE, 12.0, X), Grade.SLIDE),
    "slot z, tongue x": Question(Joint(SLOT, TONGUE, 8.0, Z, X), Grade.SLIDE, bed=Bed.NONE),
    "slot x, tongue y, two prints": Question(
        Joint(SLOT, TONGUE, 12.0, X, Y), Grade.SLIDE, two_prints=True
    ),
    "hole z, pin x": Question(Joint(HOLE, PIN, 8.0, Z, X), Grade.PUSH, bed=Bed.NONE),
    "slot x, two printers": Question(Joint(SLOT, TONGUE, 12.0, X), Grade.SLIDE),
    "hole z, pin x, two printers": Question(Joint(HOLE, PIN, 8.0, Z, X), Grade.PUSH, bed=Bed.NONE),
}
GAP_MM = 0.3
CHUNK = 40


def sides(question, gap_mm=GAP_MM):
    """Return how each effect opens the gap, by the features as drawn: internal, external."""
    joint = question.joint
    sizes = (joint.size_mm, joint.size_mm - gap_mm)
    inner, outer = (
        effect_row(Feature(form, size, lies))
        for form, size, lies in zip(joint.forms, sizes, joint.directions, strict=True)
    )
    return inner, -outer


def lost(printer, joint, rng):
    """Return what a pair loses; a lying pin in a standing hole as lying pairs do, ±0.065 mm."""
    is_round, (_, lies) = joint.internal in ROUND, joint.directions
    more = rng.normal(0, 0.065) if is_round and joint.lies_unlike else 0.0
    return float(loss_row(is_round, lies, seam=is_round) @ printer.losses) + more


def held(profile, printers, question, rng):
    """Return the chance that the next print's gap lies in the interval; None if not measured.

    ``printers`` make the internal and the external body; the hand is the first one's.
    """
    cases = clearances(profile, question, np.array([GAP_MM]))
    if learned_share(cases[0].prints, window_row(cases[0], question))[0] > NOTHING_LEARNED:
        return None
    low, high = interval(*interval_mixture(cases, question))
    opens = sides(question)
    first = printers[0]
    above = GRADES.index(question.fit)
    window = first.thresholds[above - 1 : above + 1].mean()
    needs = window + lost(first, question.joint, rng)
    needs -= sum(row @ printer.effects for row, printer in zip(opens, printers, strict=True))
    acts = [
        (row @ print_moves(printer.table)) * printer.print_sds
        for row, printer in zip(opens, printers, strict=True)
    ]
    one_print = printers[0] is printers[1] and not question.two_prints
    moved = [sum(acts)] if one_print else acts
    next_print = norm(needs, np.sqrt(sum(float(act @ act) for act in moved)))
    return float(next_print.cdf(high) - next_print.cdf(low))


def study(n_printers, seed=11, only=""):
    """Return, by joint, the chance that each interval holds the next print's gap."""
    rng = np.random.default_rng(seed)
    design = coupon_design(rows="ABCDE")
    found = defaultdict(list)
    before = None
    for _ in range(n_printers):
        printer = draw_printer(rng)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        profile = profile_of_fit(fit_design(seen))
        for name, question in ASKED.items():
            if only not in name:
                continue
            asked, makers = question, (printer, printer)
            if "two printers" in name:
                if before is None:
                    continue
                asked, makers = replace(question, external_profile=before[1]), (printer, before[0])
            share = held(profile, makers, asked, rng)
            if share is not None:
                found[name].append(share)
        before = printer, profile
    return {name: np.array(shares) for name, shares in found.items()}


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=240)
    parser.add_argument("--only", default="", help="joints with this in their name")
    asked = parser.parse_args()
    every = defaultdict(list)
    for seed in range(asked.printers // CHUNK):  # told as it goes: it takes long
        for name, shares in study(CHUNK, seed, asked.only).items():
            every[name] += shares.tolist()
        print(f"{'joint':<32}{'asked':>6}{'90 % held':>11}{'error':>8}")
        for name, shares in every.items():
            error = np.std(shares, ddof=1) / np.sqrt(len(shares))
            mean = 100 * np.mean(shares)
            print(f"{name:<32}{len(shares):>6}{mean:>10.1f} {100 * error:>7.1f}", flush=True)


if __name__ == "__main__":
    main()
