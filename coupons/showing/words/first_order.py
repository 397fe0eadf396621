"""The best fixed order of a coupon in words, for whoever has no page that chooses."""

from coupons.answering.next.guide import Ahead, Guide, enough_after
from coupons.making.record import Coupon, CouponTrial
from coupons.showing.words.steps import read_title, try_title

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
    features = {feature.id: feature for feature in coupon.features}
    titles = []
    for number in order.numbers[: enough_after(guide, order)]:
        task = guide.tasks[number]
        if isinstance(task, CouponTrial):
            titles.append(try_title(features[task.feature], task))
        else:
            titles.append(read_title(task))
    return tuple(titles)
