"""Rows of a list on the faces of its bodies: sizes, gaps and sides of each pair, by hand."""

import csv
import io
from dataclasses import replace

import pytest
from support.drawn_bodies import box, drawn, round_bar
from support.known_profile import known_profile
from support.meeting_cases import pocket, rail, screws

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import JointAnswer
from coupons.answering.meet.list_rows import list_csv
from coupons.answering.meet.meetings import meet
from coupons.answering.relieve.asked_faces import (
    DrawnFacePair,
    _listed_sizes,
    answer_each,
    asked_faces,
    least_walls,
    read_faces,
    wanted_pair,
)
from coupons.errors import AnswerError

PROFILE = known_profile()

# Many small bodies: together they take longer than a quick test may.
pytestmark = pytest.mark.slow


def met(solids):
    return meet([drawn(solid, name) for name, solid in solids.items()])


def listed(folder, found, change=None):
    """Write the list of bodies, with something changed in each row, and read it again."""
    rows = list(csv.DictReader(io.StringIO(list_csv(found))))
    for row in rows:
        row.setdefault("move", "external")
        if change is not None:
            change(row)
    text = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(text, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path = folder / "list.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    return path


def asked(folder, found, change=None):
    path = listed(folder, found, change)
    joints = read_joints(path)
    answers = answer_each(PROFILE, joints.joints)
    return asked_faces(found, answers, read_faces(path), joints.holes), answers


def test_a_pocket_has_its_two_sizes_and_gaps_and_a_slot_its_one(tmp_path):
    found, _ = asked(tmp_path, met(pocket(0.2, 0.2)))
    assert not found.refused
    assert [one.size_mm for one in found.wanted] == pytest.approx([40, 25])
    assert [one.internal.size_in(one.internal.regions[0].body) for one in found.wanted] == (
        pytest.approx([40, 25], abs=1e-4)
    )
    for one in found.wanted:
        assert (one.internal.is_internal, one.external.is_internal) == (True, False)
        assert (one.internal.body, one.external.body) == ("frame", "panel")
        assert one.internal.letters == one.external.letters
        assert len(one.facing) == 2
        for inner, outer in one.facing:
            assert {region.body.name for region in inner} == {"frame"}
            assert {region.body.name for region in outer} == {"panel"}
        assert one.sizes_mm == {False: pytest.approx(one.size_mm - one.gap_mm, abs=1e-6)}
    assert sorted(letter for one in found.wanted for letter in one.internal.letters.split()) == [
        "A1",
        "A2",
        "A3",
        "A4",
    ]
    (slot,) = asked(tmp_path, met(rail(0.2)))[0].wanted
    assert (slot.size_mm, slot.internal.letters) == (8, "A1 A2")
    assert slot.gap_mm > 0


def test_two_pins_have_one_answer_for_both(tmp_path):
    found, (answer,) = asked(tmp_path, met(screws(2, 0.2)))
    assert [one.size_mm for one in found.wanted] == [4, 4]
    assert found.wanted[0].gap_mm == found.wanted[1].gap_mm
    assert [one.internal.letters for one in found.wanted] == ["A1", "A2"]
    middles = [one.internal.regions[0].point_mm[0] for one in found.wanted]
    assert sorted(middles) == pytest.approx([10, 26], abs=1e-3)
    assert found.wanted[0].gap_mm == answer.found.pairs[0].gap_mm


@pytest.mark.parametrize(
    ("solids", "sizes"), [(pocket(0.2, 0.2), [40, 25]), (screws(2, 0.2), [4, 4]), (rail(0.2), [8])]
)
def test_each_pair_has_its_own_listed_size_or_that_of_all(tmp_path, solids, sizes):
    found = met(solids)
    (row,) = read_joints(listed(tmp_path, found)).joints
    assert _listed_sizes(JointAnswer(row, None), len(found.joints[0].group.pairs)) == sizes


def test_each_body_is_measured_as_it_lies_in_its_print():
    found = meet(
        [drawn(solid, name) for name, solid in rail(0.2).items()], {"tongue": "-x", "channel": "y"}
    )
    one = wanted_pair(found, found.joints[0], 0, "joint", DrawnFacePair(0.3, ()), 8.0)
    assert one.internal.up.tolist() == [0, 1, 0]
    assert one.external.up.tolist() == [-1, 0, 0]
    assert (one.gap_mm, one.size_mm, one.sizes_mm, one.is_absolute) == (0.3, 8.0, {}, False)
    for bought, sides in ((None, 2), (True, 1), (False, 1)):
        part = wanted_pair(
            found, found.joints[0], 0, "joint", DrawnFacePair(0.3, ()), 8.0, bought=bought
        )
        assert len(part.sides) == sides
        assert part.is_absolute is (bought is not None)
        if bought is not None:
            assert part.sides[0].is_internal is not bought


CURE = "; put back the row as `coupons meet` wrote it"


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"faces": ""}, "the list names no faces for it; run `coupons meet` again"),
        ({"internal_body": "door"}, f"there is no body 'door'; there are channel, tongue{CURE}"),
        ({"external_body": ""}, f"there is no body ''; there are channel, tongue{CURE}"),
        ({"faces": "A1 A7"}, f"there are no faces A7; there are A1 A2{CURE}"),
        ({"faces": "A1"}, f"A1 are not the faces of one joint of tongue in channel{CURE}"),
        (
            {"internal_body": "tongue", "external_body": "channel"},
            f"A1 A2 are not the faces of one joint of channel in tongue{CURE}",
        ),
    ],
)
def test_a_row_that_leads_to_no_faces_says_why(tmp_path, cells, reason):
    found, _ = asked(tmp_path, met(rail(0.2)), lambda row: row.update(cells))
    assert found.wanted == ()
    assert found.refused == {"tongue in channel, A": reason}


def test_labels_may_stand_in_any_order_with_commas(tmp_path):
    found, _ = asked(tmp_path, met(rail(0.2)), lambda row: row.update(faces="A2, A1"))
    assert len(found.wanted) == 1


def plate_of_holes():
    plate = box(60, 20, 5)
    for x, size in ((10, 3.4), (30, 4.0), (50, 6.0)):
        plate -= round_bar(size, 9, (x, 10, -2), 24)
    return met({"plate": plate, **{n: s.translate((0, 40, 0)) for n, s in rail(0.2).items()}})


def test_holes_that_are_drawn_with_a_size_are_asked_and_others_left(tmp_path):
    found = plate_of_holes()
    sizes = {
        label: hole.cylinder.corner_mm
        for label, hole in zip(found.lone_labels, found.lone, strict=True)
    }
    (small,) = [label for label, mm in sizes.items() if mm < 3.5]

    def change(row):
        row["hardware"] = ""
        if row["faces"] == small:
            row["fit"] = "draw 3.6"

    got, _ = asked(tmp_path, found, change)
    (hole,) = [one for one in got.wanted if one.is_lone]
    assert not got.refused
    assert hole.sizes_mm == {True: 3.6}
    assert hole.internal.letters == small
    assert len(got.wanted) == 2


def test_a_hole_that_is_asked_in_the_wrong_body_is_lost(tmp_path):
    found = plate_of_holes()

    def change(row):
        row["hardware"] = ""
        if row["faces"] == "U1":
            row |= {"fit": "draw 3.6", "internal_body": "channel"}
            row["name"] = "odd"

    got, _ = asked(tmp_path, found, change)
    assert got.refused == {
        "odd": "U1 is no hole of channel; put back the row as `coupons meet` wrote it"
    }


def test_the_thinnest_wall_is_two_lines_of_the_printer_of_each_body(tmp_path):
    found = met(rail(0.2) | {"far": box(5, 5, 5, (90, 0, 0))})
    got, answers = asked(tmp_path, found)
    assert least_walls(found, answers, PROFILE, got) == pytest.approx(
        dict.fromkeys(("channel", "tongue", "far"), 2 * PROFILE.nozzle_mm)
    )
    assert PROFILE.nozzle_mm > 0


def test_the_thinnest_wall_of_a_body_of_another_printer_is_two_of_its_lines(tmp_path):
    found = met(rail(0.2))
    path = listed(tmp_path, found)
    (answer,) = answer_each(PROFILE, read_joints(path).joints)
    coarse, fine = known_profile(nozzle_mm=0.6), known_profile(nozzle_mm=0.25)
    for profiles, walls in (
        ({"internal_profile": coarse}, (1.2, 2 * PROFILE.nozzle_mm)),
        ({"external_profile": fine}, (2 * PROFILE.nozzle_mm, 0.5)),
        ({"internal_profile": fine, "external_profile": coarse}, (0.5, 1.2)),
    ):
        own = replace(answer, listed=replace(answer.listed, **profiles))
        got = asked_faces(found, [own], read_faces(path))
        assert least_walls(found, [own], PROFILE, got) == pytest.approx(
            dict(zip(("channel", "tongue"), walls, strict=True))
        )


def test_a_list_without_faces_is_refused(tmp_path):
    path = listed(tmp_path, met(rail(0.2)), lambda row: row.pop("faces"))
    with pytest.raises(AnswerError, match="faces"):
        read_faces(path)


def test_an_answer_that_is_none_keeps_the_first_line_of_its_reason(tmp_path):
    found = met(rail(0.2))
    path = listed(tmp_path, found)
    (answer,) = answer_each(PROFILE, read_joints(path).joints)
    none = replace(answer, found=None, why="Nothing is known of it.\nPrint a coupon.")
    got = asked_faces(found, [none], read_faces(path))
    assert (got.wanted, got.refused) == ((), {"tongue in channel, A": "Nothing is known of it."})
