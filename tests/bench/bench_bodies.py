"""How long it takes to meet two bodies and to relieve them, by their number of triangles.

The yardstick is what the general mesh library takes to load both files and to find which triangles
are neighbours, with the angles between them. Times are of the processor, not of the clock, each the
least of several runs in a process of its own; memory is the most that the process held.
Run from the root of the project:

    PYTHONPATH=tests python tests/bench/bench_bodies.py --json results/bench/bodies.json
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from manifold3d import Manifold
from support.drawn_bodies import box, round_bar, write

SIZES = (2_000, 20_000, 100_000, 400_000)
KINDS = ("machined", "free-form")
REPEATS = 2


def machined(triangles: int) -> tuple[Manifold, Manifold]:
    """A plate on two pins, with a tongue in a slot, turned; every face divided finely."""
    plate = box(60, 40, 10) - box(60, 8, 4, (0, 16, 6)) - round_bar(5, 30, (10, 8, -5), 96)
    plate -= round_bar(5, 30, (50, 32, -5), 96)
    mate = box(60, 40, 5, (0, 0, 10)) + box(60, 7.8, 4.5, (0, 16.1, 6))
    mate += round_bar(4.8, 14, (10, 8, -2), 96) + round_bar(4.8, 14, (50, 32, -2), 96)
    pair = (plate.rotate((31, 17, 60)), mate.rotate((31, 17, 60)))
    return pair[0].refine(_fine(pair[0], triangles)), pair[1].refine(_fine(pair[1], triangles))


def free_form(triangles: int) -> tuple[Manifold, Manifold]:
    """A ball in a cup with the same centre: one large face each that is neither flat nor round."""
    around = 4 * max(2, round((triangles / 8) ** 0.5))  # a ball has 8 triangles a quarter squared
    ball = Manifold.sphere(7.9, around)
    return box(20, 20, 20, (-10, -10, -20)) - Manifold.sphere(8, int(around * 1.4)), ball


def _fine(solid: Manifold, triangles: int) -> int:
    return max(1, round((triangles / solid.num_tri()) ** 0.5))


def theirs(paths: list[Path]) -> None:
    import trimesh

    for path in paths:
        mesh = trimesh.load_mesh(path)
        assert len(mesh.face_adjacency)
        assert len(mesh.face_adjacency_angles)


def ours(paths: list[Path]) -> None:
    from coupons.answering.meet.meetings import meet
    from coupons.answering.meshes.mesh import read_bodies

    met = meet(read_bodies(paths).bodies)
    assert met.joints or met.free


def moved(paths: list[Path]) -> None:
    """Relieve every joint by 0.2 mm, from the files that were met to the files that are written."""
    from coupons.answering.chances.drawing import FaceMove
    from coupons.answering.meet.meetings import meet
    from coupons.answering.meshes.mesh import read_bodies
    from coupons.answering.relieve.asked_faces import DrawnFacePair, wanted_pair
    from coupons.answering.relieve.relieved_files import relieve_into_files
    from coupons.terms import Form

    met = meet(read_bodies(paths, is_sound=True).bodies)
    wanted = []
    for joint in met.joints:
        for number, pair in enumerate(joint.group.pairs):
            form = Form.PIN if pair.is_round else Form.TONGUE
            size_mm = pair.sizes_mm[0]
            gap_mm = pair.gap_mm + 0.2
            drawn = DrawnFacePair(gap_mm, (FaceMove(form, -gap_mm / 2, 2, size_mm - gap_mm),))
            wanted.append(wanted_pair(met, joint, number, joint.letter, drawn, size_mm))
    walls = {one.body.name: 0.8 for one in met.bodies}
    divided = [one.surface.regions for one in met.bodies]
    written = relieve_into_files(divided, wanted, walls, {})
    assert written.files
    assert not written.relieved.refused, written.relieved.refused


def timed(work: Callable[[list[Path]], None], paths: list[Path]) -> dict[str, float]:
    """Seconds of the processor, and megabytes at the most; imports are not counted."""
    work(paths)
    seconds = []
    for _ in range(REPEATS):
        start = time.process_time()
        work(paths)
        seconds.append(time.process_time() - start)
    return {
        "seconds": round(min(seconds), 3),
        "megabytes": round(most_held_kb() / 1024),
    }


def most_held_kb() -> int:
    """The most memory that this process held; what its parent held is not in it."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmHWM:")[1].split()[0])


def apart(name: str, paths: list[Path]) -> dict[str, float]:
    """Time a work in a process of its own."""
    arguments = [sys.executable, __file__, "--one", name, *map(str, paths)]
    done = subprocess.run(arguments, capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout))


def row(kind: str, triangles: int, folder: Path) -> dict[str, object]:
    pair = (machined if kind == "machined" else free_form)(triangles)
    paths = [write(solid, folder / f"{kind}-{triangles}-{n}.stl") for n, solid in enumerate(pair)]
    found = {name: apart(name, paths) for name in ("theirs", "ours")}
    if kind == "machined":  # free-form faces are never moved
        found["relieved"] = apart("relieved", paths)
    row: dict[str, object] = {
        "bodies": kind,
        "triangles": [solid.num_tri() for solid in pair],
        "load_s": found["theirs"]["seconds"],
        "meet_s": found["ours"]["seconds"],
        "share": round(found["ours"]["seconds"] / found["theirs"]["seconds"], 2),
        "load_mb": found["theirs"]["megabytes"],
        "meet_mb": found["ours"]["megabytes"],
    }
    if "relieved" in found:
        row |= {
            "relieve_s": found["relieved"]["seconds"],
            "relieve_share": round(found["relieved"]["seconds"] / found["theirs"]["seconds"], 2),
            "relieve_mb": found["relieved"]["megabytes"],
        }
    return row


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--most", type=int, default=SIZES[-1], help="triangles of the largest body")
    parser.add_argument("--one", nargs="+", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        work = {"theirs": theirs, "ours": ours, "relieved": moved}[options.one[0]]
        print(json.dumps(timed(work, [Path(path) for path in options.one[1:]])))
        return
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for kind in KINDS:
            for triangles in (size for size in SIZES if size <= options.most):
                rows.append(row(kind, triangles, Path(folder)))
                print(json.dumps(rows[-1]), flush=True)
    if options.json:
        options.json.write_text(json.dumps({"repeats": REPEATS, "rows": rows}, indent=1) + "\n")


if __name__ == "__main__":
    main()
