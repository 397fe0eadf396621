import csv
import json
import shutil
import struct

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from support.drawn_bodies import round_bar, threemf, threemf_object, write
from support.known_profile import known_profile
from support.moved_faces import between

from coupons.answering.meshes.mesh import read_bodies
from coupons.cli import main
from coupons.learning.profile_file import write_profile

BODIES = {
    "housing": between((-20, -15, 0), (20, 15, 20)) - between((-12, -20, 4), (12, 20, 21)),
    "drawer": between((-12, -15, 4), (12, 15, 20))
    + between((-20, -15, 20), (20, 15, 24))
    - round_bar(5, 9, (-16, 0, 16)),
    "lid": between((-20, -15, 24), (20, 15, 26)) + round_bar(5, 4, (-16, 0, 20.5)),
}


@pytest.fixture(scope="module")
def once(tmp_path_factory):
    folder = tmp_path_factory.mktemp("once")
    write_profile(known_profile(), folder / "profile.json")
    for name, solid in BODIES.items():
        write(solid, folder / f"{name}.stl")
    met(folder, *(f"{name}.stl" for name in BODIES))
    return folder


@pytest.fixture
def folder(once, tmp_path):
    return shutil.copytree(once, tmp_path / "part")


def met(folder, *files, fit="slide", more=()):
    paths = [str(folder / name) for name in files]
    result = CliRunner().invoke(
        main, ["meet", *paths, "-o", str(folder / "met"), "--fit", fit, *more]
    )
    assert result.exit_code == 0, result.output


def run(folder, *more, out="out"):
    arguments = [folder / "profile.json", folder / "met" / "meetings.csv", "-o", folder / out]
    return CliRunner().invoke(main, ["relieve", *map(str, arguments), *map(str, more)])


def edit(folder, old, new):
    path = folder / "met" / "meetings.csv"
    text = path.read_text(encoding="utf-8-sig")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def stl_corners(path):
    data = path.read_bytes()
    (count,) = struct.unpack("<I", data[80:84])
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    return np.frombuffer(data[84:], kind, count)["corners"]


def test_bodies_are_written_anew_with_their_gaps(folder):
    result = run(folder)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.output.splitlines())) <= 80
    with (folder / "out" / "moved-faces.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert {row["file"] for row in rows} == {"drawer.stl", "lid.stl"}
    drawer = trimesh.load_mesh(folder / "out" / "drawer.stl")
    assert drawer.is_watertight
    asked = next(row for row in rows if row["body"] == "drawer")
    below = drawer.vertices[drawer.vertices[:, 2] < 19.9]
    assert np.ptp(below[:, 0]) == pytest.approx(24 - float(asked["gap_asked_mm"]), abs=1e-4)
    assert float(asked["gap_in_files_mm"]) == pytest.approx(float(asked["gap_asked_mm"]), abs=2e-3)
    assert float(asked["volume_mm3"]) == pytest.approx(drawer.volume, rel=1e-6)
    assert not (folder / "out" / "housing.stl").exists()


@pytest.mark.slow
def test_what_is_drawn_as_asked_is_said_to_stay(once, tmp_path):
    """The relieved bodies, met again with the housing, need nothing more."""
    folder = shutil.copytree(once, tmp_path / "part")
    run(folder)
    for name in ("drawer.stl", "lid.stl"):
        shutil.copy(folder / "out" / name, folder / name)
    met(folder, *(f"{name}.stl" for name in BODIES))
    result = run(folder, out="again")
    assert result.exit_code == 0, result.output
    table = [line for line in result.output.splitlines() if ", A " in line or ", B " in line]
    assert [" stays " in line for line in table] == [True, True]
    assert "now, mm³" not in result.output
    assert {path.name for path in (folder / "again").iterdir()} == {"moved-faces.csv"}
    with (folder / "again" / "moved-faces.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert [(row["offset_mm"], row["file"], row["volume_mm3"]) for row in rows] == [
        ("0.0", "", ""),
        ("0.0", "", ""),
    ]


def test_each_joint_has_the_chance_and_the_warnings_that_joints_gives(tmp_path):
    """A pin that is printed lying, in a hole of a size that was not measured."""
    plate = between((-20, -15, 0), (20, 15, 8)) - round_bar(6, 20, (0, 0, -5))
    write(plate, tmp_path / "plate.stl")
    write(round_bar(6, 20, (0, 0, 0)), tmp_path / "pin.stl")
    measured = tuple(one for one in known_profile().measured if one.form != "pin")
    write_profile(known_profile(measured=measured), tmp_path / "profile.json")
    met(tmp_path, "plate.stl", "pin.stl", more=("--up", "pin=x"))
    paths = [str(tmp_path / "profile.json"), str(tmp_path / "met" / "meetings.csv")]
    whole = CliRunner().invoke(main, ["joints", *paths]).output
    (row,) = json.loads(CliRunner().invoke(main, ["joints", *paths, "--json"]).output)["joints"]
    told = [
        line for line in whole.replace("\n  ", " ").splitlines() if line.startswith("pin in pl")
    ]
    assert any("EXTRAPOLATED" in line for line in told)
    result = run(tmp_path)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.output.splitlines())) <= 80
    lines = result.output.replace("\n  ", " ").splitlines()
    assert set(told[1:]) <= set(lines)
    head, first = (line for line in lines if line.startswith(("joint ", "pin in plate, A  pin")))
    assert head.split()[-1] == "chance"
    assert first.endswith(f"{100 * row['chance']:.0f}\N{NO-BREAK SPACE}%")
    data = json.loads(run(tmp_path, "--json").output)
    assert data["moved"][0]["chance"] == pytest.approx(row["chance"], abs=1e-4)
    assert any("EXTRAPOLATED" in one for one in data["warnings"]["pin in plate, A"])
    with (tmp_path / "out" / "moved-faces.csv").open(encoding="utf-8-sig") as file:
        (saved,) = csv.DictReader(file)
    assert float(saved["chance"]) == pytest.approx(row["chance"], abs=1e-4)


def test_triangles_that_touch_no_moved_face_keep_their_bits(folder):
    run(folder)
    before, after = (stl_corners(folder / at / "lid.stl") for at in (".", "out"))
    on_pin = (np.linalg.norm(before[:, :, :2] - (-16, 0), axis=2) < 2.6).any(axis=1)
    assert 0 < on_pin.sum() < len(before)
    assert before[~on_pin].tobytes() == after[~on_pin].tobytes()
    assert not np.array_equal(before[on_pin], after[on_pin])


def test_the_same_input_gives_the_same_bytes(folder):
    run(folder)
    first = (folder / "out" / "drawer.stl").read_bytes()
    assert run(folder).exit_code == 0  # over its own files
    assert (folder / "out" / "drawer.stl").read_bytes() == first


def test_what_was_moved_as_data(folder):
    data = json.loads(run(folder, "--json").output)
    assert {row["joint"][:6] for row in data["moved"]} == {"drawer", "lid in"}
    assert data["left"] == {}


def test_no_body_that_was_read_is_written_over(folder):
    before = {name: (folder / f"{name}.stl").read_bytes() for name in BODIES}
    result = run(folder, out=".")
    assert result.exit_code == 1
    assert "a body that was read is never written over" in result.output
    assert {name: (folder / f"{name}.stl").read_bytes() for name in BODIES} == before
    assert not (folder / "moved-faces.csv").exists()


def test_nothing_is_written_where_another_file_stands(folder):
    (folder / "out").mkdir()
    (folder / "out" / "lid.stl").write_text("my own", encoding="utf-8")
    result = run(folder)
    assert result.exit_code == 1
    assert "lid.stl: expected an earlier relieved body to replace" in result.output
    assert sorted(path.name for path in (folder / "out").iterdir()) == ["lid.stl"]


EDITS = [
    ("A1 A2", "A1 A7", "There are no faces A7; there are A1 A2 B1"),
    ("A1 A2", "A1 B1", "A1 B1 are not the faces of one joint"),
    (",housing,drawer,", ",housing,door,", "There is no body 'door'"),
    ("A1 A2", "", "The list names no faces for it"),
    (",24,x,", ",18,x,", "Housing A1 A2 measures 24.00 mm, the list says 18 mm"),
]


@pytest.mark.parametrize(("old", "new", "words"), EDITS)
def test_a_row_whose_faces_are_no_more_is_left_and_the_rest_is_written(folder, old, new, words):
    edit(folder, old, new)
    result = run(folder)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert words in said
    assert "un `coupons meet` again" in said or "ut back the row as `coupons meet` wrote it" in said
    assert [path.name for path in sorted((folder / "out").iterdir())] == [
        "lid.stl",
        "moved-faces.csv",
    ]


def test_hardware_moves_the_printed_side_alone(folder):
    with (folder / "met" / "meetings.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        if row["internal"] == "hole":
            row |= {"internal": "", "external": "", "hardware": "pin 5 m6", "fit": "push"}
    with (folder / "met" / "meetings.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*rows[0], *({"hardware"} - set(rows[0]))])
        writer.writeheader()
        writer.writerows(rows)
    result = run(folder)
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in (folder / "out").iterdir()) == [
        "drawer.stl",
        "moved-faces.csv",
    ]
    assert "⌀ 5." in result.output


def test_a_body_that_changed_since_it_was_met_is_refused(folder):
    write(BODIES["drawer"].translate((0.1, 0, 0)), folder / "drawer.stl")
    result = run(folder)
    assert result.exit_code == 1
    assert "drawer.stl: expected the file that was met, got one that changed since" in result.output
    assert not (folder / "out").exists()


def test_a_list_without_faces_is_refused(folder):
    (folder / "met" / "meetings.csv").write_text(
        "name,internal,external,size_mm,across,fit\na,slot,tongue,12,x,slide\n", encoding="utf-8"
    )
    result = run(folder)
    assert result.exit_code == 1
    assert "faces" in result.output


def test_the_profile_comes_first(folder):
    arguments = ["relieve", str(folder / "met" / "meetings.csv"), str(folder / "profile.json")]
    result = CliRunner().invoke(main, [*arguments, "-o", str(folder / "out")])
    assert result.exit_code == 2
    assert "The profile comes first, then the list" in " ".join(result.output.split())


def test_objects_of_one_package_are_written_one_by_one(folder):
    """Each keeps its place and every digit of what does not move."""
    names = ("housing", "drawer")
    objects = "".join(threemf_object(BODIES[n], i, n) for i, n in enumerate(names, 1))
    placed = "".join(
        f'<item objectid="{i}" transform="0 1 0 -1 0 0 0 0 1 0.1 0.2 0.3"/>' for i in (1, 2)
    )
    (folder / "both.3mf").write_bytes(threemf(objects, placed))
    met(folder, "both.3mf")
    result = run(folder)
    assert result.exit_code == 0, result.output
    drawn = read_bodies([folder / "both.3mf"]).bodies[1]
    (moved,) = read_bodies([folder / "out" / "drawer.3mf"]).bodies
    assert moved.name == "drawer"
    still = (np.abs(drawn.corners_mm[:, :, 1] - 0.2) > 12.1).all(axis=1)
    assert still.any()
    assert drawn.corners_mm[still].tobytes() == moved.corners_mm[still].tobytes()


def test_the_list_is_read_by_joints_without_a_word_about_faces(folder):
    paths = [str(folder / "profile.json"), str(folder / "met" / "meetings.csv")]
    result = CliRunner().invoke(main, ["joints", *paths])
    assert result.exit_code == 0, result.output
    assert "not used" not in result.output


def test_a_joint_that_lies_askew_is_answered_with_a_word_about_the_angle(tmp_path):
    for name in ("housing", "drawer"):
        write(BODIES[name].rotate((0, 0, 37)), tmp_path / f"{name}.stl")
    write_profile(known_profile(), tmp_path / "profile.json")
    met(tmp_path, "housing.stl", "drawer.stl")
    paths = [str(tmp_path / "profile.json"), str(tmp_path / "met" / "meetings.csv")]
    for result in (CliRunner().invoke(main, ["joints", *paths]), run(tmp_path)):
        said = " ".join(result.output.split())
        assert "Drawn 8° off the direction that is answered. Turn the bodies in" in said
    edit(tmp_path, ",8.0", ",eight")
    said = " ".join(CliRunner().invoke(main, ["joints", *paths]).output.split())
    assert "row 2: expected off_axis_deg from 0 to 90, got 'eight'." in said


def test_a_list_that_was_moved_is_told_where_to_be(folder, tmp_path):
    alone = shutil.copy(folder / "met" / "meetings.csv", tmp_path / "alone.csv")
    arguments = [folder / "profile.json", alone, "-o", folder / "out"]
    result = CliRunner().invoke(main, ["relieve", *map(str, arguments)])
    assert result.exit_code == 1
    assert "expected the record of the bodies beside the list, got no meetings.json in" in (
        result.stderr
    )
    assert "Keep the list in the folder that `coupons meet` wrote." in result.stderr


@pytest.mark.parametrize("command", ["relieve", "joints"])
def test_the_folder_of_a_list_stands_for_it(folder, command):
    arguments = [folder / "profile.json", folder / "met", "-o", folder / "out"]
    result = CliRunner().invoke(main, [command, *map(str, arguments)])
    assert result.exit_code == 0, result.output
    assert "drawer in housing, A" in result.output


def test_the_heads_say_from_where_faces_move(folder):
    """The drawer is drawn 0 mm apart here, but might be drawn with a gap: then they differ."""
    paths = [str(folder / "profile.json"), str(folder / "met" / "meetings.csv")]
    asked = CliRunner().invoke(main, ["joints", *paths, "-o", str(folder / "asked")]).output
    assert " from nominal, mm" in asked
    assert "each face from nominal, mm" in (folder / "asked" / "joints.html").read_text("utf-8")
    moved = run(folder).output
    assert " from file, mm" in moved
    assert "Each face moves from its place in the file. Gap: as written, over both sides." in moved


def test_it_has_help():
    result = CliRunner().invoke(main, ["relieve", "-h"])
    assert result.exit_code == 0
    assert "meetings.csv" in result.output


def test_a_joint_that_is_left_says_how_to_move_it_by_hand(tmp_path):
    """A wall of 0.7 mm, which is under two lines of a 0.4 mm nozzle, cannot get thinner."""
    tongue = between((0, 0, 4), (8, 30, 14)) - between((0.7, -1, 9), (7.3, 31, 15))
    write(
        between((-5, 0, 0), (13, 30, 14)) - between((0, -1, 4), (8, 31, 15)), tmp_path / "bed.stl"
    )
    write(tongue, tmp_path / "tongue.stl")
    write_profile(known_profile(), tmp_path / "profile.json")
    met(tmp_path, "bed.stl", "tongue.stl")
    result = run(tmp_path)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert "left as drawn. Tongue A1 A2 would leave a wall of" in said
    words = "--joint slot/tongue --size 8 --across x --fit slide --contact 30 --json"
    profile = str(tmp_path / "profile.json")
    asked = CliRunner().invoke(main, ["offset", profile, *words.split()])
    (move,) = json.loads(asked.output)["moves"]
    by = f"{move['offset_mm']:.2f}".replace("-", "−")
    assert f"Move it in your drawing: each face of tongue A1 A2 by {by} mm, into" in said


def test_the_flat_of_a_shaft_is_named_when_its_round_moves(tmp_path):
    """It would hold the shaft as drawn, though the round around it has its gap."""
    cut = between((-5, 2, -9), (5, 6, 20))
    hub = round_bar(18, 8) - (round_bar(6, 20, (0, 0, -5), 72) - cut)
    write(hub, tmp_path / "hub.stl")
    write(round_bar(6, 20, (0, 0, -5), 72) - cut, tmp_path / "shaft.stl")
    write_profile(known_profile(), tmp_path / "profile.json")
    met(tmp_path, "hub.stl", "shaft.stl")
    result = run(tmp_path)
    said = " ".join(result.output.split())
    with (tmp_path / "out" / "moved-faces.csv").open(encoding="utf-8-sig") as file:
        (row,) = csv.DictReader(file)
    by = row["offset_mm"].replace("-", "−")
    assert (
        f"was not moved. Move it in your drawing, or it holds the pin: that of shaft by {by}"
        in said
    )


@pytest.fixture(scope="module")
def pattern(tmp_path_factory):
    """A cover on four pins of 5 mm, two of them 70 mm apart."""
    folder = tmp_path_factory.mktemp("pattern")
    base, cover = between((0, 0, 0), (90, 40, 6)), between((0, 0, 6), (90, 40, 12))
    for x, y in ((8, 8), (78, 10), (14, 31), (60, 33)):
        base += round_bar(4.8, 5, (x, y, 5.5), 48)
        cover -= round_bar(5, 8, (x, y, 5), 48)
    write(base, folder / "base.stl")
    write(cover, folder / "cover.stl")
    write_profile(known_profile(), folder / "profile.json")
    met(folder, "base.stl", "cover.stl")
    return folder


@pytest.mark.slow
@pytest.mark.parametrize(("fit", "gaps"), [("slide", 1), ("push", 2)])
def test_all_pins_of_a_pattern_with_one_fit_get_one_gap(pattern, tmp_path, fit, gaps):
    """The two farthest apart need more than one alone: their places err too."""
    folder = shutil.copytree(pattern, tmp_path / "part")
    path = folder / "met" / "meetings.csv"
    first, second, *others = path.read_text(encoding="utf-8-sig").splitlines()
    others = [line.replace(",slide,", f",{fit},") for line in others]
    path.write_text("\n".join((first, second, *others)) + "\n", encoding="utf-8")
    result = run(folder)
    assert result.exit_code == 0, result.output
    with (folder / "out" / "moved-faces.csv").open(encoding="utf-8-sig") as file:
        asked = [float(row["gap_asked_mm"]) for row in csv.DictReader(file)]
    assert len(asked) == 4
    assert len(set(asked)) == gaps
    assert asked[2] <= asked[0]
