"""The best fixed order of a coupon in words, for whoever has no page that chooses."""

from coupons.answering.next.guide import Ahead, Guide, enough_after
from coupons.making.record import Coupon
from coupons.showing.words.steps import title_of

LONGEST_ORDER = 40
"""So many steps are put in order; who does more goes by the list."""


def first_steps(coupon: Coupon, guide: Guide, order: Ahead) -> tuple[str, ...]:
    """Return the title of each step of an order, up to where it is enough.

    Parameters
    ----------
    coupon : Coupon
    guide : Guide
        Of this coupon.
    order : Ahead
        See `coupons.answering.next.guide.fixed_order`.
    """
    numbers = order.numbers[: enough_after(guide, order)]
    return tuple(title_of(coupon, guide.tasks[number]) for number in numbers)
