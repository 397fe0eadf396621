"""True answers of a virtual machine, worked out from its numbers, as a reference for studies."""

import numpy as np

from coupons.measuring.virtual.hands import CONTACT_MM, asked_more_mm
from coupons.measuring.virtual.machine import Machine
from coupons.measuring.virtual.printer import clearance_mm, mean_sizes, shapes_of_drawn
from coupons.terms import GRADES, Bed, Feature, Grade, Joint

# Each step leaves a tenth or less of the miss: clearance grows almost exactly as the gap does.
_STEPS = 30


def mean_size_mm(machine: Machine, feature: Feature) -> float:
    """Return the size that a feature gets on average, in mm, faces across z as drawn."""
    sizes = mean_sizes(machine, shapes_of_drawn([feature]), on_layers=False)
    return float(sizes.mean_mm[0])


def drawn_pair(
    joint: Joint, gap_mm: float, bed: Bed = Bed.NONE
) -> tuple[list[Feature], list[float]]:
    """Return the internal and the external part of a joint, and the heights of their middles.

    The external one is drawn at the joint's size, the internal one larger by the gap. ``bed`` says
    whose lower face is the first layer; the others stand clear of the bed.
    """
    pair = [
        Feature(joint.internal, joint.size_mm + gap_mm, joint.direction),
        Feature(joint.external, joint.size_mm, joint.direction),
    ]
    return pair, [
        part.size_mm / 2 if bed.holds(part.form) else 1.0 + joint.size_mm for part in pair
    ]


def mean_clearance_mm(machine: Machine, joint: Joint, gap_mm: float, bed: Bed = Bed.NONE) -> float:
    """Return the clearance that a joint has on average when it is drawn with a gap.

    See `drawn_pair`. Faces across z are taken where they are drawn, not rounded to layers.
    """
    sizes = mean_sizes(machine, shapes_of_drawn(*drawn_pair(joint, gap_mm, bed)), on_layers=False)
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
) -> float:
    """Return the drawn gap at which the mean clearance reaches the person's threshold of a grade.

    There, but for lapses, half of the prints have that grade or a looser one. ``grade`` is any but
    no-go, which has no threshold.
    """
    wanted_mm = threshold_mm(machine, grade, contact_mm)
    gap_mm = wanted_mm
    for _ in range(_STEPS):
        miss_mm = wanted_mm - mean_clearance_mm(machine, joint, gap_mm, bed)
        gap_mm += miss_mm
        if abs(miss_mm) < 1e-9:
            break
    return gap_mm
