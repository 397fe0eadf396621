"""What looks wrong in a list of parts: each limit from both sides, and whose finding it is."""

from dataclasses import replace

import pytest

from coupons.errors import Problem
from coupons.job.check import bought_mate
from coupons.measuring.checks.parts_checks import check_parts, findings_by_run
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.parts_list import COLUMNS
from coupons.measuring.run.tried_joints import odd_parts, with_parts

CONDITIONS = 'machine = "bench-1"\nmaterial = "grey"\nnozzle_mm = 0.4\nlayer_height_mm = 0.2\n'


def joint(name, internal_mm, gap_mm, result, **columns):
    sizes = {"internal_drawn_mm": internal_mm, "external_drawn_mm": round(internal_mm - gap_mm, 3)}
    row = {"name": name, "job": "m", "internal": "slot", "external": "tongue", "across": "x"}
    return row | sizes | {"result": result} | columns


def listed(tmp_path, *rows):
    lines = [",".join(str(row.get(column, "")) for column in COLUMNS) for row in rows]
    path = tmp_path / "parts.csv"
    path.write_text("\n".join([",".join(COLUMNS), *lines]) + "\n", encoding="utf-8")
    (tmp_path / "conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    return path


def found(tmp_path, *rows):
    return check_parts(listed(tmp_path, *rows), bought_mate)


NARROW = joint("a", 10.0, 0.10, "loose")


@pytest.mark.parametrize(
    ("wide", "is_odd"),
    [
        # Two grades tighter at a gap wider by 0.1 mm is odd; by less, or by one grade, is not.
        (joint("b", 10.0, 0.21, "push"), True),
        (joint("b", 10.0, 0.19, "push"), False),
        (joint("b", 10.0, 0.21, "slide"), False),
        (joint("b", 10.0, 0.21, "push..slide"), False),
        # Sizes up to 1.3 times as large are near.
        (joint("b", 12.9, 0.21, "push"), True),
        (joint("b", 13.1, 0.21, "push"), False),
        (joint("b", 7.8, 0.21, "push"), True),
        (joint("b", 7.6, 0.21, "push"), False),
        # Another print, direction or form is another kind; so is one body under another name not.
        (joint("b", 10.0, 0.21, "push", job="n"), False),
        (joint("b", 10.0, 0.21, "push", across="y"), False),
        (joint("b", 10.0, 0.21, "push", internal="hole", external="pin"), False),
    ],
)
def test_a_joint_two_grades_tighter_at_a_wider_gap_is_odd(tmp_path, wide, is_odd):
    for rows in ((NARROW, wide), (wide, NARROW)):
        assert [one.kind for one in found(tmp_path, *rows)] == ["wrong order of parts"] * is_odd


@pytest.mark.parametrize("narrow_mm", [0.0, 0.1, 0.2, 0.25, 0.3])
def test_a_gap_wider_by_a_tenth_itself_is_odd_however_it_is_stored(tmp_path, narrow_mm):
    """In binary 0.35 − 0.25 is a little less than 0.1, and 0.3 − 0.2 too."""
    wide = joint("b", 10.0, round(narrow_mm + 0.1, 3), "push")
    (one,) = found(tmp_path, joint("a", 10.0, narrow_mm, "loose"), wide)
    assert one.kind == "wrong order of parts"


def test_bought_pieces_are_of_no_kind(tmp_path):
    bought = {"internal": "hole", "external": "", "across": "z", "hardware": "pin 8 m6"}
    rows = [
        joint("a", 8.1, 0.0, "loose", **bought) | {"external_drawn_mm": ""},
        joint("b", 8.4, 0.0, "push", **bought) | {"external_drawn_mm": ""},
    ]
    assert list(found(tmp_path, *rows)) == []


def test_of_each_kind_the_pair_farthest_apart_is_told(tmp_path):
    rows = [
        joint("a", 10.0, -0.30, "loose"),
        joint("b", 10.0, -0.10, "push"),
        joint("c", 10.0, 0.20, "push"),
        joint("d", 10.0, 0.60, "loose"),
    ]
    one = found(tmp_path, *rows)[0]
    assert one.where == "parts.csv row 4 (c)"
    assert one.what == (
        "push at a gap of +0.20 mm, but loose at -0.30 mm in row 2, the same kind of joint in one"
        " print"
    )


def test_of_pairs_as_many_grades_apart_the_one_with_the_wider_difference_is_told(tmp_path):
    """From −0.30 to +0.32 is farther than from +0.20, though both of those lie higher."""
    rows = [
        joint("a", 10.0, -0.30, "loose"),
        joint("b", 10.0, 0.10, "push"),
        joint("c", 10.0, 0.20, "loose"),
        joint("d", 10.0, 0.32, "push"),
    ]
    one = found(tmp_path, *rows)[0]
    assert one.where == "parts.csv row 5 (d)"
    assert "loose at -0.30 mm in row 2" in one.what
    one = found(tmp_path, *rows[:3], joint("d", 10.0, 0.32, "slide"))[0]
    assert one.where == "parts.csv row 3 (b)"


@pytest.mark.parametrize(("wide_mm", "is_odd"), [(13.0, True), (13.01, False)])
def test_a_size_is_near_up_to_1_3_times_another_itself(tmp_path, wide_mm, is_odd):
    told = found(tmp_path, NARROW, joint("b", wide_mm, 0.3, "push"))
    assert bool(told) is is_odd


@pytest.mark.parametrize(("narrower_mm", "is_odd"), [(0.0999993, False), (0.0999996, True)])
def test_gaps_differ_to_a_millionth(tmp_path, narrower_mm, is_odd):
    wide = joint("b", 10.0, 0.3, "push")
    narrow = joint("a", 10.0, 0.0, "loose") | {"external_drawn_mm": 10 - 0.3 + narrower_mm}
    assert bool(found(tmp_path, narrow, wide)) is is_odd


def test_copies_are_told_with_the_row_that_they_repeat(tmp_path):
    row = joint("a", 10.0, 0.1, "push")
    noted = row | {"note": "again"}
    others = [row | {"by": "bo"}, row | {"result": "slide"}, row | {"contact_mm": 9}]
    told = found(tmp_path, row, *others, noted, row)
    copies = [(one.where, one.what) for one in told if one.kind == "copied row"]
    assert copies == [
        ("parts.csv row 6 (a)", "same as row 2"),
        ("parts.csv row 7 (a)", "same as row 2"),
    ]


@pytest.mark.parametrize(
    ("internal_mm", "gap_mm", "odd"),
    [(10.0, 1.5, False), (10.0, 1.51, True), (10.0, -1.5, False), (10.0, -1.51, True)],
)
def test_a_gap_beyond_one_and_a_half_is_far(tmp_path, internal_mm, gap_mm, odd):
    told = found(tmp_path, joint("a", internal_mm, gap_mm, "push"))
    assert [one.what for one in told] == [f"the drawn gap is {gap_mm:+.2f} mm"] * odd
    if odd:
        assert told[0].where == "parts.csv row 2 (a slot 10)"


def test_rows_without_a_job_are_taken_as_one_print_and_that_is_said_of_several(tmp_path):
    one, other = joint("a", 10.0, 0.1, "push", job=""), joint("b", 10.0, 0.1, "push", job="")
    assert list(found(tmp_path, one)) == []
    (told,) = found(tmp_path, one, other)
    assert told.where == "parts.csv"
    assert told.what == "2 rows name no job: their bodies are taken as one print"


def test_contradictions_are_told_in_the_file_of_the_list(tmp_path):
    rows = [
        joint("entries.csv", 10.0, 0.2, "slide"),
        joint("entries.csv", 10.0, 0.4, "no-go"),
    ]
    (told,) = found(tmp_path, *rows)
    assert told.where == ("parts.csv row 3 (entries.csv tongue 9.6 with entries.csv slot 10)")


def test_runs_of_coupons_have_no_odd_parts(tmp_path):
    (run,) = with_parts((), listed(tmp_path, joint("a", 10.0, 3.0, "push")), bought_mate)
    assert len(list(odd_parts([run]))) == 1
    assert list(odd_parts([replace(run, parts=None)])) == []


def test_a_finding_belongs_to_the_run_of_its_row_and_that_of_no_row_to_the_first(tmp_path):
    rows = [
        *(joint("a", 10.0, 0.1 + n / 100, "push", job="m") for n in range(10)),
        joint("b", 10.0, 0.1, "push", job="n"),
    ]
    runs = with_parts((), listed(tmp_path, *rows), bought_mate)
    assert [len(run.fits) for run in runs] == [10, 1]

    def look(where, parts=()):
        return Finding("look", where, "odd", "", parts=parts)

    first, last = look("parts.csv row 2 (a)"), look("parts.csv row 12 (b)")
    both = look("parts.csv rows", (look("parts.csv row 3"), look("parts.csv row 12")))
    file = look("parts.csv")
    by_run = findings_by_run(runs, [first, last, file, both])
    assert by_run == ((first, file, both.each[0]), (last, both.each[1]))
    assert findings_by_run((), []) == ()


def test_problems_of_the_file_are_errors_with_what_to_do(tmp_path):
    told = found(tmp_path, joint("a", 10.0, 0.1, "pish"))
    problem = Problem("parts.csv row 2", "a result", "'pish'", "Did you mean push?")
    assert [(one.severity, one.where, one.todo) for one in told] == [
        ("error", problem.where, problem.todo)
    ]
    assert told[0].what.endswith("got 'pish'")
    assert told[0].kind.endswith("or stop Did you mean push?")
    (missing,) = check_parts(tmp_path / "none.csv", bought_mate)
    assert (missing.severity, missing.where) == ("error", "none.csv")
