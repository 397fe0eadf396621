"""How often a drift from print to print is told, by its size and the number of prints.

    PYTHONPATH=tests nice python tests/bench/study_one_way.py --machines 60 \
        --write results/one_way_power.md

Machines are drawn from the model's prior. Each prints `upright` eight times; its outer heights grow
by the same amount with each print. Every print is tried, read and fitted alone, and the first
three, five and all eight fits are asked whether the machine drifts, as ``fit`` asks them.
"""

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np
from support.prior_printer import draw_printer, observe, print_sizes
from support.synthetic import done_coupons

from coupons.atomic import write_text
from coupons.learning.checking.one_way import one_way_drifts
from coupons.learning.design import design_of
from coupons.learning.effects import EFFECTS
from coupons.learning.fit import fit_design

DRIFTS_MM = (0.0, 0.02, 0.03, 0.04)  # along z on real machines: 0.02 to 0.04 mm a print
PRINTS = (3, 5, 8)
COUPON = "upright"
GROWTH_Z = EFFECTS.index("growth_ext_z")


def fits_of(printer, design, drift_mm, rng):
    """Fit each of the prints of a machine whose outer heights grow by a drift with each print."""
    fits = []
    for k in range(max(PRINTS)):
        terms = printer.terms.copy()
        terms[GROWTH_Z] += k * drift_mm / 2  # of two faces
        moved = replace(printer, terms=terms)
        fits.append(fit_design(observe(moved, design, print_sizes(moved, design, rng), rng)))
    return fits


def told(fits):
    """Return the drift along z that is told, and whether any axis is beyond chance."""
    drifts = one_way_drifts(fits, [None] * len(fits))
    along_z = next((one for one in drifts if one.axis == "z"), None)
    return along_z, any(one.is_found for one in drifts)


def study(n_machines, seed):
    """Return, for each drift and number of prints, what was told of each machine."""
    design = design_of(done_coupons(COUPON))
    found = {(drift, n): [] for drift in DRIFTS_MM for n in PRINTS}
    for machine in range(n_machines):
        printer = draw_printer(np.random.default_rng([seed, machine]))
        for drift_mm in DRIFTS_MM:
            # The same prints and hands for each drift: the columns differ by it alone.
            fits = fits_of(printer, design, drift_mm, np.random.default_rng([seed, machine, 1]))
            for n in PRINTS:
                found[drift_mm, n].append(told(fits[:n]))
    return found


def as_text(found, n_machines, seed):
    """Write the table of powers as a page."""
    yield "# A drift from print to print"
    yield ""
    yield (
        "`PYTHONPATH=tests nice python tests/bench/study_one_way.py "
        f"--machines {n_machines} --seed {seed} --write results/one_way_power.md`"
    )
    yield ""
    yield (
        f"{n_machines} machines drawn from the prior print `{COUPON}` once a week; outer heights "
        "grow by so much with each print. `coupons fit` of the prints tells of a drift where an "
        "axis is beyond what one fit in twenty shows by chance. In percent of machines, ± one "
        "standard error: a drift along z is told, with the right sign; with no drift, any axis is."
    )
    yield ""
    yield "| prints | none | " + " | ".join(f"{mm:.2f} mm a print" for mm in DRIFTS_MM[1:]) + " |"
    yield "|---|" + "---|" * len(DRIFTS_MM)
    for n in PRINTS:
        alarms = [any_axis for _, any_axis in found[0.0, n]]
        shares = [alarms] + [
            [z is not None and z.is_found and z.by_mm > 0 for z, _ in found[mm, n]]
            for mm in DRIFTS_MM[1:]
        ]
        yield f"| {n} | " + " | ".join(_share(each) for each in shares) + " |"
    yield ""
    yield "What is told of 0.03 mm a print: mean, spread between machines, and the stated sd."
    yield ""
    yield "| prints | told, mm a print | spread | stated sd |"
    yield "|---|---|---|---|"
    for n in PRINTS:
        known = [z for z, _ in found[0.03, n] if z is not None]
        by = np.array([z.by_mm for z in known])
        stated = np.sqrt(np.mean([z.sd_mm**2 for z in known]))
        yield f"| {n} | {by.mean():+.3f} | {by.std(ddof=1):.3f} | {stated:.3f} |"


def _share(cases):
    p = np.mean(cases)
    # Half a case more on either side, so that none and all have an error too.
    q = (np.sum(cases) + 0.5) / (len(cases) + 1)
    return f"{100 * p:.0f} ± {100 * np.sqrt(q * (1 - q) / len(cases)):.0f}"


def main():
    """Run the study; print the table, and write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path)
    options = parser.parse_args()
    text = "\n".join(as_text(study(options.machines, options.seed), options.machines, options.seed))
    print(text)
    if options.write:
        write_text(options.write, text + "\n")


if __name__ == "__main__":
    main()
