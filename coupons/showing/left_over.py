"""What the model leaves over: readings that came out otherwise than their kind."""

from collections.abc import Sequence
from dataclasses import dataclass

from coupons.learning.effects import EFFECTS
from coupons.learning.fit import Fitted
from coupons.learning.profile import Profile
from coupons.making.record import CouponFeature
from coupons.measuring.run import Run
from coupons.showing.size_plot import readings_of


@dataclass(frozen=True)
class LeftOver:
    """One reading: its error on drawn, what is expected of its kind, and what is left, in mm.

    ``run`` counts the runs of a fit from 0.
    """

    run: int
    feature: CouponFeature
    error_mm: float
    expected_mm: float

    @property
    def left_mm(self) -> float:
        """Error less expected error."""
        return self.error_mm - self.expected_mm


def largest_left_over(
    fitted: Fitted, runs: Sequence[Run], profile: Profile
) -> tuple[LeftOver, ...]:
    """Return every reading, the largest left over first."""
    design = fitted.design
    rows = design.sizes.effects[design.readings.size] + design.readings.effects
    expected = rows @ profile.mean_vector[: len(EFFECTS)]
    found = [
        LeftOver(reading.run, reading.feature, reading.error_mm, float(mm))
        for reading, mm in zip(readings_of(fitted, runs), expected, strict=True)
    ]
    return tuple(sorted(found, key=lambda one: (-abs(one.left_mm), one.feature.id)))
