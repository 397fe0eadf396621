"""Holes that meet no body: found and listed, left alone unless the list says what goes in."""

import csv
import io

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from support.drawn_bodies import box, drawn, round_bar, write
from support.known_profile import known_profile
from support.meeting_cases import TILT, cases, turned

from coupons.answering.meet import lone
from coupons.answering.meet.list_rows import list_csv
from coupons.answering.meet.meetings import meet
from coupons.answering.meshes.rounds import Cylinder
from coupons.cli import main
from coupons.learning.profile_file import write_profile


def plates():
    """A cover with two through holes and a blind one, over a base with a drilled blind hole."""
    cover = box(40, 20, 5, (0, 0, 6))
    for x in (8, 32):
        cover -= round_bar(3.4, 20, (x, 10, 0), 48)
    cover -= round_bar(6, 3, (20, 10, 9), 48)
    # A drill leaves a pointed bottom, here of 118 degrees.
    tip = 1.25 / np.tan(np.radians(59))
    drill = turned([(0, 1 - tip), (1.25, 1), (1.25, 7), (0, 7)], 48)
    return {"cover": cover, "base": box(40, 20, 6) - drill.translate((8, 10, 0))}


def met(solids, ups=None):
    return meet([drawn(solid, name) for name, solid in solids.items()], ups)


def lone_rows(found):
    rows = csv.DictReader(io.StringIO(list_csv(found)))
    return [row for row in rows if row["alone"]]


def test_through_and_blind_holes_are_listed_apart_and_nothing_is_asked_of_them():
    rows = lone_rows(met(plates()))
    told = [(r["internal_body"], r["alone"], r["size_mm"], r["depth_mm"]) for r in rows]
    assert sorted(told) == [
        ("base", "blind hole", "2.5", "5.00"),
        ("cover", "blind hole", "6", "2.00"),
        ("cover", "through hole", "3.4", "5.00"),
        ("cover", "through hole", "3.4", "5.00"),
    ]
    assert [row["faces"] for row in rows] == ["U1", "U2", "U3", "U4"]
    assert {(row["fit"], row["hardware"], row["external"]) for row in rows} == {("", "", "")}
    assert {row["across"] for row in rows} == {"z"}
    turned_over = {name: solid.rotate((90, 0, 0)) for name, solid in plates().items()}
    assert {row["across"] for row in lone_rows(met(turned_over))} == {"y"}


@pytest.mark.slow
def test_holes_of_joints_are_none_of_them():
    by_name = {case.name: case for case in cases()}
    for name in ("pin 64 0.2", "two screws", "hinge", "ring around a rod", "taper 0.050 0.2 24"):
        assert not met(by_name[name].placed()).lone, name


def test_a_hole_crossed_by_another_and_one_in_two_walls_count_once():
    bracket = box(30, 20, 20) - box(20, 30, 20, (5, -5, 5))
    bracket -= round_bar(4, 60, (0, 0, -10), 32).rotate((0, 90, 0)).translate((0, 10, 12))
    (hole,) = met({"bracket": bracket.rotate(TILT), "far": box(9, 9, 9, (200, 0, 0))}).lone
    assert hole.is_through
    assert hole.depth_mm == pytest.approx(10, abs=1e-3)
    assert len(hole.regions) == 2


@pytest.fixture
def folder(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    for name, solid in plates().items():
        write(solid, tmp_path / f"{name}.stl")
    # A joint beside the holes, so that the list has both.
    write(box(40, 4, 7, (0, 20, -4)) - box(8, 9, 9, (10, 19, 0)), tmp_path / "rail.stl")
    write(box(8, 4, 3, (10, 20, 0)), tmp_path / "tab.stl")
    names = [str(tmp_path / f"{name}.stl") for name in ("cover", "base", "rail", "tab")]
    done = CliRunner().invoke(main, ["meet", *names, "-o", str(tmp_path / "met")])
    assert done.exit_code == 0, done.output
    assert "holes that meet no body" in done.output
    notes = done.output.split("Wrote")[0].splitlines()
    assert max(map(len, notes)) <= 80
    return tmp_path


def edited(folder, **by_faces):
    """Write something into rows of the list, by the label of their faces."""
    path = folder / "met" / "meetings.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    for row in rows:
        row.update(by_faces.get(row["faces"].replace(" ", "_"), {}))
    text = io.StringIO()
    writer = csv.DictWriter(text, [*rows[0], "move"], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def run(command, folder, *more):
    listed, profile = str(folder / "met" / "meetings.csv"), str(folder / "profile.json")
    return CliRunner().invoke(main, [command, profile, listed, *more])


def test_joints_leaves_them_out_and_says_so(folder):
    done = run("joints", folder)
    assert done.exit_code == 0, done.output
    assert "4 holes that meet nothing are left alone" in done.stderr
    assert "hole in" not in done.stdout


def test_only_the_holes_that_are_told_so_move(folder):
    edited(folder, U1={"hardware": "screw M3 medium"}, U4={"fit": "draw 2.6"})
    done = run("relieve", folder, "-o", str(folder / "out"))
    assert done.exit_code == 0, done.output
    cover, base = (trimesh.load_mesh(folder / "out" / f"{n}.stl") for n in ("cover", "base"))
    for x, diameter in ((8, None), (32, 3.4)):
        rim = cover.vertices[cover.vertices[:, 2] > 10.9][:, :2] - (x, 10)
        rim = rim[np.linalg.norm(rim, axis=1) < 3]
        size = 2 * np.linalg.norm(rim, axis=1)
        assert np.ptp(size) < 1e-4
        if diameter:
            assert size[0] == pytest.approx(diameter, abs=1e-4)
        else:
            assert 3.4 < size[0] < 3.9  # the printed hole of ISO 273 is 3.4
    rim = base.vertices[(base.vertices[:, 2] > 5.9)][:, :2] - (8, 10)
    rim = rim[np.linalg.norm(rim, axis=1) < 3]
    assert 2 * np.linalg.norm(rim, axis=1) == pytest.approx(2.6, abs=1e-4)
    done = run("joints", folder)
    assert "hole in cover, U1" in done.stdout
    assert "2 holes that meet nothing" in done.stderr


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"fit": "draw wide"}, "expected draw and a diameter"),
        ({"fit": "slide", "move": "external"}, "expected move internal"),
        ({"hardware": "screw M99"}, "expected screw with one of"),
    ],
)
def test_what_is_written_wrongly_beside_a_hole_is_told(folder, cells, words):
    edited(folder, U1=cells)
    done = run("relieve", folder, "-o", str(folder / "out"))
    assert done.exit_code == 1
    assert words in done.stderr


def test_hardware_that_is_not_of_the_hole_is_refused_by_name(folder):
    edited(folder, U1={"hardware": "screw M8 medium"})
    done = run("relieve", folder, "-o", str(folder / "out"))
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert "hole in cover, U1: left as drawn. Cover U1 measures 3.40 mm" in said
    assert (folder / "out" / "tab.stl").exists()


def test_a_plate_of_many_holes_is_compared_near_by_near():
    """Pieces of one axis are joined as by comparing every pair, and few pairs are compared."""
    rng = np.random.default_rng(8)
    tilted = np.array([0.6, 0.0, 0.8])
    pieces = []
    for n in range(80):
        axis = tilted if n % 3 else np.array([0.0, 0.0, 1.0])
        foot = np.array([4.0 * (n % 20), 3.0 * (n // 20), 0.0])
        for shift in (0.0, 30.0)[: 1 + n % 2]:  # every other one is in two walls
            sign = rng.choice([-1.0, 1.0])
            pieces.append(
                Cylinder(
                    sign * axis, foot + shift * axis, 2.0, 1.99, 1.995, 0.0, True, 360.0, 2.0, 48
                )
            )
    near = lone._near_lines(pieces)
    every = [(i, j) for j in range(len(pieces)) for i in range(j)]
    same = {pair for pair in every if lone.is_same_round(*(pieces[n] for n in pair))}
    assert len(same) == 40
    assert same <= set(near)
    assert len(near) < len(every) / 50
