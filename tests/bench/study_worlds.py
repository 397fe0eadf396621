"""What the answers are worth in worlds that are not the model, one cause at a time.

    PYTHONPATH=tests nice python tests/bench/study_worlds.py --machines 40 --seed 2

Each machine prints ``first`` and ``upright`` once, or ``first`` three times, in the plain world and
in each other one (`bench.worlds`), with the same chance. Joints and sizes are then asked for and
printed many times (`bench.reality`).
"""

import argparse
import json
import sys
from dataclasses import replace
from math import inf
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic

import click
import numpy as np
from bench.reality import TOLERANCE_MM, grid_of, realities
from bench.study import replace_caliper
from bench.study_worlds_page import as_text, summary_of
from bench.worlds import QUESTIONS, WORLDS, machine_of, on_bare_strip
from joblib import Parallel, delayed
from scipy.special import ndtr
from support.synthetic import done_coupons

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.next_print import half_width, learned_share, variance_parts
from coupons.answering.offset import NOTHING_LEARNED
from coupons.answering.single import PrintedSize
from coupons.atomic import write_text
from coupons.learning.design import design_of
from coupons.learning.fit import fit_design
from coupons.learning.profile_of_fit import profile_of
from coupons.measuring.run import sheet
from coupons.measuring.virtual.rehearsal import as_entries, try_out, work_list
from coupons.terms import GRADES, Grade, MovingBody

SETS = {"one print": ("first", "upright"), "three prints": ("first",) * 3}
BY_NAME = {world.name: world for world in WORLDS}
OF_MACHINE, OF_HANDS, OF_PRINTS = range(3)


def told_joint(profile, asked):
    """Return what the profile says of a sliding joint, or None where it was not measured."""
    joint, bed = asked.joint, asked.bed
    gaps_mm = grid_of(joint, profile.layer_height_mm)
    over = Clearance(profile, joint, MovingBody.INTERNAL, gaps_mm, bed=bed)
    from_slide, from_loose = over.chances_from([Grade.SLIDE, Grade.LOOSE])
    chances = from_slide - from_loose
    best = int(chances.argmax())
    at = Clearance(profile, joint, MovingBody.INTERNAL, gaps_mm[[best]], bed=bed)
    row = (at.margin_row(Grade.SLIDE) + at.margin_row(Grade.LOOSE)) / 2
    if learned_share(profile, row)[0] > NOTHING_LEARNED:
        return None
    of_machine, of_print, weights = variance_parts(profile, row)
    variances = (of_machine + of_print + at.size_doubt + at.feel_doubt)[:, 0]
    needed_mm = float(gaps_mm[best] - at.given_mm[0] - row[0] @ profile.mean_vector)
    return _told(needed_mm, variances, weights, gaps_mm[best], chances[best])


def told_size(profile, asked):
    """Return by how much a size is to be drawn larger, and the chance that it is within bounds."""
    size = PrintedSize(profile, asked.feature)
    variances, weights = size.variances()
    needed_mm = asked.feature.size_mm - size.mean_mm
    inside = 2 * ndtr(TOLERANCE_MM / np.sqrt(variances)) - 1
    return _told(needed_mm, variances, weights, needed_mm, weights @ inside)


def _told(needed_mm, variances, weights, drawn_mm, chance):
    half_mm = half_width(variances, weights)
    return {
        "needed": needed_mm,
        "low": needed_mm - half_mm,
        "high": needed_mm + half_mm,
        "sd": float(np.sqrt(weights @ variances)),
        "drawn": float(drawn_mm),
        "stated": float(chance),
    }


def habit_of(asked, run):
    """Return what one draws without any model.

    A gap: that of the first slot or hole, from tight to loose, in which one mate slides. A size: as
    much larger as the block nearest to it was read too small.
    """
    features = {feature.id: feature for feature in run.coupon.features}
    if asked.feature is not None:
        read = [
            (abs(features[size.feature].size_mm - asked.feature.size_mm), size)
            for size in run.sizes
            if (features[size.feature].form, features[size.feature].direction)
            == (asked.feature.form, asked.feature.direction)
            and features[size.feature].role == "span"
        ]
        if not read:
            return None
        nearest = min(read, key=lambda each: each[0])[1]
        return features[nearest.feature].size_mm - nearest.value_mm
    joint = asked.joint
    rows = [
        (trial, fit)
        for trial, fit in zip(run.coupon.trials, run.fits, strict=True)
        if features[trial.feature].form is joint.internal
        and features[trial.feature].direction is joint.direction
    ]
    if not rows:
        return None
    mate = rows[0][0].mate
    tried = sorted((trial.gap_mm, fit.tightest) for trial, fit in rows if trial.mate == mate)
    slides = [gap for gap, grade in tried if GRADES.index(grade) >= GRADES.index(Grade.SLIDE)]
    return min(slides, default=tried[-1][0])


def print_and_try(machine, coupons, rng):
    """Print coupons and let the machine's people try and measure them."""
    runs = []
    for run, work in coupons:
        sizes, fits = as_entries(work, try_out(machine, work, rng))
        conditions = replace_caliper(run.conditions, machine)
        runs.append(replace(run, conditions=conditions, sizes=sizes, fits=fits))
    return runs


def one_case(case, shelf, sets):
    """One machine in one world: rows of what was told, and of what came of it."""
    world, number, seed = case
    machine = machine_of(world, [seed, number, OF_MACHINE])
    rng = np.random.default_rng([seed, number, OF_PRINTS])
    real = realities(machine, QUESTIONS, world.contact_mm, rng)
    rows = []
    for name in sets:
        coupons = SETS[name]
        rng = np.random.default_rng([seed, number, OF_HANDS])
        runs = print_and_try(machine, [shelf[each, world.strip] for each in coupons], rng)
        profile = profile_of(fit_design(design_of(runs)), runs)
        for asked in QUESTIONS:
            found = {"world": world.name, "set": name, "machine": number, "asked": asked.name}
            told = (told_joint if asked.feature is None else told_size)(profile, asked)
            rows.append(found | _judged(asked, told, real[asked], runs, rng))
    return rows


def _judged(asked, told, real, runs, rng):
    if told is None:
        return {"told": False}
    single = asked.feature is not None
    habits = [habit_of(asked, run) for run in runs]
    habit_mm = next((each for each in habits if each is not None), None)
    n_prints = sum(each is not None for each in habits)
    return {
        "told": True,
        "held": real.held(told["low"], told["high"], single),
        "square": real.squared_miss(told["needed"], single),
        "sd": told["sd"],
        "bias": told["needed"] - real.needed_mm,
        "stated": told["stated"],
        "came": float(real.chance(told["drawn"])),
        "oracle": real.oracle,
        "best": real.best_of(max(n_prints, 1), rng),
        "habit": None if habit_mm is None else float(real.chance(habit_mm)),
    }


def shelf_of(names, folder):
    """Lay out each coupon for rehearsal, as it is made and with its rules on a bare strip.

    All of them are runs in one folder, with no file but an empty sheet: profiles take its digest.
    """
    write_text(folder / sheet.FILE, "")
    found = {}
    for name in names:
        run = replace(done_coupons(name)[0], folder=folder)
        for strip in (False, True):
            coupon = on_bare_strip(run.coupon) if strip else run.coupon
            found[name, strip] = (replace(run, coupon=coupon), work_list(coupon))
    return found


def study(n_machines, seed, jobs, minutes, sets, worlds):
    """Run worlds, machine by machine; return how many machines there was time for, and rows."""
    rows, started, done = [], monotonic(), 0
    with (
        TemporaryDirectory() as folder,
        click.progressbar(length=n_machines * len(worlds), label="worlds", file=sys.stderr) as bar,
    ):
        shelf = shelf_of({each for name in sets for each in SETS[name]}, Path(folder))
        for number in range(n_machines):
            passed = (monotonic() - started) / 60
            if done and passed * (done + 1) / done > minutes:
                break
            cases = Parallel(n_jobs=jobs, return_as="generator")(
                delayed(one_case)((world, number, seed), shelf, sets) for world in worlds
            )
            for of_case in cases:
                rows += of_case
                bar.update(1)
            done += 1
    return done, rows


def main():
    """Run the study and write its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=inf, help="stop before this many are over")
    parser.add_argument("--sets", nargs="+", choices=SETS, default=list(SETS))
    parser.add_argument("--worlds", nargs="+", choices=BY_NAME, default=list(BY_NAME))
    parser.add_argument("--out", type=Path, default=Path("results/study/worlds"))
    options = parser.parse_args()
    worlds = [BY_NAME[name] for name in options.worlds]
    running = (options.machines, options.seed, options.jobs, options.minutes)
    done, rows = study(*running, options.sets, worlds)
    found = {"sets": options.sets, "worlds": options.worlds, "machines": done}
    found |= {"seed": options.seed, "out": str(options.out), "rows": rows}
    write_text(options.out.with_suffix(".md"), as_text(found))
    write_text(options.out.with_suffix(".json"), json.dumps(summary_of(found), indent=1) + "\n")
    print(as_text(found))


if __name__ == "__main__":
    main()
