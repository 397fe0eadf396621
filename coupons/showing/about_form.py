"""What the entry page asks once about the print, and the words that it asks it in."""

from dataclasses import dataclass
from typing import Any, get_args

from coupons.measuring.about import limits
from coupons.measuring.conditions import WallOrder


@dataclass(frozen=True)
class Asked:
    """One question.

    Parameters
    ----------
    key : str
        What the answer is about, as in `coupons.measuring.about`.
    label, hint : str
        The question, and an example or what its sign means.
    kind : {"date", "number", "choice", "text"}
    none : str
        The answer of a program that changes nothing by itself; empty if there is no such answer.
    """

    key: str
    label: str
    hint: str = ""
    kind: str = "number"
    none: str = ""


NAMES = (
    Asked("machine", "Machine", "the name you call it by", "text"),
    Asked("material", "Material", "with its colour, if you keep several", "text"),
)
PRINT = (
    Asked("printed_on", "Printed on", kind="date"),
    Asked("first_layer_height_mm", "Height of the first layer, mm", "like the rest or not"),
)
CALIPER = (
    Asked("resolution_mm", "Smallest step of the caliper, mm", "0.01"),
    Asked("jaw_land_mm", "Flat on its inside jaws, mm", "0 if they are sharp"),
)
SLICING = (
    Asked("outlines_mm", "moves each face of an outline by, mm", "+ out, − in", none="0"),
    Asked("holes_mm", "widens holes by, mm over both sides", "0", none="0"),
    Asked("first_layer_mm", "draws each face of the first layer in by, mm", "0", none="0"),
    Asked("wall_order", "lays the walls", kind="choice"),
    Asked("flow_percent", "lays plastic, % of what the line takes", "100"),
)
WALL_ORDERS: tuple[str, ...] = get_args(WallOrder)


def questions(machine: str, material: str) -> tuple[tuple[str, tuple[Asked, ...]], ...]:
    """Return the questions under their heads; names that are known are not asked."""
    known = {"machine": machine, "material": material}
    names = tuple(asked for asked in NAMES if not known[asked.key])
    return (
        ("The print", (*names, *PRINT)),
        ("The caliper", CALIPER),
        ("The slicing program by itself", SLICING),
    )


def asked_record(asked: Asked) -> dict[str, Any]:
    """Return what the page's script needs to know of a question."""
    return {"key": asked.key, "label": asked.label, "kind": asked.kind, **limits(asked.key)}
