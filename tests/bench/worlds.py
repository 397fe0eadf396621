"""Worlds that are not the model: virtual machines with one cause at a stated size, and questions.

A machine is drawn as `random_machine` does, then all that the model might lack is set to nothing:
the plain world. Each other world adds one cause to the same machines, by the same chance; the last
one leaves them as they were drawn.
"""

from dataclasses import dataclass, field

import numpy as np

from coupons.making.record import CouponSection
from coupons.measuring.virtual.machine import random_machine
from coupons.measuring.virtual.person import CONTACT_MM
from coupons.terms import Bed, Direction, Feature, Form, Joint

NOTHING = {
    "bead": {"seam_mm": 0.0},
    "axes": {"inner_shrink_less": 0.0, "wider_x_mm": 0.0, "wave_x_mm": 0.0, "wave_y_mm": 0.0},
    "scatter": {"print_alike_mm": 0.0, "print_scale": 0.0, "print_scale_z": 0.0}
    | {"print_sag_mm": 0.0, "print_z_mm": 0.03},
    "caliper": {"zero_mm": 0.0, "inside_mm": 0.0, "session_mm": 0.0, "session_inside_mm": 0.0},
    "person": {"contact_mm": 0.0, "others_mm": ()},
}
LONG_MM = 20.0


def changed(machine, tables):
    """Return a machine with single values of its tables changed."""
    return machine.model_copy(
        update={
            table: getattr(machine, table).model_copy(update=values)
            for table, values in tables.items()
        }
    )


@dataclass(frozen=True)
class World:
    """One cause: its size in words, and what it changes.

    ``strip`` puts the rules of the coupons on a bare strip; ``contact_mm`` is the length of the
    contact of the joints that are asked for. ``as_drawn`` sets nothing to nothing: the machine is
    what `random_machine` draws.
    """

    name: str
    size: str
    tables: dict = field(default_factory=dict)
    strip: bool = False
    contact_mm: float = CONTACT_MM
    as_drawn: bool = False


ONE_BY_ONE = (
    World(
        "growth by axis",
        "±0.02 mm a face, x against y",
        {"axes": {"wider_x_mm": 0.04}},
    ),
    World("slots shrink less", "0.2 %", {"axes": {"inner_shrink_less": 0.002}}),
    World(
        "two people",
        "the other ±0.03 mm, by turns; the first one tries the joint",
        {"person": {"others_mm": (0.03,)}},
    ),
    World(
        "scale by print",
        "0.019 mm in the plane and 0.08 mm along z per 100 mm",
        {"scatter": {"print_scale": 0.00019, "print_scale_z": 0.0008}},
    ),
    World("all sizes by print", "0.01 mm", {"scatter": {"print_alike_mm": 0.01}}),
    World("bed by print", "0.1 mm", {"scatter": {"print_z_mm": 0.1}}),
    World("roofs by print", "0.05 mm", {"scatter": {"print_sag_mm": 0.05}}),
    World("seams", "0.03 mm", {"bead": {"seam_mm": 0.03}}),
    World("waves", "0.01 mm across y alone", {"axes": {"wave_y_mm": 0.01}}),
    World("bending rules", "a bare strip of 10 × 1.2 mm", strip=True),
    World(
        "caliper zero",
        "0.01 mm by session, inside jaws 0.015 mm more",
        {"caliper": {"session_mm": 0.01, "session_inside_mm": 0.015}},
    ),
    World(
        "contact",
        "0.015 mm per e-fold; joints of 20 mm",
        {"person": {"contact_mm": 0.015}},
        contact_mm=LONG_MM,
    ),
)
PLAIN = World("plain", "none of these")


def _all_at_once():
    together = {}
    for world in ONE_BY_ONE:
        for table, values in world.tables.items():
            together[table] = together.get(table, {}) | values
    return together


ALL = World(
    "all together",
    "as above",
    _all_at_once(),
    strip=True,
    contact_mm=LONG_MM,
)
DRAWN = World("as drawn", "each value anywhere within its range", as_drawn=True)
WORLDS = (PLAIN, *ONE_BY_ONE, ALL, DRAWN)
# Of these the sign is drawn for each machine.
_SIGNED = ("wider_x_mm", "others_mm")


def machine_of(world, seed):
    """Draw the machine of a seed; it is the same in all worlds but for the world's cause."""
    rng = np.random.default_rng(seed)
    sign = int(rng.choice((-1, 1)))
    tables = {
        table: {key: _turned(key, value, sign) for key, value in values.items()}
        for table, values in world.tables.items()
    }
    machine = random_machine(rng)
    return machine if world.as_drawn else changed(changed(machine, NOTHING), tables)


def _turned(key, value, sign):
    if key not in _SIGNED:
        return value
    return tuple(sign * each for each in value) if isinstance(value, tuple) else sign * value


def on_bare_strip(coupon):
    """Return a coupon whose rules are blocks on a strip 10 mm wide and 1.2 mm high.

    Jaws at 5 N press one of 2,000 MPa short by about 0.3 %.
    """
    bars = []
    for bar in coupon.bars:
        x, y, _ = bar.at_notch.middle_mm
        wide, high = 10.0, 1.2
        across, up = high * wide**3 / 12, wide * high**3 / 12
        section = CouponSection(
            area_mm2=wide * high, middle_mm=(x, y, high / 2), second_mm4=(across, up, 0.0)
        )
        bars.append(bar.model_copy(update={"at_notch": section}))
    return coupon.model_copy(update={"bars": tuple(bars)})


@dataclass(frozen=True)
class Asked:
    """A sliding joint that is asked for, or a single size."""

    name: str
    joint: Joint | None = None
    bed: Bed = Bed.NONE
    feature: Feature | None = None


def _slot(name, size_mm, direction, bed=Bed.NONE):
    return Asked(name, Joint(Form.SLOT, Form.TONGUE, size_mm, direction), bed)


QUESTIONS = (
    _slot("slot x 8", 8.0, Direction.X),
    _slot("slot y 8", 8.0, Direction.Y),
    _slot("slot x 40", 40.0, Direction.X),
    Asked("hole 8", Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)),
    _slot("slot z 8", 8.0, Direction.Z),
    _slot("slot z 8, tongue on bed", 8.0, Direction.Z, Bed.EXTERNAL),
    Asked("size x 15", feature=Feature(Form.TONGUE, 15.0, Direction.X)),
    Asked("size y 15", feature=Feature(Form.TONGUE, 15.0, Direction.Y)),
)
