"""Conditions that differ between the prints of several runs."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from coupons.measuring.run.conditions import Conditions
from coupons.measuring.run.folder import Run

Differing = Literal[
    "nozzle_mm",
    "layer_height_mm",
    "first_layer_height_mm",
    "nozzle_temp_c",
    "bed_temp_c",
    "speed_mm_s",
    "outlines_mm",
    "holes_mm",
    "first_layer_mm",
    "wall_order",
    "flow_percent",
]
"""The conditions that move sizes. Dates, calipers and hands are the model's own to tell apart."""

# What each is called, and its unit.
NAMES: dict[str, tuple[str, str]] = {
    "nozzle_mm": ("nozzle", "mm"),
    "layer_height_mm": ("layer height", "mm"),
    "first_layer_height_mm": ("height of the first layer", "mm"),
    "nozzle_temp_c": ("nozzle temperature", "°C"),
    "bed_temp_c": ("bed temperature", "°C"),
    "speed_mm_s": ("speed", "mm/s"),
    "outlines_mm": ("outlines moved by the slicer", "mm"),
    "holes_mm": ("holes widened by the slicer", "mm"),
    "first_layer_mm": ("first layer narrowed by the slicer", "mm"),
    "wall_order": ("wall order", ""),
    "flow_percent": ("flow", "%"),
}


@dataclass(frozen=True)
class Difference:
    """A condition that differs between runs: its value in each, None if not filled in."""

    key: Differing
    values: tuple[float | str | None, ...]


def value_of(conditions: Conditions, key: str) -> float | str | None:
    """Return a condition by its name, of the print or of the slicer."""
    within = conditions.slicing if hasattr(conditions.slicing, key) else conditions
    found: float | str | None = getattr(within, key)
    return found


def differences(runs: Sequence[Run]) -> tuple[Difference, ...]:
    """Return the conditions that differ between runs, as far as they are filled in."""
    found = []
    for key in get_args(Differing):
        values = tuple(value_of(run.conditions, key) for run in runs)
        if len(set(values) - {None}) > 1:
            found.append(Difference(key, values))
    return tuple(found)
