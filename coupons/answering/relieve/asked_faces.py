"""A list of joints with its answers, back on the faces of its bodies.

Each row of the list names two bodies and the labels of its pairs of faces. The bodies are met again
from the record beside the list, so that the labels lead to the same faces.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.lone_rows import ListedHole
from coupons.answering.joints.whole_part import JointAnswer, answer_part
from coupons.answering.meet.grouping import is_twin
from coupons.answering.meet.meetings import Meeting, Met
from coupons.answering.meet.pairing import Pair
from coupons.answering.meshes.regions import Region
from coupons.answering.offset import Answer
from coupons.answering.relieve.asked_holes import lone_side, lone_wanted, odd_holes
from coupons.answering.relieve.relieve import Side, Wanted
from coupons.answering.several.drawn_pairs import SeveralAnswer
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.measuring.run.spreadsheet import Layout, read_cells
from coupons.terms import INTERNAL, Grade

COLUMNS = ("faces", "internal_body", "external_body")
LINES = 2
"""No wall is made thinner than so many lines (common practice, no source)."""
_LAYOUT = Layout(
    columns=COLUMNS,
    needed=COLUMNS,
    number_pair=("size_mm", "across"),
    holds="a list of joints with their faces",
    if_missing="Give the path of the meetings.csv that `coupons meet` wrote",
    if_empty="Run `coupons meet` again: it writes the list",
    error=AnswerError,
)


@dataclass(frozen=True)
class ListedFaces:
    """What a row of a list says of its faces."""

    labels: tuple[str, ...]
    internal_body: str
    external_body: str


def read_faces(path: Path) -> dict[int, ListedFaces]:
    """Read the faces of each row of a list, by the number of the row.

    Raises
    ------
    AnswerError
        If the list has no such columns.
    """
    rows, problems = read_cells(path, _LAYOUT)
    if problems:
        raise AnswerError(problems)
    return {
        row.number: ListedFaces(
            tuple(row.named.get("faces", "").replace(",", " ").split()),
            row.named.get("internal_body", ""),
            row.named.get("external_body", ""),
        )
        for row in rows
    }


@dataclass(frozen=True)
class DrawnFacePair:
    """What was answered for a pair of faces: the gap to draw, and the bodies that move."""

    gap_mm: float
    moves: tuple[FaceMove, ...]


@dataclass(frozen=True)
class AskedPairs:
    """Pairs of faces as they are to be drawn, and joints that cannot be, with the reason."""

    wanted: tuple[Wanted, ...]
    refused: Mapping[str, str]


def answer_each(profile: Profile, listed: Sequence[ListedJoint]) -> tuple[JointAnswer, ...]:
    """Answer every joint of a list for itself, without the chance of them all."""
    return tuple(answer_part(profile, [joint]).joints[0] for joint in listed)


def asked_faces(
    met: Met,
    joints: Sequence[JointAnswer],
    faces: Mapping[int, ListedFaces],
    holes: Sequence[ListedHole] = (),
) -> AskedPairs:
    """Bring the answers to a list onto the faces of its bodies.

    Parameters
    ----------
    met : Met
    joints : sequence of JointAnswer
        The answers to the list.
    faces : mapping of int to ListedFaces
        By row of the list.
    holes : sequence of ListedHole
        Holes that meet no body and are not asked about; those with a diameter are drawn with it.
    """
    asked = [
        *(_of_joint(met, joint, faces.get(joint.listed.row)) for joint in joints),
        *(
            _of_hole(met, hole.name, hole.draw_mm, faces.get(hole.row))
            for hole in holes
            if hole.draw_mm is not None
        ),
    ]
    fits = {joint.listed.name: joint.listed.fit for joint in joints}
    wanted = _as_patterns(met, [pair for one in asked for pair in one.wanted], fits)
    refused = {name: why for one in asked for name, why in one.refused.items()}
    return AskedPairs(tuple(wanted), refused | odd_holes(met, wanted))


def _as_patterns(
    met: Met, wanted: Sequence[Wanted], fits: Mapping[str, Grade | None]
) -> list[Wanted]:
    """Give the single pins of a pattern the gap of its two farthest, which counts their places.

    Only a single one that asks for less, with the same fit and the same bodies to move, gets more.
    """
    pins = {
        id(region): (joint, pair)
        for joint in met.joints
        if joint.group is not None and joint.group.pairs[0].is_round
        for pair in joint.group.pairs
        for region in (*_regions(pair, 0), *_regions(pair, 1))
    }
    found = [pins.get(id(one.sides[0].regions[0])) for one in wanted]
    wide = [
        (one, *own)
        for one, own in zip(wanted, found, strict=True)
        if own is not None and own[0].group is not None and own[0].group.internal == "holes"
    ]
    result = []
    for one, own in zip(wanted, found, strict=True):
        gaps = [
            other.gap_mm
            for other, joint, pair in wide
            if own is not None
            and joint.bodies == own[0].bodies
            and is_twin(pair, own[1])
            and fits.get(other.joint) == fits.get(one.joint)
            and other.sizes_mm.keys() == one.sizes_mm.keys()
            and len(other.sides) == len(one.sides) == 2
        ]
        result.append(replace(one, gap_mm=max([one.gap_mm, *gaps])))
    return result


def _of_joint(met: Met, joint: JointAnswer, row: ListedFaces | None) -> AskedPairs:
    name = joint.listed.name
    if joint.found is None:
        return AskedPairs((), {name: joint.why.split("\n")[0]})
    lone = None if row is None else lone_side(met, row.labels, row.internal_body)
    if lone is not None:
        return AskedPairs((lone_wanted(name, lone, joint.moves[0].drawn_mm),), {})
    meeting = None if row is None else _meeting(met, row)
    if meeting is None or row is None or meeting.group is None:
        return AskedPairs((), {name: _lost(met, row)})
    return AskedPairs(tuple(_pairs_of(met, meeting, joint)), {})


def _of_hole(met: Met, name: str, draw_mm: float, row: ListedFaces | None) -> AskedPairs:
    lone = None if row is None else lone_side(met, row.labels, row.internal_body)
    if lone is None:
        return AskedPairs((), {name: _lost(met, row)})
    return AskedPairs((lone_wanted(name, lone, draw_mm),), {})


def least_walls(
    met: Met, joints: Sequence[JointAnswer], profile: Profile, asked: AskedPairs
) -> dict[str, float]:
    """Return the thinnest wall that may be left in each body: two lines of its printer's nozzle."""
    walls = dict.fromkeys((one.body.name for one in met.bodies), LINES * profile.nozzle_mm)
    listed = {joint.listed.name: joint.listed for joint in joints}
    for pair in asked.wanted:
        for side in pair.sides:
            row = listed.get(pair.joint)
            own = row and (row.internal_profile if side.is_internal else row.external_profile)
            if own:
                walls[side.body] = LINES * own.nozzle_mm
    return walls


def _meeting(met: Met, row: ListedFaces) -> Meeting | None:
    for joint in met.joints:
        names = tuple(met.bodies[number].body.name for number in joint.bodies)
        same = names == (row.internal_body, row.external_body)
        if same and set(joint.labels) == set(row.labels):
            return joint
    return None


def _lost(met: Met, row: ListedFaces | None) -> str:
    """Say which of the bodies or faces of a row are not there."""
    if row is None or not row.labels:
        return "the list names no faces for it; run `coupons meet` again"
    return f"{_odd_row(met, row)}; put back the row as `coupons meet` wrote it"


def _odd_row(met: Met, row: ListedFaces) -> str:
    names = {one.body.name for one in met.bodies}
    is_lone = set(row.labels) <= set(met.lone_labels)
    for body in (row.internal_body, row.external_body):
        if body not in names and (body or not is_lone):
            return f"there is no body {body!r}; there are {', '.join(sorted(names))}"
    known = [*(label for joint in met.joints for label in joint.labels), *met.lone_labels]
    gone = [label for label in row.labels if label not in known]
    if gone:
        return f"there are no faces {' '.join(gone)}; there are {' '.join(known)}"
    if is_lone:
        return f"{' '.join(row.labels)} is no hole of {row.internal_body}"
    return (
        f"{' '.join(row.labels)} are not the faces of one joint of {row.external_body} in "
        f"{row.internal_body}"
    )


def _pairs_of(met: Met, meeting: Meeting, joint: JointAnswer) -> Iterator[Wanted]:
    """Yield the pairs of a joint, each with the gap and the sizes that were answered for it."""
    group = meeting.group
    assert group is not None
    drawn = _drawn(joint, len(group.pairs))
    sizes = _listed_sizes(joint, len(group.pairs))
    piece = joint.listed.hardware
    bought = None if piece is None else piece.form in INTERNAL
    for number, (one, size_mm) in enumerate(zip(drawn, sizes, strict=True)):
        yield wanted_pair(met, meeting, number, joint.listed.name, one, size_mm, bought=bought)


def wanted_pair(
    met: Met,
    meeting: Meeting,
    number: int,
    name: str,
    drawn: DrawnFacePair,
    size_mm: float,
    *,
    bought: bool | None = None,
) -> Wanted:
    """Return one pair of faces of a joint as it is to be drawn.

    Parameters
    ----------
    met : Met
    meeting : Meeting
        The joint.
    number : int
        Which of its pairs.
    name : str
        Of the joint.
    drawn : DrawnFacePair
    size_mm : float
        As listed.
    bought : bool, optional
        Whether it is the internal side that is hardware; None if neither is.
    """
    group = meeting.group
    assert group is not None
    pair = group.pairs[number]
    letters = " ".join(meeting.labels[meeting.contacts.index(one)] for one in pair.contacts)
    sides: list[Side | None] = []
    for at, is_internal in zip(meeting.bodies, (True, False), strict=True):
        regions = _regions(pair, 1 - pair.external if is_internal else pair.external)
        body = met.bodies[at]
        at_mm = pair.contacts[0].point_mm
        side = Side(body.body.name, letters, regions, is_internal, body.axes[2], at_mm)
        sides.append(None if bought is is_internal else side)
    return Wanted(
        joint=name,
        internal=sides[0],
        external=sides[1],
        size_mm=size_mm,
        sizes_mm={move.form in INTERNAL: move.drawn_mm for move in drawn.moves},
        gap_mm=drawn.gap_mm,
        facing=tuple(
            (one.regions[1 - pair.external], one.regions[pair.external]) for one in pair.contacts
        ),
        one_face=frozenset(move.form in INTERNAL for move in drawn.moves if move.faces == 1),
        is_absolute=bought is not None or any(move.faces == 1 for move in drawn.moves),
        is_slanted=bool(pair.slant_deg),
    )


def _regions(pair: Pair, side: int) -> tuple[Region, ...]:
    """Return the faces of one body in a pair, each once."""
    found = {region.number: region for contact in pair.contacts for region in contact.regions[side]}
    return tuple(found.values())


def _drawn(joint: JointAnswer, count: int) -> list[DrawnFacePair]:
    """Return what was answered for each pair of a joint; one answer stands for all alike."""
    found = joint.found
    if isinstance(found, SeveralAnswer):
        each = [DrawnFacePair(pair.gap_mm, pair.moves) for pair in found.pairs]
        return each if len(each) == count else each[:1] * count
    gap_mm = found.gap_mm if isinstance(found, Answer) else 0.0
    return [DrawnFacePair(gap_mm, joint.moves)] * count


def _listed_sizes(joint: JointAnswer, count: int) -> list[float]:
    several = joint.listed.several
    sizes = (joint.listed.joint.size_mm,) if several is None else several.sizes_mm
    return list(sizes) if len(sizes) == count else [sizes[0]] * count
