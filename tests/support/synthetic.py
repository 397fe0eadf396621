"""What the tests of the learning room fit: designs as arrays, and shipped coupons as if done."""

from dataclasses import replace

import numpy as np
from support.prior_printer import draw_printer, observe, print_sizes

from coupons.answering.next.expected_information import as_if_done
from coupons.learning.design import Design, Readings, Sizes, Trials
from coupons.learning.effects import EFFECTS, LOSSES, SCATTERS, effect_row, height_share, loss_row
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION, NormalPrior, PriorTable
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.terms import INTERNAL, Direction, Feature, Form

ROWS = (
    ("A", Form.HOLE, Form.PIN, 8.0, Direction.Z),
    ("B", Form.SLOT, Form.TONGUE, 6.0, Direction.X),
    ("C", Form.SLOT, Form.TONGUE, 6.0, Direction.Y),
    ("D", Form.PIN, Form.HOLE, 8.0, Direction.Z),
    ("E", Form.SLOT, Form.TONGUE, 6.0, Direction.Z),
)
GAPS_MM = np.round(np.arange(-0.1, 0.65, 0.1), 3)
SPANS_MM = (3.0, 10.0, 20.0, 40.0, 80.0)
BORES_MM = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def small_scatters(**sds):
    """Return scatters of these sds in mm, with all others as small as makes no difference."""
    return Scatters(**{name: sds.get(name, 1e-6) for name in SCATTERS})


TYPICAL = small_scatters(
    tau=0.03,
    tau_z=0.06,
    sigma=0.015,
    omega=0.04,
    rho=0.02,
    rho_scale=2e-4,
    rho_scale_z=8e-4,
    rho_bed=0.05,
    rho_roof=0.04,
)


class Builder:
    """Collects sizes, readings and trials, and lays them out as a design."""

    def __init__(self):
        self.sizes, self.readings, self.trials = [], [], []

    def size(self, run, key, feature):
        self.sizes.append((run, key, feature))
        return len(self.sizes) - 1

    def design(self, n_runs=1):
        features = [feature for _, _, feature in self.sizes]
        n_readings = len(self.readings)
        internal = [pair[0] for pair in self.trials]
        external = [pair[1] for pair in self.trials]
        sizes = Sizes(
            tuple((run, key) for run, key, _ in self.sizes),
            np.array([f.size_mm for f in features]),
            np.array([effect_row(f) for f in features]),
            np.array([height_share(f) for f in features]),
            np.array([run for run, _, _ in self.sizes], np.intp),
            np.full(len(features), np.nan),
        )
        readings = Readings(
            np.array(self.readings, np.intp),
            sizes.drawn[self.readings],
            np.zeros((n_readings, len(EFFECTS))),
            np.array([features[at].form in INTERNAL for at in self.readings], np.intp),
            np.full(n_readings, 0.01),
            np.zeros(n_readings),
            np.zeros(n_readings),
            np.arange(n_readings),
        )
        trials = Trials(
            np.array(internal, np.intp),
            np.array(external, np.intp),
            np.zeros(len(internal), np.intp),
            np.full(len(internal), 4, np.intp),
            np.array(
                [loss_row(features[i].form is Form.HOLE, features[i].direction) for i in internal]
            ).reshape(-1, len(LOSSES)),
            np.zeros(len(internal), np.intp),
            np.arange(len(internal)) + n_readings,
        )
        return Design(sizes, readings, trials, n_runs)


def coupon_design(n_runs=1, rows="ABCD"):
    """Lay out graded rows with two mates each, spans and small bores; nothing observed yet."""
    build = Builder()
    for run in range(n_runs):
        for row in (r for r in ROWS if r[0] in rows):
            _graded_row(build, run, *row)
        axes = [Direction.X, Direction.Y] + [Direction.Z] * ("E" in rows)
        for axis in axes:
            for size in SPANS_MM:
                feature = Feature(Form.TONGUE, size, axis)
                build.readings.append(build.size(run, f"S{axis}{size:g}", feature))
        for size in BORES_MM:
            feature = Feature(Form.HOLE, size, Direction.Z)
            build.readings.append(build.size(run, f"O{size:g}", feature))
    return build.design(n_runs)


def _graded_row(build, run, letter, fixed, mate, size, axis):
    mates = [build.size(run, f"{letter}M{k}", Feature(mate, size, axis)) for k in (1, 2)]
    build.readings += mates
    for k, gap in enumerate(GAPS_MM):
        drawn = size + gap if fixed in INTERNAL else size - gap
        at = build.size(run, f"{letter}{k + 1}", Feature(fixed, drawn, axis))
        if k % 3 == 0:
            build.readings.append(at)
        build.trials += [(at, m) if fixed in INTERNAL else (m, at) for m in mates]


def plain_design(covariates, *, value=None, group=None, tightest=None, loosest=None):
    """One size a row, with covariates in place of effects: for the models ours reduces to.

    With ``value`` each row is a reading of size 0 + covariates · β; with grades it is a trial of
    that size against one of exactly nothing. ``group`` makes rows share a size.
    """
    covariates = np.asarray(covariates, float)
    n = len(covariates)
    of_row = np.arange(n) if group is None else np.asarray(group, np.intp)
    first = np.array([np.flatnonzero(of_row == g)[0] for g in range(of_row.max() + 1)])
    m = len(first)
    effects = np.zeros((m + 1, len(EFFECTS)))
    effects[:m, : covariates.shape[1]] = covariates[first]
    fixed_sd = np.full(m + 1, np.nan if group is not None else 0.0)
    fixed_sd[m] = 0.0
    sizes = Sizes(
        tuple((0, str(k)) for k in range(m + 1)),
        np.zeros(m + 1),
        effects,
        np.zeros(m + 1),
        np.zeros(m + 1, np.intp),
        fixed_sd,
    )
    read = np.flatnonzero(np.full(n, value is not None))
    tried = np.flatnonzero(np.full(n, tightest is not None))
    readings = Readings(
        of_row[read],
        np.asarray(value, float) if value is not None else np.zeros(0),
        np.zeros((len(read), len(EFFECTS))),
        np.full(len(read), -1),
        np.zeros(len(read)),
        np.zeros(len(read)),
        np.zeros(len(read)),
        read,
    )
    trials = Trials(
        of_row[tried],
        np.full(len(tried), m, np.intp),
        np.asarray(tightest if tightest is not None else [], np.intp),
        np.asarray(loosest if loosest is not None else [], np.intp),
        np.zeros((len(tried), len(LOSSES))),
        np.zeros(len(tried), np.intp),
        tried,
    )
    return Design(sizes, readings, trials, 1)


def flat_table(*, wide=1e6, lapse=0.0, dof=1e15, thresholds=None):
    """A prior that says nothing: no lapses, normal readings, effects and thresholds unknown.

    Thresholds given in ``thresholds`` (grade → place) are pinned there.
    """
    pinned = thresholds or {}
    return PriorTable(
        effects={name: NormalPrior(0.0, wide) for name in EFFECTS},
        thresholds={
            grade: NormalPrior(pinned[grade], 1e-3)
            if grade in pinned
            else NormalPrior(10.0 * k, wide)
            for k, grade in enumerate(EXTRUSION.thresholds)
        },
        order_weight=1e-9,
        losses=EXTRUSION.losses,
        scatters=EXTRUSION.scatters,
        prints=(),
        zeros={},
        bump=EXTRUSION.bump,
        press=EXTRUSION.press,
        hand=EXTRUSION.hand,
        lapse=lapse,
        reading_dof=dof,
    )


def done_coupons(*names):
    """Return shipped coupons as runs in which all that they ask for was done."""
    return [as_if_done(record(plan_coupon(load_spec(name)))) for name in names]


def observed(design, seed):
    """Return a design as a printer drawn from the prior would fill it in."""
    rng = np.random.default_rng(seed)
    printer = draw_printer(rng)
    return observe(printer, design, print_sizes(printer, design, rng), rng)


def with_reports(design, *, value=None, tightest=None, loosest=None):
    """Return a design with other readings or grades."""
    readings = design.readings if value is None else replace(design.readings, value=value)
    trials = design.trials
    if tightest is not None:
        loosest = tightest if loosest is None else loosest
        trials = replace(trials, tightest=np.asarray(tightest), loosest=np.asarray(loosest))
    return replace(design, readings=readings, trials=trials)


def mistyped(value_mm, rng):
    """Swap two neighbouring digits of a number as it was typed, or hit a digit wrong."""
    digits = list(f"{value_mm:.2f}")
    places = [k for k, char in enumerate(digits) if char.isdigit()]
    at = int(rng.integers(len(places) - 1))
    if rng.random() < 0.5:
        i, j = places[at], places[at + 1]
        digits[i], digits[j] = digits[j], digits[i]
    else:
        digits[places[at + 1]] = str(rng.integers(10))
    return float("".join(digits))


def with_slips(design, share, rng):
    """Return a design with a share of its readings mistyped."""
    value = design.readings.value.copy()
    for at in np.flatnonzero(rng.random(len(value)) < share):
        value[at] = mistyped(value[at], rng)
    return with_reports(design, value=value)
