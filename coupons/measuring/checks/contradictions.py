"""Fit trials that contradict each other."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, groupby

from coupons.making.record import Coupon, CouponFeature, CouponHardware
from coupons.measuring.run.entries import FitEntry
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.sheet import FILE
from coupons.terms import GRADES, INTERNAL, Grade

# Gaps this far beyond the widest or tightest planned trial are not worth trying: a wrong mate.
FAR_GAP_MM = 2.0


@dataclass(frozen=True)
class _Trial:
    entry: FitEntry
    gap_mm: float
    family: tuple[str, str]  # row of the fixed feature, mate

    @property
    def low(self) -> int:
        return GRADES.index(self.entry.tightest)

    @property
    def high(self) -> int:
        return GRADES.index(self.entry.loosest)


def find_contradictions(coupon: Coupon, fits: Sequence[FitEntry]) -> list[Finding]:
    """Find contradictions among the trials: at most one per mate and row of the coupon."""
    parts: dict[str, CouponFeature | CouponHardware] = {
        **{feature.id: feature for feature in coupon.features},
        **{piece.id: piece for piece in coupon.hardware},
    }
    rows = {feature.id: feature.row for feature in coupon.features}
    trials = [
        _Trial(fit, round(_gap_mm(fit, parts), 6), (rows[fit.feature], fit.mate)) for fit in fits
    ]
    return [
        *_far_gaps(coupon, trials),
        *_wrong_orders(trials),
        *_wide_repeats(trials),
        *_one_grade(fits),
    ]


def _gap_mm(fit: FitEntry, parts: Mapping[str, CouponFeature | CouponHardware]) -> float:
    feature, mate = parts[fit.feature], parts[fit.mate]
    sign = 1.0 if feature.form in INTERNAL else -1.0
    return sign * (feature.size_mm - mate.size_mm)


def _look(entry: FitEntry, what: str, todo: str, kind: str) -> Finding:
    place = f"{FILE} row {entry.row} ({entry.feature} with {entry.mate})"
    return Finding("look", place, what, todo, kind)


def _said(entry: FitEntry) -> str:
    same = entry.tightest == entry.loosest
    return entry.tightest if same else f"{entry.tightest}..{entry.loosest}"


_Pair = tuple[_Trial, _Trial]  # the narrower gap, the wider one


def _wrong_orders(trials: Sequence[_Trial]) -> list[Finding]:
    """Find features that fit tighter than narrower ones; one finding for all their mates."""

    def place(trial: _Trial) -> tuple[tuple[str, str], float]:
        return trial.family, trial.gap_mm

    def feature(pair: _Pair) -> str:
        return pair[1].entry.feature

    by_family = groupby(sorted(trials, key=place), lambda trial: trial.family)
    worst = [pair for _, family in by_family if (pair := _worst_order(family)) is not None]
    by_feature = groupby(sorted(worst, key=feature), feature)
    return [_wrong_order(list(pairs)) for _, pairs in by_feature]


def _worst_order(family: Iterable[_Trial]) -> _Pair | None:
    """Return the pair whose wider gap fits tighter by the most grades, if there is one."""
    # Of several trials at one gap only the loosest and the tightest can be in the worst pair.
    ends = [
        (max(group, key=lambda trial: trial.low), min(group, key=lambda trial: trial.high))
        for group in (list(same) for _, same in groupby(family, lambda trial: trial.gap_mm))
    ]
    pairs = [(narrow[0], wide[1]) for narrow, wide in combinations(ends, 2)]
    wrong = [pair for pair in pairs if pair[0].low > pair[1].high]
    return max(wrong, key=_how_wrong, default=None)


def _how_wrong(pair: _Pair) -> tuple[int, float]:
    narrow, wide = pair
    return narrow.low - wide.high, wide.gap_mm - narrow.gap_mm


def _wrong_order(pairs: Sequence[_Pair]) -> Finding:
    """Report the pairs of one feature: the first in full, of the rest only the mates."""
    narrow, wide = pairs[0]
    refused = wide.high <= GRADES.index(Grade.FORCE) < narrow.low
    odd = (
        "the mate does not fit this gap but fits a narrower one"
        if refused
        else "tighter than at a narrower gap"
    )
    what = (
        f"{odd}: {_said(wide.entry)} at {wide.gap_mm:+.2f} mm,"
        f" {_said(narrow.entry)} at {narrow.gap_mm:+.2f} mm in row {narrow.entry.row}"
    )
    if len(pairs) == 1:
        todo = "Remove strings and burrs, then try both again"
        return _look(wide.entry, what, todo, "wrong order")
    others = ", ".join(f"{other.entry.mate} in row {other.entry.row}" for _, other in pairs[1:])
    todo = f"Several mates agree: remove strings and burrs from {wide.entry.feature} and measure it"
    return _look(wide.entry, f"{what}; the same with {others}", todo, "wrong order")


def _wide_repeats(trials: Sequence[_Trial]) -> list[Finding]:
    """Find repeats of one trial that are two grades or more apart."""

    def pair(trial: _Trial) -> tuple[str, str]:
        return trial.entry.feature, trial.entry.mate

    findings = []
    for _, members in groupby(sorted(trials, key=pair), pair):
        repeats = list(members)
        tight = min(repeats, key=lambda trial: trial.high)
        loose = max(repeats, key=lambda trial: trial.low)
        if loose.low - tight.high >= 2:
            what = (
                f"{_said(loose.entry)} here, but {_said(tight.entry)} for the same pair"
                f" in row {tight.entry.row}"
            )
            todo = "Try it again and clear the wrong one"
            findings.append(_look(loose.entry, what, todo, "repeated trial"))
    return findings


def _far_gaps(coupon: Coupon, trials: Sequence[_Trial]) -> list[Finding]:
    planned = [trial.gap_mm for trial in coupon.trials]
    if not planned:
        return []
    low, high = min(planned) - FAR_GAP_MM, max(planned) + FAR_GAP_MM
    todo = "Check the ids of the feature and the mate"
    what = "the drawn gap of this pair is {:+.2f} mm, far from every trial that the coupon asks for"
    return [
        _look(trial.entry, what.format(trial.gap_mm), todo, "far gap")
        for trial in trials
        if not low <= trial.gap_mm <= high
    ]


def _one_grade(fits: Sequence[FitEntry]) -> list[Finding]:
    said = {_said(fit) for fit in fits}
    if len(said) != 1 or len(fits) < 4:
        return []
    what = f"all {len(fits)} trials say {said.pop()}, so its limits stay unknown"
    return [Finding("look", FILE, what, "Try tighter and looser gaps too")]
