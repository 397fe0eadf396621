"""Relieved bodies as files, read back and measured again before any is kept.

What is measured stands in the files, not in memory: each must hold one closed body that does not
cross itself, each joint must have the gap that was asked, and no two bodies may overlap where they
did not before, but in a joint that is to be pressed. A joint that fails is left as it was drawn,
and the rest is made again without it.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from coupons.answering.meshes.body import Body, Ints
from coupons.answering.meshes.body_files import file_bytes, file_names
from coupons.answering.meshes.mesh import read_again, read_bodies
from coupons.answering.meshes.regions import Region
from coupons.answering.meshes.soundness import crossings_between
from coupons.answering.relieve.relieve import FaceStep, Relieved, Wanted, relieve
from coupons.errors import BodyError

FLAT_MM, ROUND_MM = 0.002, 0.005
"""So much may a gap in the files differ from what was asked."""


@dataclass(frozen=True)
class Written:
    """Relieved bodies as files.

    Parameters
    ----------
    relieved : Relieved
    files : mapping of str to bytes
        By file name.
    names : mapping of str to str
        The file name of each body that changed, by the name of the body.
    volumes_mm3 : mapping of str to (float, float)
        Of each of these bodies, as drawn and in its file.
    gaps_mm : tuple of float
        Of each pair that was wanted, in the files; with hardware, the size of the printed side.
    """

    relieved: Relieved
    files: Mapping[str, bytes]
    names: Mapping[str, str]
    volumes_mm3: Mapping[str, tuple[float, float]]
    gaps_mm: tuple[float, ...]


def relieve_into_files(
    divided: Sequence[Sequence[Region]],
    wanted: Sequence[Wanted],
    least_wall_mm: Mapping[str, float],
    metadata: Mapping[str, str],
    refused: Mapping[str, str] | None = None,
) -> Written:
    """Move the faces of all joints, and return the files of the bodies that change.

    Parameters
    ----------
    divided : sequence of sequence of Region
        Each body as its regions.
    wanted : sequence of Wanted
    least_wall_mm : mapping of str to float
        By the name of the body; walls are not made thinner than this.
    metadata : mapping of str to str
        Written into 3MF files.
    refused : mapping of str to str, optional
        Joints that are to be left as they are, with the reason.
    """
    drawn = {regions[0].body.name: regions[0].body for regions in divided}
    names = file_names(drawn.values())
    reasons = dict(refused or {})
    while True:
        found = relieve(divided, wanted, least_wall_mm, reasons)
        files = {
            names[name]: file_bytes(body, names[name], metadata)
            for name, body in found.bodies.items()
        }
        read, faults = _read_back(found, files, names)
        if not faults:
            now = drawn | read
            left = found.refused
            gaps = [math.nan if pair.joint in left else pair.gap_in(now) for pair in wanted]
            faults = _gap_faults(wanted, found, now) | _overlap_faults(wanted, found, drawn, now)
        if not faults:
            volumes = {name: (drawn[name].volume_mm3, read[name].volume_mm3) for name in read}
            changed = {name: names[name] for name in read}
            return Written(found, files, changed, volumes, tuple(gaps))
        reasons = dict(found.refused) | faults


def _read_back(
    found: Relieved, files: Mapping[str, bytes], names: Mapping[str, str]
) -> tuple[dict[str, Body], dict[str, str]]:
    """Return the bodies as another program would read them, and why their joints failed."""
    read: dict[str, Body] = {}
    faults: dict[str, str] = {}
    with TemporaryDirectory(prefix="coupons-") as folder:
        for name, body in found.bodies.items():
            path = Path(folder) / names[name]
            path.write_bytes(files[names[name]])
            again, why = _read_one(path, body)
            if again is not None:
                read[name] = again
            faults |= {step.joint: why for step in found.moved if why and step.side.body == name}
    return read, faults


def _read_one(path: Path, body: Body) -> tuple[Body | None, str]:
    try:
        again = read_again(path, body)
        read = (again,) if again else read_bodies([path], "mm", is_sound=True).bodies
    except BodyError as error:
        problem = error.problems[0]
        return None, f"{body.name} would not be {problem.expected}, but {problem.got}"
    if any(len(one.edges.opened) or len(one.edges.turned) for one in read):
        return None, f"{body.name} would not be a closed surface"
    if len(read) != 1:
        return None, f"{body.name} would fall into {len(read)} bodies"
    # It does not cross itself in memory: then nor does what is the same to within a fifth of a µm.
    same = read[0].corners_mm.shape == body.corners_mm.shape
    if not same or np.abs(read[0].corners_mm - body.corners_mm).max() > FLAT_MM / 10:
        return None, f"{body.name} would lose triangles as its file is read"
    return again or Body(body.name, body.file, read[0].vertices_mm, read[0].triangles), ""


def _gap_faults(
    wanted: Sequence[Wanted], found: Relieved, now: Mapping[str, Body]
) -> dict[str, str]:
    """Find joints whose gap in the files is not what was asked."""
    faults = {}
    for pair in wanted:
        if pair.joint in found.refused:
            continue
        for asked_mm, got_mm, what in _asked(pair, now):
            limit_mm = ROUND_MM if pair.is_round else FLAT_MM
            if abs(got_mm - asked_mm) > limit_mm:
                faults[pair.joint] = f"{what} would be {got_mm:.3f} mm, asked {asked_mm:.3f} mm"
    return faults


def _asked(pair: Wanted, now: Mapping[str, Body]) -> Iterator[tuple[float, float, str]]:
    """Yield what was asked of a pair, what its files have, and what that is."""
    if pair.is_absolute:
        for side in pair.sides:
            if side.is_internal in pair.sizes_mm:
                size_mm = side.size_in(now[side.body])
                yield pair.sizes_mm[side.is_internal], size_mm, f"{side.body} {side.letters}"
    else:
        yield pair.gap_mm, pair.gap_in(now), "its gap"


def _overlap_faults(
    wanted: Sequence[Wanted],
    found: Relieved,
    drawn: Mapping[str, Body],
    now: Mapping[str, Body],
) -> dict[str, str]:
    """Find joints whose faces were moved into another body, though no press was asked."""
    pressed = {
        frozenset(side.body for side in pair.sides)
        for pair in wanted
        if len(pair.sides) == 2 and pair.joint not in found.refused and pair.gap_mm < 0
    }
    faults: dict[str, str] = {}
    for name in found.bodies:
        moved = _moved_triangles(drawn[name], now[name])
        for other in now:
            if other == name or frozenset((name, other)) in pressed:
                continue
            after = crossings_between(now[name], moved, now[other])
            if not len(after):
                continue
            before = crossings_between(drawn[name], moved, drawn[other])
            fresh = np.setdiff1d(after[:, 0], before[:, 0])
            own = [step for step in found.moved if step.side.body == name]
            for step in _at_fault(own, drawn[name], found.bodies[name], fresh, now[other]):
                faults[step.joint] = f"{name} {step.side.letters} would go into {other}"
    return faults


def _moved_triangles(drawn: Body, now: Body) -> Ints:
    return np.flatnonzero((drawn.corners_mm != now.corners_mm).any(axis=(1, 2)))


def _at_fault(
    moved: Sequence[FaceStep], drawn: Body, changed: Body, inside: Ints, other: Body
) -> list[FaceStep]:
    """Return the moved faces of a body that bring triangles into another body.

    A moved face that is in it itself does. Triangles beside a moved face are stretched by it: of
    those that have corners of no face that is found already, the face is sought that brings them in
    by itself. Where none does, all that stretch them are taken; a rounding may go along with any.
    """
    if not len(inside):
        return []
    touched = [step for step in moved if np.isin(step.region.faces, inside).any()]
    beside = np.setdiff1d(inside, np.concatenate([step.region.faces for step in moved]))
    for step in touched:
        beside = beside[~_has_corners_of(step, drawn, changed.triangles[beside])]
    stretching = [
        step for step in moved if _has_corners_of(step, drawn, changed.triangles[beside]).any()
    ]
    alone = [step for step in stretching if _comes_in(step, drawn, changed, beside, other)]
    return [*touched, *(alone or stretching)] or list(moved)


def _has_corners_of(step: FaceStep, drawn: Body, triangles: Ints) -> NDArray[np.bool_]:
    """Tell which triangles have a corner of a moved face."""
    return np.asarray(np.isin(triangles, drawn.triangles[step.region.faces]).any(axis=1))


def _comes_in(step: FaceStep, drawn: Body, changed: Body, triangles: Ints, other: Body) -> bool:
    """Tell whether triangles go into another body when one face alone is moved."""
    corners = drawn.triangles[step.region.faces]
    vertices_mm = drawn.vertices_mm.copy()
    vertices_mm[corners] = changed.vertices_mm[corners]
    moved = Body("", "", vertices_mm, changed.triangles)
    return len(crossings_between(moved, triangles, other)) > 0
