"""Over which length the pairs of a coupon bear on each other."""

from collections.abc import Sequence

import numpy as np

from coupons.making.record import Coupon
from coupons.measuring.run.folder import Run


def contacts_mm(coupon: Coupon) -> dict[str, float]:
    """Return over which length each feature or mate of a coupon bears on its counterpart.

    Those are left out of which the record does not say it.
    """
    return {
        id_: trial.contact_mm
        for trial in coupon.trials
        if trial.contact_mm is not None
        for id_ in (trial.feature, trial.mate)
    }


def contact_of_pair_mm(contacts: dict[str, float], *pair: str) -> float | None:
    """Return the length of the contact of two pieces, the shorter one's; None if not known."""
    return min((contacts[id_] for id_ in pair if id_ in contacts), default=None)


def contacts_tried_mm(runs: Sequence[Run]) -> tuple[float, float, float] | None:
    """Return the shortest, the usual (median) and the longest contact of all trials made.

    None where no record says it.
    """
    found = []
    for run in runs:
        contacts = contacts_mm(run.coupon)
        pairs = (contact_of_pair_mm(contacts, each.feature, each.mate) for each in run.fits)
        found += [length_mm for length_mm in pairs if length_mm is not None]
    return (min(found), float(np.median(found)), max(found)) if found else None
