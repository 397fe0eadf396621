"""The study of the model: do intervals hold, is the gap found, what does misfit cost.

    PYTHONPATH=tests nice python tests/bench/study.py --printers 2000 --out results/study

*Prior*: printers drawn from the model's own prior print ``first``, ``upright`` and ``round``; the
gap at which each grade begins is asked of the next print and of the machine. *Habit*: the same with
``first`` alone, against reading off the first slot in which one tongue slides, with clean entries
and with 2 % lapses and 3 % mistyped readings. *Virtual*: machines built from physics, not from the
model.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import click
import numpy as np
from bench.calibration import profile_of_fit
from joblib import Parallel, delayed
from scipy.stats import norm
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons, with_slips
from support.truth import threshold_gap_mm

from coupons.answering.clearance import Clearance
from coupons.answering.next_print import half_width, learned_share, variance_parts
from coupons.answering.offset import NOTHING_LEARNED
from coupons.learning.design import design_of
from coupons.learning.effects import EXTRUSION, TERMS, effect_row, loss_row, print_moves
from coupons.learning.fit import fit_design
from coupons.learning.posterior.latent import N_TERMS
from coupons.measuring.virtual.machine import random_machine
from coupons.measuring.virtual.printer import as_it_prints
from coupons.measuring.virtual.rehearsal import as_entries, try_out, work_list
from coupons.terms import GRADES, ROUND, Bed, Direction, Feature, Form, Grade, Joint, MovingBody

COUPONS = ("first", "upright", "round")
EDGES = {"press": Grade.FORCE, "push": Grade.PUSH, "slide": Grade.SLIDE}
FLAT = tuple(Joint(Form.SLOT, Form.TONGUE, 8.0, d) for d in (Direction.X, Direction.Y, Direction.Z))
STANDING = (Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),)
LYING = tuple(Joint(Form.HOLE, Form.PIN, 8.0, d) for d in (Direction.X, Direction.Y))
JOINTS = FLAT + STANDING + LYING
CHUNK = 10
MISTYPED = 0.03
SHARES = (0.5, 0.9)


@dataclass(frozen=True)
class Told:
    """What a profile tells of one edge: its gap, half widths of 50 % and 90 % intervals."""

    gap_mm: float
    sd_mm: float
    machine: tuple[float, float]
    next_print: tuple[float, float]


def name_of(joint):
    return f"{joint.internal}/{joint.external} {joint.direction}"


def tell(profile, joint, grade, gap_mm=0.3, bed=Bed.NONE):
    """Ask where a grade begins, or None where it was not measured."""
    clearance = Clearance(profile, joint, MovingBody.INTERNAL, np.array([gap_mm]), bed=bed)
    row = clearance.margin_row(grade)
    if learned_share(profile, row)[0] > NOTHING_LEARNED:
        return None
    of_machine, of_print, weights = variance_parts(profile, row)
    of_machine, of_print = of_machine[:, 0], of_print[:, 0]
    return Told(
        -float(row[0] @ profile.mean_vector),
        float(np.sqrt(row[0] @ profile.covariance_matrix @ row[0])),
        tuple(half_width(of_machine, weights, share) for share in SHARES),
        tuple(half_width(of_machine + of_print, weights, share) for share in SHARES),
    )


def closing(joint, gap_mm=0.3, bed=Bed.NONE):
    """Return how each effect opens a drawn gap, by the features as they are drawn."""
    slot, tongue = (
        Feature(form, size_mm, joint.direction, on_bed=bed.holds(form))
        for form, size_mm in (
            (joint.internal, joint.size_mm + gap_mm),
            (joint.external, joint.size_mm),
        )
    )
    return effect_row(slot) - effect_row(tongue)


def true_edge(printer, joint, grade, gap_mm=0.3, bed=Bed.NONE):
    """Return the gap at which a grade begins on a printer from the prior, prints apart."""
    opens = closing(joint, gap_mm, bed) @ printer.effects
    is_round = joint.internal in ROUND
    lost = loss_row(is_round, joint.direction, seam=is_round) @ printer.losses
    return float(printer.thresholds[GRADES.index(grade) - 1] + lost - opens)


def of_print(joint, printer, printed):
    """Return what the first print adds to the gap needed."""
    return float(-closing(joint) @ (printed.effects[0] - printer.effects))


def print_sd(joint, printer, bed=Bed.NONE):
    """Return how much the gap needed differs between the prints of a machine."""
    moves = closing(joint, bed=bed) @ print_moves(printer.table)
    return float(np.linalg.norm(moves * printer.print_sds))


def from_prior(seed, design):
    """Fit one printer from the prior; one row an edge that was told.

    Whether the interval for the next print holds is asked of all next prints of the printer at
    once: their shifts are normal. One draw of a shift would be judged with all 18 questions.
    """
    rng = np.random.default_rng(seed)
    printer = draw_printer(rng)
    observed = observe(printer, design, print_sizes(printer, design, rng), rng)
    profile = profile_of_fit(fit_design(observed))
    rows = []
    for joint in JOINTS:
        for edge, grade in EDGES.items():
            told = tell(profile, joint, grade)
            if told is not None:
                miss = told.gap_mm - true_edge(printer, joint, grade)
                next_miss = norm(miss, print_sd(joint, printer))
                held = [float(next_miss.cdf(h) - next_miss.cdf(-h)) for h in told.next_print]
                rows.append(_judged(joint, edge, miss, told, held))
    return rows


def _judged(joint, edge, miss, told, next_held):
    return {
        "joint": name_of(joint),
        "edge": edge,
        "miss_mm": miss,
        "sd_mm": told.sd_mm,
        "machine": [abs(miss) <= half for half in told.machine],
        "next": next_held,
    }


def habit_row(seed, design, gaps):
    """One printer, ``first`` only: our miss of the slide gap and the habit's, clean and spoiled.

    ``gaps`` are those of the trials of one tongue in its row of slots, nan for all other trials:
    whoever reads off the first slot that slides has one part in hand.
    """
    rng = np.random.default_rng(seed)
    sure = replace(EXTRUSION, lapse=0.0)
    printer = draw_printer(rng, sure)
    printed = print_sizes(printer, design, rng)
    state = rng.bit_generator.state
    clean = observe(printer, design, printed, rng)
    rng.bit_generator.state = state
    spoiled = with_slips(
        observe(replace(printer, table=EXTRUSION), design, printed, rng), MISTYPED, rng
    )
    joint = FLAT[0]
    truth = true_edge(printer, joint, Grade.SLIDE) + of_print(joint, printer, printed)
    found = {}
    for name, observed in (("clean", clean), ("spoiled", spoiled)):
        mean, covariance = fit_design(observed).mixture.moments
        needed = needed_row(joint, len(mean))
        found[name] = float(needed @ mean) - truth
        found[f"{name} sd"] = float(np.sqrt(needed @ covariance @ needed))
    slides = (clean.trials.tightest >= GRADES.index(Grade.SLIDE)) & np.isfinite(gaps)
    found["habit"] = float(min(gaps[slides], default=np.nanmax(gaps))) - truth
    return found


def one_tongue(coupon):
    """Return the gap of each trial of the first tongue along x, nan for all other trials."""
    features = {feature.id: feature for feature in coupon.features}
    mate = next(
        trial.mate
        for trial in coupon.trials
        if features[trial.feature].form is Form.SLOT
        and features[trial.feature].direction is Direction.X
    )
    return np.array([t.gap_mm if t.mate == mate else np.nan for t in coupon.trials])


def needed_row(joint, n_latent):
    """Weights of all latent values in the gap at which this print begins to slide."""
    row = np.zeros(n_latent)
    slot = Feature(joint.internal, joint.size_mm + 0.3, joint.direction)
    tongue = Feature(joint.external, joint.size_mm, joint.direction)
    effects = effect_row(slot) - effect_row(tongue)
    row[: len(effects)] = -effects
    row[TERMS.index("from_slide")] = 1.0
    # Effects of the print itself: kind by kind, one run.
    row[N_TERMS : N_TERMS + len(EXTRUSION.prints)] = -effects @ print_moves(EXTRUSION)
    return row


def from_physics(seed, work):
    """Fit one virtual machine that tries the three coupons; one row an edge that was told."""
    rng = np.random.default_rng(seed)
    machine = random_machine(rng)
    runs = []
    for run, list_ in work:
        sizes, fits = as_entries(list_, try_out(machine, list_, rng))
        caliper = replace_caliper(run.conditions, machine)
        runs.append(replace(run, conditions=caliper, sizes=sizes, fits=fits))
    profile = profile_of_fit(fit_design(design_of(runs)))
    after = next_print_of(machine, rng)
    rows = []
    for joint in JOINTS:
        for edge, grade in EDGES.items():
            told = tell(profile, joint, grade)
            if told is not None:
                miss, next_miss = (
                    told.gap_mm - threshold_gap_mm(printing, joint, grade)
                    for printing in (machine, after)
                )
                held = [abs(next_miss) <= half for half in told.next_print]
                rows.append(_judged(joint, edge, miss, told, held))
    return rows


def next_print_of(machine, rng):
    """Return the machine as it happens to be on its next print, its line's width and all."""
    laid_mm = machine.bead.laid_mm + rng.normal(0, machine.scatter.print_mm)
    machine = as_it_prints(machine, rng)
    return machine.model_copy(update={"bead": machine.bead.model_copy(update={"laid_mm": laid_mm})})


def replace_caliper(conditions, machine):
    caliper = conditions.caliper.model_copy(
        update={
            "resolution_mm": machine.caliper.resolution_mm,
            "jaw_land_mm": machine.caliper.jaw_land_mm,
        }
    )
    return conditions.model_copy(update={"caliper": caliper})


def spread_out(function, seeds: Sequence[int], label, *arguments):
    """Run on both cores in chunks, with progress on stderr; results in the order of the seeds."""
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    task = delayed(_chunk)
    found = []
    with click.progressbar(length=len(seeds), label=label, file=sys.stderr) as bar:
        jobs = Parallel(n_jobs=2, return_as="generator")(
            task(function, chunk, arguments) for chunk in chunks
        )
        for chunk, results in zip(chunks, jobs, strict=True):
            found += results
            bar.update(len(chunk))
    return found


def _chunk(function, seeds, arguments):
    return [function(seed, *arguments) for seed in seeds]


def table(rows):
    """Coverage and error by joint and edge."""
    keys = sorted({(row["joint"], row["edge"]) for row in rows})
    lines = []
    for joint, edge in keys:
        mine = [row for row in rows if (row["joint"], row["edge"]) == (joint, edge)]
        miss = np.array([row["miss_mm"] for row in mine])
        sd = np.array([row["sd_mm"] for row in mine])
        lines.append(
            {
                "joint": joint,
                "edge": edge,
                "n": len(mine),
                "rmse_mm": float(np.sqrt(np.mean(miss**2))),
                "rms_sd_mm": float(np.sqrt(np.mean(sd**2))),
                "machine_50": float(np.mean([row["machine"][0] for row in mine])),
                "machine_90": float(np.mean([row["machine"][1] for row in mine])),
                "next_50": float(np.mean([row["next"][0] for row in mine])),
                "next_90": float(np.mean([row["next"][1] for row in mine])),
            }
        )
    return lines


def study(n_printers, n_virtual, seed):
    """Run all three parts."""
    runs = done_coupons(*COUPONS)
    seeds = [seed * 100_000 + k for k in range(n_printers)]
    prior = spread_out(from_prior, seeds, "prior", design_of(runs))
    first = runs[0]
    habit = spread_out(habit_row, seeds, "habit", design_of([first]), one_tongue(first.coupon))
    work = [(run, work_list(run.coupon)) for run in runs]
    virtual = spread_out(from_physics, seeds[:n_virtual], "virtual", work)
    return {
        "printers": n_printers,
        "virtual": n_virtual,
        "seed": seed,
        "prior": table([row for rows in prior for row in rows]),
        "habit": {
            key: float(np.sqrt(np.mean([row[key] ** 2 for row in habit]))) for key in habit[0]
        }
        | {"clean mean sd": float(np.mean([row["clean sd"] for row in habit]))},
        "misses_mm": {
            name: np.percentile([abs(row[name]) for row in habit], range(101)).round(4).tolist()
            for name in ("clean", "habit")
        },
        "virtual_machines": table([row for rows in virtual for row in rows]),
    }


def as_text(found):
    """Lay the figures out as a page of Markdown."""
    of_printers, of_virtual = (
        f"{100 * np.sqrt(0.09 / max(found[key], 1)):.1f} %" for key in ("printers", "virtual")
    )
    lines = [
        "# The study of the model",
        "",
        f"`PYTHONPATH=tests nice python tests/bench/study.py --printers {found['printers']} "
        f"--virtual {found['virtual']} --seed {found['seed']} --out results/study`",
        "",
        "Where each grade begins (a gap), asked of profiles made from one print each of `first`, "
        "`upright` and `round`. *machine*: its long-run value; *next*: its next print, whose own "
        f"shift nobody can know. One standard error of a 90 % coverage is {of_printers} over the "
        f"printers and {of_virtual} over the virtual machines; of *next* it is smaller over the "
        "printers, as all next prints of each are asked at once.",
        "",
        "![Coverage by question](coverage.svg)",
        "",
        "## Printers drawn from the prior",
        "",
        *_rows(found["prior"]),
        "",
        "## Against reading off the first slot in which one tongue slides (`first`, this print)",
        "",
        "| | rms, mm |",
        "|---|---|",
        *(f"| {key} | {value:.4f} |" for key, value in found["habit"].items()),
        "",
        "![How far the slide gap is missed](against-habit.svg)",
        "",
        "*spoiled*: 2 % of grades at random, 3 % of readings with two digits swapped or one hit "
        "wrong, wherever in the number; *sd*: the posterior's own.",
        "",
        "## Virtual machines (physics, not the model)",
        "",
        *_rows(found["virtual_machines"]),
        "",
    ]
    return "\n".join(lines)


def _rows(lines):
    head = ["joint", "edge", "n", "rmse mm", "rms sd mm", "machine 50 %", "machine 90 %"]
    head += ["next 50 %", "next 90 %"]
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for line in lines:
        cells = [line["joint"], line["edge"], str(line["n"])]
        cells += [f"{line['rmse_mm']:.3f}", f"{line['rms_sd_mm']:.3f}"]
        keys = ("machine_50", "machine_90", "next_50", "next_90")
        cells += [f"{100 * line[key]:.1f}" for key in keys]
        yield "| " + " | ".join(cells) + " |"


def main():
    """Run the study and write its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--printers", type=int, default=1000)
    parser.add_argument("--virtual", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("results/study"))
    options = parser.parse_args()
    found = study(options.printers, options.virtual, options.seed)
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "study.json").write_text(json.dumps(found, indent=1) + "\n")
    (options.out / "study.md").write_text(as_text(found))
    from bench.study_figures import draw  # needs the extra `study`

    draw(options.out)
    print(as_text(found))


if __name__ == "__main__":
    main()
