"""Lists with joints of several pairs of faces, slanted ones, and what is made of them."""

import csv
import io

import pytest
from support.known_profile import FROM_ONE_PRINT, known_profile

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import answer_part, questions_of
from coupons.answering.several.drawn_pairs import answer_several
from coupons.answering.several.kinds import Corners, JointKind, Legs
from coupons.answering.words.joint_files import answers_csv, as_data, sizes_csv
from coupons.answering.words.joints import table_lines
from coupons.answering.words.listed_bodies import named_bodies, numbers_explained
from coupons.errors import AnswerError
from coupons.terms import Direction, Form

HEAD = (
    "name,internal,external,size_mm,across,fit,move,hardware,internal_print,external_print,"
    "pitch_mm,corner_mm,leg_mm,mouth_mm,strain_limit,slant_deg\n"
)
DRAWER = (
    "drawer,slot,tongue,24,x,slide,,,,,,,,,,\n"
    "lid,pocket,plate,40x25,xy,slide,,,,lid,,1/0.5,,,,\n"
    "cover,holes,,,zx,slide,,pin 4 m6,,lid,60,,,,,\n"
    "clip,legs,bar,8,x,push,,,,,,,20x2,7.2,2 %,\n"
    "wedge,slot,tongue,12,xy/yx,slide,,,,,,,,,,20\n"
)
X, Y, Z = Direction.X, Direction.Y, Direction.Z


def read(tmp_path, rows):
    path = tmp_path / "joints.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    return read_joints(path).joints


@pytest.fixture(scope="module")
def part(tmp_path_factory):
    joints = read(tmp_path_factory.mktemp("part"), DRAWER)
    return answer_part(known_profile(sd_share=FROM_ONE_PRINT), joints)


def test_every_kind_is_read_as_listed(tmp_path):
    _, lid, cover, clip, wedge = read(tmp_path, DRAWER)
    assert (lid.several.kind, lid.several.sizes_mm) == (JointKind.POCKET, (40.0, 25.0))
    assert lid.several.corners == Corners(1.0, 0.5)
    assert lid.several.two_prints
    assert (cover.several.pitch_mm, cover.several.hardware.name) == (60.0, "pin 4 m6")
    assert cover.several.sides == ((Z, X), (Z, X))
    assert clip.several.legs == Legs(20.0, 2.0, 7.2, 0.02)
    assert wedge.joint.slant.pulls == (Y, X)
    assert wedge.joint.directions == (X, Y)


@pytest.mark.slow
def test_each_is_answered_as_it_is_by_itself(part):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    for joint in part.joints:
        assert joint.found is not None
        if joint.listed.several is not None:
            assert joint.chance == answer_several(profile, joint.listed.several).chance
    assert len(part.counted) == 5
    assert part.prints == 2
    assert 0 < part.together.chance < min(joint.chance for joint in part.joints)
    assert part.together.chance <= part.not_too_tight.chance


def test_table_sizes_and_data_name_the_bodies(part):
    table = "\n".join(table_lines(part))
    for said in ("plate x ", "plate y ", "holes 4.", "bar 7."):
        assert said in table
    assert all(len(line) <= 80 for line in table.splitlines())
    rows = list(csv.DictReader(io.StringIO(answers_csv(part))))
    assert rows[1]["size_mm"] == "40x25"
    assert rows[1]["external_drawn_mm"].count("x") == 1
    assert rows[2]["external_drawn_mm"] == ""
    labels = [row["label"] for row in csv.DictReader(io.StringIO(sizes_csv(part)))]
    assert len(labels) == len(set(labels))
    assert {"lid_plate_x", "lid_plate_y", "cover_holes", "clip_bar", "wedge_tongue"} <= set(labels)
    data = as_data(part)["joints"]
    assert data[1]["question"]["sizes_mm"] == [40.0, 25.0]
    assert [move["body"] for move in data[1]["moves"]] == ["plate x", "plate y"]
    assert data[4]["question"]["slant_deg"] == 20


def test_pairs_are_compared_and_asked_about_one_by_one(tmp_path):
    _, lid, cover, clip, _ = read(tmp_path, DRAWER)
    assert list(questions_of(lid)) == ["lid, across x", "lid, across y"]
    assert [q.joint.internal for q in questions_of(cover).values()] == [Form.HOLE]
    assert list(questions_of(clip)) == ["clip"]


def test_all_that_is_wrong_is_told_at_once(tmp_path):
    rows = (
        "a,pocket,tongue,40,xx,slid,,,,,60,30/1,,,,\n"
        "b,holes,pins,8,zx,slide,,,,,6,,,,,\n"
        "c,legs,bar,8,x,push,,,,,,,2x2,9,2,\n"
        "d,slot,tongue,12,xz,slide,,,,,,,,,,0\n"
        "e,slot,tongue,12,x,slide,,,,,60,,,,,\n"
        "f,sleeve,bar,40x25,xy,0.2,,,,,,,,,,20\n"
        "g,slot,tongue,12,xy,slide,,,,,,,,,,steep\n"
        "h,legs,bar,8,x,push,,bearing bore 8,,,,,20x2,,,\n"
    )
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, rows)
    told = caught.value.message
    for row, said in (
        (2, "external plate"),
        (2, "Did you mean slide?"),
        (2, "must differ"),
        (2, "A pitch belongs to holes/pins"),
        (2, "under half of the smaller size"),
        (2, "two sizes"),
        (3, "larger than the diameter, 8 mm"),
        (4, "longer than twice its thickness"),
        (4, "narrower than the bar"),
        (5, "0 is an ordinary pair"),
        (6, "nothing in pitch_mm"),
        (7, "A printed gap is for joints of one pair of faces: write a fit, such as slide"),
        (7, "nothing in slant_deg with sleeve"),
        (8, "slant_deg in degrees"),
        (9, "Hardware goes into holes/pins"),
    ):
        lines = [line for line in told.splitlines() if f"row {row}:" in line]
        assert any(said in line for line in lines), (row, said)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("across", "names", "explained"),
    [
        ("xy", ["plate x", "plate y"], ""),
        ("yx", ["plate y", "plate x"], ""),
        (
            "x+y,x-y",
            ["plate 1", "plate 2"],
            "plate 1 is 40 mm, across x+y; plate 2 is 25 mm, across x-y",
        ),
    ],
)
def test_the_pairs_of_a_plate_are_named_by_their_axes(tmp_path, across, names, explained):
    row = f'lid,pocket,plate,40x25,"{across}",slide,,,,,,2/0.5,,,,\n'
    (joint,) = read(tmp_path, row)
    found = answer_several(known_profile(sd_share=FROM_ONE_PRINT), joint.several)
    assert [name for name, _ in named_bodies(found) if name.startswith("plate")] == names
    assert numbers_explained(found) == explained
