"""What pieces to choose from are worth, and whether the chances stated for them come true.

Printers drawn from the prior print a coupon once; hands and caliper report, a profile is made. Then
each joint is drawn with one piece and with several, and all next prints of that printer are asked:
printed, and every piece tried in the one body that it is made for. Sets that are off by some gap
are asked too, so that low chances occur. Run from the checkout:

    PYTHONPATH=tests nice python tests/bench/study_choices.py --printers 400
"""

import argparse
import json
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.chances.pieces import MOST_CHOICES
from coupons.answering.choices import answer_with_choices, stated_chance
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


@dataclass
class Found:
    """Per number of pieces and joint: stated and true chances, one entry a printer."""

    stated: dict[str, list[float]] = field(default_factory=dict)
    true: dict[str, list[float]] = field(default_factory=dict)
    printer: list[int] = field(default_factory=list)  # of each set that was moved off
    off_stated: list[float] = field(default_factory=list)
    off_true: list[float] = field(default_factory=list)

    def bins(self):
        """Return for each of ten bins: sets, mean stated, mean true, standard error."""
        printer, stated, true = map(np.array, (self.printer, self.off_stated, self.off_true))
        rows = []
        for low, high in pairwise(BINS):
            inside = (stated >= low) & (stated < high)
            if inside.any():
                sums = np.bincount(printer[inside], (true - stated)[inside])
                n = int(inside.sum())
                error = float(np.sqrt((sums**2).sum()) / n)
                rows.append((n, float(stated[inside].mean()), float(true[inside].mean()), error))
        return rows


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


def study(n_printers, seed=11, joints=JOINTS, fits=(Grade.SLIDE,), so_far=None):
    """Run the study; ``so_far`` is told after each printer what was found by then."""
    rng = np.random.default_rng(seed)
    design = design_of(done_coupons(*COUPONS))
    found = Found()
    for number in range(n_printers):
        printer = draw_printer(rng)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        profile = profile_of_fit(fit_design(seen))
        for joint in joints:
            for fit in fits:
                _ask(found, number, profile, printer, joint, fit, rng)
        if so_far is not None:
            so_far(number + 1, found)
    return found


def _ask(found, number, profile, printer, joint, fit, rng):
    for count in COUNTS:
        question = Question(joint, fit, choices=count)
        try:
            answer = answer_with_choices(profile, question)
        except NotMeasuredError:
            return
        gaps_mm = [answer.gap_mm]
        stated = answer.chance
        if answer.choices is not None:
            gaps_mm = [piece.gap_mm for piece in answer.choices.pieces]
            stated = answer.choices.chance
        key = f"{fit} {joint.internal} {count}"
        found.stated.setdefault(key, []).append(stated)
        true = one_fits(printer, joint, gaps_mm, fit, rng)
        found.true.setdefault(key, []).append(true)
    count = int(rng.integers(2, MOST_CHOICES))
    moved = np.sort(rng.choice(np.arange(0.0, 0.6, 0.04), count, replace=False))
    moved = moved - 0.3 + answer.gap_mm + rng.uniform(-OFF_MM, OFF_MM)
    found.printer.append(number)
    found.off_stated.append(stated_chance(profile, question, moved)[0])
    found.off_true.append(one_fits(printer, joint, list(moved), fit, rng))


def as_lines(found, n_printers, seed):
    """Lay the figures out as text."""
    yield f"{n_printers} printers from the prior, one print of {COUPONS[0]}, seed {seed}"
    yield f"{'fit, body, pieces':<20}{'n':>6}{'stated':>9}{'came true':>11}{'std. error':>12}"
    for key, stated in found.stated.items():
        true = np.array(found.true[key])
        error = float(np.std(true - np.array(stated), ddof=1) / np.sqrt(len(true)))
        yield f"{key:<20}{len(true):>6}{np.mean(stated):>9.3f}{true.mean():>11.3f}{error:>12.4f}"
    yield f"{'sets off the best':<20}{'n':>6}{'stated':>9}{'came true':>11}{'std. error':>12}"
    for n, stated, true, error in found.bins():
        yield f"{'':<20}{n:>6}{stated:>9.3f}{true:>11.3f}{error:>12.4f}"


def main():
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=400)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--json", default="", help="File to write the figures into.")
    options = parser.parse_args()

    def keep(number, found):  # a run that is cut short is worth what it did
        if options.json:
            figures = {"printers": number, "stated": found.stated, "true": found.true}
            text = json.dumps(figures | {"bins": found.bins()})
            Path(options.json).write_text(f"{text}\n", encoding="utf-8")

    found = study(options.printers, options.seed, so_far=keep)
    print("\n".join(as_lines(found, options.printers, options.seed)))


if __name__ == "__main__":
    main()
