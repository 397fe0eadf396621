import csv
import io
import json

import pytest
from click.testing import CliRunner
from support.drawn_bodies import box, write
from support.meeting_cases import pin_in_plate, pocket, rail

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.meet.met_files import meet_again
from coupons.cli import main
from coupons.errors import BodyError


@pytest.fixture
def drawer(tmp_path):
    """A tongue in a slot and a pin in a plate, as four files in place."""
    bodies = rail(0.2) | {n: s.translate((0, 0, 60)) for n, s in pin_in_plate(0.3, 64).items()}
    return [write(solid, tmp_path / f"{name}.stl") for name, solid in bodies.items()]


def run(*arguments):
    return CliRunner().invoke(main, ["meet", *map(str, arguments)])


def test_the_list_is_one_that_joints_reads_as_it_is(drawer, tmp_path):
    result = run(*drawer, "-o", tmp_path / "out", "--fit", "push")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert max(len(line) for line in lines if str(tmp_path) not in line) <= 80
    listed = tmp_path / "out" / "meetings.csv"
    assert f"- coupons joints PROFILE {listed}" in lines[lines.index("Next:") :]
    assert "tongue in channel, A: tongue in slot, 8 mm, drawn gap 0.2 mm" in result.stdout
    assert "R1: channel and tongue, touching" in result.stdout
    listed = read_joints(tmp_path / "out" / "meetings.csv").joints
    got = [(one.joint.internal, one.joint.size_mm, one.joint.direction, one.fit) for one in listed]
    assert got == [("slot", 8.0, "x", "push"), ("hole", 6.0, "z", "push")]


def test_the_list_as_data(drawer):
    result = run(*drawer, "--json", "--up", "tongue=x")
    first, second = json.loads(result.stdout)
    assert (first["across"], first["drawn_gap_mm"]) == ("x/z", "0.2")
    assert (second["internal_body"], second["external_body"]) == ("plate", "pin")


def test_bodies_that_never_meet_end_with_1_and_the_nearest_distance(tmp_path):
    one = write(box(9, 9, 9), tmp_path / "one.stl")
    two = write(box(9, 9, 9, (12, 0, 0)), tmp_path / "two.stl")
    result = run(one, two)
    assert result.exit_code == 1
    said = " ".join(result.stdout.split())
    assert "one meets nothing: two is nearest, 3 mm away." in said
    assert "Export both in place, from one origin; if they are, add --reach 3." in said
    assert run(one, two, "--reach", "3").exit_code == 1
    assert "R1: one and two, 3 mm apart" in run(one, two, "--reach", "3").stdout
    far = write(box(9, 9, 9, (70, 0, 0)), tmp_path / "far.stl")
    said = " ".join(run(one, far).stdout.split())
    assert "far is nearest, 61 mm away. Export both in place, from one origin. " in said


def test_a_file_that_is_not_there_is_a_wrong_path(tmp_path):
    result = run(write(box(9, 9, 9), tmp_path / "one.stl"), tmp_path / "none.stl")
    assert result.exit_code == 1
    assert "none.stl: expected a file or folder that can be opened, got no such" in result.stderr
    assert result.stderr.endswith("Correct the path.\n")


def test_one_body_alone_is_told_so(tmp_path):
    result = run(write(box(9, 9, 9), tmp_path / "one.stl"))
    assert result.exit_code == 1
    assert "expected two bodies or more, got one" in result.output


def test_a_list_that_was_edited_is_never_written_over(drawer, tmp_path):
    out = tmp_path / "out"
    run(*drawer, "-o", out)
    assert run(*drawer, "-o", out, "--fit", "loose").exit_code == 0  # untouched: made anew
    listed = out / "meetings.csv"
    listed.write_text(listed.read_text("utf-8-sig").replace("loose", "push"), "utf-8")
    result = run(*drawer, "-o", out)
    assert result.exit_code == 1
    assert "meetings.csv" in result.output
    assert "push" in listed.read_text()


def test_the_same_faces_are_found_again_and_a_changed_body_is_refused(drawer, tmp_path):
    out = tmp_path / "out"
    run(*drawer, "-o", out, "--up", "pin=-z", "--reach", "0.4")
    again = meet_again(out / "meetings.csv")
    rows = list(csv.DictReader(io.StringIO((out / "meetings.csv").read_text("utf-8-sig"))))
    assert [" ".join(joint.labels) for joint in again.met.joints] == [r["faces"] for r in rows]
    assert again.met.bodies[3].up == "-z"
    assert again.met.reach_mm == 0.4
    write(box(9, 9, 9), drawer[0])
    with pytest.raises(BodyError, match=r"channel.stl: expected the file that was met"):
        meet_again(out / "meetings.csv")


def test_problems_of_files_are_lines_and_nothing_is_written(tmp_path):
    (tmp_path / "bad.stl").write_bytes(b"solid nothing")
    (tmp_path / "note.txt").write_text("none")
    result = run(tmp_path / "bad.stl", tmp_path / "note.txt", "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert len(result.output.strip().splitlines()) == 2
    assert not (tmp_path / "out").exists()


def test_the_page_shows_every_face_of_every_body_and_a_section_a_joint(tmp_path):
    paths = [
        write(solid, tmp_path / f"{name}.stl")
        for name, solid in pocket(0.3, 0.2, radius=4.0).items()
    ]
    assert run(*paths, "-o", tmp_path / "out").exit_code == 0
    page = (tmp_path / "out" / "meetings.html").read_text("utf-8")
    for label in ("A1", "A2", "A3", "A4", "R1"):
        # Two views of each of two bodies; hidden or not.
        assert page.count(f"<title>{label}</title>") + page.count(f"<title>{label} (hid") >= 4
    assert page.count('class="section"') == 1
    assert "://" not in page


@pytest.fixture
def sunk(tmp_path):
    """A lid with a rim, 3 mm too deep in its case."""
    case = box(60, 40, 20) - box(56, 36, 18, (2, 2, 2))
    lid = box(60, 40, 4, (0, 0, 17)) + box(55.8, 35.8, 3, (2.1, 2.1, 14))
    return [write(case, tmp_path / "case.stl"), write(lid, tmp_path / "lid.stl")]


def test_bodies_that_stand_in_each_other_are_named_and_end_with_1(sunk, tmp_path):
    result = run(*sunk, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert "case and lid OVERLAP, about 3 mm deep" in result.stdout
    assert "lid in case, A" in result.stdout
    assert "Next:" not in result.stdout
    assert "OVERLAP" in (tmp_path / "out" / "meetings.html").read_text("utf-8")


def test_bodies_that_stand_in_each_other_are_named_beside_data(sunk):
    result = run(*sunk, "--json")
    assert result.exit_code == 1
    assert json.loads(result.stdout)
    assert "case and lid OVERLAP" in result.stderr
