"""A coupon made by hand: small enough to see whole, with every form and direction."""

from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponFeature,
    CouponHardware,
    CouponReading,
    CouponSpecRef,
    CouponTrial,
)
from coupons.terms import Direction, Form, Jaws

SLOTS_MM = (11.8, 12.0, 12.2, 12.4)
HOLES_MM = (5.9, 6.1, 6.3)


def feature(id_, form, direction, size_mm, role="fit", place_mm=(0.0, 0.0, 3.0), **more):
    row = id_.rstrip("0123456789")
    return CouponFeature(
        id=id_,
        form=Form(form),
        direction=Direction(direction),
        size_mm=size_mm,
        role=role,
        row=row,
        body="body" if role in ("fit", "span", "swell") else id_,
        plate=1,
        place_mm=place_mm,
        **more,
    )


FEATURES = (
    *(
        feature(f"A{i}", "slot", "x", size, place_mm=(20.0 * i, 10.0, 3.0))
        for i, size in enumerate(SLOTS_MM, start=1)
    ),
    *(
        feature(f"B{i}", "hole", "z", size, place_mm=(15.0 * i, 40.0, 3.0))
        for i, size in enumerate(HOLES_MM, start=1)
    ),
    feature("C1", "tongue", "z", 4.0),
    feature("C2", "slot", "z", 4.0),
    feature("D1", "tongue", "x", 80.0, role="span"),
    feature("D2", "tongue", "y", 40.0, role="span"),
    feature("D3", "tongue", "x+y", 60.0, role="span"),
    feature("E1", "tongue", "x", 10.0, role="swell", at_bed=True),
    feature("F1", "hole", "x", 6.2),
    feature("G1", "tongue", "x", 12.0, role="gauge"),
    feature("G2", "tongue", "x", 12.0, role="gauge"),
    feature("H1", "pin", "z", 6.0, role="gauge"),
)
TRIALS = (
    *(
        CouponTrial(feature=f"A{i}", mate=mate, gap_mm=round(size - 12.0, 3))
        for i, size in enumerate(SLOTS_MM, start=1)
        for mate in ("G1", "G2")
    ),
    *(
        CouponTrial(feature=f"B{i}", mate="H1", gap_mm=round(size - 6.0, 3))
        for i, size in enumerate(HOLES_MM, start=1)
    ),
    CouponTrial(feature="B2", mate="dowel", gap_mm=0.1),
)
READINGS = (
    CouponReading(feature="A1", jaws=Jaws.INSIDE),
    CouponReading(feature="A2", jaws=Jaws.INSIDE),
    CouponReading(feature="A3", jaws=Jaws.INSIDE),
    CouponReading(feature="B1", jaws=Jaws.INSIDE, along="x"),
    CouponReading(feature="B1", jaws=Jaws.INSIDE, along="y"),
    CouponReading(feature="C1", jaws=Jaws.DEPTH),
    CouponReading(feature="D1", jaws=Jaws.OUTSIDE),
    CouponReading(feature="D2", jaws=Jaws.OUTSIDE),
    CouponReading(feature="G1", jaws=Jaws.OUTSIDE),
    CouponReading(feature="H1", jaws=Jaws.OUTSIDE),
)


def small_coupon(digest="d1", **changes):
    parts = {
        "spec": CouponSpecRef(name="small", title="Small coupon", digest=digest),
        "assumed": CouponAssumed(bed_mm=(180.0, 180.0), layer_height_mm=0.2, nozzle_mm=0.4),
        "bodies": (),
        "features": FEATURES,
        "hardware": (
            CouponHardware(id="dowel", name="8 mm dowel", form=Form.PIN, size_mm=6.0, sd_mm=0.003),
        ),
        "trials": TRIALS,
        "readings": READINGS,
    }
    return Coupon(**(parts | changes))
