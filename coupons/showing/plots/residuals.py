"""Residuals: how far features were read from what the model expects of their kind."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from coupons.learning.effects import EFFECTS
from coupons.learning.fit import Fitted
from coupons.learning.profile import Profile
from coupons.making.record import CouponFeature
from coupons.measuring.run.folder import Run
from coupons.showing.plots.size_plot import Reading, readings_of


@dataclass(frozen=True)
class LeftOver:
    """Residual of one feature, with its error (printed − drawn) and the expected error, in mm.

    All are means over its ``readings``. ``run`` counts the runs of a fit from 0.
    """

    run: int
    feature: CouponFeature
    error_mm: float
    expected_mm: float
    readings: int = 1

    @property
    def left_mm(self) -> float:
        """Error less expected error."""
        return self.error_mm - self.expected_mm


def largest_left_over(
    fitted: Fitted, runs: Sequence[Run], profile: Profile
) -> tuple[LeftOver, ...]:
    """Return every feature that was read, the largest residual first."""
    design = fitted.design
    rows = design.sizes.effects[design.readings.size] + design.readings.effects
    expected = rows @ profile.mean_vector[: len(EFFECTS)]
    of_feature: dict[tuple[int, str], list[tuple[Reading, float]]] = {}
    for reading, mm in zip(readings_of(fitted, runs), expected, strict=True):
        of_feature.setdefault((reading.run, reading.feature.id), []).append((reading, float(mm)))
    found = [_mean(readings) for readings in of_feature.values()]
    return tuple(sorted(found, key=lambda one: (-abs(one.left_mm), one.feature.id)))


def _mean(readings: Sequence[tuple[Reading, float]]) -> LeftOver:
    first = readings[0][0]
    error_mm = fmean(reading.error_mm for reading, _ in readings)
    expected_mm = fmean(mm for _, mm in readings)
    return LeftOver(first.run, first.feature, error_mm, expected_mm, len(readings))
