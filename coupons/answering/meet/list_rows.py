"""The list of joints that a meeting of bodies gives, row by row, as `coupons joints` reads it."""

import csv
import io
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.joints.list_columns import MET_COLUMNS, OFF_AXIS
from coupons.answering.joints.lone_rows import ALONE
from coupons.answering.meet.grouping import MetJoint
from coupons.answering.meet.lone import LoneHole
from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.opposite_faces import Contact
from coupons.answering.meet.print_axes import ALIGNED_DEG, Printed
from coupons.answering.meshes.body import Floats
from coupons.answering.meshes.regions import SurfaceKind, round_of
from coupons.terms import FLAT, Bed, Direction, Form, Grade

ASKED = (
    "name",
    "internal",
    "external",
    "size_mm",
    "across",
    "fit",
    "move",
    "hardware",
    "bed",
    "contact_mm",
    "pitch_mm",
    "corner_mm",
    "leg_mm",
    "mouth_mm",
    "slant_deg",
)
"""Columns that `coupons joints` reads; those that are blank in every row are left out."""
FOUND = MET_COLUMNS
"""What was found in the bodies; `coupons relieve` reads which faces of which bodies it was."""
_NEEDED = frozenset(
    {"name", "internal", "external", "size_mm", "across", "fit", *FOUND} - {ALONE, OFF_AXIS}
)
_LONGEST = 24  # characters of a body's name in a joint's


@dataclass(frozen=True)
class Facets:
    """What facets make of a diameter, in mm, and how many flats there are around."""

    corner_mm: float
    flat_mm: float
    area_mm: float
    sagitta_mm: float
    strips: int


def rows(met: Met, fit: Grade = Grade.SLIDE) -> list[dict[str, str]]:
    """Return one row a joint, then one a hole that meets no body, with every column."""
    holes = zip(met.lone_labels, met.lone, strict=True)
    return [
        *(_row(met, joint, fit) for joint in met.joints),
        *(_lone_row(met, label, hole) for label, hole in holes),
    ]


def list_csv(met: Met, fit: Grade = Grade.SLIDE) -> str:
    """Return the list as CSV, without the columns that no joint needs."""
    found = rows(met, fit)
    needed = set(_NEEDED)
    needed |= {"hardware"} if met.lone else set()
    needed |= {"mouth_mm"} if any(row["leg_mm"] for row in found) else set()
    columns = [
        name for name in (*ASKED, *FOUND) if name in needed or any(row[name] for row in found)
    ]
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(found)
    return text.getvalue()


def name_of(met: Met, joint: Meeting) -> str:
    """Return the name of a joint: its two bodies and its letter."""
    internal, external = (_short(met.bodies[number].body.name) for number in joint.bodies)
    return f"{external} in {internal}, {joint.letter}"


def _short(name: str) -> str:
    """Keep of a body's name what may stand in the name of a joint."""
    kept = "".join(
        sign if sign in " .-_" or unicodedata.category(sign)[0] in "LMN" else " " for sign in name
    )
    kept = re.sub(r"\s+", " ", kept).strip(" .-_")[:_LONGEST].strip()
    return kept if kept[:1].isalnum() else f"body {kept}".strip()


def _row(met: Met, joint: Meeting, fit: Grade) -> dict[str, str]:
    group = joint.group
    assert group is not None
    internal, external = (met.bodies[number] for number in joint.bodies)
    off = off_axis(met, joint)
    row = dict.fromkeys((*ASKED, *FOUND), "")
    row |= {
        "name": name_of(met, joint),
        "internal": group.internal,
        "external": group.external,
        "size_mm": "x".join(_number(size) for size in sizes_mm(group)),
        "across": across(group, internal, external),
        "fit": fit,
        "bed": _bed(group, joint, internal, external),
        "faces": " ".join(joint.labels),
        "internal_body": internal.body.name,
        "external_body": external.body.name,
        "drawn_gap_mm": "x".join(_number(gap) for gap in gaps_mm(group)),
        "area_mm2": f"{group.area_mm2:.1f}",
        "depth_mm": f"{min(pair.depth_mm for pair in group.pairs):.2f}",
        OFF_AXIS: "" if off is None else f"{off[1]:.1f}",
    }
    return row | _of_kind(group, joint)


def _lone_row(met: Met, label: str, hole: LoneHole) -> dict[str, str]:
    """Return the row of a hole of which nothing is asked yet: no fit, nothing that goes in."""
    body, one = met.bodies[hole.body], hole.cylinder
    area_mm2 = sum(region.area_mm2 for region in hole.regions)
    return dict.fromkeys((*ASKED, *FOUND), "") | {
        "name": f"hole in {_short(body.body.name)}, {label}",
        "internal": Form.HOLE,
        "size_mm": _number(one.corner_mm),
        "across": body.direction(one.axis)[0],
        ALONE: lone_words(hole),
        "faces": label,
        "internal_body": body.body.name,
        "area_mm2": f"{area_mm2:.1f}",
        "depth_mm": f"{hole.depth_mm:.2f}",
        "across_flats_mm": _number(one.flat_mm),
        "by_area_mm": _number(one.area_mm),
        "sagitta_mm": _number(one.sagitta_mm),
    }


def lone_words(hole: LoneHole) -> str:
    """Say what kind of hole it is: ``through hole``, ``blind hole``."""
    return f"{'through' if hole.is_through else 'blind'} hole"


def _of_kind(group: MetJoint, joint: Meeting) -> dict[str, str]:
    """Return what only some kinds of joints have."""
    row: dict[str, str] = {}
    pitch = group.pitch
    if pitch is not None:
        row["pitch_mm"] = _number(float((pitch @ pitch) ** 0.5))
    if any(group.corners_mm):
        row["corner_mm"] = "/".join(_number(radius) for radius in group.corners_mm)
    if group.leg_mm is not None:
        row["leg_mm"] = "x".join(_number(length) for length in group.leg_mm)
    if group.internal in tuple(Form):  # how long it bears, where the list asks for it
        row["contact_mm"] = _number(max(map(longest_mm, joint.contacts)))
    if group.pairs[0].slant_deg:
        row["slant_deg"] = _number(group.pairs[0].slant_deg)
    if group.pairs[0].is_round:
        row |= _diameters(joint.contacts[0], group.external_side)
    return row


def longest_mm(contact: Contact) -> float:
    """Return the greatest extent of a contact along its edges; of a round one, its depth."""
    if contact.kind is not SurfaceKind.PLANE:
        return contact.depth_mm
    edges = np.concatenate([np.roll(line, -1, axis=0) - line for line in contact.outlines_mm])
    lengths = np.linalg.norm(edges, axis=1)
    along = edges[lengths > 1e-6] / lengths[lengths > 1e-6][:, None]
    along = np.unique(np.round(along, 4), axis=0)  # the same way many times on a divided face
    points = np.concatenate(contact.outlines_mm)
    return float(max(np.ptp(points @ way) for way in along))


def _diameters(contact: Contact, external: int) -> dict[str, str]:
    """Return what facets make of the two diameters, internal/external."""
    both = facets_at(contact, external)
    return {
        "across_flats_mm": "/".join(_number(one.flat_mm) for one in both),
        "by_area_mm": "/".join(_number(one.area_mm) for one in both),
        "sagitta_mm": "/".join(_number(one.sagitta_mm) for one in both),
    }


def facets_at(contact: Contact, external: int) -> list[Facets]:
    """Return the diameters of hole and pin in the middle of a round contact."""
    both = [round_of(contact.regions[side][0]) for side in (1 - external, external)]
    shares = [one.diameter_at(contact.point_mm) / one.corner_mm for one in both]
    return [
        Facets(
            one.corner_mm * share,
            one.flat_mm * share,
            one.area_mm * share,
            one.sagitta_mm * share,
            one.strips,
        )
        for one, share in zip(both, shares, strict=True)
    ]


def sizes_mm(group: MetJoint) -> tuple[float, ...]:
    """Return the nominal sizes of a joint: of its internal body; of legs, the bar's width."""
    if group.internal == "legs":
        return (group.pairs[0].sizes_mm[1],)
    if group.internal == "holes":
        return (group.pairs[0].sizes_mm[0],)
    return tuple(pair.sizes_mm[0] for pair in group.pairs)


def gaps_mm(group: MetJoint) -> tuple[float, ...]:
    """Return the drawn gaps over both sides; of two holes, the lesser."""
    if group.internal == "holes":
        return (min(pair.gap_mm for pair in group.pairs),)
    return tuple(pair.gap_mm for pair in group.pairs)


def ways_of(group: MetJoint) -> tuple[Floats, ...]:
    """Return the directions that a list gives for a joint, in the bodies' own coordinates."""
    first = group.pairs[0]
    if group.internal in ("pocket", "sleeve"):
        return (first.way, group.pairs[1].way)
    if first.pull is not None:
        return (first.way, first.pull)
    pitch = group.pitch
    if pitch is not None:
        return (first.way, pitch / float((pitch @ pitch) ** 0.5))
    return (first.way,)


def across(group: MetJoint, internal: Printed, external: Printed) -> str:
    """Write the directions of a joint, of each body as it is printed."""
    written = [_written(group, body) for body in (internal, external)]
    return written[0] if written[0] == written[1] else "/".join(written)


def _written(group: MetJoint, body: Printed) -> str:
    names = [body.direction(way)[0] for way in ways_of(group)]
    diagonal = any(name in (Direction.XY_PLUS, Direction.XY_MINUS) for name in names)
    return ",".join(names) if diagonal else "".join(names)


def oblique(met: Met) -> dict[str, tuple[str, float]]:
    """Return the joints that lie along no axis of a printer, by letter; see `off_axis`."""
    found = {joint.letter: off_axis(met, joint) for joint in met.joints}
    return {letter: off for letter, off in found.items() if off is not None}


def off_axis(met: Met, joint: Meeting) -> tuple[str, float] | None:
    """Say how far a joint lies off the directions that the list gives for it, the nearest ones.

    Returns
    -------
    tuple of str and float, or None
        The direction that is farthest off, and how far, in degrees; None if all are within 1°.
    """
    assert joint.group is not None
    near = [
        met.bodies[number].nearest(way) for number in joint.bodies for way in ways_of(joint.group)
    ]
    name, off_deg = max(near, key=lambda one: one[1])
    return None if off_deg <= ALIGNED_DEG else (str(name), off_deg)


def _bed(group: MetJoint, joint: Meeting, internal: Printed, external: Printed) -> str:
    """Return which body's mating face is the first layer; blank where none lies across layers."""
    if group.internal not in FLAT or group.pairs[0].slant_deg:
        return ""
    way = group.pairs[0].way
    on_bed = {}
    for form, body, side in (
        (Form.SLOT, internal, 1 - group.external_side),
        (Form.TONGUE, external, group.external_side),
    ):
        faces = [
            region
            for contact in joint.contacts
            if contact.kind is SurfaceKind.PLANE
            for region in contact.regions[side]
        ]
        if body.direction(way)[0] is Direction.Z:
            on_bed[form] = any(body.is_on_bed(region) for region in faces)
    if not on_bed:
        return ""
    cases: Sequence[Bed] = (Bed.NONE, Bed.INTERNAL, Bed.EXTERNAL, Bed.BOTH)
    return cases[on_bed.get(Form.SLOT, False) + 2 * on_bed.get(Form.TONGUE, False)]


def _number(value: float) -> str:
    return f"{round(value, 3) + 0.0:g}"
