"""How often a re-check says no for nothing, and how large a change it finds: the published table.

Profiles are drawn as the rule of `coupons.answering.compare.likelihood_ratio` takes them to be:
what the data of a coupon say is taken from one fit of it, the machine, its prints and its hands
are drawn anew each time. With ``--fits`` whole machines of the prior are printed, tried and fitted
instead, which takes a second a profile and holds the short way against the long one.

Run from the root of the project, for example

    PYTHONPATH=tests python tests/bench/study_rechecks.py --years 400 \
        --write results/recheck_power.md
"""

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from bench.calibration import profile_of_fit
from numpy.typing import NDArray
from support.prior_printer import PriorPrinter, draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.answering.compare.likelihood_ratio import NO_FROM, WATCH_FROM, paths, weigh
from coupons.answering.compare.recheck_series import A_YEAR, RecheckSeries, told_by
from coupons.learning.design import Design, design_of
from coupons.learning.effects import EFFECTS, TERMS, THRESHOLDS, prior_mean, prior_sd
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Profile

Array = NDArray[np.floating]

SHIFTS_MM = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30)
BASELINES = {"one print": 1, "three prints": 3, "eight prints": 8}
# A change of the gap by so much is this change of each growth: two faces of each of two bodies.
FACES = 4
CHECKS = 3


def typical_printer() -> PriorPrinter:
    """A printer in the middle of the prior, with the usual scatters."""
    printer = draw_printer(np.random.default_rng(0))
    usual = {name: prior.median for name, prior in EXTRUSION.scatters.items()}
    return replace(printer, terms=prior_mean(), scatters=replace(printer.scatters, **usual))


def fitted(printer: PriorPrinter, design: Design, rng: np.random.Generator) -> Profile:
    """Print, try, measure and fit a design once."""
    return profile_of_fit(
        fit_design(observe(printer, design, print_sizes(printer, design, rng), rng))
    )


@dataclass(frozen=True)
class Case:
    """A full profile with its re-checks: what their data say, and whose hand tried."""

    base: Profile
    recheck: Profile
    same_hand: bool

    def series(self, n: int) -> RecheckSeries:
        """A full profile and ``n`` re-checks, to be filled with numbers."""
        return RecheckSeries([self.base] + [self.recheck] * n, self.same_hand)


def draw(case: Case, n: int, shift: Array, many: int, rng: np.random.Generator) -> Array:
    """Draw what profiles say, (n_numbers, many); the machine moves with the first re-check."""
    base, again = told_by(case.base), told_by(case.recheck)
    table, sd = EXTRUSION, prior_sd(EXTRUSION)
    spreads = {
        name: spread.median_mm * np.exp(spread.log_sd * rng.normal(size=many))
        for name, spread in case.base.scatters.items()
    }
    own_sd = np.array([one.share * spreads[one.scatter] for one in table.prints])
    hand = np.zeros(len(TERMS))
    for grade in THRESHOLDS:
        at = TERMS.index(f"from_{grade}")
        hand[at] = table.hand.sd / sd[at]
    machine = rng.normal(size=(len(TERMS), many))
    other = machine
    if not case.same_hand:
        other = machine + np.outer(hand, rng.normal(size=many) - rng.normal(size=many))
    said = []
    for k, one in enumerate([base] + [again] * n):
        terms = machine if k == 0 else other + shift[:, None]
        own = own_sd * rng.normal(size=own_sd.shape) / np.sqrt(one.prints)[:, None]
        noise = np.linalg.cholesky(one.rest) @ rng.normal(size=(len(one.t), many))
        said.append(one.loadings.T @ terms + one.acts @ own + noise)
    return np.concatenate(said)


def shift_of(gap_mm: float) -> Array:
    """A change of the needed gap, as too much plastic on all faces, in prior sds."""
    shift = np.zeros(len(TERMS))
    for name in ("growth_ext", "growth_int"):
        at = EFFECTS.index(name)
        shift[at] = gap_mm / FACES / prior_sd(EXTRUSION)[at]
    return shift


def cases() -> dict[tuple[str, str, bool], Case]:
    """All cases by full profile, coupon of the re-check, and whether the hand is the same."""
    rng = np.random.default_rng(5)
    printer = typical_printer()
    rechecks = {
        name: fitted(printer, design_of(done_coupons(name)), rng) for name in ("recheck", "first")
    }
    found = {}
    for words, prints in BASELINES.items():
        base = fitted(printer, design_of(done_coupons("first") * prints), rng)
        for coupon, recheck in rechecks.items():
            for same_hand in (True, False):
                found[words, coupon, same_hand] = Case(base, recheck, same_hand)
    return found


@dataclass(frozen=True)
class Shares:
    """Shares of machines that were told no, and at least watch, with their number."""

    no: float
    watch: float
    of: int

    @property
    def words(self) -> str:
        """Both in percent."""
        return f"{100 * self.no:.0f} / {100 * self.watch:.0f}"


def false_year(case: Case, years: int, seed: int) -> Shares:
    """Years without a change in which some re-check says no, or at least watch."""
    rng = np.random.default_rng(seed)
    said = draw(case, A_YEAR, np.zeros(len(TERMS)), years, rng)
    most = paths(case.series(A_YEAR), said)[0].max(axis=0)
    return Shares(float(np.mean(most >= NO_FROM)), float(np.mean(most >= WATCH_FROM)), years)


def power(case: Case, gap_mm: float, machines: int, seed: int) -> list[Shares]:
    """Changed machines that the first, the second and the third re-check after the change finds."""
    rng = np.random.default_rng(seed)
    said = draw(case, CHECKS, shift_of(gap_mm), machines, rng)
    values = paths(case.series(CHECKS), said)[0]
    return [
        Shares(float(np.mean(v >= NO_FROM)), float(np.mean(v >= WATCH_FROM)), machines)
        for v in values
    ]


def fitted_years(machines: int, checks: int, seed: int) -> tuple[Shares, float]:
    """Print, try and fit whole machines of the prior that do not change; the long way.

    Returns the shares, and the mean of the evidence after the last re-check.
    """
    rng = np.random.default_rng(seed)
    first, again = design_of(done_coupons("first")), design_of(done_coupons("recheck"))
    values = []
    for _ in range(machines):
        printer = draw_printer(rng)
        base = fitted(printer, first, rng)
        said = [fitted(printer, again, rng) for _ in range(checks)]
        values.append(weigh(RecheckSeries([base, *said], same_hand=True)).path)
    most = np.max(values, axis=1)
    shares = Shares(float(np.mean(most >= NO_FROM)), float(np.mean(most >= WATCH_FROM)), machines)
    return shares, float(np.mean([path[-1] for path in values]))


HEAD = """\
# What a re-check tells

`coupons still` holds a full profile against all re-checks since. The figures are percent of
machines that are told **no / at least watch**. A machine that changed needs gaps wider by so much,
as if all its faces had grown alike, from the first re-check on. The full profile is coupon `first`,
printed once, three or eight times and fitted together; each re-check is one print. Another hand:
another person tried the re-checks.

How far prints differ is drawn anew for each machine from what its full profile leaves open. After
one print that is the prior, which allows prints that differ by a tenth of a millimetre: so little
can be told that a full coupon should be printed three times where machines are watched.

"""


def page(found: dict[tuple[str, str, bool], tuple[Shares, list[list[Shares]]]], asked: str) -> str:
    """Write the table."""
    lines = [HEAD + "| full profile | re-check | hand | a year unchanged | after |"]
    lines[0] += " | ".join([""] + [f"{mm:.2f} mm" for mm in SHIFTS_MM]) + " |"
    lines[0] = lines[0].replace("after | |", "after |")
    lines.append("|" + "---|" * (5 + len(SHIFTS_MM)))
    for (words, coupon, same), (false, powers) in found.items():
        for n in range(CHECKS):
            head = [words, f"`{coupon}`", "same" if same else "another", false.words]
            head = head if n == 0 else [""] * 4
            cells = [one[n].words for one in powers]
            lines.append("| " + " | ".join([*head, str(n + 1), *cells]) + " |")
    years = next(iter(found.values()))[0].of
    machines = next(iter(found.values()))[1][0][0].of
    lines += [
        "",
        f"{years:,} years and {machines:,} changed machines a cell: one standard error is at most "
        f"{50 / np.sqrt(machines):.1f} points, of a false no of 3 % {17.06 / np.sqrt(years):.1f}.",
        "",
        f"Made with `{asked}`.",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=100, help="Years without a change")
    parser.add_argument("--machines", type=int, default=100, help="Changed machines")
    parser.add_argument("--fits", type=int, default=0, help="Machines to print and fit in full")
    parser.add_argument("--write", type=Path)
    asked = parser.parse_args()
    start = time.perf_counter()
    if asked.fits:
        shares, mean = fitted_years(asked.fits, 6, 3)
        print(f"fitted in full, six re-checks: {shares.words} of {shares.of}, mean {mean:.2f}")
        return
    found = {}
    for key, case in cases().items():
        powers = [power(case, gap, asked.machines, 2) for gap in SHIFTS_MM]
        found[key] = (false_year(case, asked.years, 1), powers)
        told = " ".join(one[1].words for one in powers)
        print(
            *key, found[key][0].words, "|", told, f"{time.perf_counter() - start:.0f} s", flush=True
        )
    if asked.write:
        command = f"study_rechecks.py --years {asked.years} --machines {asked.machines}"
        asked.write.write_text(page(found, command), encoding="utf-8")


if __name__ == "__main__":
    main()
