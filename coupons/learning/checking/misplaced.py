"""Entries that are in the wrong rows together: a gauge one place on, a coupon turned.

Each is compared with the entries as typed by a Bayes factor: how many times likelier are the
entries if they belong to the other place? Those without another place (the end of a row) are left
out on both sides.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from coupons.learning.checking.bayes_factors import BayesFactors
from coupons.learning.checking.downdate import Fold, without
from coupons.learning.design import Design
from coupons.learning.effects import EFFECTS
from coupons.making.record import Coupon, CouponFeature
from coupons.measuring.run.folder import Run
from coupons.terms import FLAT, Direction

Indices = NDArray[np.intp]

# A row shorter than this does not show whether its entries are one place off.
LEAST_TRIALS = 4
_NONE = np.zeros(0, np.intp)
_TURNED = {Direction.X: Direction.Y, Direction.Y: Direction.X}


@dataclass(frozen=True)
class Misplaced:
    """One way in which entries may be in the wrong rows.

    Parameters
    ----------
    run : int
        Which of the runs, from 0.
    log_odds : float
        Log of how many times likelier the entries are in the other place.
    what : {"gauge", "rows", "print"}
        A mate one place on; rows of x and y exchanged; a whole print turned relative to the others.
    rows : tuple of int
        Entry rows that would have to change.
    names : tuple of str
        Of a gauge: the mate, and a feature with the one in which its trial was made. Of rows: the
        letters, pair by pair.
    """

    run: int
    log_odds: float
    what: str
    rows: tuple[int, ...]
    names: tuple[str, ...] = ()


def slipped_gauges(evidence: BayesFactors, runs: Sequence[Run]) -> Iterator[Misplaced]:
    """Return for each mate the odds that all its trials in a row were made one place on."""
    for n, run in enumerate(runs):
        features = {feature.id: feature for feature in run.coupon.features}
        pairs = sorted({(fit.mate, features[fit.feature].row) for fit in run.fits})
        for mate, row in pairs:
            fits = {
                fit.row: fit.feature
                for fit in run.fits
                if fit.mate == mate and features[fit.feature].row == row
            }
            if len(set(fits.values())) >= LEAST_TRIALS:
                yield from _slipped(evidence, n, mate, _ladder(run.coupon, row), fits)


def _ladder(coupon: Coupon, row: str) -> list[str]:
    """Return the features of a row in which mates are tried, by size."""
    fixed = (part for part in coupon.features if part.row == row and part.role == "fit")
    return [part.id for part in sorted(fixed, key=lambda part: part.size_mm)]


def _slipped(
    evidence: BayesFactors, n: int, mate: str, ladder: Sequence[str], fits: Mapping[int, str]
) -> Iterator[Misplaced]:
    design = evidence.design
    place = {key: at for at, key in enumerate(design.sizes.keys)}
    of_run = design.sizes.run[design.trials.internal] == n
    at = np.flatnonzero(of_run & np.isin(design.trials.row, list(fits)))
    for step in (1, -1):
        meant = _neighbours(ladder, step)
        to = {
            place[n, name]: place[n, other]
            for name, other in meant.items()
            if (n, name) in place and (n, other) in place
        }
        internal, external = (
            np.array([to.get(int(size), -1) for size in sizes[at]])
            for sizes in (design.trials.internal, design.trials.external)
        )
        moves = np.maximum(internal, external) >= 0
        changed = _with_trials(design, at[moves], internal[moves], external[moves])
        out = Fold(_NONE, at[~moves], _NONE)
        odds = evidence.log_odds(*_both_without(changed, design, out))
        example = next((name, meant[name]) for name in fits.values() if name in meant)
        yield Misplaced(n, odds, "gauge", tuple(sorted(fits)), (mate, *example))


def _both_without(changed: Design, typed: Design, out: Fold) -> tuple[Design, Design | None]:
    """Leave a group out of both designs; None for the fitted one if the group is empty."""
    if not len(out.readings) + len(out.trials):
        return changed, None
    return without(changed, out), without(typed, out)


def _neighbours(ladder: Sequence[str], step: int) -> dict[str, str]:
    """Return for each feature of a row the one that is ``step`` places further on."""
    pairs = list(pairwise(ladder))
    return dict(pairs) if step > 0 else {wider: narrower for narrower, wider in pairs}


def _with_trials(design: Design, at: Indices, internal: Indices, external: Indices) -> Design:
    """Replace the sizes of some trials; −1 keeps the present one."""
    trials = design.trials
    new = [trials.internal.copy(), trials.external.copy()]
    for sizes, other in zip(new, (internal, external), strict=True):
        sizes[at] = np.where(other >= 0, other, sizes[at])
    return replace(design, trials=replace(trials, internal=new[0], external=new[1]))


def exchanged_rows(evidence: BayesFactors, runs: Sequence[Run]) -> Iterator[Misplaced]:
    """Return for each run the odds that rows along x and like rows along y were exchanged."""
    for n, run in enumerate(runs):
        twins = list(_twin_rows(run.coupon))
        tries: list[tuple[tuple[_Twins, ...], bool]] = [((pair,), False) for pair in twins]
        tries += [(tuple(twins), axes_too) for axes_too in (True, False)] if twins else []
        for group, axes_too in tries:
            found = _exchanged(evidence, n, run, group, axes_too)
            if found is not None:
                yield found


@dataclass(frozen=True)
class _Twins:
    """Two rows that differ by a turn of a right angle, and for each feature its twin."""

    letters: tuple[str, str]
    like: Mapping[str, str]


def _twin_rows(coupon: Coupon) -> Iterator[_Twins]:
    rows: dict[str, list[CouponFeature]] = {}
    for feature in coupon.features:
        if feature.form in FLAT and feature.direction in _TURNED:
            rows.setdefault(feature.row, []).append(feature)
    paired: set[str] = set()
    for (one, of_one), (other, of_other) in combinations(rows.items(), 2):
        if paired & {one, other}:  # rows that are alike several times over: each has one twin
            continue
        left, right = sorted(of_one, key=_kind), sorted(of_other, key=_turned_kind)
        if len(left) > 1 and list(map(_kind, left)) == list(map(_turned_kind, right)):
            pairs = [(a.id, b.id) for a, b in zip(left, right, strict=True)]
            paired |= {one, other}
            yield _Twins((one, other), dict(pairs) | {b: a for a, b in pairs})


def _kind(feature: CouponFeature) -> tuple[str, str, str, float]:
    return feature.direction, feature.role, feature.form, feature.size_mm


def _turned_kind(feature: CouponFeature) -> tuple[str, str, str, float]:
    return _TURNED[feature.direction], feature.role, feature.form, feature.size_mm


def _exchanged(
    evidence: BayesFactors, n: int, run: Run, twins: Iterable[_Twins], axes_too: bool
) -> Misplaced | None:
    """Compare with rows exchanged, and with them the axes along which rounds were read."""
    design = evidence.design
    place = {key: at for at, key in enumerate(design.sizes.keys)}
    like = {name: other for pair in twins for name, other in pair.like.items()}
    to = np.arange(len(design.sizes.keys))
    gone = np.zeros(len(to), bool)
    for name, other in like.items():
        if (n, name) in place:
            gone[place[n, name]] = (n, other) not in place
            to[place[n, name]] = place.get((n, other), place[n, name])
    readings, trials = design.readings, design.trials
    moved_readings = to[readings.size] != readings.size
    if moved_readings.sum() < LEAST_TRIALS:
        return None
    out = Fold(
        np.flatnonzero(gone[readings.size]),
        np.flatnonzero(gone[trials.internal] | gone[trials.external]),
        _NONE,
    )
    # What a standing round reads along x beyond its size it has less along y.
    stands = readings.effects[:, EFFECTS.index("scale_z")] == 0
    turns = axes_too & (design.sizes.run[readings.size] == n) & stands
    effects = np.where(turns[:, None], -readings.effects, readings.effects)
    changed = replace(
        design,
        readings=replace(readings, size=to[readings.size], effects=effects),
        trials=replace(trials, internal=to[trials.internal], external=to[trials.external]),
    )
    odds = evidence.log_odds(*_both_without(changed, design, out))
    rows = [size.row for size in run.sizes if size.feature in like]
    rows += [fit.row for fit in run.fits if fit.feature in like]
    letters = tuple(letter for pair in twins for letter in pair.letters)
    return Misplaced(n, odds, "rows", tuple(sorted(rows)), letters)


# Effects that change sign where x and y change places.
X_LESS_Y = ("skew", "lost_motion", "growth_ext_xy", "growth_int_xy")


def turned_prints(evidence: BayesFactors, runs: Sequence[Run]) -> Iterator[Misplaced]:
    """Return for each of several runs the odds that it was printed turned by a right angle.

    A single run cannot show this: its x and y would only change names.
    """
    if len(runs) < 2:
        return
    design = evidence.design
    swap = np.arange(len(EFFECTS))
    swap[[EFFECTS.index("scale_x"), EFFECTS.index("scale_y")]] = swap[
        [EFFECTS.index("scale_y"), EFFECTS.index("scale_x")]
    ]
    # What is x less y, and the sign of the skew, turn round.
    sign = np.where(np.isin(EFFECTS, X_LESS_Y), -1.0, 1.0)
    for n, run in enumerate(runs):
        mine = design.sizes.run == n
        read = mine[design.readings.size]
        changed = replace(
            design,
            sizes=replace(
                design.sizes,
                effects=np.where(
                    mine[:, None], sign * design.sizes.effects[:, swap], design.sizes.effects
                ),
            ),
            readings=replace(
                design.readings,
                effects=np.where(
                    read[:, None], sign * design.readings.effects[:, swap], design.readings.effects
                ),
            ),
        )
        rows = tuple(sorted(size.row for size in run.sizes))
        yield Misplaced(n, evidence.log_odds(changed), "print", rows)
