import csv
import io
import re
import unicodedata

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.joints.listed import label_of
from coupons.errors import AnswerError
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

HEAD = ",".join(COLUMNS) + "\n"
DRAWER = """drawer,slot,tongue,12,x,slide,external,
lid pins,hole,pin,5,z,push,internal,
filter cell,slot,tongue,"40,5",x+y,0.2,both,
hinge,,,,z,slide,,pin 8 m6
cover screw,,,,z,,,screw M3 medium
bearing seat,hole,,22,z,force,internal,bearing outer 22
axle,,pin,8,z,push,external,bearing bore 8
"""


def read(tmp_path, text):
    path = tmp_path / "joints.csv"
    path.write_text(text, encoding="utf-8")
    return read_joints(path).joints


def test_a_part_is_read_as_it_was_listed(tmp_path):
    drawer, pins, cell, hinge, screw, seat, axle = read(tmp_path, HEAD + DRAWER)
    assert (drawer.row, drawer.name) == (2, "drawer")
    assert drawer.joint == Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    assert (drawer.fit, drawer.move, drawer.hardware) == (Grade.SLIDE, MovingBody.EXTERNAL, None)
    assert (pins.fit, pins.move) == (Grade.PUSH, MovingBody.INTERNAL)
    assert (cell.fit, cell.gap_mm, cell.move) == (None, 0.2, MovingBody.BOTH)
    assert cell.joint.size_mm == 40.5
    assert hinge.joint == Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    assert (hinge.hardware.name, hinge.move) == ("pin 8 m6", MovingBody.INTERNAL)
    assert (screw.fit, screw.gap_mm, screw.hardware.printed.code) == (None, None, "3.4 H13")
    assert seat.joint.internal is Form.HOLE
    assert (axle.joint.external, axle.move) == (Form.PIN, MovingBody.EXTERNAL)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace(",", ";").replace('"40;5"', "40,5"),
        lambda text: text.replace('"40,5"', "40,5"),
        lambda text: text.replace("slide", " Slide ").replace("x+y", "X+Y"),
        lambda text: text.replace("0.2", "gap 0.2"),
        lambda text: "\ufeff" + text.replace("\n", "\r\n"),
    ],
    ids=["semicolons", "bare decimal comma", "case", "gap as words", "mark and CRLF"],
)
def test_spellings_that_mean_the_same(tmp_path, change):
    assert read(tmp_path, change(HEAD + DRAWER)) == read(tmp_path, HEAD + DRAWER)


@pytest.mark.parametrize(
    "name",
    [
        "lid (left)",
        "[lid] 2",
        "2nd lid",
        "608 seat",
        "(a) lid",
        "#3 lid",
        "Führung links",
        "Fu\u0308hrung",  # as some systems save an accent: a sign of its own
        "tapa nº 2",
        "pin & socket",
        "M3 × 12",
        "抽屉",
        "हिन्दी",
    ],
)
def test_names_are_what_people_type(tmp_path, name):
    (joint,) = read(tmp_path, HEAD + f"{name},slot,tongue,12,x,slide,,\n")
    assert joint.name == unicodedata.normalize("NFC", name)
    variable = label_of(joint.name)
    assert re.fullmatch(r"[^\W\d_]\w*", variable)
    assert not variable.endswith("_")


@pytest.mark.parametrize("size", ["12.5 mm", "12.5mm", '"12,5"', '"12,5 mm"', "12.50"])
def test_sizes_are_what_people_type(tmp_path, size):
    (joint,) = read(tmp_path, HEAD + f"lid,slot,tongue,{size},x,gap 0.2 mm,,\n")
    assert (joint.joint.size_mm, joint.gap_mm) == (12.5, 0.2)


@pytest.mark.parametrize("text", ["0.95", "95 %", "95%", '"0,95"', '"95,0 %"'])
def test_a_chance_is_read_as_people_type_it(tmp_path, text):
    (joint,) = read(tmp_path, HEAD + f"a,slot,tongue,12,x,slide,,,{text}\n")
    assert joint.at_least == 0.95


def test_columns_that_are_not_needed_may_be_missing(tmp_path):
    (joint,) = read(tmp_path, "hardware,name,across,fit\npin 8 m6,hinge,z,slide\n")
    assert joint.joint.size_mm == 8


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("a,slot,tongue,0,x,slide,,", "size_mm from 0.5 to 500, got '0'"),
        ("a,slot,tongue,-5,x,slide,,", "got '-5'"),
        ("a,slot,tongue,1e6,x,slide,,", "got '1e6'"),
        ("a,slot,tongue,nan,x,slide,,", "got 'nan'"),
        ("a,slot,tongue,,x,slide,,", "size_mm from 0.5 to 500, got nothing"),
        ("a,slot,tongue,12 in,x,slide,,", "Write the size in mm"),
        ("a,slot,tongue,12,x,slid,,", "got 'slid'. Did you mean slide?"),
        ("a,slot,tongue,12,x,,,", "fit force, push, slide, loose or a printed gap in mm"),
        ("a,slot,tongue,12,x,no-go,,", "got 'no-go'"),
        ("a,slot,tongue,12,x,gap 9999,,", "a gap under half of the size"),
        ("a,slot,tongue,12,x,-6,,", "a gap under half of the size, got '-6'"),
        ("a,slot,tongue,12,x,gap inf,,", "or a printed gap"),
        ("a,slot,tongue,501,x,slide,,", "size_mm from 0.5 to 500, got '501'"),
        ("a,slot,tongue,12,w,slide,,", "across x, y, z, x+y, x-y, got 'w'"),
        ("a,slt,tongue,12,x,slide,,", "internal hole or slot, got 'slt'. Did you mean slot?"),
        ("a,slot,slot,12,x,slide,,", "external pin or tongue, got 'slot'"),
        ("a,slot,pin,12,x,slide,,", "a hole with a pin, or a slot with a tongue"),
        ("a,slot,tongue,12,x,slide,outer,", "move internal, external, both, got 'outer'"),
        ("a,slot,tongue,12,x,slide,,pin 8 m6", "hole as internal with pin 8 m6, got 'slot'"),
        ("a,hole,,9,z,slide,,pin 8 m6", "8, the size of pin 8 m6, got '9'"),
        ("a,hole,,,z,slide,both,pin 8 m6", "move internal, the printed body with pin 8 m6"),
        ("a,hole,,,z,slide,,pin 8 z6", "for 8 mm: H or d e f"),
        ("a,hole,,,z,slide,,rivet 4", "one of pin, screw"),
        ("a,hole,,,z,,,screw M3", "or a printed gap in mm, got nothing"),
        ("a,hole,,,z,slide,,screw M3 medium", "leave out medium for the fit"),
        ("a,hole,,,z,gap 0.4,,screw M3 fine", "Leave out fit gap 0.4 for the hole"),
        ("a,slot,pin,12,x,slide,,", "touches only along two lines"),
        ("=A1,slot,tongue,12,x,slide,,", "text or a number, got '=A1'. Type the value"),
        ("a,slot,tongue,=B2*2,x,slide,,", "got '=B2*2'"),
        (",slot,tongue,12,x,slide,,", "a name, got nothing"),
        ("+1 lid,slot,tongue,12,x,slide,,", "beginning with a letter"),
        ("-lid,slot,tongue,12,x,slide,,", "a spreadsheet takes a cell that begins with"),
        ("@lid,slot,tongue,12,x,slide,,", "a spreadsheet takes a cell"),
        ("=lid,slot,tongue,12,x,slide,,", "got '=lid'. Type the value"),
        ("(),slot,tongue,12,x,slide,,", "a name, got '()'"),
        ("a;b|c,slot,tongue,12,x,slide,,", "a name, got"),
        ("<b>lid,slot,tongue,12,x,slide,,", "beginning with a letter"),
        ("a,slot,tongue,12,x,slide,,,95", "at_least between 0 and 1, got '95'. Write it as 0.95"),
        ("a,slot,tongue,12,x,slide,,,0", "at_least between 0 and 1, got '0'"),
        ("a,slot,tongue,12,x,slide,,,100 %", "at_least between 0 and 1, got '100 %'"),
        ("a,slot,tongue,12,x,slide,,,often", "at_least between 0 and 1, got 'often'"),
        ("a,slot,tongue,12,x,slide,,,nan", "at_least between 0 and 1, got 'nan'"),
        ("a,slot,tongue,12,x,0.2,,,0.9", "nothing in at_least without a fit, got '0.9'"),
        ("a,,,,z,,,screw M3 medium,0.9", "nothing in at_least without a fit"),
        ("a,slot,tongue,12,x,slide,,,,", "at least one joint"),
    ],
)
def test_rows_that_cannot_be_used(tmp_path, row, says):
    if says == "at least one joint":
        row = ""
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, HEAD + row + "\n")
    assert says in caught.value.message


def test_all_problems_come_at_once_in_the_order_of_rows(tmp_path):
    rows = "a,slot,tongue,0,w,slide,,\nb,slot,tongue,5,x,slide,,\nb,slot,tongue,6,x,push,,\n"
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, HEAD + rows + 'c,"slot,x,"\n')
    places = [problem.where for problem in caught.value.problems]
    assert places == [f"joints.csv row {n}" for n in (2, 2, 3, 4, 5, 5, 5, 5, 5)]


@pytest.mark.parametrize(
    ("row", "problems"),
    [
        ("seat,hole,,,z,,,bearing 608", ["bearing outer or bearing bore"]),
        ("seat,hole,,,z,slide,,pin 8", ["a class after the size"]),
        ("seat,,,,z,,,screw M3 medum", ["fine, medium, coarse"]),
        ("seat,,,0,w,slid,outer,pin 8", ["a class", "size_mm", "across", "fit", "move"]),
        ("a,slot,tongue,0,w,slide,outer,", ["size_mm", "across", "move"]),
    ],
)
def test_each_problem_of_a_row_is_told_once_and_none_that_follows_from_another(
    tmp_path, row, problems
):
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, HEAD + row + "\n")
    found = [problem.expected for problem in caught.value.problems]
    assert len(found) == len(problems)
    assert all(says in expected for says, expected in zip(problems, found, strict=True))


def test_columns_of_earlier_versions_are_named_with_their_new_names(tmp_path):
    old = "name,internal,external,size_mm,along,fit,gives\na,slot,tongue,12,x,slide,both\n"
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, old)
    assert [str(problem) for problem in caught.value.problems] == [
        "joints.csv row 1: expected a column move, got gives. Rename it: gives is now called move.",
        "joints.csv row 1: expected a column across, got along. "
        "Rename it: along is now called across.",
    ]


@pytest.mark.parametrize("column", ["unit", "Units"])
@pytest.mark.parametrize("unit", ["in", '"', "cm"])
def test_sizes_in_other_units_are_refused(tmp_path, column, unit):
    rows = io.StringIO(newline="")
    table = [["name", "internal", "external", "size_mm", column, "across", "fit"]]
    table += [
        [name, "slot", "tongue", "5", text, "x", "slide"]
        for name, text in (("a", ""), ("b", "mm"), ("c", unit))
    ]
    csv.writer(rows).writerows(table)
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, rows.getvalue())
    (problem,) = caught.value.problems
    assert (problem.where, problem.expected) == ("joints.csv row 4", "unit mm")


def test_columns_that_are_not_read_are_named(tmp_path):
    path = tmp_path / "joints.csv"
    path.write_text(
        "name,internal,external,size_mm,across,fit,colour,x,unit\n"
        "lid,slot,tongue,5,x,slide,red,,mm\n"
    )
    assert read_joints(path).ignored == ("colour",)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "a line of column names, got an empty file"),
        ("colour,weight\nred,5\n", "a column name"),
        ("name,acros\nlid,z\n", "a column across, got acros"),
        ("name,across,name\nlid,z,b\n", "each column once, got name twice"),
    ],
)
def test_wrong_columns(tmp_path, text, says):
    with pytest.raises(AnswerError) as caught:
        read(tmp_path, text)
    assert says in caught.value.message


def test_no_such_file(tmp_path):
    with pytest.raises(AnswerError, match="a list of joints, got no such file"):
        read_joints(tmp_path / "none.csv")


def test_names_that_would_become_one_label(tmp_path):
    rows = "lid pin,slot,tongue,5,x,slide,,\nLid_Pin,slot,tongue,6,x,push,,\n"
    with pytest.raises(AnswerError, match="a name of its own") as caught:
        read(tmp_path, HEAD + rows)
    assert len(caught.value.problems) == 2
    assert label_of("lid pin-2.b") == "lid_pin_2_b"
    with pytest.raises(AnswerError, match="a name of its own"):
        read(tmp_path, HEAD + rows.replace("Lid_Pin", "lid (pin)"))


CELLS = st.one_of(
    st.sampled_from(
        ["slot", "tongue", "hole", "pin", "12", "x", "z", "slide", "pin 8 m6", "", "="]
    ),
    st.text(max_size=12),
)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=st.lists(st.lists(CELLS, min_size=1, max_size=9), max_size=4), mark=st.booleans())
def test_whatever_is_typed_is_read_or_refused_in_words(tmp_path, rows, mark):
    text = io.StringIO(newline="")
    csv.writer(text).writerows([list(COLUMNS), *rows])
    joints, problems = (), ()
    try:
        joints = read(tmp_path, ("\ufeff" if mark else "") + text.getvalue())
    except AnswerError as error:
        problems = error.problems
    assert joints or problems
    assert all(0.5 <= joint.joint.size_mm <= 500 for joint in joints)


@pytest.mark.parametrize("data", [b"\x00\xff\xfe", b"\xff\xfe\x00", b"name,across\n\x81\x8d,z\n"])
def test_bytes_that_are_no_table(tmp_path, data):
    path = tmp_path / "joints.csv"
    path.write_bytes(data)
    with pytest.raises(AnswerError):
        read_joints(path)
