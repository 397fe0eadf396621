"""Plan a coupon from its spec: build every body, check it, and place it on a plate."""

from collections.abc import Sequence
from dataclasses import dataclass

from pydantic import ValidationError

from coupons.errors import PlanError, Problem
from coupons.making.bodies.built_bodies import Bar, BuiltBody, Sized, own_direction, turned
from coupons.making.bodies.lettering import Point
from coupons.making.bodies.proportions import BED_MARGIN_MM, BODY_SPACE_MM, room_on
from coupons.making.bodies.shapes import Vector
from coupons.making.bodies.stiffness import BarSection
from coupons.making.built_rows import BuiltRow, build_row
from coupons.making.packing import arrange
from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponBar,
    CouponBody,
    CouponFeature,
    CouponReading,
    CouponSection,
    CouponSpecRef,
)
from coupons.making.spec.coupon_spec import Assumed, Spec
from coupons.making.spec.settle import rounded
from coupons.making.spec.spec_problems import problems_of

MOST_FEATURES = 2_500
"""More than these nobody prints and tries; they would take gigabytes to build."""


@dataclass(frozen=True)
class PlacedBody:
    """A body on its plate: turned about its own origin, then moved."""

    body: BuiltBody
    plate: int
    shift_mm: Vector

    def on_plate(self, point: Vector) -> Vector:
        """Return a point of the body's own frame as it lies on the plate."""
        x, y = turned(point[0], point[1], self.body.turn_deg)
        dx, dy, dz = self.shift_mm
        return (round(x + dx, 6), round(y + dy, 6), round(point[2] + dz, 6))

    def cover(self) -> tuple[Point, Point]:
        """Return the low and high corner of the box that the body covers on the plate."""
        (x0, y0), (x1, y1) = self.body.cover()
        dx, dy, _ = self.shift_mm
        return (x0 + dx, y0 + dy), (x1 + dx, y1 + dy)


@dataclass(frozen=True)
class Plan:
    """A coupon ready to be built: placed bodies, trials in the order of trying, hardware."""

    spec: Spec
    assumed: Assumed
    rows: tuple[BuiltRow, ...]
    placed: tuple[PlacedBody, ...]

    @property
    def plates(self) -> int:
        """How many plates the bodies take."""
        return max(item.plate for item in self.placed)

    def on(self, plate: int) -> tuple[PlacedBody, ...]:
        """Return the bodies of one plate."""
        return tuple(item for item in self.placed if item.plate == plate)

    def rounded_rows(self) -> tuple[str, ...]:
        """Return the letters of rows with heights or gaps that were moved to whole layers."""
        rows = zip(self.spec.row_ids(), self.spec.rows, strict=True)
        return tuple(letter for letter, row in rows if rounded(row, self.assumed))


def plan_coupon(
    spec: Spec,
    bed_mm: tuple[float, float] | None = None,
    layer_height_mm: float | None = None,
    nozzle_mm: float | None = None,
    job: int = 1,
) -> Plan:
    """Lay a spec out for a machine; values not given are those of the spec.

    Parameters
    ----------
    spec : Spec
    bed_mm : (float, float), optional
    layer_height_mm, nozzle_mm : float, optional
    job : int
        Which of several print jobs, from 1, where the spec has rows that take turns.

    Raises
    ------
    PlanError
        With every rule that the geometry breaks, or every body that the bed cannot hold.
    """
    spec = spec.of_job(job)
    given = {"bed_mm": bed_mm, "layer_height_mm": layer_height_mm, "nozzle_mm": nozzle_mm}
    assumed = _assumed(spec, {key: value for key, value in given.items() if value is not None})
    built: list[BuiltRow] = []
    problems: list[Problem] = []
    for number, (letter, row) in enumerate(zip(spec.row_ids(), spec.rows, strict=True), start=1):
        found = build_row(row, letter, assumed, f"{spec.name} row {number} ({letter})")
        if isinstance(found, BuiltRow):
            built.append(found)
            _refuse_too_many(spec, built)  # before the other rows take their time
        else:
            problems += found
    if problems:
        raise PlanError(problems)
    bodies = [body for row in built for body in row.bodies]
    return Plan(spec, assumed, tuple(built), _place(bodies, assumed.bed_mm))


def _refuse_too_many(spec: Spec, built: Sequence[BuiltRow]) -> None:
    if sum(len(body.features) for row in built for body in row.bodies) > MOST_FEATURES:
        todo = "Leave out rows or gaps, or make several coupons"
        expected = f"at most {MOST_FEATURES:,} features"
        raise PlanError([Problem(spec.name, expected, "more", todo)])


def _assumed(spec: Spec, given: dict[str, object]) -> Assumed:
    try:
        return Assumed.model_validate({**spec.assumed.model_dump(), **given})
    except ValidationError as error:
        raise PlanError(problems_of("machine", error.errors())) from None


def _place(bodies: list[BuiltBody], bed_mm: tuple[float, float]) -> tuple[PlacedBody, ...]:
    """Arrange the bodies on plates and centre them on the bed."""
    covers = [body.cover() for body in bodies]
    sizes = [(high[0] - low[0], high[1] - low[1]) for low, high in covers]
    room = room_on(bed_mm)
    problems = [
        _too_big(body, size, room)
        for body, size in zip(bodies, sizes, strict=True)
        if size[0] > room[0] or size[1] > room[1]
    ]
    if problems:
        raise PlanError(problems)
    spots = arrange(sizes, room, BODY_SPACE_MM, last=[body.loose for body in bodies])
    used = {
        plate: tuple(
            max(
                (s.x_mm, s.y_mm)[k] + size[k]
                for s, size in zip(spots, sizes, strict=True)
                if s.plate == plate
            )
            for k in (0, 1)
        )
        for plate in {spot.plate for spot in spots}
    }
    placed = []
    for body, (low, _), spot in zip(bodies, covers, spots, strict=True):
        free = [(bed_mm[k] - used[spot.plate][k]) / 2 for k in (0, 1)]
        x, y = free[0] + spot.x_mm - low[0], free[1] + spot.y_mm - low[1]
        placed.append(PlacedBody(body, spot.plate, (round(x, 3), round(y, 3), 0.0)))
    return tuple(placed)


def _too_big(body: BuiltBody, size: tuple[float, float], room: tuple[float, float]) -> Problem:
    over = ", ".join(
        f"{have - room_k:.1f} mm too long along {axis}"
        for axis, have, room_k in zip("xy", size, room, strict=True)
        if have > room_k
    )
    return Problem(
        f"body {body.id}",
        f"at most {room[0]:g} × {room[1]:g} mm (the bed less {BED_MARGIN_MM:g} mm all round)",
        f"{size[0]:.1f} × {size[1]:.1f} mm: {over}",
        "Use fewer gaps or sizes in that row, or a larger bed",
    )


def record(plan: Plan) -> Coupon:
    """Return what `coupon.json` will hold."""
    return Coupon(
        spec=CouponSpecRef(name=plan.spec.name, title=plan.spec.title, digest=plan.spec.digest),
        assumed=CouponAssumed(**plan.assumed.model_dump()),
        bodies=tuple(_body_record(item) for item in plan.placed),
        features=tuple(
            _feature_record(item, feature) for item in plan.placed for feature in item.body.features
        ),
        hardware=tuple(ware for row in plan.rows for ware in row.hardware),
        bars=tuple(_bar_record(item, item.body.bar) for item in plan.placed if item.body.bar),
        trials=tuple(trial for row in plan.rows for trial in row.trials),
        holds=tuple(hold for row in plan.rows for hold in row.holds),
        readings=tuple(
            CouponReading(feature=feature.id, jaws=jaws, along=along)
            for item in plan.placed
            for feature in item.body.features
            for jaws, along in feature.readings
        ),
    )


def _body_record(item: PlacedBody) -> CouponBody:
    (low, high), height = item.cover(), item.body.box[1][2]
    return CouponBody(
        id=item.body.id,
        plate=item.plate,
        origin_mm=(round(low[0], 4), round(low[1], 4), 0.0),
        extent_mm=(round(high[0] - low[0], 4), round(high[1] - low[1], 4), round(height, 4)),
    )


def _bar_record(item: PlacedBody, bar: Bar) -> CouponBar:
    return CouponBar(
        body=item.body.id,
        direction=own_direction(item.body.turn_deg, "x"),
        at_notch=_section_record(item, bar.at_notch),
        at_block=_section_record(item, bar.at_block),
    )


def _section_record(item: PlacedBody, section: BarSection) -> CouponSection:
    across, up = section.middle_mm
    x, y, z = item.on_plate((0.0, across, up))
    yy, zz, yz = section.second_mm4
    return CouponSection(
        area_mm2=round(section.area_mm2, 4),
        middle_mm=(round(x, 4), round(y, 4), round(z, 4)),
        second_mm4=(round(yy, 3), round(zz, 3), round(yz, 3)),
    )


def _feature_record(item: PlacedBody, feature: Sized) -> CouponFeature:
    x, y, z = item.on_plate(feature.centre)
    return CouponFeature(
        id=feature.id,
        form=feature.form,
        direction=feature.direction,
        size_mm=feature.size_mm,
        role=feature.role,
        row=feature.row,
        body=item.body.id,
        plate=item.plate,
        place_mm=(round(x, 4), round(y, 4), round(z, 4)),
        at_bed=feature.at_bed,
        seam=feature.seam,
        on_bed=feature.on_bed,
    )
