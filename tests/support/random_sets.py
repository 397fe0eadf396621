"""Data sets that nobody would wish for: sparse, separated, contradictory, wild. Seeded."""

from dataclasses import replace

import numpy as np
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import Builder, coupon_design, with_reports

from coupons.learning.checking.downdate import Fold, without
from coupons.learning.design import Sizes
from coupons.terms import Direction, Feature, Form

ROWS = ("A", "B", "E", "AB", "BE", "ABC", "ABCDE")


def truthful(rng):
    """Draw a printer from the prior and what is found on its print, whole."""
    design = coupon_design(int(rng.integers(1, 3)), str(rng.choice(ROWS)))
    printer = draw_printer(rng)
    return printer, observe(printer, design, print_sizes(printer, design, rng), rng)


def thinned(design, rng):
    """Keep a handful of the observations, sometimes only of one kind."""
    n_readings, n_trials = len(design.readings.size), len(design.trials.internal)
    keep_readings = int(rng.integers(0, 12)) * int(rng.random() < 0.7)
    keep_trials = int(rng.integers(0, 12)) * int(rng.random() < 0.7)
    if keep_readings + keep_trials == 0:
        keep_readings = 1
    drop_readings = rng.permutation(n_readings)[keep_readings:]
    drop_trials = rng.permutation(n_trials)[keep_trials:]
    return with_sizes_met(without(design, Fold(drop_readings, drop_trials, drop_trials)))


def with_sizes_met(design):
    """Drop the sizes in which no observation is left."""
    sizes, readings, trials = design.sizes, design.readings, design.trials
    met = np.unique(np.concatenate([readings.size, trials.internal, trials.external]))
    told = {f: value for f, value in vars(sizes).items() if f != "keys" and value is not None}
    kept = {f: value[met] for f, value in told.items()}
    at = np.searchsorted(met, np.arange(len(sizes.drawn)))
    return replace(
        design,
        sizes=Sizes(tuple(sizes.keys[k] for k in met), **kept),
        readings=replace(readings, size=at[readings.size]),
        trials=replace(trials, internal=at[trials.internal], external=at[trials.external]),
    )


def sparse(rng):
    return thinned(truthful(rng)[1], rng)


def contradictory(rng):
    """Grades at random, whatever the gap."""
    _, design = truthful(rng)
    return with_reports(design, tightest=rng.integers(0, 5, len(design.trials.internal)))


def backwards(rng):
    """Wider gaps are tighter fits."""
    _, design = truthful(rng)
    return with_reports(design, tightest=4 - design.trials.tightest)


def separated(rng):
    """No-go below some gap, loose above it, nothing between."""
    _, design = truthful(rng)
    sizes, trials = design.sizes, design.trials
    gap = sizes.drawn[trials.internal] - sizes.drawn[trials.external]
    return with_reports(design, tightest=4 * (gap > rng.uniform(-0.2, 0.7)))


def one_grade(rng):
    """Every trial the same."""
    _, design = truthful(rng)
    grade = int(rng.choice([0, 4, 2]))
    return with_reports(design, tightest=np.full(len(design.trials.internal), grade))


def open_sets(rng):
    """Reports of several grades: go, stop, ranges."""
    _, design = truthful(rng)
    n = len(design.trials.internal)
    tightest = rng.integers(0, 4, n)
    loosest = np.minimum(4, tightest + rng.integers(0, 3, n))
    return with_reports(design, tightest=tightest, loosest=np.where(tightest == 0, 3, loosest))


def inches(rng):
    """Some or all readings in another unit."""
    _, design = truthful(rng)
    factor = float(rng.choice([25.4, 1 / 25.4, 10.0, 0.1]))
    share = float(rng.choice([0.05, 0.5, 1.0]))
    value = design.readings.value.copy()
    value[rng.random(len(value)) < share] *= factor
    return with_reports(design, value=value)


def wild(rng):
    """Readings off by anything from a hair to ten millimetres."""
    _, design = truthful(rng)
    off = 10 ** rng.uniform(-4, 1) * rng.standard_t(1.5, len(design.readings.value))
    return with_reports(design, value=design.readings.value + off)


def one_feature(rng):
    """One feature measured a hundred times, and no other."""
    build = Builder()
    form = Form(rng.choice(list(Form)))
    at = build.size(0, "A1", Feature(form, float(rng.uniform(2, 80)), Direction.Z))
    build.readings += [at] * 100
    design = build.design()
    noise = 10 ** rng.uniform(-3, 0) * rng.normal(size=100) + rng.normal(0, 0.2)
    return with_reports(design, value=np.round(design.readings.value + noise, 2))


def same_size(rng):
    """Many features, all of one size."""
    build = Builder()
    build.readings += [
        build.size(0, f"A{k}", Feature(Form.SLOT, 10.0, Direction.X)) for k in range(30)
    ]
    design = build.design()
    noise = 0.05 * rng.normal(size=30) + rng.normal(0, 0.1)
    return with_reports(design, value=design.readings.value + noise)


def exact(rng):
    """Readings without any scatter, of a caliper without steps."""
    _, design = truthful(rng)
    readings = replace(design.readings, resolution=np.full(len(design.readings.value), 1e-9))
    return with_reports(replace(design, readings=readings), value=_drawn(design))


def _drawn(design):
    return design.sizes.drawn[design.readings.size]


KINDS = (
    sparse,
    contradictory,
    backwards,
    separated,
    one_grade,
    open_sets,
    inches,
    wild,
    one_feature,
    same_size,
    exact,
)


def random_set(seed):
    """Return the kind of a data set and the set."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    design = kind(rng)
    if kind is not sparse and rng.random() < 0.97 and len(design.readings.size) > 30:
        design = thinned(design, rng)
    return kind.__name__, design
