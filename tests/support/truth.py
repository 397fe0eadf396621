"""True answers of a virtual machine, worked out from its numbers, as a reference for studies."""

import numpy as np
from scipy.optimize import brentq

from coupons.making.bodies.posts import PIN_FLAT
from coupons.measuring.virtual.machine import Machine
from coupons.measuring.virtual.person import CONTACT_MM, asked_more_mm
from coupons.measuring.virtual.printer import clearance_mm, mean_sizes, shapes_of_drawn
from coupons.terms import GRADES, Bed, Direction, Feature, Form, Grade, Joint

_FAR_MM = 2.0


def mean_size_mm(machine: Machine, feature: Feature) -> float:
    """Return the size that a feature gets on average, in mm, faces across z as drawn."""
    sizes = mean_sizes(machine, shapes_of_drawn([feature]), on_layers=False)
    return float(sizes.mean_mm[0])


def drawn_pair(
    joint: Joint, gap_mm: float, bed: Bed = Bed.NONE, flat: bool = False
) -> tuple[list[Feature], list[float]]:
    """Return the internal and the external part of a joint, and the heights of their middles.

    The external one is drawn at the joint's size, the internal one larger by the gap. ``bed`` says
    whose lower face is the first layer; the others stand clear of the bed. ``flat`` lets
    a lying pin stand on one, as those of a coupon do; a whole one has the steps of its lower side
    as well.
    """
    pair = [
        Feature(joint.internal, joint.size_mm + gap_mm, joint.direction),
        Feature(joint.external, joint.size_mm, joint.direction),
    ]
    return pair, [_middle_mm(part, bed.holds(part.form), flat) for part in pair]


def _middle_mm(part: Feature, on_bed: bool, flat: bool) -> float:
    """Return the height of a part's middle."""
    if flat and part.form is Form.PIN and part.direction is not Direction.Z:
        return PIN_FLAT * part.size_mm / 2
    return part.size_mm / 2 if on_bed else 1.0 + part.size_mm


def mean_clearance_mm(
    machine: Machine, joint: Joint, gap_mm: float, bed: Bed = Bed.NONE, flat: bool = False
) -> float:
    """Return the clearance that a joint has on average when it is drawn with a gap.

    See `drawn_pair`. Faces across z are taken where they are drawn, not rounded to layers.
    """
    shapes = shapes_of_drawn(*drawn_pair(joint, gap_mm, bed, flat))
    sizes = mean_sizes(machine, shapes, on_layers=False)
    internal, external = (sizes.of(np.array([part])) for part in (0, 1))
    return float(clearance_mm(internal, external)[0])


def threshold_mm(machine: Machine, grade: Grade, contact_mm: float = CONTACT_MM) -> float:
    """Return the clearance from which the person finds a grade over a length of contact."""
    more_mm = asked_more_mm(machine.person, np.array([contact_mm]), np.array([0]))
    return machine.person.thresholds_mm[GRADES.index(grade) - 1] + float(more_mm[0])


def threshold_gap_mm(
    machine: Machine,
    joint: Joint,
    grade: Grade,
    bed: Bed = Bed.NONE,
    contact_mm: float = CONTACT_MM,
    flat: bool = False,
) -> float:
    """Return the drawn gap at which the mean clearance reaches the person's threshold of a grade.

    There, but for lapses, half of the prints have that grade or a looser one. ``grade`` is any but
    no-go, which has no threshold.
    """
    wanted_mm = threshold_mm(machine, grade, contact_mm)

    def more_mm(gap_mm: float) -> float:
        return mean_clearance_mm(machine, joint, gap_mm, bed, flat) - wanted_mm

    return float(brentq(more_mm, wanted_mm - _FAR_MM, wanted_mm + _FAR_MM, xtol=1e-12))
