"""Plastic, print time and bed use of a plan, by a simple model that is stated in full.

Time: the plastic, counted solid (walls this thin have almost no infill), laid down in lines of
one width and height at one speed, of which a share is lost to travel, corners and cooling, plus a
few seconds a layer and the start of each plate. The speed is the one of the run's conditions. A
slicer knows its machine better.
"""

import math
from dataclasses import dataclass

from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S, line_width_mm
from coupons.making.bodies.shapes import Part
from coupons.making.plan import Plan
from coupons.making.spec.coupon_spec import Assumed

PRINTING_SHARE = 0.8  # of the time that the nozzle lays plastic down (common practice, no source)
LAYER_S = 1.5  # a layer: lift, travel, retract
START_S = 120.0  # a plate: heat-up is not counted, purge and first moves are
DENSITY_G_CM3 = 1.24  # a common stiff thermoplastic


PRINT_ADVICE = (
    "Print every piece as it lies in the file: no turning, scaling or supports.",
    "Place the seam away from fit faces: at the rear corner, not at random.",
    "Turn off the slicer's corrections of holes, outlines and first layer, or set them as you "
    "always print: the coupon measures what is left.",
    "Use four walls and 100 % infill: every piece must be solid. Hollow walls and rules bend under "
    "the hand or the caliper.",
    "Use the layer height of the coupon and your usual speed and cooling; no brim on fit faces.",
    "Let the bed cool before you take pieces off. The cut corner marks the corner that was nearest "
    "the bed's origin.",
    "Cut the first layer's burr off with a knife where there is no chamfer; do not sand fit faces.",
)


@dataclass(frozen=True)
class Estimate:
    """Cost of a plan. ``bed_share`` is the box around the fullest plate over its bed's area."""

    plastic_cm3: float
    grams: float
    minutes: float
    plates: int
    bodies: int
    loose: int
    features: int
    trials: int
    bed_share: float


def model_words(speed_mm_s: float = DEFAULT_SPEED_MM_S) -> str:
    """Return the model that time and grams come from, in words."""
    return (
        f"solid plastic at {speed_mm_s:g} mm/s, {100 * (1 - PRINTING_SHARE):.0f} % of the "
        f"time lost to travel, {LAYER_S:g} s per layer, {START_S / 60:g} min per plate; "
        f"{DENSITY_G_CM3:g} g/cm³"
    )


def estimate(plan: Plan, speed_mm_s: float = DEFAULT_SPEED_MM_S) -> Estimate:
    """Estimate plastic, time and bed use of a plan at a printing speed, without building it."""
    volume = sum(body_volume_mm3(item.body.parts) for item in plan.placed)
    seconds = volume / flow_mm3_s(plan.assumed, speed_mm_s) + plan.plates * START_S
    for plate in range(1, plan.plates + 1):
        height = max(item.body.box[1][2] for item in plan.on(plate))
        seconds += math.ceil(height / plan.assumed.layer_height_mm) * LAYER_S
    bodies = [item.body for item in plan.placed]
    return Estimate(
        plastic_cm3=round(volume / 1000, 1),
        grams=round(volume / 1000 * DENSITY_G_CM3, 1),
        minutes=round(seconds / 60, 1),
        plates=plan.plates,
        bodies=len(bodies),
        loose=sum(body.loose for body in bodies),
        features=sum(len(body.features) for body in bodies),
        trials=sum(len(row.trials) for row in plan.rows),
        bed_share=max(_bed_share(plan, plate) for plate in range(1, plan.plates + 1)),
    )


def body_volume_mm3(parts: tuple[Part, ...]) -> float:
    """Return the volume of a body as the signed sum of its parts, overlaps neglected."""
    return sum((-1 if part.cut else 1) * part.shape.volume_mm3() for part in parts)


def flow_mm3_s(assumed: Assumed, speed_mm_s: float) -> float:
    """Return the plastic laid down in a second, time lost to travel included."""
    line = line_width_mm(assumed.nozzle_mm) * assumed.layer_height_mm
    return line * speed_mm_s * PRINTING_SHARE


def _bed_share(plan: Plan, plate: int) -> float:
    covers = [item.cover() for item in plan.on(plate)]
    wide = max(high[0] for _, high in covers) - min(low[0] for low, _ in covers)
    deep = max(high[1] for _, high in covers) - min(low[1] for low, _ in covers)
    bed_x, bed_y = plan.assumed.bed_mm
    return round(wide * deep / (bed_x * bed_y), 3)
