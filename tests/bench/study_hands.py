"""What a few trials of a new hand bring, over printers drawn from the prior.

One person tries all of a printed coupon ``first`` and a profile is fitted. Then another person,
whose thresholds differ as the model says people's do, tries a few pairs of the same print. Is the
gap that this hand needs on the next print inside the 90 % interval, by the first profile and by the
one for the new hand, and how often does what is drawn for a sliding fit slide in that hand? Run
from the checkout:

    PYTHONPATH=tests nice python tests/bench/study_hands.py --printers 300 --trials 6 8
"""

import argparse
import json
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from bench.study import print_sd, tell, true_edge
from scipy.stats import norm
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.learning.design import Trials, design_of
from coupons.learning.fit import fit_design
from coupons.learning.new_hand import moments_for_hand, trials_to_make, with_thresholds
from coupons.learning.profile import Hand
from coupons.terms import Direction, Form, Grade, Joint

JOINTS = (
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),
    Joint(Form.SLOT, Form.TONGUE, 25.0, Direction.Y),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
)
EDGES = (Grade.PUSH, Grade.SLIDE, Grade.LOOSE)


class Bench:
    """The coupon and its design, laid out once."""

    def __init__(self, coupon="first"):
        (self.run,) = done_coupons(coupon)
        self.design = design_of([self.run])
        pairs = [(trial.feature, trial.mate) for trial in self.run.coupon.trials]
        self.at = {pair: number for number, pair in enumerate(pairs)}

    def tried_by_both(self, trials):
        """Return the design with more trials, by a second person, of these pairs."""
        more = [self.at[trial.feature, trial.mate] for trial in trials]
        known = self.design.trials
        both = {
            field.name: np.concatenate([(old := getattr(known, field.name)), old[more]])
            for field in fields(Trials)
        }
        both["hand"] = np.repeat([0, 1], [len(self.at), len(more)])
        return replace(self.design, trials=Trials(**both), hands=("first", "new"))


def one_printer(bench, seed, counts, own_sd_mm=0.0, new_mm=None):
    """Return, for one printer, what each profile says and what is true of the new hand.

    Parameters
    ----------
    bench : Bench
    seed : sequence of int
    counts : sequence of int
        Numbers of trials of the new hand.
    own_sd_mm : float
        By how much each threshold of the new hand differs by itself, which the model knows not.
    new_mm : float, optional
        By how much all of them differ; drawn as the model says where it is not given.

    Returns
    -------
    dict of str to dict
        ``old`` and each count, to lists of ``held`` and ``slides``, and to ``plastic_alike``.
    """
    rng = np.random.default_rng(seed)
    printer = draw_printer(rng)
    printed = print_sizes(printer, bench.design, rng)
    first_mm, drawn_mm = rng.normal(0, printer.table.hand.sd, 2)
    new_mm = drawn_mm if new_mm is None else new_mm
    # Out of order a hand's grades are no grades: such a person is drawn again.
    while True:
        moved = printer.thresholds + new_mm + rng.normal(0, own_sd_mm, len(printer.thresholds))
        if np.all(np.diff(moved) > 0):
            break
    old_hand = _with_hand(printer, printer.thresholds + first_mm)
    new_hand = _with_hand(printer, moved)
    seen = observe(old_hand, bench.design, printed, rng)
    old = profile_of_fit(fit_design(seen))
    profiles = {"old": old}
    for count in counts:
        both = bench.tried_by_both(trials_to_make(old, bench.run.coupon, count))
        flat = replace(printed, hands=np.zeros(2))
        tried = observe(new_hand, both, flat, np.random.default_rng([*seed, count])).trials
        n = len(seen.trials.tightest)
        grades = np.concatenate([seen.trials.tightest, tried.tightest[n:]])
        both = replace(
            both,
            readings=seen.readings,
            trials=replace(both.trials, tightest=grades, loosest=grades),
        )
        moments = moments_for_hand(old, fit_design(both), 1)
        profiles[count] = with_thresholds(old, *moments, Hand(by="new", trials=count))
    return {name: _judged(profile, new_hand) for name, profile in profiles.items()}


def _with_hand(printer, thresholds):
    """Return the printer as a person with these thresholds meets it."""
    terms = printer.terms.copy()
    terms[len(printer.effects) : len(printer.effects) + len(thresholds)] = thresholds
    return replace(printer, terms=terms)


def _judged(profile, hand):
    held, width_mm, slides, best = [], [], [], []
    for joint in JOINTS:
        for grade in EDGES:
            if (told := tell(profile, joint, grade)) is None:
                continue
            miss = norm(told.gap_mm - true_edge(hand, joint, grade), print_sd(joint, hand))
            half = told.next_print[1]
            held.append(float(miss.cdf(half) - miss.cdf(-half)))
            width_mm.append(2 * half)
        found = answer(profile, Question(joint, Grade.SLIDE))
        slides.append(float(_slides(hand, joint, found.gap_mm)))
        best.append(float(_slides(hand, joint, np.arange(-0.6, 1.5, 0.005)).max()))
    return {"held": held, "width_mm": width_mm, "slides": slides, "best": best}


def _slides(hand, joint, gaps_mm):
    """Return the chance that a pair of the next print slides in a hand, lapses apart."""
    sd = np.sqrt(print_sd(joint, hand) ** 2 + 2 * hand.scatters.tau**2 + hand.scatters.omega**2)
    # The edges hardly depend on the gap: a scale of a tenth of a percent of 0.3 mm.
    ends = [true_edge(hand, joint, grade) for grade in (Grade.SLIDE, Grade.LOOSE)]
    return norm.cdf((gaps_mm - ends[0]) / sd) - norm.cdf((gaps_mm - ends[1]) / sd)


def study(n_printers, counts, own_sd_mm=0.0, seed=11):
    """Return, by profile: share held and chance won, each with its error over printers."""
    bench = Bench()
    every = [one_printer(bench, (seed, n), counts, own_sd_mm) for n in range(n_printers)]
    return {str(name): _summary([one[name] for one in every]) for name in every[0]}


def _summary(rows):
    found = {}
    for name, take in (
        ("held", lambda row: np.mean(row["held"])),
        ("width_mm", lambda row: np.mean(row["width_mm"])),
        ("slides", lambda row: np.mean(row["slides"])),
        ("best", lambda row: np.mean(row["best"])),
    ):
        values = np.array([take(row) for row in rows])
        found[name] = (float(values.mean()), float(values.std(ddof=1) / np.sqrt(len(values))))
    return found


def main():
    """Print the study, and write it as JSON if asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=20)
    parser.add_argument("--trials", type=int, nargs="+", default=[8])
    parser.add_argument("--own-sd", type=float, default=0.0, help="of each threshold, mm")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--json", type=Path, help="file to write")
    options = parser.parse_args()
    found = study(options.printers, options.trials, options.own_sd, options.seed)
    print(f"{options.printers} printers from the prior, seed {options.seed}")
    print(f"{'trials of the new hand':<24}{'90 % held':<18}{'width, mm':<12}{'slides':<18}best")
    for name, one in found.items():
        held, slides = (f"{one[key][0]:.3f} ± {one[key][1]:.3f}" for key in ("held", "slides"))
        label = "none" if name == "old" else name
        print(f"{label:<24}{held:<18}{one['width_mm'][0]:<12.3f}{slides:<18}{one['best'][0]:.3f}")
    if options.json:
        told = {"printers": options.printers, "seed": options.seed, **found}
        options.json.write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
