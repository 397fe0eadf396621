"""A part made many times over: printers, prints, deviations and hands drawn one by one.

Sizes are written out again from the model's formula, not taken from the answers' own arithmetic.
"""

import math

import numpy as np
from support.known_profile import drawn_prints

from coupons.learning.effects import EFFECTS, LOSSES, TERMS, effect_row, loss_row
from coupons.terms import GRADES, Direction, Feature, Form


class DrawnPart:
    """``n`` makings of a part on printers as a profile believes them to be.

    Each joint has deviations and hands of its own, the same ones however it is drawn.
    """

    def __init__(self, profile, seed, n):
        self.seed, self.n = seed, n
        self.terms, self.shifts = drawn_prints(profile, np.random.default_rng(seed), n)
        self.own = {
            name: math.sqrt(scatter.mean_square) for name, scatter in profile.scatters.items()
        }

    def printed(self, rng, form, drawn_mm, direction):
        error = self.terms[:, : len(EFFECTS)] @ effect_row(Feature(form, drawn_mm, direction))
        sign = 1 if form in (Form.PIN, Form.TONGUE) else -1
        across = direction is Direction.Z and form in (Form.SLOT, Form.TONGUE)
        tau = self.own["tau_z" if across else "tau"]
        own = tau * rng.normal(size=self.n)
        grown, fatter, stretched, taller, bed, roof = self.shifts.T
        if across:  # nobody said whether a tongue stands on the bed: half of them do
            stands = rng.random(self.n) < 0.5
            bed = bed + self.terms[:, TERMS.index("bed_height")]
            of_print = drawn_mm * taller + (stands * bed if sign > 0 else -roof)
        else:
            of_print = sign * grown + fatter + drawn_mm * stretched
        return drawn_mm + error + of_print + own

    def holds(self, joint, drawn_mm):
        """Return whether a joint is not too tight, and whether it is not too loose, each time.

        ``drawn_mm`` is its drawn size by form.
        """
        listed, mated = joint.listed, joint.listed.joint
        rng = np.random.default_rng([self.seed, listed.row])
        inside = self.printed(rng, mated.internal, drawn_mm[mated.internal], mated.direction)
        if listed.fit is None:
            limits = listed.hardware.printed
            return inside > limits.lower_mm, inside < limits.upper_mm
        if listed.hardware is None:
            outside = self.printed(rng, mated.external, drawn_mm[mated.external], mated.direction)
        else:
            outside = rng.normal(listed.hardware.size_mm, listed.hardware.sd_mm, self.n)
        felt = inside - outside + self.own["omega"] * rng.normal(size=self.n)
        seam = listed.hardware is None and mated.external is Form.PIN
        losses = loss_row(mated.internal is Form.HOLE, mated.direction, seam)
        felt -= self.terms[:, -len(LOSSES) :] @ losses
        kappa, rank = self.terms[:, len(EFFECTS) : -len(LOSSES)], GRADES.index(listed.fit)
        is_open = listed.at_least is not None or rank == kappa.shape[1]
        narrow = np.ones(self.n, bool) if is_open else felt < kappa[:, rank]
        return felt > kappa[:, rank - 1], narrow


def drawn_sizes(joint):
    return {form: joint.drawn_mm(form) for form in Form}
