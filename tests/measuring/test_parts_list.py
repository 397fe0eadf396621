"""What a row of a list of parts may hold: each limit from both sides, and what is read from it."""

import pytest

from coupons.job.check import bought_mate
from coupons.measuring.run.parts_list import COLUMNS, read_parts
from coupons.terms import Bed, Direction, Form, Grade

SLOT = {
    "name": "a",
    "internal": "slot",
    "internal_drawn_mm": "12",
    "external": "tongue",
    "external_drawn_mm": "11.7",
    "across": "x",
    "result": "push",
}
ROUND = SLOT | {"internal": "hole", "external": "pin", "across": "z"}


def read(tmp_path, *rows):
    lines = [",".join(row.get(column, "") for column in COLUMNS) for row in rows]
    path = tmp_path / "parts.csv"
    path.write_text("\n".join([",".join(COLUMNS), *lines]) + "\n", encoding="utf-8")
    return read_parts(path, bought_mate)


def is_taken(tmp_path, row):
    joints, problems = read(tmp_path, row)
    assert len(joints) + len(problems) == 1
    return bool(joints)


@pytest.mark.parametrize(
    ("row", "taken"),
    [
        ({"internal_drawn_mm": "0.5", "external_drawn_mm": "0.5"}, True),
        ({"internal_drawn_mm": "0.49", "external_drawn_mm": "0.5"}, False),
        ({"internal_drawn_mm": "500", "external_drawn_mm": "500"}, True),
        ({"internal_drawn_mm": "500.1", "external_drawn_mm": "500"}, False),
        ({"external_drawn_mm": "500.1", "internal_drawn_mm": "500"}, False),
        ({"contact_mm": "0.5"}, True),
        ({"contact_mm": "0.49"}, False),
        ({"contact_mm": "300"}, True),
        ({"contact_mm": "300.1"}, False),
        ({"contact_mm": "nan"}, False),
        ({"contact_mm": "wide"}, False),
        ({"name": "n" * 60}, True),
        ({"name": "n" * 61}, False),
        ({"name": "n" * 58 + " (2 notches)"}, True),
        ({"name": "(2 notches)"}, False),
        ({"name": "a\u200b"}, False),
        ({"job": "j" * 60}, True),
        ({"job": "j" * 61}, False),
        ({"job": "a/b"}, False),
        ({"job": "a\\b"}, False),
        ({"job": "a:b"}, False),
        ({"job": "a\u200b"}, False),
        # A gap of half of the smaller size is refused, one a little narrower is not.
        ({"internal_drawn_mm": "12", "external_drawn_mm": "8"}, False),
        ({"internal_drawn_mm": "11.99", "external_drawn_mm": "8"}, True),
        ({"internal_drawn_mm": "8", "external_drawn_mm": "12"}, False),
        ({"internal_drawn_mm": "8", "external_drawn_mm": "11.99"}, True),
        ({"internal_drawn_mm": "12 mm", "external_drawn_mm": "11.7MM"}, True),
        ({"internal_drawn_mm": "12 in"}, False),
        ({"across": "X"}, True),
        ({"across": "x+y"}, False),
        ({"internal": "SLOT", "external": "Tongue"}, True),
        ({"note": "=1"}, False),
    ],
)
def test_each_limit_from_both_sides(tmp_path, row, taken):
    assert is_taken(tmp_path, SLOT | row) is taken


@pytest.mark.parametrize(
    ("row", "expected", "got", "todo"),
    [
        ({"contact_mm": "301"}, "contact_mm from 0.5 to 300", "'301'", "Write how long the bodies"),
        ({"external_drawn_mm": ""}, "external_drawn_mm from 0.5 to 500", "nothing", "Write the"),
        ({"job": "a/b"}, "a job of up to 60 letters", "'a/b'", "Name the print without slashes"),
        ({"name": ""}, "a name of up to 60 letters", "nothing", "Name the joint"),
        ({"name": "n" * 70}, "a name of up to 60 letters", "'" + "n" * 60 + "'", "Name the joint"),
        ({"across": "q"}, "across x, y, z", "'q'", "Write the printer axis across the faces"),
        ({"internal": "slit"}, "internal hole or slot", "'slit'", "Did you mean slot?"),
        ({"external": "tounge"}, "external pin or tongue", "'tounge'", "Did you mean tongue?"),
        (
            {"result": "pish"},
            "a result no-go, force, push, slide, loose, go or stop",
            "'pish'",
            "Did you mean push?",
        ),
        (
            {"internal": "hole"},
            "a hole with a pin, or a slot with a tongue",
            "'hole with tongue'",
            "",
        ),
        (
            {"external_drawn_mm": "5"},
            "a gap under half of the size",
            "'12 and 5'",
            "Check both drawn sizes, and their unit: mm",
        ),
        ({"note": "=B2"}, "text or a number", "'=B2'", "Type the value instead of the formula"),
    ],
)
def test_what_was_expected_and_came_is_told(tmp_path, row, expected, got, todo):
    joints, (problem,) = read(tmp_path, SLOT | row)
    assert joints == []
    assert problem.where == "parts.csv row 2"
    assert (problem.expected, problem.got) == (expected, got)
    assert problem.todo.startswith(todo)


@pytest.mark.parametrize(
    ("row", "found"),
    [
        # Across the layers of flat ones it must be said which lower face is the first layer.
        (SLOT | {"across": "z", "bed": "none"}, Bed.NONE),
        (SLOT | {"across": "z", "bed": "External"}, Bed.EXTERNAL),
        (SLOT | {"across": "z"}, None),
        (SLOT | {"across": "z", "bed": "floor"}, None),
        # In the plane no face looks down.
        (SLOT | {"bed": "none"}, Bed.NONE),
        (SLOT | {"bed": "external"}, None),
        (SLOT, Bed.NONE),
        # A lying round may lie on the bed; a standing one cannot.
        (ROUND | {"across": "x", "bed": "external"}, Bed.EXTERNAL),
        (ROUND | {"across": "y"}, Bed.NONE),
        (ROUND | {"bed": "external"}, None),
        (ROUND | {"bed": "none"}, Bed.NONE),
    ],
)
def test_the_bed_matters_across_layers_and_for_lying_rounds(tmp_path, row, found):
    joints, problems = read(tmp_path, row)
    assert [one.bed for one in joints] == ([] if found is None else [found])
    assert len(problems) == (found is None)


def test_a_row_is_read_as_it_was_typed(tmp_path):
    row = SLOT | {"name": "drawer (1 notch)", "job": "mon", "contact_mm": "20", "by": "ann"}
    (joint,), problems = read(tmp_path, row | {"note": "wet", "result": "push..slide"})
    assert problems == []
    assert (joint.row, joint.name, joint.job, joint.by, joint.note) == (
        2,
        "drawer",
        "mon",
        "ann",
        "wet",
    )
    assert (joint.internal, joint.external) == (Form.SLOT, Form.TONGUE)
    assert (joint.internal_mm, joint.external_mm, joint.contact_mm) == (12.0, 11.7, 20.0)
    assert joint.gap_mm == 0.3, "and not 0.30000000000000071"
    assert (joint.direction, joint.bed) == (Direction.X, Bed.NONE)
    assert (joint.tightest, joint.loosest) == (Grade.PUSH, Grade.SLIDE)
    assert joint.hardware is None
    assert joint.key(Form.SLOT) == "drawer slot 12"
    assert joint.key(Form.TONGUE) == "drawer tongue 11.7"


@pytest.mark.parametrize("external", ["", "pin"])
def test_hardware_stands_for_the_body_of_its_form(tmp_path, external):
    row = ROUND | {"hardware": "pin 8 m6", "internal_drawn_mm": "8.3", "external_drawn_mm": ""}
    (joint,), problems = read(tmp_path, row | {"external": external})
    assert problems == []
    assert (joint.external, joint.external_mm) == (Form.PIN, joint.hardware.size_mm)
    assert joint.key(Form.PIN) == joint.hardware.id
    assert joint.key(Form.HOLE) == "a hole 8.3"
    (open_hole,), _ = read(tmp_path, row | {"internal": "", "external": external})
    assert open_hole.internal is Form.HOLE


def test_hardware_has_its_own_size_and_no_form_but_its_own(tmp_path):
    row = ROUND | {"hardware": "pin 8 m6", "internal_drawn_mm": "8.3", "external_drawn_mm": "8"}
    _, (problem,) = read(tmp_path, row)
    assert (problem.expected, problem.got) == ("no size of the external body", "'8'")
    assert problem.todo == "pin 8 m6 has its own"
    _, (problem,) = read(tmp_path, row | {"external": "pun", "external_drawn_mm": ""})
    assert problem.expected == "external pin or tongue"
    # Hardware that nobody knows is the only problem of its row.
    unknown = row | {"hardware": "pin 8 q9", "external": "", "external_drawn_mm": ""}
    _, problems = read(tmp_path, unknown)
    assert len(problems) == 1
    assert problems[0].where == "parts.csv row 2"


def test_bodies_printed_in_two_ways_are_told_by_form_and_row(tmp_path):
    other = SLOT | {"internal_drawn_mm": "12.1", "across": "y"}
    joints, (problem,) = read(tmp_path, SLOT, other)
    assert len(joints) == 2
    assert problem.where == "parts.csv row 3"
    assert problem.expected == "the tongue of a printed as in row 2"
    assert problem.got == "across y, bed none"
    for same in ({"name": "b"}, {"job": "tue"}, {"external_drawn_mm": "11.6"}):
        assert read(tmp_path, SLOT, other | same)[1] == []
    flat = SLOT | {"across": "z", "bed": "external"}
    # The slot does not lie on the bed in either row, the tongue in one of them.
    _, (problem,) = read(tmp_path, flat, flat | {"bed": "none"})
    assert problem.expected == "the tongue of a printed as in row 2"


def test_hardware_may_be_tried_in_any_direction(tmp_path):
    row = ROUND | {"hardware": "pin 8 m6", "internal_drawn_mm": "8.3", "external_drawn_mm": ""}
    other = row | {"across": "x", "internal_drawn_mm": "8.4"}
    joints, problems = read(tmp_path, row, other)
    assert (len(joints), problems) == (2, [])
    # But the hole that it was tried in may not.
    _, (problem,) = read(tmp_path, row, row | {"across": "x"})
    assert problem.expected == "the hole of a printed as in row 2"


def test_problems_are_told_in_the_order_of_the_rows(tmp_path):
    bad = SLOT | {"contact_mm": "999"}
    turned = SLOT | {"across": "y", "internal_drawn_mm": "12.1"}
    rows = [SLOT, turned, *[bad] * 8]
    _, problems = read(tmp_path, *rows)
    assert [one.where.split()[-1] for one in problems] == [str(n) for n in range(3, 12)]


def test_rows_without_a_result_are_skipped_and_none_at_all_is_told(tmp_path):
    blank = SLOT | {"result": "", "across": "q"}
    joints, problems = read(tmp_path, SLOT, blank)
    assert (len(joints), problems) == (1, [])
    joints, (problem,) = read(tmp_path, blank, blank)
    assert joints == []
    assert (problem.where, problem.expected, problem.got) == (
        "parts.csv",
        "at least one result",
        "2 blank rows",
    )
