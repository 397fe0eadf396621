"""What the entry page's guide works from: the arrays of the guide, as short as they can be."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupons.answering.next.guide import ENOUGH, MORE, Ahead, Guide, enough_after
from coupons.learning.effects import TERMS, THRESHOLDS
from coupons.learning.posterior.latent import AT_THRESHOLDS
from coupons.making.bench_time import CHANGE_S, READING_S, TRIAL_S

_DIGITS = 7


def guide_record(guide: Guide, order: Ahead) -> dict[str, Any]:
    """Return a guide as the entry page's script reads it.

    Parameters
    ----------
    guide : Guide
    order : Ahead
        The best fixed order.

    Returns
    -------
    dict
        Rows are sparse: place, weight, place, weight … The covariance of the terms is its lower
        triangle; all other latent values are independent, with ``variances``, and a
        mean of 0 but for those in ``others`` (place, mean).
    """
    terms, noise, start = len(TERMS), guide.noise, guide.start
    return {
        "n": len(start.mean),
        "mean": _short(start.mean[:terms]),
        "others": _sparse(np.where(np.arange(len(start.mean)) < terms, 0.0, start.mean)),
        "covariance": [_short(start.covariance[k, : k + 1]) for k in range(terms)],
        "variances": _short(np.diag(start.covariance)[terms:]),
        "thresholds": AT_THRESHOLDS.start,
        "trials": guide.n_trials,
        "rows": [_sparse(row) for row in guide.rows],
        "drawn": _short(guide.drawn_mm),
        "wants": [
            {
                "choices": want.choices,
                "name": want.name,
                "grade": want.grade or "",
                "from": THRESHOLDS.index(want.grade) if want.grade else -1,
                "row": _sparse(row),
                "prints": _rounded(prints),
                "alone": _rounded(alone),
            }
            for want, row, prints, alone in zip(
                guide.wants, guide.wanted, guide.prints_mm2, guide.alone_mm2, strict=True
            )
        ],
        "lapse": noise.lapse,
        "judged": _rounded(noise.judged_mm2),
        "hand": _rounded(guide.hand_mm2),
        "read": _short(noise.read_mm2),
        "shares": _short(noise.read_shares),
        "expected": _rounded(noise.read_expected_mm2),
        "seconds": {"trial": TRIAL_S, "reading": READING_S, "change": CHANGE_S},
        "more": MORE,
        "enough": ENOUGH,
        "order": list(order.numbers),
        "stop": enough_after(guide, order),
    }


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")


def _short(values: NDArray[np.floating]) -> list[float]:
    return [_rounded(float(value)) for value in values]


def _sparse(row: NDArray[np.floating]) -> list[float]:
    """Return place and weight of each value that is not 0, one after the other."""
    pairs = [(int(place), _rounded(float(row[place]))) for place in np.flatnonzero(row)]
    return [number for pair in pairs for number in pair]
