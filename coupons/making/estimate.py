"""What a plan costs: plastic, time and bed, by a simple model that is stated in full.

Time: the plastic, counted solid (walls this thin have almost no infill), laid down in lines of
one width and height at one speed, of which a share is lost to travel, corners and cooling, plus a
few seconds a layer and the start of each plate. The speed is the one of the run's conditions. A
slicer knows its machine better.
"""

import math
from dataclasses import dataclass

from coupons.making.plan import Plan
from coupons.making.proportions import DEFAULT_SPEED_MM_S, line_width_mm
from coupons.making.shapes import Part

PRINTING_SHARE = 0.8  # of the time that the nozzle lays plastic down (common practice, no source)
LAYER_S = 1.5  # a layer: lift, travel, retract
START_S = 120.0  # a plate: heat-up is not counted, purge and first moves are
DENSITY_G_CM3 = 1.24  # a common stiff thermoplastic


PRINT_ADVICE = (
    "Print every piece as it lies in the file: no turning, scaling, or supports.",
    "Place the seam away from fit faces: at the rear corner, not at random.",
    "Leave hole compensation, size compensation and first-layer shrinking off, or as you will "
    "always print: the coupon measures what is left.",
    "Four walls and 100 % infill, so that every piece is solid: walls and rules are as thick as "
    "solid plastic asks, and hollow ones bend under a hand or a caliper.",
    "The layer height given here, your usual speed and cooling; no brim on fit faces.",
    "Let the bed cool before taking pieces off. Keep the orientation: the cut corner was nearest "
    "the bed's origin.",
    "Break the first layer's burr with a knife where no lead-in does it; do not sand fit faces.",
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
        f"solid plastic in one-nozzle-wide lines at {speed_mm_s:g} mm/s, "
        f"{1 - PRINTING_SHARE:.0%} lost to travel, {LAYER_S:g} s a layer, {START_S / 60:g} min a "
        f"plate; grams at {DENSITY_G_CM3:g} g/cm³"
    )


def estimate(plan: Plan, speed_mm_s: float = DEFAULT_SPEED_MM_S) -> Estimate:
    """Return what a plan costs to print at a speed, without building it."""
    volume = sum(body_volume_mm3(item.body.parts) for item in plan.placed)
    seconds = volume / _flow_mm3_s(plan, speed_mm_s) + plan.plates * START_S
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


def _flow_mm3_s(plan: Plan, speed_mm_s: float) -> float:
    line = line_width_mm(plan.assumed.nozzle_mm) * plan.assumed.layer_height_mm
    return line * speed_mm_s * PRINTING_SHARE


def _bed_share(plan: Plan, plate: int) -> float:
    covers = [item.cover() for item in plan.on(plate)]
    wide = max(high[0] for _, high in covers) - min(low[0] for low, _ in covers)
    deep = max(high[1] for _, high in covers) - min(low[1] for low, _ in covers)
    bed_x, bed_y = plan.assumed.bed_mm
    return round(wide * deep / (bed_x * bed_y), 3)
