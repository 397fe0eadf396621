"""A rule of blocks on a bare strip, which bends under a caliper's jaws."""

from support.small_coupon import feature

from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponBar,
    CouponReading,
    CouponSection,
    CouponSpecRef,
)


def section(area_mm2, across_mm4, up_mm4, up_mm):
    middle = (0.0, 7.5, up_mm)
    return CouponSection(area_mm2=area_mm2, middle_mm=middle, second_mm4=(across_mm4, up_mm4, 0.0))


def bare_strip():
    """Blocks 4 × 4 mm on a strip of 10 × 1.4 mm: as rules were once made."""
    spans = (
        feature("F1", "tongue", "x", 10.0, role="span", place_mm=(5.0, 7.5, 3.4)),
        feature("F2", "slot", "x", 60.0, role="span", place_mm=(40.0, 7.5, 3.4)),
        feature("F3", "tongue", "x", 12.0, role="span", place_mm=(76.0, 7.5, 3.4)),
        feature("FW", "tongue", "x", 82.0, role="span", place_mm=(41.0, 7.5, 3.4)),
    )
    thin = section(14.0, 116.7, 10 * 1.4**3 / 12, 0.7)
    thick = section(30.0, 150.0, 80.0, 2.1)
    bar = CouponBar(body="body", direction="x", at_notch=thin, at_block=thick)
    return Coupon(
        spec=CouponSpecRef(name="strip", title="A strip", digest="0"),
        assumed=CouponAssumed(bed_mm=(180, 180), layer_height_mm=0.2, nozzle_mm=0.4),
        bodies=(),
        features=spans,
        bars=(bar,),
        trials=(),
        readings=tuple(
            CouponReading(feature=span.id, jaws="inside" if span.form == "slot" else "outside")
            for span in spans
        ),
    )
