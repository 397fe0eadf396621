"""The trials of some runs by kind of joint."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coupons.making.record import CouponFeature
from coupons.measuring.run.entries import FitEntry
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES, INTERNAL, Grade, Joint, MovingBody

# Own parts are mostly of a size each, which would be a plot each.
_MOST_OF_PARTS = 6


@dataclass(frozen=True)
class TrialOutcome:
    """One trial of a family: the drawn gap, and the range of grades that was entered."""

    gap_mm: float
    tightest: Grade
    loosest: Grade


@dataclass(frozen=True)
class Family:
    """Trials of one kind of joint. ``move`` is the side whose drawn size varies the gap."""

    joint: Joint
    move: MovingBody
    outcomes: tuple[TrialOutcome, ...]

    @property
    def gaps_mm(self) -> tuple[float, float]:
        """Smallest and largest gap tried."""
        gaps = [outcome.gap_mm for outcome in self.outcomes]
        return min(gaps), max(gaps)


def families(runs: Sequence[Run]) -> tuple[Family, ...]:
    """Sort the trials of printed pairs by kind of joint, most trials first.

    Trials that leave every grade open (from no-go to loose) are left out, and so are those of
    bought mates, which are not joints of two printed parts. Of somebody's own parts, each of a
    size of its own, only some are shown, and none beside a coupon.
    """
    found: dict[tuple[Joint, MovingBody], list[TrialOutcome]] = {}
    coupons = [run for run in runs if run.parts is None]
    for run in coupons or runs:
        features = {feature.id: feature for feature in run.coupon.features}
        for entry in _told(run.fits):
            if entry.mate in features:
                key, outcome = _outcome(features[entry.feature], features[entry.mate], entry)
                found.setdefault(key, []).append(outcome)
    sorted_keys = sorted(found, key=lambda key: (-len(found[key]), _order(key[0])))
    shown = sorted_keys if coupons else sorted_keys[:_MOST_OF_PARTS]
    return tuple(Family(*key, tuple(found[key])) for key in shown)


def _told(fits: Iterable[FitEntry]) -> Iterable[FitEntry]:
    return (entry for entry in fits if (entry.tightest, entry.loosest) != (GRADES[0], GRADES[-1]))


def _order(joint: Joint) -> tuple[str, str, float]:
    return joint.internal, joint.direction, joint.size_mm


def _outcome(
    fixed: CouponFeature, mate: CouponFeature, entry: FitEntry
) -> tuple[tuple[Joint, MovingBody], TrialOutcome]:
    is_internal = fixed.form in INTERNAL
    internal, external = (fixed, mate) if is_internal else (mate, fixed)
    joint = Joint(internal.form, external.form, mate.size_mm, fixed.direction)
    gap_mm = round(internal.size_mm - external.size_mm, 6)
    move = MovingBody.INTERNAL if is_internal else MovingBody.EXTERNAL
    return (joint, move), TrialOutcome(gap_mm, entry.tightest, entry.loosest)
