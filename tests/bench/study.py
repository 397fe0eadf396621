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
from math import inf
from pathlib import Path
from time import monotonic

import click
import numpy as np
from bench.calibration import profile_of_fit
from bench.worlds import changed
from joblib import Parallel, delayed
from scipy.stats import norm
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons, with_slips
from support.truth import mean_size_mm, threshold_gap_mm

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.next_print import half_width, learned_share, variance_parts
from coupons.answering.offset import NOTHING_LEARNED
from coupons.answering.single import PrintedSize
from coupons.learning.design import design_of
from coupons.learning.effects import TERMS, effect_row, loss_row, print_moves
from coupons.learning.fit import fit_design
from coupons.learning.posterior.latent import N_TERMS
from coupons.learning.prior_table import EXTRUSION
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
SIZES = tuple(Feature(Form.TONGUE, 15.0, d) for d in (Direction.X, Direction.Y))
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


@dataclass(frozen=True)
class Asked:
    """Where a grade of a joint begins, or how much larger a single size is to be drawn."""

    edge: str
    joint: Joint | None = None
    grade: Grade | None = None
    bed: Bed = Bed.NONE
    size: Feature | None = None

    @property
    def name(self):
        if self.size is not None:
            return f"{self.size.form} {self.size.direction}"
        on_bed = ", tongue on the bed" if self.bed is Bed.EXTERNAL else ""
        return f"{self.joint.internal}/{self.joint.external} {self.joint.direction}{on_bed}"

    def told(self, profile):
        """Return what a profile tells of it, or None where it was not measured."""
        if self.size is not None:
            return _told(profile, PrintedSize(profile, self.size).row[None])
        return tell(profile, self.joint, self.grade, bed=self.bed)

    def true_mm(self, printer):
        """Return the truth of a printer from the prior, prints apart."""
        if self.size is not None:
            return float(-effect_row(self.size) @ printer.effects)
        return true_edge(printer, self.joint, self.grade, bed=self.bed)

    def print_sd_mm(self, printer):
        """Return how much it differs between the prints of a printer from the prior."""
        if self.size is not None:
            moves = effect_row(self.size) @ print_moves(printer.table)
            return float(np.linalg.norm(moves * printer.print_sds))
        return print_sd(self.joint, printer, self.bed)

    def of_machine_mm(self, machine):
        """Return the truth of a virtual machine. Lying pins stand on a flat, as on a coupon."""
        if self.size is not None:
            return self.size.size_mm - mean_size_mm(machine, self.size)
        return threshold_gap_mm(machine, self.joint, self.grade, self.bed, flat=True)


EVERY = (
    *(Asked(edge, joint, grade) for joint in JOINTS for edge, grade in EDGES.items()),
    *(Asked(edge, FLAT[2], grade, Bed.EXTERNAL) for edge, grade in EDGES.items()),
    *(Asked("size", size=size) for size in SIZES),
)


def tell(profile, joint, grade, gap_mm=0.3, bed=Bed.NONE):
    """Ask where a grade begins, or None where it was not measured."""
    clearance = Clearance(profile, joint, MovingBody.INTERNAL, np.array([gap_mm]), bed=bed)
    return _told(profile, clearance.margin_row(grade))


def _told(profile, row):
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
    once: their shifts are normal. One draw of a shift would be judged with all questions.
    """
    rng = np.random.default_rng(seed)
    printer = draw_printer(rng)
    observed = observe(printer, design, print_sizes(printer, design, rng), rng)
    profile = profile_of_fit(fit_design(observed))
    rows = []
    for asked in EVERY:
        told = asked.told(profile)
        if told is not None:
            miss = told.gap_mm - asked.true_mm(printer)
            next_miss = norm(miss, asked.print_sd_mm(printer))
            held = [float(next_miss.cdf(h) - next_miss.cdf(-h)) for h in told.next_print]
            rows.append(_judged(asked, miss, told, held))
    return rows


def _judged(asked, miss, told, next_held):
    return {
        "joint": asked.name,
        "edge": asked.edge,
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
    for asked in EVERY:
        told = asked.told(profile)
        if told is not None:
            miss, next_miss = (
                told.gap_mm - asked.of_machine_mm(printing) for printing in (machine, after)
            )
            held = [abs(next_miss) <= half for half in told.next_print]
            rows.append(_judged(asked, miss, told, held))
    return rows


def next_print_of(machine, rng):
    """Return the machine as it happens to be on its next print, line and nozzle height and all."""
    laid_mm = machine.bead.laid_mm + rng.normal(0, machine.scatter.print_mm)
    machine = as_it_prints(machine, rng)
    squeeze_mm = machine.layers.squeeze_mm + rng.normal(0, machine.scatter.print_z_mm)
    return changed(machine, {"bead": {"laid_mm": laid_mm}, "layers": {"squeeze_mm": squeeze_mm}})


def replace_caliper(conditions, machine):
    caliper = conditions.caliper.model_copy(
        update={
            "resolution_mm": machine.caliper.resolution_mm,
            "jaw_land_mm": machine.caliper.jaw_land_mm,
        }
    )
    return conditions.model_copy(update={"caliper": caliper})


def spread_out(function, seeds: Sequence[int], label, running, *arguments):
    """Run in chunks, with progress on stderr; results in the order of the seeds.

    Ends with the chunk in which the minutes of ``running`` are over.
    """
    chunks = [seeds[k : k + CHUNK] for k in range(0, len(seeds), CHUNK)]
    task = delayed(_chunk)
    found, started = [], monotonic()
    with click.progressbar(length=len(seeds), label=label, file=sys.stderr) as bar:
        jobs = Parallel(n_jobs=running.jobs, return_as="generator", pre_dispatch=running.jobs)(
            task(function, chunk, arguments) for chunk in chunks
        )
        for results in jobs:
            found += results
            bar.update(len(results))
            if monotonic() - started > 60 * running.minutes:
                break
    return found


@dataclass(frozen=True)
class Running:
    """How many processes work, and after how many minutes each part of the study ends."""

    jobs: int
    minutes: float


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


def together(found):
    """Shares of intervals that hold over all questions, with standard errors over printers."""
    shares = {}
    for part in ("machine", "next"):
        for at, share in enumerate((50, 90)):
            of_each = [np.mean([row[part][at] for row in rows]) for rows in found]
            error = np.std(of_each, ddof=1) / np.sqrt(len(of_each))
            shares[f"{part} {share} %"] = (float(np.mean(of_each)), float(error))
    return shares


def study(n_printers, n_virtual, seed, running):
    """Run all three parts."""
    runs = done_coupons(*COUPONS)
    seeds = [seed * 100_000 + k for k in range(n_printers)]
    prior = spread_out(from_prior, seeds, "prior", running, design_of(runs))
    first = runs[0]
    tried = (design_of([first]), one_tongue(first.coupon))
    fewer = replace(running, minutes=running.minutes / 3)
    habit = spread_out(habit_row, seeds, "habit", fewer, *tried)
    work = [(run, work_list(run.coupon)) for run in runs]
    virtual = spread_out(from_physics, seeds[:n_virtual], "virtual", running, work)
    return {
        "printers": len(prior),
        "against_habit": len(habit),
        "virtual": len(virtual),
        "seed": seed,
        "prior": table([row for rows in prior for row in rows]),
        "prior_together": together(prior),
        "habit": {
            key: float(np.sqrt(np.mean([row[key] ** 2 for row in habit]))) for key in habit[0]
        }
        | {"clean mean sd": float(np.mean([row["clean sd"] for row in habit]))},
        "misses_mm": {
            name: np.percentile([abs(row[name]) for row in habit], range(101)).round(4).tolist()
            for name in ("clean", "habit")
        },
        "virtual_machines": table([row for rows in virtual for row in rows]),
        "virtual_together": together(virtual),
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
        "Where each grade begins (a gap), and how much larger a 15 mm tongue is to be drawn "
        "(*size*), "
        "asked of profiles made from one print each of `first`, `upright` and `round`. *machine*: "
        "its long-run value; *next*: its next print, whose own "
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
        _sentence(found["prior_together"]),
        "",
        "## Against reading off the first slot in which one tongue slides (`first`, this print)",
        "",
        f"{found['against_habit']} printers.",
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
        _sentence(found["virtual_together"]),
        "",
    ]
    return "\n".join(lines)


def _sentence(shares):
    said = [
        f"{name}: {100 * mean:.1f} ± {100 * error:.1f}" for name, (mean, error) in shares.items()
    ]
    return "All questions together, ± one standard error: " + ", ".join(said) + "."


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
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument(
        "--minutes", type=float, default=inf, help="of each part; a third of it of the habit"
    )
    parser.add_argument("--out", type=Path, default=Path("results/study"))
    options = parser.parse_args()
    running = Running(options.jobs, options.minutes)
    found = study(options.printers, options.virtual, options.seed, running)
    options.out.mkdir(parents=True, exist_ok=True)
    (options.out / "study.json").write_text(json.dumps(found, indent=1) + "\n")
    (options.out / "study.md").write_text(as_text(found))
    from bench.study_figures import draw  # needs the extra `study`

    draw(options.out)
    print(as_text(found))


if __name__ == "__main__":
    main()
