"""How the clearance of a joint depends on the drawn gap, and its uncertainty.

For a drawn gap g the functional clearance of the next print is normal given the print-to-print
scatter, with a mean that is linear in the profile's terms. The print-to-print scatter itself is
known only roughly (log-normal), so a chance is a small weighted sum of normal ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances.contact_length import unsaid_variance, usual_contact_mm
from coupons.answering.chances.extrapolation import feel_variance, size_variance
from coupons.answering.chances.next_print import variances
from coupons.answering.chances.own_spread import OwnSpread, with_own
from coupons.answering.chances.prints import N_TERMS, MadeFrom, Prints, made_by
from coupons.answering.chances.slants import (
    across_mm,
    doubt_mm2,
    face_rows,
    share_of_height,
    with_stairs,
)
from coupons.answering.standards.hardware import Hardware
from coupons.learning.effects import (
    EFFECTS,
    LOSSES,
    THRESHOLDS,
    loss_row,
)
from coupons.learning.profile import Profile
from coupons.terms import (
    INTERNAL,
    ROUND,
    Bed,
    Direction,
    Feature,
    Form,
    Grade,
    Joint,
    MovingBody,
)

Array = NDArray[np.floating]

_N_EFFECTS = len(EFFECTS)
# What a standing round body with a lying one loses differs so much from what two lying ones do: the
# standard deviation over 60 virtual machines drawn at random, on which the mean was the same.
_UNLIKE_ROUNDS_MM = 0.065
_SEAM = LOSSES.index("seam_loss")
_AT_LOSSES = slice(N_TERMS - len(LOSSES), N_TERMS)


def drawn_sizes(joint: Joint, move: MovingBody, gaps_mm: Array) -> tuple[Array, Array]:
    """Return internal and external drawn sizes, in mm, of a joint at each gap.

    The body that does not move keeps the nominal size.
    """
    share = {MovingBody.INTERNAL: 1.0, MovingBody.EXTERNAL: 0.0, MovingBody.BOTH: 0.5}[move]
    gaps_mm = across_mm(joint, gaps_mm)
    return joint.size_mm + share * gaps_mm, joint.size_mm - (1 - share) * gaps_mm


@dataclass(frozen=True)
class Clearance:
    """Distribution of a joint's functional clearance over a range of drawn gaps.

    Parameters
    ----------
    profile : Profile
        The one that is asked; the hand that tries is its.
    joint : Joint
    move : MovingBody
    gaps_mm : ndarray of shape (n,)
        Drawn gaps, over both sides. With hardware: printed drawn size against what the mate
        is called by.
    hardware : Hardware, optional
        Hardware in place of the printed feature of its form.
    bed : Bed
        Which bodies have their lower mating face on the bed; of joints across layers.
    contact_mm : float, optional
        How long the bodies bear on each other, if it was said.
    made : MadeFrom, optional
        The prints that the bodies come from; by default one print of ``profile``.
    """

    profile: Profile
    joint: Joint
    move: MovingBody
    gaps_mm: Array
    hardware: Hardware | None = None
    bed: Bed = Bed.NONE
    contact_mm: float | None = None
    made: MadeFrom | None = None

    @cached_property
    def source(self) -> MadeFrom:
        """The prints that the bodies come from."""
        return made_by(self.profile) if self.made is None else self.made

    @property
    def prints(self) -> Prints:
        """The prints over whose terms rows go."""
        return self.source.prints

    @cached_property
    def printed_rows(self) -> Array:
        """Printed gap − given gap as rows over each print's terms, (n, n_prints · n_terms)."""
        rows = np.zeros((len(self.gaps_mm), len(self.prints.of) * N_TERMS))
        internal, external = drawn_sizes(self.joint, self.move, self.gaps_mm)
        for feature in self._printed:
            is_internal = feature.form in INTERNAL
            effects = face_rows(self.joint, feature, internal if is_internal else external)
            at = self.source.place_of(internal=is_internal) * N_TERMS
            rows[:, at : at + _N_EFFECTS] += effects if is_internal else -effects
        return rows

    @cached_property
    def rows(self) -> Array:
        """Clearance − given gap as rows over each print's terms, (n, n_prints · n_terms)."""
        rows = self.printed_rows.copy()
        is_round = self._is_round
        # A designer's pin has its seam somewhere; on a bought one there is none.
        seam = any(feature.form is Form.PIN for feature in self._printed)
        contact_mm = self.contact_mm or usual_contact_mm(self.profile)
        # A standing body with a lying one loses as lying ones do; the seam is the pin's own.
        first, last = (self._printed[at].direction for at in (0, -1))
        lies = last if first is Direction.Z else first
        lost = loss_row(is_round, lies, contact_mm=contact_mm)
        lost[_SEAM] = loss_row(is_round, last, seam)[_SEAM]
        rows[:, _AT_LOSSES] = -with_stairs(self.joint, lost)
        return rows

    @cached_property
    def _printed(self) -> list[Feature]:
        hardware = self.hardware and self.hardware.form
        return [
            Feature(
                form,
                self.joint.size_mm,
                self.joint.direction_of(form),
                on_bed=self.bed.holds(form),
            )
            for form in (self.joint.internal, self.joint.external)
            if form is not hardware
        ]

    def _profile_of(self, feature: Feature) -> Profile:
        return self.source.profile_of(internal=feature.form in INTERNAL)

    @cached_property
    def given_mm(self) -> Array:
        """Gap between the sizes that are known before printing: drawn, or the mean of hardware."""
        if self.hardware is None:
            return self.gaps_mm
        larger_mm = self.hardware.size_mm - self.hardware.nominal_mm
        return self.gaps_mm + (larger_mm if self.hardware.form in INTERNAL else -larger_mm)

    def margin_row(self, grade: Grade) -> Array:
        """Rows of clearance − threshold of ``grade``, shape (n, n_prints · n_terms)."""
        rows = self.rows.copy()
        rows[:, _N_EFFECTS + THRESHOLDS.index(grade)] -= 1
        return rows

    def margin(self, grade: Grade) -> tuple[float, Array]:
        """Return mean, in mm, and row of the margin over a grade's threshold at the first gap.

        The row goes over all that the joints of these prints share; see `Prints.shared_row`.
        """
        row = self.margin_row(grade)[0]
        mean_mm = float(self.given_mm[0] + row @ self.prints.mean_vector)
        return mean_mm, self.prints.shared_row(row)

    @cached_property
    def size_doubt(self) -> float:
        """Variance in mm² of the printed gap from extrapolation beyond what was measured."""
        return doubt_mm2(self.joint, len(self._printed)) + sum(
            size_variance(self._profile_of(each), each.form, each.direction, each.size_mm)
            for each in self._printed
        )

    @cached_property
    def feel_doubt(self) -> float:
        """Variance in mm² of where a fit begins: beyond what was tried, and of unsaid contact."""
        ways = [(each.form, each.direction) for each in self._printed]
        doubt = feel_variance(self.profile, ways, self.joint.size_mm)
        doubt += unsaid_variance(self.profile) if self.contact_mm is None else 0.0
        stand = {lies is Direction.Z for _, lies in ways}
        return doubt + (_UNLIKE_ROUNDS_MM**2 if self._is_round and len(stand) > 1 else 0.0)

    @property
    def _is_round(self) -> bool:
        return self.joint.internal in ROUND and self.joint.external in ROUND

    @cached_property
    def own(self) -> OwnSpread:
        """What this one pair has to itself: own deviations, and a bought mate's."""
        counts = np.zeros((len(self.prints.profiles), 3))
        for feature in self._printed:
            z = share_of_height(self.joint, feature)
            at = self.prints.of[self.source.place_of(internal=feature.form in INTERNAL)]
            counts[at, :2] += 1 - z, z
        known_mm2 = self.hardware.sd_mm**2 if self.hardware else 0.0
        (in_plane, along_z, _), *more = counts.tolist()
        others = tuple((one, other, judged) for one, other, judged in more)
        return OwnSpread(in_plane, along_z, known_mm2=known_mm2, others=others)

    @cached_property
    def judged(self) -> OwnSpread:
        """The same, with the judgement of the hand that tries it."""
        known_mm2 = self.own.known_mm2 + self.feel_doubt
        return replace(self.own, judged=1.0, known_mm2=known_mm2)

    def variances(self, rows: Array) -> tuple[Array, Array]:
        """Variance of ``rows`` · terms for the next print, at nodes of the print-to-print scatter.

        See `coupons.answering.chances.next_print.variances`; the added uncertainty outside the
        measured sizes is included.
        """
        spread, weights = variances(self.prints, rows)
        return spread + self.size_doubt, weights

    def chances_from(self, grades: Sequence[Grade]) -> Array:
        """Chances that a pair is at least of each grade, shape (n_grades, n)."""
        rows = np.concatenate([self.margin_row(grade) for grade in grades])
        judged = self.judged.variance_rule(self.prints)
        spread, weights = with_own(*self.variances(rows), judged)
        mean = np.tile(self.given_mm, len(grades)) + rows @ self.prints.mean_vector
        chances: Array = weights @ ndtr(mean / np.sqrt(spread))
        return chances.reshape(len(grades), -1)

    def grade_chances(self) -> Array:
        """Chance of each grade, in their order, shape (n_grades, n)."""
        n = len(self.gaps_mm)
        at_least = np.vstack([np.ones(n), self.chances_from(THRESHOLDS), np.zeros(n)])
        return -np.diff(at_least, axis=0)
