"""Where bodies meet, in words: for the terminal and the page."""

import math
from collections import Counter

from coupons.answering.meet.beside import Beside, beside
from coupons.answering.meet.between_flats import PinBetween
from coupons.answering.meet.grouping import is_twin
from coupons.answering.meet.list_rows import (
    facets_at,
    gaps_mm,
    lone_words,
    name_of,
    oblique,
    sizes_mm,
    ways_of,
)
from coupons.answering.meet.lone import LoneHole
from coupons.answering.meet.meetings import Apart, Meeting, Met
from coupons.answering.meet.opposite_faces import DEEPEST_MM, FARTHEST_MM, Contact
from coupons.answering.meet.overlaps import Overlap
from coupons.answering.meet.print_axes import leaning
from coupons.answering.meshes.mesh import listed
from coupons.terms import Direction

_TOUCHING_MM = 0.02
_FEW = 12  # bodies that meet nothing, of each of which the nearest is said
_FORMS = {
    "holes": "two pins in holes",
    "legs": "legs over a bar",
}


def form_words(joint: Meeting) -> str:
    """Name a kind of joint: ``tongue in slot``."""
    group = joint.group
    assert group is not None
    words = _FORMS.get(group.internal, f"{group.external} in {group.internal}")
    if not group.pairs[0].slant_deg:
        return words
    return f"{words}, tapered" if group.pairs[0].is_round else f"{words}, slanted"


def size_words(joint: Meeting) -> str:
    """Give the size of a joint: ``24 mm``, ``40 × 25 mm``, ``⌀ 6 mm``."""
    group = joint.group
    assert group is not None
    text = " × ".join(_mm(size) for size in sizes_mm(group)) + " mm"
    first = group.pairs[0]
    if first.is_round and first.slant_deg:
        return f"⌀ {text} in the middle, {first.slant_deg:.2f}° to the axis"
    return f"⌀ {text}" if first.is_round else text


def gap_words(joint: Meeting) -> str:
    """Give the drawn gap over both sides: ``0.3 mm``."""
    assert joint.group is not None
    text = " × ".join(_mm(gap) for gap in gaps_mm(joint.group)) + " mm"
    return f"{text} along the normals" if joint.group.pairs[0].slant_deg else text


def side_gaps(met: Met, joint: Meeting) -> str:
    """Give the gap at each face of a flat joint; empty for a round one.

    Of two pairs each begins with its direction, which is that of the internal body's print.
    """
    group = joint.group
    assert group is not None
    if group.pairs[0].is_round:
        return ""
    label_of = dict(zip(map(id, joint.contacts), joint.labels, strict=True))
    printed = met.bodies[joint.bodies[0]]
    parts = []
    for pair in group.pairs:
        gaps = ", ".join(f"{_mm(one.gap_mm)} at {label_of[id(one)]}" for one in pair.contacts)
        axis = f"across {printed.direction(pair.way)[0]} " if len(group.pairs) > 1 else ""
        parts.append(f"{axis}{gaps}")
    return "; ".join(parts)


def direction_words(met: Met, joint: Meeting) -> str:
    """Say how a joint lies to the printer: ``across x``; body by body where they differ."""
    group = joint.group
    assert group is not None
    said = [_directions(met, joint, number) for number in joint.bodies]
    if said[0] == said[1]:
        return said[0]
    names = [met.bodies[number].body.name for number in joint.bodies]
    return "; ".join(f"{name}: {words}" for name, words in zip(names, said, strict=True))


def _directions(met: Met, joint: Meeting, number: int) -> str:
    group = joint.group
    assert group is not None
    body = met.bodies[number]
    names = [body.direction(way)[0] for way in ways_of(group)]
    if group.internal == "holes":
        return f"axis along {names[0]}, pitch along {names[1]}"
    if group.pairs[0].is_round:
        return f"axis along {names[0]}"
    if group.pairs[0].pull is not None:
        return f"across {names[0]}, pull along {names[1]}"
    return "across " + " and ".join(names)


def facet_words(joint: Meeting) -> str:
    """Say what facets make of the diameters of a round joint; empty for a flat one."""
    group = joint.group
    assert group is not None
    if not group.pairs[0].is_round:
        return ""
    both = facets_at(joint.contacts[0], group.external_side)
    parts = [
        f"{form} {_mm(one.corner_mm)} mm across corners, {_mm(one.flat_mm)} across flats, "
        f"{_mm(one.area_mm)} by area ({one.strips} flats, sagitta {_mm(one.sagitta_mm)})"
        for form, one in zip(("hole", "pin"), both, strict=True)
    ]
    return "; ".join(parts) + "."


def explained_words(met: Met) -> list[str]:
    """Explain the words in which the joints of some bodies are told, as far as they occur."""
    groups = [joint.group for joint in met.joints if joint.group is not None]
    told = []
    if any(group.internal in ("pocket", "sleeve") for group in groups):
        told.append(
            "A pocket has a floor, and a plate goes into it; a sleeve is open at both ends, and a "
            "bar goes through it. Both have two pairs of faces."
        )
    if any(group.pairs[0].is_round for group in groups) or met.lone:
        told.append(
            "A round in a mesh is made of flats. Across corners is the circle that was drawn, and "
            "the size that counts here; across flats is its narrowest width; by area, the circle "
            "of the same area; the sagitta, how far a flat runs inside the circle."
        )
    return told


def rest_words(met: Met, contact: Contact) -> str:
    """Say which bodies rest on each other, and how far they are apart."""
    names = " and ".join(met.bodies[number].body.name for number in contact.bodies)
    return f"{names}, {_apart(contact.gap_mm)}, {contact.area_mm2:.0f} mm²"


def stays_words(met: Met, rest: Meeting) -> str:
    """Say what becomes of a single face."""
    (contact,) = rest.contacts
    found = beside(met, rest)
    if found is not None and found[0] is Beside.GOES_ALONG:
        return f"A rounding of {found[1].letter}: it goes with its faces."
    if found is not None:
        return (
            f"A flat beside the round of {found[1].letter}: it is not moved. Draw it with half the "
            f"gap of {found[1].letter}, or it holds the pin."
        )
    if any(one.pin in regions for one in met.between for regions in contact.regions):
        return "The pin is at the round end of a long hole: see below."
    if contact.gap_mm <= _TOUCHING_MM:
        return "It carries, and is not moved."
    return "A single face: it is not moved."


def apart_words(one: Apart) -> str:
    """Say which body is nearest to one that meets none."""
    if one.distance_mm > 0:
        within = one.distance_mm <= FARTHEST_MM
        todo = f"; if they are, add --reach {_upwards(one.distance_mm)}" if within else ""
        return (
            f"{one.body} meets nothing: {one.nearest} is nearest, {_mm(one.distance_mm)} mm away. "
            f"Export both in place, from one origin{todo}."
        )
    return (
        f"{one.body} touches {one.nearest} or stands in it, but no two of their faces look at each "
        "other: see that both are in place."
    )


def overlap_notes(met: Met) -> list[str]:
    """Say which bodies stand in each other too deeply for any joint, how far, and what to do."""
    return [_overlap_words(met, one) for one in met.overlaps]


def _overlap_words(met: Met, one: Overlap) -> str:
    names = " and ".join(met.bodies[number].body.name for number in one.bodies)
    x, y, z = (_mm(round(value, 1)) for value in one.point_mm)
    return (
        f"{names} OVERLAP, about {_mm(round(one.depth_mm, 1))} mm deep near x {x}, y {y}, z {z} mm "
        f"of the files. A tight joint overlaps by {DEEPEST_MM:g} mm at most. Export both in place, "
        "from one origin, or correct the drawing. Until then, do not trust the joints between them."
    )


def _apart_notes(met: Met) -> list[str]:
    """Say which bodies meet none: the first few each with its nearest, the others by name."""
    deep = {met.bodies[number].body.name for one in met.overlaps for number in one.bodies}
    apart = [one for one in met.apart if one.body not in deep]
    few, many = apart[:_FEW], apart[_FEW:]
    notes = [apart_words(one) for one in few]
    if many:
        notes.append(f"Nor does any face of these meet another: {listed([o.body for o in many])}.")
    return notes


def _upwards(mm: float) -> str:
    """Write a length rounded up to tenths."""
    return f"{math.ceil(10 * mm - 1e-9) / 10:g}"


def _apart(gap_mm: float) -> str:
    if abs(gap_mm) < 5e-4:
        return "touching"
    return f"{_mm(gap_mm)} mm apart" if gap_mm > 0 else f"{_mm(-gap_mm)} mm in each other"


def meeting_lines(met: Met) -> list[str]:
    """Return a sentence for each joint, for the terminal."""
    return [
        f"{name_of(met, joint)}: {form_words(joint)}, {size_words(joint)}, drawn gap "
        f"{gap_words(joint)}; {direction_words(met, joint)}."
        for joint in met.joints
    ]


def _between_notes(met: Met) -> list[str]:
    """Say which pins stand between flat faces, those alike together, and what can be asked."""
    return [
        f"{words}{f' ({count} alike)' if count > 1 else ''}. It touches them along two lines at "
        f"most. That is no joint that can be answered: neither body is moved for it. {asked}"
        for (words, asked), count in Counter(between_words(met, one) for one in met.between).items()
    ]


def between_words(met: Met, one: PinBetween) -> tuple[str, str]:
    """Describe a pin between flat faces, and say how to ask for its sizes."""
    slotted, pinned = (met.bodies[number] for number in one.bodies)
    across, along = slotted.direction(one.way)[0], pinned.direction(one.cylinder.axis)[0]
    width, pin = _mm(one.width_mm), _mm(one.cylinder.corner_mm)
    gaps = " and ".join(_mm(gap) for gap in one.gaps_mm)
    words = (
        f"{slotted.body.name} and {pinned.body.name}: a pin ⌀ {pin} mm between flat faces {width} "
        f"mm apart, as in a long hole, drawn gap {_mm(sum(one.gaps_mm))} mm ({gaps}), across "
        f"{across}"
    )
    asked = (
        f"Ask for each size alone, such as `coupons offset PROFILE --form slot --prints {width} "
        f"--across {across}` and `--form pin --prints {pin} --across {along}`."
    )
    return words, asked


def lone_notes(met: Met) -> list[str]:
    """Return a sentence for the holes that meet nothing, those alike together, and what to do."""
    alike: dict[str, list[str]] = {}
    for label, hole in zip(met.lone_labels, met.lone, strict=True):
        alike.setdefault(lone_hole_words(met, hole), []).append(label)
    notes = [f"{_range(labels)}: {words}." for words, labels in alike.items()]
    if notes:
        notes.append(
            "U: holes that meet no body. None of them is moved, unless the list says what goes in: "
            "hardware, a fit, or a diameter such as draw 2.6 in the column fit."
        )
    return notes


def lone_hole_words(met: Met, hole: LoneHole) -> str:
    """Describe a hole that meets nothing: ``cover, through hole ⌀ 3.4 mm, 5 mm deep, along z``."""
    body = met.bodies[hole.body]
    size, depth = _mm(hole.cylinder.corner_mm), _mm(round(hole.depth_mm, 2))
    way = body.direction(hole.cylinder.axis)[0]
    return f"{body.body.name}, {lone_words(hole)} ⌀ {size} mm, {depth} mm deep, axis along {way}"


def _range(labels: list[str]) -> str:
    """Write labels that follow each other as a range: ``U1 to U4``."""
    numbers = [int(label[1:]) for label in labels]
    if len(labels) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{labels[0]} to {labels[-1]}"
    return ", ".join(labels)


def meeting_notes(met: Met) -> list[str]:
    """Return what else is to be said, a paragraph each."""
    notes = overlap_notes(met)
    notes += [
        f"{rest.letter}: {rest_words(met, rest.contacts[0])}. {stays_words(met, rest)}"
        for rest in met.rests
    ]
    notes += [
        f"Q{n}: {rest_words(met, one)} (free-form: it is shown, and never moved)."
        for n, one in enumerate(met.free, start=1)
    ]
    if met.free:
        notes.append(
            "Q: move such a face in your drawing, by half the gap that `coupons offset` gives "
            "for a hole or slot of its size."
        )
    notes += [
        f"{joint.letter}: springy legs. Lips were not looked for: if there are any, write the "
        "opening between the lips into the column mouth_mm; without lips leave it blank."
        for joint in met.joints
        if joint.group is not None and joint.group.internal == "legs"
    ]
    notes += _between_notes(met)
    notes += _pattern_notes(met)
    notes += lone_notes(met)
    notes += _apart_notes(met)
    notes += _bed_notes(met)
    notes += _direction_notes(met)
    return notes


def _bed_notes(met: Met) -> list[str]:
    """Say which bodies lie on the bed with no flat face, and what to do."""
    leans = leaning(met.bodies)
    if not leans:
        return []
    ups = ",".join(f"{name}={way}" for name, way in leans.items() if way)
    typed = f'"{ups}"' if " " in ups else ups
    todo = f", or say which way is up: --up {typed}" if ups else ""
    return [
        f"{listed(list(leans))}: no flat face lies on the bed. Turn it in the file as it will be "
        f"printed, and export again{todo}."
    ]


def _direction_notes(met: Met) -> list[str]:
    """Say which joints lie askew to the printer, and what its directions between x and y are."""
    notes = []
    askew = oblique(met)
    if askew:
        each = listed([f"{key} {deg:.0f}° off {name}" for key, (name, deg) in askew.items()])
        notes.append(
            f"Along no axis of the printer: {each}. The nearest direction stands in the list, and "
            "is answered. Turn the bodies in their files as they will be printed, and export "
            "again."
        )
    words = " ".join(direction_words(met, joint) for joint in met.joints)
    if Direction.XY_PLUS in words or Direction.XY_MINUS in words:
        notes.append("x+y lies halfway between x and y, x-y halfway between x and −y.")
    return notes


def _pattern_notes(met: Met) -> list[str]:
    """Say which single pins belong to a pattern of which only the two farthest are one joint."""
    notes = []
    for joint in met.joints:
        group = joint.group
        if group is None or group.internal != "holes":
            continue
        others = [
            one.letter
            for one in met.joints
            if one.group is not None
            and one is not joint
            and one.bodies == joint.bodies
            and one.group.internal == "hole"
            and is_twin(one.group.pairs[0], group.pairs[0])
        ]
        if others:
            notes.append(
                f"{joint.letter} and {', '.join(others)}: pins of one pattern. {joint.letter} is "
                "the two farthest apart, and counts how far their places err; the others are "
                f"looked at alone. Draw all of them with the gap of {joint.letter}."
            )
    return notes


def _mm(value: float) -> str:
    return f"{round(value, 3) + 0.0:g}".replace("-", "−")
