import csv
import io

import pytest
from known_profile import known_profile
from test_joints import DRAWER, part

from coupons.answering.drawing import FaceMove
from coupons.answering.joint_words import (
    COLUMNS,
    answers_csv,
    note_lines,
    short_move,
    table_lines,
    together_sentence,
    variables_csv,
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


def test_variables_are_the_drawn_sizes_with_their_unit(tmp_path):
    found = part(tmp_path, known_profile())
    rows = {row["name"]: (row["value"], row["unit"]) for row in read_csv(variables_csv(found))}
    assert rows["drawer_slot"] == ("12", "mm")
    assert float(rows["drawer_tongue"][0]) == found.joints[0].moves[0].drawn_mm
    assert "hinge_hole" in rows
    assert "hinge_pin" not in rows, "nobody draws the bought pin"
    assert all(unit == "mm" for _, unit in rows.values())


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
    assert read_csv(variables_csv(found))[0]["name"] == "REHEARSED_do_not_build"
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
    assert sentence.startswith("All 6 fit at once")
    assert sentence.endswith("Not counted: stop (a gap wanted as a number has no chance).")
    blank = known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1})
    rows = "".join(DRAWER.splitlines(keepends=True)[:1]) + "shelf,slot,tongue,12,z,slide,,\n"
    sentence = together_sentence(part(tmp_path, blank, rows))
    assert sentence.startswith("drawer fits with")
    assert sentence.endswith("Not counted: shelf (no answer).")


def test_two_joints_are_both(tmp_path):
    rows = "".join(DRAWER.splitlines(keepends=True)[:2])
    assert together_sentence(part(tmp_path, known_profile(), rows)).startswith("Both fit at once")


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
    assert "ask across x or y" in " ".join(warnings(nut))
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
