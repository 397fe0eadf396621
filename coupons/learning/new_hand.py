"""Another person's hand on a print that others tried: thresholds move, nothing else does.

A profile's thresholds are those of the hands that tried. A few trials of another person on the same
print show where the fits of that hand begin, because the pieces are the same and well known by
then. All entries of the print are fitted together, with a deviation for each person; what that says
of the new hand's thresholds *for given plastic* is put on top of what the profile says of the
plastic, which stays as it is to the last bit (in statistics, a cut posterior).
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coupons.errors import FitError, Problem
from coupons.learning.design import as_feature, design_of, shows_seam
from coupons.learning.effects import EFFECTS, LOSSES, TERMS, THRESHOLDS, effect_row, loss_row
from coupons.learning.fit import Fitted, fit_design
from coupons.learning.profile import VERSION, Hand, Profile
from coupons.learning.without import leave_out
from coupons.making.record import Coupon, CouponTrial
from coupons.measuring.run.folder import Run
from coupons.neutral import one_line
from coupons.terms import INTERNAL, ROUND, Grade

Array = NDArray[np.floating]

FEWEST_TRIALS = 6
"""With fewer a hand is not told from chance."""
PROPOSED_TRIALS = 8
# Where a fit begins is asked of each of these in turn: the fits that designers want most.
_ASKED = (Grade.SLIDE, Grade.LOOSE, Grade.PUSH)
# A piece that was proposed already counts as so much farther away, each time: pieces differ.
_AGAIN_MM = 0.02

_MORE = 1e-4  # the step of rounding, by which variances are made larger where they must

_FIRST = TERMS.index(f"from_{THRESHOLDS[0]}")
_AT_THRESHOLDS = np.arange(_FIRST, _FIRST + len(THRESHOLDS))
_AT_PLASTIC = np.setdiff1d(np.arange(len(TERMS)), _AT_THRESHOLDS)


def profile_for_hand(profile: Profile, run: Run, by: str) -> Profile:
    """Return a profile for another person's hand.

    Parameters
    ----------
    profile : Profile
        Of the machine, fitted to this print among others.
    run : Run
        The print, with the entries of all who tried it.
    by : str
        The person, as column ``by`` of the entries names them; capitals do not matter.

    Raises
    ------
    FitError
        With everything that is wrong: too few trials by that person, nobody else's trials, a
        profile of another machine, material, print or coupon, or of an older model.
    EntriesError
        If a row that the profile left out is no longer there.
    """
    run = _named_alike(run, by)
    problems = [*_unlike(profile, run), *_not_enough(profile, run, by)]
    if problems:
        raise FitError(problems)
    (kept,), _ = leave_out([run], _rows_left_out(profile, run))
    design = design_of([kept])
    fitted = fit_design(design, profile.prior_table)
    mean, covariance = moments_for_hand(profile, fitted, design.hands.index(by))
    count = sum(fit.by == by for fit in kept.fits)
    return with_thresholds(profile, mean, covariance, Hand(by=one_line(by), trials=count))


def moments_for_hand(profile: Profile, fitted: Fitted, hand: int) -> tuple[Array, Array]:
    """Return mean and covariance of all terms, thresholds for one of the hands of a fit.

    Parameters
    ----------
    profile : Profile
        Whose other terms are kept.
    fitted : Fitted
        To entries of several people.
    hand : int
        Place of the person in the design's ``hands``.

    Returns
    -------
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
    """
    n_shared, n_hands = fitted.mixture.model.n_shared, len(fitted.design.hands)
    mean, covariance = fitted.mixture.shared_moments(n_shared)
    pick = np.zeros((len(THRESHOLDS), n_shared))
    pick[np.arange(len(THRESHOLDS)), _AT_THRESHOLDS] = 1
    pick[:, n_shared - n_hands + hand] = 1
    plastic, meets = covariance[np.ix_(_AT_PLASTIC, _AT_PLASTIC)], pick @ covariance[:, _AT_PLASTIC]
    sds = np.sqrt(np.diag(plastic))
    slope = np.linalg.solve(plastic / np.outer(sds, sds), (meets / sds).T).T / sds
    alone = pick @ covariance @ pick.T - slope @ meets.T
    known = profile.covariance_matrix[np.ix_(_AT_PLASTIC, _AT_PLASTIC)]
    moved = profile.mean_vector[_AT_PLASTIC] - mean[_AT_PLASTIC]
    new_mean, new_covariance = profile.mean_vector.copy(), profile.covariance_matrix.copy()
    new_mean[_AT_THRESHOLDS] = pick @ mean + slope @ moved
    new_covariance[np.ix_(_AT_THRESHOLDS, _AT_PLASTIC)] = slope @ known
    new_covariance[np.ix_(_AT_PLASTIC, _AT_THRESHOLDS)] = (slope @ known).T
    new_covariance[np.ix_(_AT_THRESHOLDS, _AT_THRESHOLDS)] = alone + slope @ known @ slope.T
    return new_mean, new_covariance


def with_thresholds(profile: Profile, mean: Array, covariance: Array, hand: Hand) -> Profile:
    """Return a profile with other thresholds, rounded as in its file, and all else as it is.

    Parameters
    ----------
    profile : Profile
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
        Of all terms; what is not of a threshold is not looked at.
    hand : Hand
        Whose thresholds they are.
    """
    lower = np.tril_indices(len(TERMS))
    is_new = np.isin(lower[0], _AT_THRESHOLDS) | np.isin(lower[1], _AT_THRESHOLDS)
    is_variance = is_new & (lower[0] == lower[1])
    more, numbers = 0.0, profile.covariance
    while True:  # rounding may not leave a sum of terms with less than no variance
        wider = covariance[lower] * np.where(is_variance, 1 + more, 1.0)
        given = zip(wider, is_new, profile.covariance, strict=True)
        numbers = tuple(_rounded(value, 4) if new else kept for value, new, kept in given)
        if _is_covariance(numbers):
            break
        more = 2 * more + _MORE
    means = profile.means | {TERMS[at]: _rounded(mean[at], 5) for at in _AT_THRESHOLDS}
    fields = {name: getattr(profile, name) for name in Profile.model_fields}
    return Profile(**(fields | {"means": means, "covariance": numbers, "hand": hand}))


def _rounded(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}")


def _is_covariance(numbers: tuple[float, ...]) -> bool:
    """Tell whether a lower triangle is that of a covariance matrix."""
    matrix = np.zeros((len(TERMS), len(TERMS)))
    matrix[np.tril_indices(len(TERMS))] = numbers
    matrix += np.tril(matrix, -1).T
    sds = np.sqrt(np.diag(matrix))
    return bool(np.linalg.eigvalsh(matrix / np.outer(sds, sds))[0] >= 0)


def trials_to_make(
    profile: Profile, coupon: Coupon, count: int = PROPOSED_TRIALS
) -> tuple[CouponTrial, ...]:
    """Return the trials that tell most of a new hand: pairs near where fits begin, unlike pieces.

    Parameters
    ----------
    profile : Profile
        For which clearance each pair is expected to have, and where fits began so far.
    coupon : Coupon
    count : int
    """
    clearances_mm = [_clearance_mm(profile, coupon, trial) for trial in coupon.trials]
    used: Counter[str] = Counter()
    chosen: list[int] = []
    for number in range(min(count, len(coupon.trials))):
        threshold_mm = profile.means[f"from_{_ASKED[number % len(_ASKED)]}"]

        def far_mm(at: int, threshold_mm: float = threshold_mm) -> float:
            trial = coupon.trials[at]
            again_mm = _AGAIN_MM * (used[trial.feature] + used[trial.mate])
            return abs(clearances_mm[at] - threshold_mm) + again_mm

        best = min((at for at in range(len(coupon.trials)) if at not in chosen), key=far_mm)
        chosen.append(best)
        used.update((coupon.trials[best].feature, coupon.trials[best].mate))
    return tuple(coupon.trials[at] for at in sorted(chosen))


def _clearance_mm(profile: Profile, coupon: Coupon, trial: CouponTrial) -> float:
    """Return the clearance that a pair is expected to have."""
    features = {feature.id: feature for feature in coupon.features}
    bought = {piece.id: piece for piece in coupon.hardware}
    fixed, mate = features[trial.feature], features.get(trial.mate)
    sign = 1 if fixed.form in INTERNAL else -1
    seam = shows_seam(fixed, mate)
    losses = loss_row(fixed.form in ROUND, fixed.direction, seam, trial.contact_mm)
    row = sign * effect_row(as_feature(fixed))
    if mate is None:
        gap_mm = sign * (fixed.size_mm - bought[trial.mate].size_mm)
    else:
        gap_mm = sign * (fixed.size_mm - mate.size_mm)
        row = row - sign * effect_row(as_feature(mate))
    effects, lost = profile.mean_vector[: len(EFFECTS)], profile.mean_vector[-len(LOSSES) :]
    return float(gap_mm + row @ effects - losses @ lost)


def _named_alike(run: Run, by: str) -> Run:
    """Return the run with that person named alike in all entries."""
    same = by.strip().casefold()
    fits = (replace(fit, by=by) if fit.by.casefold() == same else fit for fit in run.fits)
    return replace(run, fits=tuple(fits))


def _rows_left_out(profile: Profile, run: Run) -> list[str]:
    """Return the rows of this run that the profile was fitted without."""
    parts = [text.rpartition(":") for text in profile.without]
    return [row for name, _, row in parts if name in ("", run.folder.name)]


def _unlike(profile: Profile, run: Run) -> Iterator[Problem]:
    """Tell why a profile cannot be of this print."""
    where = str(run.folder)
    if profile.version != VERSION:
        todo = "Fit its runs again with `coupons fit`, then ask for the hand"
        yield Problem("profile", f"version {VERSION}", f"version {profile.version}", todo)
    for key in ("machine", "material"):
        wanted, got = getattr(profile, key), getattr(run.conditions, key)
        if wanted != got:
            yield Problem(where, f"{key} {wanted!r} as in the profile", repr(got))
    todo = "Try the print that the profile was fitted to, or fit this one"
    made = run.coupon.run
    if run.coupon.spec.name not in profile.coupons:
        expected = f"coupon {' or '.join(dict.fromkeys(profile.coupons))} as in the profile"
        yield Problem(where, expected, run.coupon.spec.name, todo)
    elif made is not None and profile.prints and made.id not in profile.prints:
        yield Problem(where, "a print that the profile was fitted to", "another one", todo)


def _not_enough(profile: Profile, run: Run, by: str) -> Iterator[Problem]:
    """Tell which trials are missing."""
    where = f"{run.folder.name}/entries.csv"
    count = sum(fit.by == by for fit in run.fits)
    if count < FEWEST_TRIALS:
        pairs = ", ".join(f"{t.mate} with {t.feature}" for t in trials_to_make(profile, run.coupon))
        todo = f"Have {by} try these pairs, one new row each with {by} in column by: {pairs}"
        yield Problem(where, f"at least {FEWEST_TRIALS} trials by {by}", str(count), todo)
    if count == len(run.fits) > 0:
        todo = "A hand is told from others' hands on the same pieces. Use `coupons fit` instead"
        yield Problem(where, f"trials by others than {by} too", "none", todo)
