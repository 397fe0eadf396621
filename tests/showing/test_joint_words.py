import csv
import io
from dataclasses import replace

import pytest
from support.drawer_list import DRAWER, part
from support.known_profile import known_profile

from coupons.answering.chances.drawing import FaceMove
from coupons.answering.offset import Answer
from coupons.answering.words.joint_files import COLUMNS, answers_csv, sizes_csv
from coupons.answering.words.joints import (
    note_lines,
    short_move,
    table_lines,
    together_sentence,
    warnings,
)
from coupons.terms import Form


def read_csv(text):
    return list(csv.DictReader(io.StringIO(text)))


def test_the_table_fits_a_terminal_and_says_signs_in_words(tmp_path):
    long = "a joint whose name is far too long for one cell,slot,tongue,400,x,slide,both,\n"
    lines = list(table_lines(part(tmp_path, known_profile(), DRAWER + long)))
    assert max(map(len, lines)) <= 80
    assert any("tongue 11." in line and "−" in line and "into material" in line for line in lines)
    assert not any("-0." in line for line in lines), "a real minus, not a hyphen"


def test_a_long_name_takes_the_room_that_the_other_columns_spare(tmp_path):
    named = "drawer in housing A,slot,tongue,12,x,slide,external,\n"
    lines = list(table_lines(part(tmp_path, known_profile(), DRAWER + named)))
    assert any(line.startswith("drawer in housing A ") for line in lines)
    assert max(map(len, lines)) <= 80


def test_drawn_sizes_are_one_printed_body_a_row(tmp_path):
    found = part(tmp_path, known_profile())
    rows = {row["label"]: row for row in read_csv(sizes_csv(found))}
    slot, tongue, move = rows["drawer_slot"], rows["drawer_tongue"], found.joints[0].moves[0]
    assert (slot["joint"], slot["body"]) == ("drawer", "slot")
    assert (slot["drawn_mm"], slot["nominal_mm"], slot["offset_mm"]) == ("12", "12", "0")
    assert float(tongue["drawn_mm"]) == move.drawn_mm
    assert float(tongue["offset_mm"]) == move.offset_mm < 0
    assert "hinge_hole" in rows
    assert "hinge_pin" not in rows, "nobody draws the hardware"
    for row in rows.values():
        off_mm = abs(float(row["drawn_mm"]) - float(row["nominal_mm"]))
        assert off_mm == pytest.approx(int(row["faces"]) * abs(float(row["offset_mm"])))


def test_answers_come_back_from_the_csv_as_numbers(tmp_path):
    found = part(tmp_path, known_profile())
    rows = read_csv(answers_csv(found))
    assert tuple(rows[0]) == COLUMNS
    assert [float(row["chance"]) for row in rows[:-1]] == pytest.approx(
        [joint.chance for joint in found.counted], abs=5e-5
    )
    assert float(rows[0]["external_offset_mm"]) == found.joints[0].moves[0].offset_mm < 0
    assert rows[0]["internal_offset_mm"] == ""


def test_a_rehearsed_profile_marks_every_file(tmp_path):
    found = part(tmp_path, known_profile(rehearsed=True))
    assert read_csv(sizes_csv(found))[0]["label"] == "REHEARSED_do_not_build"
    assert read_csv(sizes_csv(found))[0]["joint"].startswith("REHEARSED")
    assert all("REHEARSED" in row["warnings"] for row in read_csv(answers_csv(found)))


def test_warnings_are_told_once_with_the_joints_they_are_about(tmp_path):
    rows = "".join(f"rail {n},slot,tongue,300,x,slide,,\n" for n in range(12))
    notes = list(note_lines(part(tmp_path, known_profile(), rows)))
    (line,) = [note for note in notes if "EXTRAPOLATED" in note]
    assert line.startswith("rail 0, rail 1,")
    assert "rail 7 and 4 more: " in line


def test_push_and_force_say_that_layers_may_split(tmp_path):
    found = part(tmp_path, known_profile())
    told = {joint.listed.name: " ".join(warnings(joint)) for joint in found.joints}
    assert "split" in told["lid pins"]
    assert "split" not in told["drawer"]


def test_the_sentence_names_what_is_not_counted(tmp_path):
    sentence = together_sentence(part(tmp_path, known_profile()))
    assert sentence.startswith("Chance that all 6 joints fit on one print: ")
    assert sentence.endswith("Not included: stop (no chance for a gap in mm).")
    blank = known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1})
    rows = "".join(DRAWER.splitlines(keepends=True)[:1]) + "shelf,slot,tongue,12,z,slide,,\n"
    sentence = together_sentence(part(tmp_path, blank, rows))
    assert sentence.startswith("Chance that drawer fits: ")
    assert sentence.endswith("Not included: shelf (no answer).")


def test_two_joints_are_both(tmp_path):
    rows = "".join(DRAWER.splitlines(keepends=True)[:2])
    assert together_sentence(part(tmp_path, known_profile(), rows)).startswith(
        "Chance that both joints fit on one print: "
    )


def test_a_wished_gap_is_told_in_full(tmp_path):
    lines = list(table_lines(part(tmp_path, known_profile(), "catch,slot,tongue,12,x,-0.1,,\n")))
    assert "gap −0.10" in lines[1]


def test_wide_scripts_stay_in_their_columns(tmp_path):
    rows = "抽屉,slot,tongue,12,x,slide,,\nlid,slot,tongue,12,x,slide,,\n"
    wide, plain = list(table_lines(part(tmp_path, known_profile(), rows)))[1:]
    assert wide.index("slide") + 2 == plain.index("slide")


def test_a_nut_listed_with_the_axis_of_its_screw_is_warned_about(tmp_path):
    rows = "nut,,,,z,slide,,nut M4\nother nut,,,,x,slide,,nut M4\nscrew,,,,z,slide,,screw M4\n"
    nut, other, screw = part(tmp_path, known_profile(), rows).joints
    assert "use across x or y" in " ".join(warnings(nut))
    assert not any("flat to flat" in " ".join(warnings(joint)) for joint in (other, screw))


def test_faces_across_layers_and_faces_left_alone():
    assert short_move(FaceMove(Form.SLOT, -0.2, 1, 12.2)) == "−0.20 into one face"
    assert short_move(FaceMove(Form.PIN, 0.05, 2, 5.1)) == "+0.05 out of material"
    assert short_move(FaceMove(Form.PIN, 0.0, 2, 5.0)) == "as it is"


def test_whole_layers_are_said(tmp_path):
    found = part(tmp_path, known_profile(), "shelf,slot,tongue,12,z,slide,both,\n")
    assert "Rounded to whole layers." in warnings(found.joints[0])
    assert {move.faces for move in found.joints[0].moves} == {1}
    drawn = {move.form: move.drawn_mm for move in found.joints[0].moves}
    layers = (drawn[Form.SLOT] - drawn[Form.TONGUE]) / 0.2
    assert layers == pytest.approx(round(layers))


def test_less_than_an_even_chance_is_said_and_an_even_one_is_not(tmp_path):
    even = "Less than 50\N{NO-BREAK SPACE}% chance: print a sample and try it first."
    found = part(tmp_path, known_profile(sd_share=0.05))
    fits = [joint for joint in found.counted if isinstance(joint.found, Answer)]
    assert fits
    for joint in fits:
        for chance, is_said in ((0.499, True), (0.501, False)):
            given = replace(joint, found=replace(joint.found, chance=chance, too_loose=0.0))
            assert (even in warnings(given)) is is_said
