"""Contacts that a third body stands in, such as two plates with a shim between them."""

import numpy as np

from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meshes.regions import SurfaceKind
from coupons.answering.meshes.strips import crosswise
from coupons.making.output.solids import common_outline

_SHARE = 0.5  # of a contact's area that the third body covers


def without_veiled(found: list[Contact]) -> list[Contact]:
    """Leave out flat contacts between whose faces a third body lies."""
    flat = [one for one in found if one.kind is SurfaceKind.PLANE]
    by_face: dict[tuple[int, int], list[Contact]] = {}
    for one in flat:
        for side in (0, 1):
            for region in one.regions[side]:
                by_face.setdefault((one.bodies[side], region.number), []).append(one)
    veiled = {id(one) for one in flat if one.gap_mm > 0 and _is_veiled(one, by_face)}
    return [one for one in found if id(one) not in veiled]


def _is_veiled(contact: Contact, by_face: dict[tuple[int, int], list[Contact]]) -> bool:
    """Tell whether both faces meet the same third body nearer than each other, over one place."""
    nearer: list[dict[int, list[Contact]]] = []
    for side in (0, 1):
        others: dict[int, list[Contact]] = {}
        for region in contact.regions[side]:
            for other in by_face[(contact.bodies[side], region.number)]:
                third = (set(other.bodies) - set(contact.bodies)) or {-1}
                if third != {-1} and other.gap_mm < contact.gap_mm:
                    others.setdefault(third.pop(), []).append(other)
        nearer.append(others)
    return any(
        all(_covers(contact, side[third]) for side in nearer)
        for third in nearer[0].keys() & nearer[1]
    )


def _covers(contact: Contact, others: list[Contact]) -> bool:
    frame = np.column_stack(crosswise(contact.normal))
    own = [line @ frame for line in contact.outlines_mm]
    shared = sum(
        common_outline(own, [line @ frame for line in other.outlines_mm])[1] for other in others
    )
    return shared >= _SHARE * contact.area_mm2
