"""Whether the chances that answers state come true, over printers drawn from the prior.

Each printer prints the coupons ``first`` and ``upright`` once, hands and caliper report, a profile
is made, and joints are then drawn and printed anew. Run from the checkout:

    PYTHONPATH=tests nice python tests/bench/calibration.py --printers 1000

What came of it is kept in ``results/bench/calibration.txt``.
"""

import argparse
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.errors import NotMeasuredError
from coupons.learning.design import design_of
from coupons.learning.effects import (
    SCATTERS,
    TERMS,
    effect_row,
    height_share,
    loss_row,
    print_moves,
    print_rows,
)
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Counts, LogSpread, MeasuredRange, Profile
from coupons.terms import GRADES, ROUND, Direction, Feature, Form, Grade, Joint

COUPONS = ("first", "upright")
JOINTS = (
    Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X),
    Joint(Form.SLOT, Form.TONGUE, 25.0, Direction.Y),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
    Joint(Form.SLOT, Form.TONGUE, 10.0, Direction.Z),
)
# Common practice, no source: so much air on each face for parts that slide, and for snug ones.
HABIT_SLIDE_MM, HABIT_SNUG_MM = 0.3, 0.1
BINS = np.linspace(0, 1, 11)


@dataclass(frozen=True)
class Study:
    """Stated chances and what came of them, one entry a joint and grade; sliding by each way.

    ``printer`` numbers the printer of each entry: outcomes on one printer are not independent.
    ``all_stated`` and ``all_came_true`` are about all joints of a printer on one print.
    """

    printer: np.ndarray
    stated: np.ndarray
    came_true: np.ndarray
    slid: dict[str, np.ndarray]
    all_stated: np.ndarray
    all_came_true: np.ndarray

    def table(self):
        """Return, for each of ten bins: entries, mean stated, share come true, standard error."""
        rows = []
        for low, high in pairwise(BINS):
            inside = (self.stated >= low) & (self.stated < high)
            if not inside.any():
                continue
            excess = (self.came_true - self.stated)[inside]
            # One sum a printer: the error bar counts printers, not entries.
            sums = np.bincount(self.printer[inside], excess)
            rows.append(
                (
                    int(inside.sum()),
                    float(self.stated[inside].mean()),
                    float(self.came_true[inside].mean()),
                    float(np.sqrt((sums**2).sum()) / inside.sum()),
                )
            )
        return rows


def study(n_printers, seed=5):
    """Run the study."""
    rng = np.random.default_rng(seed)
    runs = done_coupons(*COUPONS)
    design = design_of(runs)
    entries, slid = [], {"answer": [], "habit, sliding": [], "habit, snug": []}
    together = []
    for number in range(n_printers):
        printer = draw_printer(rng)
        seen = observe(printer, design, print_sizes(printer, design, rng), rng)
        profile = profile_of_fit(fit_design(seen))
        for joint in JOINTS:
            entries += [(number, *entry) for entry in _any_gap(profile, printer, joint, rng)]
            for name, hit in _slides(profile, printer, joint, rng).items():
                slid[name].append(hit)
        together.append(_all_slide(profile, printer, rng))
    printers, stated, came_true = map(np.array, zip(*entries, strict=True))
    slid = {name: np.array(hits) for name, hits in slid.items()}
    return Study(printers, stated, came_true, slid, *map(np.array, zip(*together, strict=True)))


def _any_gap(profile, printer, joint, rng):
    """State the chance of every grade at some gap, then print and try it."""
    gap = float(rng.uniform(-0.1, 0.8))
    found = _ask(profile, Question(joint, Grade.SLIDE, drawn_gap_mm=gap))
    if found is None:
        return
    grade = try_joint(printer, joint, gap, rng)
    for each, chance in found.grade_chances.items():
        yield chance, float(grade is each)


def _slides(profile, printer, joint, rng):
    found = _ask(profile, Question(joint, Grade.SLIDE))
    if found is None:
        return {}
    gaps = {
        "answer": found.gap_mm,
        "habit, sliding": 2 * HABIT_SLIDE_MM,
        "habit, snug": 2 * HABIT_SNUG_MM,
    }
    return {name: try_joint(printer, joint, gap, rng) is Grade.SLIDE for name, gap in gaps.items()}


def _all_slide(profile, printer, rng):
    """State the chance that all joints slide, then print them together and try them."""
    asked = [Question(joint, Grade.SLIDE) for joint in JOINTS]
    gaps = [(q, found.gap_mm) for q in asked if (found := _ask(profile, q)) is not None]
    demands = [fit_demand(profile, question, gap) for question, gap in gaps]
    shifts = rng.normal(0, printer.print_sds)
    grades = [try_joint(printer, question.joint, gap, rng, shifts) for question, gap in gaps]
    stated = chance_together(demands, shared_of(profile)).chance
    return stated, float(all(grade is Grade.SLIDE for grade in grades))


def _ask(profile, question):
    try:
        return answer(profile, question)
    except NotMeasuredError:
        return None


def print_gap(printer, joint, gap_mm, rng, shifts=None):
    """Print a joint once and return its gap in mm."""
    s = printer.scatters
    if shifts is None:  # a print of its own
        shifts = rng.normal(0, printer.print_sds)
    effects = printer.effects + print_moves(printer.table) @ shifts
    sizes = []
    for form, drawn in (
        (joint.internal, joint.size_mm),
        (joint.external, joint.size_mm - gap_mm),
    ):
        feature = Feature(form, drawn, joint.direction)
        z = height_share(feature)
        own = rng.normal(0, np.sqrt((1 - z) * s.tau**2 + z * s.tau_z**2))
        sizes.append(drawn + effect_row(feature) @ effects + own)
    return sizes[0] - sizes[1]


def try_joint(printer, joint, gap_mm, rng, shifts=None):
    """Print a joint once and try it: the grade that a hand finds, without lapses."""
    felt = print_gap(printer, joint, gap_mm, rng, shifts)
    is_round = joint.internal in ROUND
    felt -= float(loss_row(is_round, joint.direction, seam=is_round) @ printer.losses)
    felt += rng.normal(0, printer.scatters.omega)
    return GRADES[int((felt >= printer.thresholds).sum())]


def profile_of_fit(fitted):
    """Distil a fit that came from no run folder."""
    scatters = {}
    for name in SCATTERS:
        mean, sd = fitted.mixture.log_sd_moments(name)
        scatters[name] = LogSpread(median_mm=float(np.exp(mean)), log_sd=sd)
    design = fitted.design
    informing = design.sizes.runs_with(print_rows(design.sizes.effects, EXTRUSION))
    return Profile(
        machine="bench-1",
        material="grey",
        nozzle_mm=0.4,
        layer_height_mm=0.2,
        rehearsed=False,
        counts=Counts(
            runs=design.n_runs,
            by_print_effect=informing,
            sizes=len(design.sizes.drawn),
            readings=len(design.readings.value),
            trials=len(design.trials.internal),
        ),
        measured=tuple(
            MeasuredRange(form=form, direction=direction, low_mm=3, high_mm=80)
            for form in Form
            for direction in Direction
        ),
        means=dict(zip(TERMS, map(float, fitted.mean), strict=True)),
        covariance=tuple(map(float, fitted.covariance[np.tril_indices(len(TERMS))])),
        scatters=scatters,
        coupons=COUPONS,
        entries_sha256="0" * 64,
    )


def main():
    """Print the study."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=200)
    parser.add_argument("--seed", type=int, default=5)
    options = parser.parse_args()
    found = study(options.printers, options.seed)
    print(f"{options.printers} printers from the prior, seed {options.seed}")
    print(f"{'entries':>8}{'stated':>9}{'came true':>11}{'std. error':>12}")
    for entries, stated, came_true, error in found.table():
        print(f"{entries:>8}{stated:>9.3f}{came_true:>11.3f}{error:>12.3f}")
    for name, hits in found.slid.items():
        print(f"slides first time, drawn by {name}: {hits.mean():.3f} of {len(hits)}")
    excess = found.all_came_true - found.all_stated
    print(
        f"all joints of a print slide: stated {found.all_stated.mean():.3f}, came true "
        f"{found.all_came_true.mean():.3f}, std. error {excess.std() / np.sqrt(len(excess)):.3f}"
    )


if __name__ == "__main__":
    main()
