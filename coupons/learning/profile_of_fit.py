"""The profile of a fit: its moments, rounded as in the file, and what was measured."""

import hashlib
import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from coupons.errors import Problem, ProfileError
from coupons.learning.effects import (
    SCATTERS,
    TERMS,
    THRESHOLDS,
    print_rows,
)
from coupons.learning.pair_contact import contacts_tried_mm
from coupons.learning.profile import Array, Counts, Hand, LogSpread, MeasuredRange, Profile
from coupons.measuring.run.conditions import Slicing
from coupons.measuring.run.differing import differences
from coupons.measuring.run.folder import Run, prints_of
from coupons.neutral import one_line
from coupons.reading import read_plain
from coupons.terms import Direction, Form

if TYPE_CHECKING:  # reading a profile needs no fit, and a fit takes long to import
    from coupons.learning.fit import Fitted

# Significant digits kept of means and of covariances: far below what matters.
_DIGITS, _COVARIANCE_DIGITS = 5, 4
_COVARIANCE_ROUNDING = 10.0**-_COVARIANCE_DIGITS
_NOISE = 1e-15


def profile_of(
    fitted: "Fitted",
    runs: Sequence[Run],
    without: Sequence[str] = (),
    entries_sha256: str | None = None,
) -> Profile:
    """Return the profile of a fit.

    Parameters
    ----------
    fitted : Fitted
    runs : sequence of Run
        What was fitted.
    without : sequence of str
        Rows that were left out, as `coupons.learning.without.leave_out` names them.
    entries_sha256 : str, optional
        See `entries_digest`; read from the folders of the runs if not given.

    Raises
    ------
    ProfileError
        If the runs are of different machines or materials, or some are rehearsed and some are not.
    """
    _check_alike(runs)
    last = max(runs, key=lambda run: run.conditions.printed_on or date.min).conditions
    sizes = fitted.design.sizes
    informing = sizes.runs_with(print_rows(sizes.effects, fitted.mixture.model.table))
    log_sds = {name: fitted.mixture.log_sd_moments(name) for name in SCATTERS}
    return Profile(
        machine=last.machine,
        material=last.material,
        nozzle_mm=last.nozzle_mm,
        layer_height_mm=last.layer_height_mm,
        printed_on=last.printed_on,
        rehearsed=any(run.conditions.rehearsed for run in runs),
        counts=Counts(
            runs=len(set(prints_of(runs))),
            by_print_effect=informing,
            hands=len(fitted.design.hands),
            sizes=len(fitted.design.sizes.drawn),
            readings=len(fitted.design.readings.value),
            trials=len(fitted.design.trials.internal),
        ),
        measured=_measured(runs),
        means={name: _short(value) for name, value in zip(TERMS, fitted.mean, strict=True)},
        covariance=_short_covariance(_for_people_at_large(fitted)),
        scatters=_log_spreads(log_sds),
        without=tuple(map(one_line, without)),
        first_layer_height_mm=last.first_layer_height_mm,
        slicing=last.slicing if last.slicing != Slicing() else None,
        differs_in=tuple(one.key for one in differences(runs)),
        contact_mm=contacts_tried_mm(runs),
        hand=_only_hand(fitted.design.hands, runs),
        prints=tuple(run.coupon.run.id for run in runs if run.coupon.run is not None),
        coupons=tuple(run.coupon.spec.name for run in runs),
        entries_sha256=entries_sha256 or entries_digest([run.sheet_path for run in runs]),
    )


def _only_hand(hands: Sequence[str], runs: Sequence[Run]) -> Hand | None:
    """Return the person who made all trials, if named; nobody made those of a rehearsal."""
    rehearsed = any(run.conditions.rehearsed for run in runs)
    return Hand(by=one_line(hands[0])) if len(hands) == 1 and hands[0] and not rehearsed else None


def _for_people_at_large(fitted: "Fitted") -> Array:
    """Return the covariance of the terms, for a hand that is none of those that tried.

    With several people thresholds are those of people at large. One more person's deviation from
    them moves all thresholds alike, at every joint. One person alone is taken to ask for himself.
    """
    if len(fitted.design.hands) < 2:
        return fitted.covariance
    first = TERMS.index(f"from_{THRESHOLDS[0]}")
    thresholds = slice(first, first + len(THRESHOLDS))
    covariance = fitted.covariance.copy()
    covariance[thresholds, thresholds] += fitted.mixture.model.table.hand.sd**2
    return covariance


def with_posterior(
    profile: Profile,
    mean: Array,
    covariance: Array,
    log_scatters: dict[str, tuple[float, float]],
    **others: Any,
) -> Profile:
    """Return a profile with another posterior, rounded as in a file.

    Parameters
    ----------
    profile : Profile
        Of today's version.
    mean : ndarray of shape (n_terms,)
    covariance : ndarray of shape (n_terms, n_terms)
    log_scatters : dict of str to (float, float)
        Mean and sd of the logarithm of every scatter.
    **others
        Fields to replace.
    """
    changed = profile.model_copy(
        update={
            "means": {name: _short(value) for name, value in zip(TERMS, mean, strict=True)},
            "covariance": _short_covariance(covariance),
            "scatters": _log_spreads(log_scatters),
            **others,
        }
    )
    # A copy keeps what was worked out from the old numbers; one read anew does not.
    return Profile.model_validate(changed.model_dump())


def _log_spreads(log_scatters: dict[str, tuple[float, float]]) -> dict[str, LogSpread]:
    return {
        name: LogSpread(median_mm=_short(math.exp(mean)), log_sd=_short(sd))
        for name, (mean, sd) in log_scatters.items()
    }


def _short(value: float, digits: int = _DIGITS) -> float:
    # Rounding noise of terms that have nothing to do with each other is written as what it is.
    return float(f"{value:.{digits}g}") if abs(value) > _NOISE else 0.0


def _short_covariance(covariance: Array) -> tuple[float, ...]:
    """Round the lower triangle of a covariance so that it stays one.

    Rounding can take more from a combination of terms than is known of it; as much is then added to
    the variances of all terms, in their own proportion.
    """
    sds = np.sqrt(np.diag(covariance))
    ratios = covariance / np.outer(sds, sds)
    lower = np.tril_indices(len(TERMS))
    more = 0.0
    while True:
        wider = (ratios + more * np.eye(len(TERMS))) * np.outer(sds, sds)
        rounded = [_short(value, _COVARIANCE_DIGITS) for value in wider[lower]]
        matrix = np.zeros((len(TERMS), len(TERMS)))
        matrix[lower] = rounded
        matrix += np.tril(matrix, -1).T
        least = np.linalg.eigvalsh(matrix / np.outer(sds, sds))[0]
        if least >= 0:
            return tuple(rounded)
        more += _COVARIANCE_ROUNDING


def _check_alike(runs: Sequence[Run]) -> None:
    first = runs[0].conditions
    problems = [
        Problem(str(run.folder), f"{key} {getattr(first, key)!r} as in {runs[0].folder}", repr(got))
        for run in runs[1:]
        for key in ("machine", "material")
        if (got := getattr(run.conditions, key)) != getattr(first, key)
    ]
    # A part that exists already cannot be rehearsed: it may stand beside a coupon that is.
    printed = [run for run in runs if run.parts is None and run.coupon.part is None]
    problems += [
        Problem(
            str(run.folder),
            f"{_made(printed[0])} as {printed[0].folder} is",
            _made(run),
            "Fit real and rehearsed runs apart",
        )
        for run in printed[1:]
        if run.conditions.rehearsed != printed[0].conditions.rehearsed
    ]
    if problems:
        raise ProfileError(problems)


def _made(run: Run) -> str:
    return "a rehearsal" if run.conditions.rehearsed else "a real print"


def _measured(runs: Sequence[Run]) -> tuple[MeasuredRange, ...]:
    read: dict[tuple[Form, Direction], list[float]] = {}
    tried: dict[tuple[Form, Direction], list[float]] = {}
    for run in runs:
        of_fits = {one for entry in run.fits for one in (entry.feature, entry.mate)}
        of_sizes = {entry.feature for entry in run.sizes}
        for f in run.coupon.features:
            for used, sizes in ((of_fits, tried), (of_sizes, read)):
                if f.id in used:
                    sizes.setdefault((f.form, f.direction), []).append(f.size_mm)
    return tuple(
        MeasuredRange(
            form=form,
            direction=direction,
            low_mm=min(found),
            high_mm=max(found),
            tried_mm=_ends(tried.get((form, direction))),
            read_mm=_ends(read.get((form, direction))),
        )
        for form, direction in sorted(read | tried)
        for found in (read.get((form, direction), []) + tried.get((form, direction), []),)
    )


def _ends(sizes_mm: list[float] | None) -> tuple[float, float] | None:
    return (min(sizes_mm), max(sizes_mm)) if sizes_mm else None


def entries_digest(sheets: Sequence[Path]) -> str:
    """Return the SHA-256 of the sheets of some runs, one after the other, in hexadecimal."""
    digest = hashlib.sha256()
    for path in sheets:
        digest.update(read_plain(path))
    return digest.hexdigest()
