"""What other machines of a kind are worth to a new one: six entries that lean on four profiles.

    PYTHONPATH=tests nice python tests/bench/study_fleet.py --fleets 200 --seed 41 \
        --json results/study/fleet.json

Fleets of six machines are drawn from the prior: what they have in common from most of its variance,
what is a machine's own from the rest (`SPREAD` of the prior's sd), one person's hand for all. Four
are known by a whole coupon ``first``; the fifth has six entries, or all of them for comparison. The
sixth is unlike the others: each of its growths is off by as many spreads as `FARS` says, this way
or that. For the first `ALL_OF` fleets all its entries are fitted as well.
"""

import argparse
import json
import sys
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit, try_joint
from support.prior_printer import PriorPrinter, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.chances.clearance import Clearance
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.errors import NotMeasuredError
from coupons.learning.design import design_of
from coupons.learning.effects import SCATTERS, TERMS, prior_mean, prior_sd
from coupons.learning.fit import fit_design
from coupons.learning.like import UNLIKE, lean_on
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

KIN = 4
SPREAD, SPREAD_SCATTERS = 0.25, 0.3
FARS = (3, 4)
ALL_OF = 40
TRIES = 40  # joints made anew at each answer
JOINTS = (
    Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X),
    Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.Y),
    Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z),
)
_GROWTHS = ("growth_ext", "growth_int", "round_ext", "round_int")
_THRESHOLDS = slice(TERMS.index("from_force"), TERMS.index("from_loose") + 1)


def draw_fleet(rng):
    """Draw machines of one kind, and one for each of `FARS` that is so far off."""
    mean, sd = prior_mean(), prior_sd()
    common = rng.normal(mean, np.sqrt(1 - SPREAD**2) * sd)
    while np.any(np.diff(common[_THRESHOLDS]) <= 0.03):
        common = rng.normal(mean, np.sqrt(1 - SPREAD**2) * sd)
    logs = rng.normal(0, np.sqrt(1 - SPREAD_SCATTERS**2), len(SCATTERS))
    machines = []
    for _ in range(KIN + 2):
        terms = common + SPREAD * sd * rng.normal(size=len(sd))
        terms[_THRESHOLDS] = common[_THRESHOLDS]
        own = logs + SPREAD_SCATTERS * rng.normal(size=len(logs))
        sds = {
            name: prior.median * np.exp(prior.log_sd * by)
            for (name, prior), by in zip(EXTRUSION.scatters.items(), own, strict=True)
        }
        machines.append(PriorPrinter(terms, Scatters(**sds), EXTRUSION))
    at = [TERMS.index(name) for name in _GROWTHS]
    ways = rng.choice([-1, 1], len(at))
    odd = {}
    for far in FARS:
        terms = machines[-1].terms.copy()
        terms[at] = common[at] + far * SPREAD * sd[at] * ways
        odd[far] = replace(machines[-1], terms=terms)
    return machines[:-1], odd


def few(design):
    """Return a design of six entries: four trials and two readings, spread over the flat rows."""
    trials, readings = design.trials, design.readings
    is_flat = design.sizes.effects[trials.internal][:, 0] != 0
    flat = np.flatnonzero(is_flat)
    chosen = flat[np.linspace(0, len(flat) - 1, 4).round().astype(int)]
    read = np.linspace(0, len(readings.size) - 1, 2).round().astype(int)
    return replace(design, trials=_only(trials, chosen), readings=_only(readings, read))


def _only(rows, chosen):
    fields = {name: getattr(rows, name)[chosen] for name in rows.__dataclass_fields__}
    return type(rows)(**fields)


def profile(machine, design, rng, name, keep=None):
    """Print, try and fit; ``keep`` chooses the entries."""
    seen = observe(machine, design, print_sizes(machine, design, rng), rng)
    found = profile_of_fit(fit_design(seen if keep is None else keep(seen)))
    return found.model_copy(
        update={"machine": name, "entries_sha256": f"{rng.integers(1 << 60):064x}"}
    )


def judge(found, machine, rng):
    """Return for each joint: does the 90 % interval hold, error of the gap, share that slides."""
    rows = []
    for joint in JOINTS:
        row = Clearance(found, joint, MovingBody.EXTERNAL, np.array([0.0])).margin_row(Grade.SLIDE)[
            0
        ]
        off = row @ (machine.terms - found.mean_vector)
        sd = np.sqrt(row @ found.covariance_matrix @ row)
        try:
            gap_mm = answer(found, Question(joint, Grade.SLIDE)).best_gap_mm
            slid = np.mean(
                [try_joint(machine, joint, gap_mm, rng) is Grade.SLIDE for _ in range(TRIES)]
            )
        except NotMeasuredError:
            slid = np.nan
        rows.append((abs(off) < 1.645 * sd, off, slid))
    return rows


def main() -> None:
    """Draw fleets and write what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    design = design_of(done_coupons("first"))
    told, named = defaultdict(list), defaultdict(list)
    for number in range(1, options.fleets + 1):
        try_fleet(rng, design, told, named, with_all=number <= ALL_OF)
        print(f"{number} of {options.fleets}", file=sys.stderr, flush=True)
        if options.json and (number % 10 == 0 or number == options.fleets):
            options.json.write_text(report(options, number, told, named))
    print(report(options, options.fleets, told, named))


def try_fleet(rng, design, told, named, with_all):
    """Draw a fleet; add to what was told of its machines, and to who was named as unlike."""
    (*others, new), odd = draw_fleet(rng)
    kin = [profile(one, design, rng, f"bench-{n}") for n, one in enumerate(others, 1)]
    whole = profile(new, design, rng, "bench-5")
    small = profile(new, design, rng, "bench-5", few)
    leaning = lean_on(small, kin)
    told["all alone"] += judge(whole, new, rng)
    told["six alone"] += judge(small, new, rng)
    told["six leaning"] += judge(leaning, new, rng)
    named["like, six"].append(leaning.like.unlike > UNLIKE)
    counts = {"six": few} | ({"all": None} if with_all else {})
    for far, machine in odd.items():
        for count, keep in counts.items():
            alone = profile(machine, design, rng, "bench-6", keep)
            found = lean_on(alone, kin)
            name = f"{far} spreads off, {count}"
            told[f"{name} alone"] += judge(alone, machine, rng)
            told[f"{name} leaning"] += judge(found, machine, rng)
            named[name].append(found.like.unlike > UNLIKE)


def report(options, fleets, told, named):
    """Return what came of some fleets, as JSON."""
    data = {
        "command": f"PYTHONPATH=tests python tests/bench/study_fleet.py --fleets {options.fleets} "
        f"--seed {options.seed} --json {options.json}",
        "fleets": fleets,
        "answers": {name: _summary(np.array(rows, float)) for name, rows in told.items()},
        "leaning_less_alone": _paired(told["six leaning"], told["all alone"]),
        "named_unlike": {name: round(float(np.mean(each)), 3) for name, each in named.items()},
    }
    return json.dumps(data, indent=1) + "\n"


def _paired(rows, others):
    """Return by how much more of one slides than of the other, fleet by fleet."""
    slid, slid_others = (
        np.nanmean(np.array(each, float)[:, 2].reshape(-1, len(JOINTS)), axis=1)
        for each in (rows, others)
    )
    apart = slid - slid_others
    return {
        "slides": round(float(np.nanmean(apart)), 3),
        "slides_se": round(float(np.nanstd(apart, ddof=1) / np.sqrt(len(apart))), 3),
    }


def _summary(rows):
    held, off, slid = rows.reshape(-1, len(JOINTS), 3).transpose(2, 0, 1)
    n = np.sqrt(len(held))
    return {
        "coverage_90": round(float(held.mean()), 3),
        "coverage_se": round(float(held.mean(axis=1).std(ddof=1) / n), 3),
        "rmse_mm": round(float(np.sqrt((off**2).mean())), 4),
        "slides": round(float(np.nanmean(slid)), 3),
        "slides_se": round(float(np.nanmean(slid, axis=1).std(ddof=1) / n), 3),
        "refused": round(float(np.isnan(slid).mean()), 3),
    }


if __name__ == "__main__":
    main()
