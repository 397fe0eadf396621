"""The record of a part that exists already: its sizes as drawn, and nothing to print."""

from collections.abc import Sequence

from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponFeature,
    CouponPart,
    CouponReading,
    CouponSpecRef,
)
from coupons.making.spec.part_spec import PartSize, PartSpec

BODY = "part"


def part_record(
    spec: PartSpec, layer_height_mm: float | None = None, nozzle_mm: float | None = None
) -> Coupon:
    """Return the record of a part.

    Parameters
    ----------
    spec : PartSpec
    layer_height_mm, nozzle_mm : float, optional
        What it was printed with; as the spec says if not given.
    """
    printed = spec.printed
    return Coupon(
        spec=CouponSpecRef(name=spec.name, title=spec.title, digest=spec.digest),
        assumed=CouponAssumed(
            bed_mm=None,
            layer_height_mm=layer_height_mm or printed.layer_height_mm,
            nozzle_mm=nozzle_mm or printed.nozzle_mm,
        ),
        part=CouponPart(
            instrument=spec.instrument.name,
            resolution_mm=spec.instrument.resolution_mm,
            uncertainty_mm=spec.instrument.uncertainty_mm,
            jaw_land_mm=spec.instrument.jaw_land_mm,
            datums=_datums(spec.sizes),
        ),
        bodies=(),
        features=tuple(_feature(size) for size in spec.sizes),
        trials=(),
        readings=tuple(
            CouponReading(feature=size.name, jaws=size.jaws, along=along)
            for size in spec.sizes
            for along in size.along or (None,)
        ),
    )


def _datums(sizes: Sequence[PartSize]) -> dict[str, tuple[str, ...]]:
    """Return the names of the sizes from each face that is named as a datum."""
    faces: dict[str, list[str]] = {}
    for size in sizes:
        if size.datum is not None:
            faces.setdefault(size.datum, []).append(size.name)
    return {face: tuple(names) for face, names in faces.items()}


def _feature(size: PartSize) -> CouponFeature:
    return CouponFeature(
        id=size.name,
        form=size.form,
        direction=size.direction,
        size_mm=size.drawn_mm,
        role="span",
        row=f"{size.form}s, {size.direction}",
        body=BODY,
        plate=1,
        place_mm=None,
        at_bed=size.at_bed,
        on_bed=bool(size.on_bed),
    )
