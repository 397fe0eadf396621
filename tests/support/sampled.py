"""What a fit says against what a sampler says of the same posterior, question by question."""

from dataclasses import dataclass

import numpy as np
from numpyro.diagnostics import effective_sample_size

from coupons.learning.effects import TERMS, effect_row, loss_row
from coupons.terms import Direction, Feature, Form

TRIED_MM = (-0.12, 0.6)


@dataclass(frozen=True)
class Compared:
    """One question: mean off in sampled sds, sd as a share of the sampled one, their error.

    The error is twice the sampler's own standard error, at its number of independent draws.
    """

    what: str
    off_sds: float
    sd_ratio: float
    independent: float

    @property
    def error(self):
        return 2 / np.sqrt(self.independent)


def gap_row(grade, internal, external, size_mm, direction):
    """Weights of the terms in the gap at which a grade begins."""
    effects = effect_row(Feature(external, size_mm, direction))
    effects = effects - effect_row(Feature(internal, size_mm, direction))
    row = np.zeros(len(TERMS))
    row[: len(effects)] = effects
    row[TERMS.index(f"from_{grade}")] = 1.0
    losses = loss_row(internal is Form.HOLE, direction)
    row[len(TERMS) - len(losses) :] = losses
    return row


GRADES = ("force", "push", "slide")
GROWTHS = {name: np.eye(len(TERMS))[TERMS.index(name)] for name in ("growth_ext", "growth_int")}
FLAT = {
    f"flat, {grade}": gap_row(grade, Form.SLOT, Form.TONGUE, 8.0, Direction.X) for grade in GRADES
}
ROUND = {
    f"round, {grade}": gap_row(grade, Form.HOLE, Form.PIN, 6.0, Direction.Z) for grade in GRADES
}


def compare(fitted, draws, asked):
    """Compare growths, and those gaps asked for that lie within the gaps that were tried.

    A gap beyond them has a posterior with a tail on one side that no mean and sd describe.
    """
    found = []
    for what, row in asked.items():
        drawn = draws @ row
        if what not in GROWTHS and not TRIED_MM[0] < drawn.mean() < TRIED_MM[1]:
            continue
        off = (row @ fitted.mean - drawn.mean()) / drawn.std()
        ratio = np.sqrt(row @ fitted.covariance @ row) / drawn.std()
        independent = float(effective_sample_size(drawn[None]))
        found.append(Compared(what, float(off), float(ratio), independent))
    return found
