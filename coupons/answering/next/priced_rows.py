"""Rows with what they cost and what they tell, each worked out once."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from coupons.answering.next.row_information import Printers, information_roots
from coupons.making.bench_time import CHANGE_S, READING_S, seconds_of
from coupons.making.built_rows import BuiltRow, build_row
from coupons.making.estimate import LAYER_S, START_S, body_volume_mm3, flow_mm3_s
from coupons.making.plan import PlacedBody, Plan, record
from coupons.making.record import Coupon
from coupons.making.spec.coupon_spec import Assumed, Spec
from coupons.making.spec.row_kinds import Row
from coupons.terms import Direction, Form

Array = NDArray[np.floating]

Reach = tuple[Form, Direction, float, float, bool]
"""Form, direction, smallest and largest size, and whether they are tried: of one row."""


@dataclass(frozen=True, eq=False)
class PricedRow:
    """A row, what it costs and what it tells.

    Parameters
    ----------
    row : Row
    print_s : float
        Seconds in which its plastic is laid down.
    height_mm : float
        Of its tallest body.
    trials, readings : int
    trials_s : float
        Seconds of its trials, with the changes of gauges.
    reaches : frozenset of Reach
        What it measures and tries.
    roots : ndarray of shape (n_printers, N_SHARED, r)
        Of its information; see `information_roots`.
    """

    row: Row
    print_s: float
    height_mm: float
    trials: int
    readings: int
    trials_s: float
    reaches: frozenset[Reach]
    roots: Array


class PriceList:
    """Prices rows for a machine and keeps what it has found.

    Parameters
    ----------
    assumed : Assumed
    speed_mm_s : float
    printers : Printers
        On which the rows' information is worked out.
    """

    def __init__(self, assumed: Assumed, speed_mm_s: float, printers: Printers) -> None:
        self.assumed, self.speed_mm_s, self.printers = assumed, speed_mm_s, printers
        self._found: dict[Row, PricedRow | None] = {}

    def __call__(self, row: Row) -> PricedRow | None:
        """Return a row with its price; None if it breaks a rule."""
        if row not in self._found:
            self._found[row] = self._price(row)
        return self._found[row]

    def _price(self, row: Row) -> PricedRow | None:
        built = build_row(row, "A", self.assumed, "row")
        if not isinstance(built, BuiltRow):
            return None
        coupon = _alone(row, built, self.assumed)
        volume = sum(body_volume_mm3(body.parts) for body in built.bodies)
        return PricedRow(
            row,
            print_s=volume / flow_mm3_s(self.assumed, self.speed_mm_s),
            height_mm=max(body.box[1][2] for body in built.bodies),
            trials=len(coupon.trials),
            readings=len(coupon.readings),
            trials_s=seconds_of(coupon.trials),
            reaches=_reaches(coupon),
            roots=information_roots(coupon, self.printers),
        )


def minutes_of(rows: Sequence[PricedRow], layer_height_mm: float) -> tuple[float, float]:
    """Return minutes of printing some rows on one plate, and of trying and measuring them."""
    if not rows:
        return 0.0, 0.0
    layers = ceil(round(max(row.height_mm for row in rows) / layer_height_mm, 6))
    print_s = START_S + layers * LAYER_S + sum(row.print_s for row in rows)
    readings = sum(row.readings for row in rows)
    bench_s = sum(row.trials_s for row in rows) + readings * READING_S + bool(readings) * CHANGE_S
    return print_s / 60, bench_s / 60


def _alone(row: Row, built: BuiltRow, assumed: Assumed) -> Coupon:
    """Return the record of one row, its bodies not yet in their places."""
    spec = Spec.model_construct(title="row", name="row", digest="", rows=(row,), assumed=assumed)
    placed = tuple(PlacedBody(body, 1, (0.0, 0.0, 0.0)) for body in built.bodies)
    return record(Plan(spec, assumed, (built,), placed))


def _reaches(coupon: Coupon) -> frozenset[Reach]:
    tried = {one for trial in coupon.trials for one in (trial.feature, trial.mate)}
    sizes: dict[tuple[Form, Direction, bool], list[float]] = {}
    for feature in coupon.features:
        if feature.id in tried or any(r.feature == feature.id for r in coupon.readings):
            key = (feature.form, feature.direction, feature.id in tried)
            sizes.setdefault(key, []).append(feature.size_mm)
    return frozenset((f, d, min(mm), max(mm), t) for (f, d, t), mm in sizes.items())
