"""Which contacts of two bodies belong together: opposite faces, flanks of a wedge, rounds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import ROUND, SurfaceKind, round_of
from coupons.answering.meshes.strips import crosswise

_LINE = 1e-4  # off one for the cosine of two directions that are the same
_NEVER = 1e6
_LEAST_SIZE_MM = 0.3
_WIDEST_OPEN = 170.0  # a cylinder that is not held over more can fall out sideways
_STEEPEST = np.radians(75.0)
_SLANTED = np.radians(0.5)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two opposite contacts of two bodies, or one round contact.

    Parameters
    ----------
    contacts : tuple of Contact
    external : int
        Which side of the contacts (0 or 1) is between the other's faces.
    way : ndarray of float, shape (3,)
        Unit direction across the faces; along the axis of a round one.
    sizes_mm : tuple of float
        Internal, external: over both faces, or the diameter across corners. Of a slanted pair and
        of a taper at the middle of the contact.
    gap_mm : float
        Over both sides; along the normals of a slanted pair and of a taper.
    slant_deg : float
        Angle of each face to the pull; 0 for a pair that is not slanted.
    pull : ndarray of float, shape (3,), or None
        Direction in which slanted flat faces are pulled apart; a taper is along its axis.
    """

    contacts: tuple[Contact, ...]
    external: int
    way: Floats
    sizes_mm: tuple[float, float]
    gap_mm: float
    slant_deg: float = 0.0
    pull: Floats | None = None

    @property
    def is_round(self) -> bool:
        """Tell whether it is a pin in a hole."""
        return self.contacts[0].kind in ROUND

    @property
    def middle_mm(self) -> Floats:
        """The point between its faces."""
        return np.asarray(np.mean([one.point_mm for one in self.contacts], axis=0))

    @property
    def area_mm2(self) -> float:
        """Over which it meets, both sides together."""
        return sum(one.area_mm2 for one in self.contacts)

    @property
    def depth_mm(self) -> float:
        """The lesser extent of its contacts."""
        return min(one.depth_mm for one in self.contacts)


@dataclass(frozen=True, eq=False)
class Paired:
    """The contacts of two bodies, divided into pairs and what is left."""

    pairs: tuple[Pair, ...]
    left: tuple[Contact, ...]


def paired(contacts: Sequence[Contact]) -> Paired:
    """Join the contacts of two bodies into pairs."""
    rounds = [_round_pair(one) for one in contacts if _holds_round(one)]
    flat = [one for one in contacts if one.kind is SurfaceKind.PLANE]
    pairs, loose = _opposite(flat)
    slanted, loose = _slanted(loose)
    others = [
        one for one in contacts if one.kind is not SurfaceKind.PLANE and not _holds_round(one)
    ]
    return Paired((*pairs, *slanted, *rounds), (*loose, *others))


def _holds_round(contact: Contact) -> bool:
    """Tell whether a round contact holds sideways, and is no seat for a head."""
    if contact.kind not in ROUND or contact.open_deg > _WIDEST_OPEN + 1e-6:
        return False
    return bool(np.radians(round_of(contact.regions[0][0]).half_angle_deg) <= _STEEPEST / 2)


def _round_pair(contact: Contact) -> Pair:
    rounds = [round_of(regions[0]) for regions in contact.regions]
    sizes = [one.diameter_at(contact.point_mm) for one in rounds]
    external = 1 if rounds[0].is_inner else 0
    return Pair(
        (contact,),
        external,
        contact.normal,
        (sizes[1 - external], sizes[external]),
        contact.gap_mm,
        rounds[1 - external].half_angle_deg,
    )


def _opposite(flat: list[Contact]) -> tuple[list[Pair], list[Contact]]:
    """Pair faces that look opposite ways: as many as can be, and the nearest."""
    pairs: list[Pair] = []
    used: set[int] = set()
    for first, members in _by_line(flat):
        ahead = [n for n in members if flat[n].normal @ flat[first].normal > 0]
        back = [n for n in members if flat[n].normal @ flat[first].normal < 0]
        found = [[_as_pair(flat[i], flat[j]) for j in back] for i in ahead]
        if not ahead or not back:
            continue
        cost = np.array([[_cost(pair) for pair in row] for row in found])
        for i, j in zip(*linear_sum_assignment(cost), strict=True):
            pair = found[i][j]
            if pair is not None:
                pairs.append(pair)
                used |= {ahead[i], back[j]}
    return pairs, [one for n, one in enumerate(flat) if n not in used]


def _by_line(flat: list[Contact]) -> Iterable[tuple[int, list[int]]]:
    """Yield the contacts that look along one line, either way, with the first of them."""
    rest = list(range(len(flat)))
    while rest:
        first = rest[0]
        own = [n for n in rest if abs(flat[n].normal @ flat[first].normal) > 1 - _LINE]
        rest = [n for n in rest if n not in own]
        yield first, own


def _as_pair(one: Contact, other: Contact) -> Pair | None:
    """Return two contacts as a pair, if a body's faces lie behind one another."""
    if not _cover_each_other(one, other):
        return None
    sizes = []
    for side, sign in ((0, 1.0), (1, -1.0)):
        away = _on_face(one, side) - _on_face(other, side)
        sizes.append(sign * float(away @ one.normal))
    external = int(sizes[1] > 0)
    size = abs(sizes[external])
    if size < _LEAST_SIZE_MM or sizes[1 - external] > 0:
        return None
    gap = one.gap_mm + other.gap_mm
    return Pair((one, other), external, one.normal, (size + gap, size), gap)


def _on_face(contact: Contact, side: int) -> Floats:
    return contact.point_mm + (contact.gap_mm * contact.normal if side else 0.0)


def _cover_each_other(one: Contact, other: Contact) -> bool:
    """Tell whether two contacts, seen along their normal, overlap by their boxes."""
    frame = np.column_stack(crosswise(one.normal))
    boxes = [np.concatenate(contact.outlines_mm) @ frame for contact in (one, other)]
    low = np.maximum(boxes[0].min(axis=0), boxes[1].min(axis=0))
    high = np.minimum(boxes[0].max(axis=0), boxes[1].max(axis=0))
    least = np.minimum(np.ptp(boxes[0], axis=0), np.ptp(boxes[1], axis=0))
    return bool((high - low > 0.1 * least).all())


def _cost(pair: Pair | None) -> float:
    if pair is None:
        return _NEVER
    away = pair.contacts[0].point_mm - pair.contacts[1].point_mm
    aside = away - (away @ pair.way) * pair.way
    return pair.sizes_mm[1] + float(np.linalg.norm(aside))


def _slanted(loose: list[Contact]) -> tuple[list[Pair], list[Contact]]:
    """Pair flanks that lean alike to both sides of a pull, such as those of a dovetail."""
    found = [
        (float(np.linalg.norm(one.point_mm - other.point_mm)), i, j)
        for i, one in enumerate(loose)
        for j, other in enumerate(loose[:i])
        if _leans_alike(one, other)
    ]
    pairs, used = [], set()
    for _, i, j in sorted(found):
        if i not in used and j not in used:
            pairs.append(_slanted_pair(loose[j], loose[i]))
            used |= {i, j}
    return pairs, [one for n, one in enumerate(loose) if n not in used]


def _leans_alike(one: Contact, other: Contact) -> bool:
    """Tell whether two contacts are the flanks of a wedge: alike in gap, area and height."""
    lean = np.arccos(np.clip(-one.normal @ other.normal, -1, 1)) / 2
    if not _SLANTED / 2 < lean <= _STEEPEST / 2:
        return False
    across, pull = _across_and_pull(one, other)
    away = one.point_mm - other.point_mm
    alike = 0.5 < one.area_mm2 / other.area_mm2 < 2
    level = abs(float(away @ pull)) < 0.1 * abs(float(away @ across))
    return bool(alike and level and abs(float(away @ across)) > _LEAST_SIZE_MM)


def _across_and_pull(one: Contact, other: Contact) -> tuple[Floats, Floats]:
    across = one.normal - other.normal
    pull = one.normal + other.normal
    return across / np.linalg.norm(across), pull / np.linalg.norm(pull)


def _slanted_pair(one: Contact, other: Contact) -> Pair:
    across, pull = _across_and_pull(one, other)
    lean = float(np.arccos(np.clip(-one.normal @ other.normal, -1, 1))) / 2
    # Both sizes are taken at one height, halfway between the faces.
    between = [face.point_mm + face.gap_mm / 2 * face.normal for face in (one, other)]
    middle = float((between[0] - between[1]) @ across)
    gap = one.gap_mm + other.gap_mm
    half = gap / 2 / np.cos(lean)
    return Pair(
        (one, other),
        0 if middle > 0 else 1,
        across,
        (abs(middle) + half, abs(middle) - half),
        gap,
        float(np.degrees(lean)),
        pull,
    )
