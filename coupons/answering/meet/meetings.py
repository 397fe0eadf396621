"""Where bodies meet: the joints between them, the rests that carry, and bodies that never meet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from coupons.answering.meet.between_flats import PinBetween, pins_between
from coupons.answering.meet.grouping import MetJoint, grouped
from coupons.answering.meet.lone import LoneHole, lone_holes
from coupons.answering.meet.opposite_faces import DEEPEST_MM, REACH_MM, Contact, contacts
from coupons.answering.meet.overlaps import Overlap, overlap
from coupons.answering.meet.pairing import paired
from coupons.answering.meet.print_axes import Printed, printed
from coupons.answering.meet.veiled import without_veiled
from coupons.answering.meshes.body import Body
from coupons.answering.meshes.box_tree import box_tree, overlapping
from coupons.answering.meshes.regions import SurfaceKind
from coupons.answering.meshes.surface import surface_of
from coupons.making.output.solids import distance_mm
from coupons.progress import steps

LETTERS = "ABCDEFGHJKLMNPSTVWXYZ"
"""Of joints; I and O look like figures, R is for rests, Q for free-form faces, U for lone holes."""


@dataclass(frozen=True, eq=False)
class Meeting:
    """A joint or a rest, with its letter.

    Parameters
    ----------
    letter : str
        ``A``, ``B`` … of joints; ``R1``, ``R2`` … of rests.
    bodies : tuple of int
        Internal and external body of a joint, by place in `Met.bodies`; of a rest, the two bodies.
    contacts : tuple of Contact
        Each is a pair of faces with a label of its own, see `labels`.
    group : MetJoint or None
        What kind of joint; None for a rest.
    """

    letter: str
    bodies: tuple[int, int]
    contacts: tuple[Contact, ...]
    group: MetJoint | None

    @property
    def labels(self) -> tuple[str, ...]:
        """The label of each contact: A1, A2 …; of a rest its letter."""
        if self.group is None:
            return (self.letter,)
        return tuple(f"{self.letter}{n}" for n in range(1, len(self.contacts) + 1))


@dataclass(frozen=True)
class Apart:
    """A body that meets no other: the nearest one, and the distance between them."""

    body: str
    nearest: str
    distance_mm: float


@dataclass(frozen=True, eq=False)
class Met:
    """Where bodies meet.

    Parameters
    ----------
    bodies : tuple of Printed
    joints, rests : tuple of Meeting
    free : tuple of Contact
        Free-form regions that meet; none of them is moved.
    apart : tuple of Apart
    reach_mm : float
        How far apart faces might be.
    lone : tuple of LoneHole
        Holes that meet no body: U1, U2 … in this order.
    between : tuple of PinBetween
        Pins between two flat faces, such as in a long hole: no joints.
    overlaps : tuple of Overlap
        Pairs of bodies that stand in each other too deeply for any joint.
    """

    bodies: tuple[Printed, ...]
    joints: tuple[Meeting, ...]
    rests: tuple[Meeting, ...]
    free: tuple[Contact, ...]
    apart: tuple[Apart, ...]
    reach_mm: float
    lone: tuple[LoneHole, ...] = ()
    between: tuple[PinBetween, ...] = ()
    overlaps: tuple[Overlap, ...] = ()

    @property
    def lone_labels(self) -> tuple[str, ...]:
        """The label of each lone hole."""
        return tuple(f"U{n}" for n in range(1, len(self.lone) + 1))


def meet(
    bodies: Sequence[Body], ups: Mapping[str, str] | None = None, reach_mm: float = REACH_MM
) -> Met:
    """Find where bodies meet.

    Parameters
    ----------
    bodies : sequence of Body
        In place, as `read_bodies` returns them.
    ups : mapping of str to str, optional
        How each body is printed; see `printed`.
    reach_mm : float
        How far apart two faces may stand and still meet. They may also stand in each other by up to
        0.5 mm.

    Raises
    ------
    BodyError
        For what ``ups`` says wrongly.
    """
    surfaces = tuple(surface_of(body) for body in steps(bodies, "bodies divided"))
    laid = printed(surfaces, ups or {})
    found: list[Contact] = []
    between: list[PinBetween] = []
    overlaps: list[Overlap] = []
    for one, other in steps(_near(bodies, reach_mm), "pairs of bodies met"):
        found += contacts((surfaces[one], surfaces[other]), (one, other), reach_mm)
        between += pins_between((surfaces[one], surfaces[other]), (one, other), reach_mm)
        deep = overlap((bodies[one], bodies[other]), (one, other))
        overlaps += [deep] if deep is not None else []
    found = without_veiled(found)
    groups: list[MetJoint] = []
    left: list[Contact] = []
    for pair in sorted({one.bodies for one in found}):
        own = paired([one for one in found if one.bodies == pair])
        made, over = grouped(own, tuple(surfaces[n] for n in pair))
        groups += made
        left += over
    meeting = {n for one in found for n in one.bodies} | {n for one in between for n in one.bodies}
    return Met(
        laid,
        tuple(_lettered(groups)),
        tuple(
            Meeting(f"R{n}", one.bodies, (one,), None)
            for n, one in enumerate((c for c in left if c.kind is not SurfaceKind.FREE), start=1)
        ),
        tuple(one for one in left if one.kind is SurfaceKind.FREE),
        tuple(_apart(bodies, meeting)),
        reach_mm,
        lone_holes(surfaces, found),
        tuple(between),
        tuple(overlaps),
    )


def _near(bodies: Sequence[Body], reach_mm: float) -> list[tuple[int, int]]:
    """Return pairs of bodies whose boxes lie within reach, the lower number first."""
    if len(bodies) < 2:
        return []
    tree = box_tree(
        np.array([body.box_mm[0] for body in bodies]), np.array([body.box_mm[1] for body in bodies])
    )
    near = [
        pair
        for i, j in overlapping(tree, tree, reach_mm + DEEPEST_MM)
        for pair in zip(i, j, strict=True)
    ]
    return sorted({(int(i), int(j)) for i, j in near if i < j})


def _lettered(groups: list[MetJoint]) -> list[Meeting]:
    """Give joints their letters, those of one pair of bodies one after the other."""
    names = [*LETTERS, *(a + b for a, b in combinations(LETTERS, 2))]
    order = sorted(groups, key=lambda one: (one.contacts[0].bodies, -one.area_mm2))
    meetings = []
    for n, group in enumerate(order):
        pair = group.contacts[0].bodies
        ordered = (pair[1 - group.external_side], pair[group.external_side])
        letter = names[n] if n < len(names) else f"J{n}-"
        meetings.append(Meeting(letter, ordered, group.contacts, group))
    return meetings


def _apart(bodies: Sequence[Body], meeting: set[int]) -> list[Apart]:
    boxes = np.array([body.box_mm for body in bodies])
    apart = []
    for number, body in enumerate(bodies):
        if number in meeting or len(bodies) < 2:
            continue
        gaps = np.maximum(boxes[:, 0] - body.box_mm[1], body.box_mm[0] - boxes[:, 1])
        least_mm = np.linalg.norm(np.maximum(gaps, 0), axis=1)
        least_mm[number] = np.inf
        nearest, nearest_mm = "", np.inf
        # Nearest boxes first: a box farther off than the nearest body so far holds no nearer one.
        for other in np.argsort(least_mm, kind="stable").tolist():
            if least_mm[other] > nearest_mm or other == number:
                break
            bound_mm = min(nearest_mm, _upper_bound(body, bodies[other]))
            own_mm = _distance(body, bodies[other], bound_mm)
            if own_mm < nearest_mm:
                nearest, nearest_mm = bodies[other].name, own_mm
        apart.append(Apart(body.name, nearest, float(nearest_mm)))
    return apart


def _upper_bound(one: Body, other: Body) -> float:
    away, _ = cKDTree(other.vertices_mm).query(one.vertices_mm)
    return float(away.min())


def _distance(one: Body, other: Body, up_to_mm: float) -> float:
    meshes = [(body.vertices_mm, body.triangles) for body in (one, other)]
    return distance_mm(meshes[0], meshes[1], up_to_mm * 1.001 + 1e-3)
