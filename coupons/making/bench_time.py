"""A person's time at the bench: how long trials and caliper readings take, by one simple model.

Each trial and each reading takes its seconds, and so does every change of what is in the hand: of
one gauge for another, or for the caliper. Whoever goes on with the same gauge saves that change.
The seconds are ours, from memory of such work; no source. They are meant for comparing ways to
spend an hour, and hold for a person who has done it before.
"""

from collections.abc import Iterable, Sequence

from coupons.making.record import Coupon, CouponReading, CouponTrial

TRIAL_S = 10.0
"""Find the feature, try the gauge in it, judge it and note the grade."""
READING_S = 15.0
"""Find the feature, close the jaws on it, read and type the number."""
CHANGE_S = 8.0
"""Put down what is in the hand and take up another gauge, or the caliper."""
CALIPER = "caliper"
"""What the hand holds for every reading."""


def in_hand(task: CouponTrial | CouponReading) -> str:
    """Return what the hand holds: the id of the mate, or `CALIPER`."""
    return task.mate if isinstance(task, CouponTrial) else CALIPER


def task_seconds(held: str | None, needed: str) -> float:
    """Return the seconds of one trial or reading, with the change of what is in the hand.

    Parameters
    ----------
    held : str, optional
        What the hand holds before; nothing at the start.
    needed : str
        What it has to hold; see `in_hand`.

    Examples
    --------
    >>> task_seconds("AG1", "AG1"), task_seconds("AG1", "AG2"), task_seconds(None, CALIPER)
    (10.0, 18.0, 23.0)
    """
    own_s = READING_S if needed == CALIPER else TRIAL_S
    return own_s + (CHANGE_S if needed != held else 0.0)


def seconds_of(tasks: Iterable[CouponTrial | CouponReading]) -> float:
    """Return the seconds of trials and readings done one after the other, in this order."""
    total_s, held = 0.0, None
    for task in tasks:
        needed = in_hand(task)
        total_s += task_seconds(held, needed)
        held = needed
    return total_s


def coupon_seconds(coupon: Coupon) -> float:
    """Return the seconds of everything that a coupon asks for, one gauge after the other."""
    by_mate: Sequence[CouponTrial] = sorted(coupon.trials, key=lambda trial: trial.mate)
    return seconds_of([*by_mate, *coupon.readings])
