"""Questions about the print that the entry page asks once."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias, get_args

from coupons.measuring.run.about import limits
from coupons.measuring.run.conditions import WallOrder


@dataclass(frozen=True)
class AboutQuestion:
    """One question.

    Parameters
    ----------
    key : str
        What the answer is about, as in `coupons.measuring.run.about`.
    label, hint : str
        The question, and an example or what its sign means.
    kind : {"date", "number", "choice", "text"}
    none : str
        The answer for a slicer that makes no corrections; empty if there is no such answer.
    """

    key: str
    label: str
    hint: str = ""
    kind: str = "number"
    none: str = ""


NAMES = (
    AboutQuestion("machine", "Machine", "your name for it", "text"),
    AboutQuestion("material", "Material", "with its colour, if you have several", "text"),
)
PRINT = (
    AboutQuestion("printed_on", "Printed on", kind="date"),
    AboutQuestion("first_layer_height_mm", "Height of the first layer, mm", "0.2"),
)
CALIPER = (
    AboutQuestion("resolution_mm", "Smallest step of the caliper, mm", "0.01"),
    AboutQuestion("jaw_land_mm", "Flat on its inside jaws, mm", "0 if they are sharp"),
)
SLICING = (
    AboutQuestion("outlines_mm", "Outlines moved, mm per face", "+ out, − in", none="0"),
    AboutQuestion("holes_mm", "Holes widened, mm on the diameter", "0", none="0"),
    AboutQuestion("first_layer_mm", "First layer narrowed, mm per face", "0", none="0"),
    AboutQuestion("wall_order", "Wall order", kind="choice"),
    AboutQuestion("flow_percent", "Flow, %", "100"),
)
WALL_ORDERS: tuple[str, ...] = get_args(WallOrder)


Questions: TypeAlias = tuple[tuple[str, tuple[AboutQuestion, ...]], ...]


def questions(
    machine: str, material: str, *, caliper: Sequence[AboutQuestion] = CALIPER
) -> Questions:
    """Return the questions under their heads; names that are known are not asked.

    ``caliper`` is what is asked of it. Who measures is asked there too, and always.
    """
    known = {"machine": machine, "material": material}
    names = tuple(asked for asked in NAMES if not known[asked.key])
    return (
        ("The print", (*names, *PRINT)),
        ("The caliper", tuple(caliper)) if caliper else ("Who measures", ()),
        ("Corrections by the slicer", SLICING),
    )


def asked_record(asked: AboutQuestion) -> dict[str, Any]:
    """Return what the page's script needs to know of a question."""
    return {"key": asked.key, "label": asked.label, "kind": asked.kind, **limits(asked.key)}
