"""What a miss costs: too tight can often be filed, too loose is lost.

A miss on the tight side costs 1, one on the loose side ``loose_costs``. The gap with the least
expected cost is that with the largest chance of at least the fit, less the cost times the chance of
a looser one. With a cost of 1 that is the best chance of the fit itself.
"""

import math

from coupons.terms import Grade

LEAST_COST, MOST_COST = 0.01, 100.0


def odd_costs(loose_costs: float, fit: Grade | None, *, gap_is_set: bool) -> str:
    """Say why a joint cannot be asked with this cost of too loose; empty if it can.

    Parameters
    ----------
    loose_costs : float
        Of a joint that is too loose; one that is too tight costs 1.
    fit : Grade or None
        The wanted fit; None for a gap in mm or a standard hole.
    gap_is_set : bool
        Something else than the best chance sets the gap: a chance at least, or a gap in mm.

    Examples
    --------
    >>> odd_costs(-3, Grade.SLIDE, gap_is_set=False)
    'The cost of too loose must be 0.01 to 100 times that of too tight, not -3.'
    """
    if not (math.isfinite(loose_costs) and LEAST_COST <= loose_costs <= MOST_COST):
        return (
            f"The cost of too loose must be {LEAST_COST:g} to {MOST_COST:g} times that of too "
            f"tight, not {loose_costs:g}."
        )
    if loose_costs == 1:
        return ""
    if fit is None or gap_is_set:
        return (
            "Costs choose the gap of a fit: leave out the chance at least, or the gap, or the cost."
        )
    if fit is Grade.LOOSE:
        return "Nothing is too loose for a loose fit: leave out what too loose costs."
    return ""
