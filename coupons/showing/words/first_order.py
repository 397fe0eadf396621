"""The best fixed order of a coupon, for whoever has no page that chooses from entry to entry."""

from coupons.answering.next.guide import Ahead, Guide, enough_after, fixed_order

LONGEST_ORDER = 40
"""So many steps are put in order; who does more goes by the list."""


def best_order(guide: Guide) -> Ahead:
    """Return the best fixed order of a coupon's first tasks."""
    return fixed_order(guide, count=LONGEST_ORDER)


def first_numbers(guide: Guide, order: Ahead) -> tuple[int, ...]:
    """Return the numbers of the tasks up to where it is enough, in their order."""
    return order.numbers[: enough_after(guide, order)]
