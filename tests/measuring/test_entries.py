import csv
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_coupon import small_coupon

from coupons.errors import EntriesError
from coupons.measuring.run.entries import (
    FitEntry,
    SizeEntry,
    parse_grades,
    parse_number,
    read_entries,
    understand,
)
from coupons.measuring.run.sheet import Row
from coupons.terms import Grade, Jaws

HEADER = "kind,feature,mate,result,unit,jaws,along,by,note\n"


def read(tmp_path, *rows):
    path = tmp_path / "entries.csv"
    path.write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    return read_entries(path, small_coupon())


def test_a_reading_and_a_trial_are_understood(tmp_path):
    sizes, fits = read(
        tmp_path, "size,D1,,79.85,mm,outside,,Ada,warm", "fit,A2,G1,Slide,,,,Ada,tight corner"
    )
    assert sizes == (SizeEntry(2, "D1", 79.85, Jaws.OUTSIDE, None, "Ada", "warm"),)
    assert fits == (FitEntry(3, "A2", "G1", Grade.SLIDE, Grade.SLIDE, "Ada", "tight corner"),)


def test_blank_results_are_skipped_and_repeats_are_kept(tmp_path):
    sizes, fits = read(tmp_path, "size,D1,,,mm,,,,", *["size,D1,,79.85,,,,,"] * 2)
    assert [size.row for size in sizes] == [3, 4]
    assert fits == ()


def test_inches_become_millimetres_only_where_declared(tmp_path):
    sizes, _ = read(tmp_path, "size,D1,,3.125,in,,,,", "size,D1,,3.125,mm,,,,")
    assert [size.value_mm for size in sizes] == [3.125 * 25.4, 3.125]


def test_jaws_left_blank_are_the_ones_that_reach(tmp_path):
    sizes, _ = read(tmp_path, "size,A1,,11.7,,,,,", "size,D1,,79.8,,,,,", "size,C1,,4,,depth,,,")
    assert [size.jaws for size in sizes] == [Jaws.INSIDE, Jaws.OUTSIDE, Jaws.DEPTH]


def test_hardware_is_a_mate_like_any_other(tmp_path):
    _, fits = read(tmp_path, "fit,b2,DOWEL,push,,,,,")
    assert (fits[0].feature, fits[0].mate) == ("B2", "dowel")


@pytest.mark.parametrize(
    ("text", "grades"),
    [
        ("no-go", ("no-go", "no-go")),
        ("No Go", ("no-go", "no-go")),
        ("NOGO", ("no-go", "no-go")),
        ("no–go", ("no-go", "no-go")),
        (" LOOSE ", ("loose", "loose")),
        ("go", ("push", "loose")),
        ("stop", ("no-go", "force")),
        ("goes", ("push", "loose")),
        (" Stops", ("no-go", "force")),
        ("push..slide", ("push", "slide")),
        ("push ... loose", ("push", "loose")),
        ("slide…push", ("push", "slide")),
        ("no-go..force", ("no-go", "force")),
        ("slid", None),
        ("go..loose", None),
        ("push..", None),
        ("push..slide..loose", None),
        ("", None),
    ],
)
def test_grades_as_people_write_them(text, grades):
    assert parse_grades(text) == grades


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7.98", 7.98),
        ("7,98", 7.98),
        (" 8 ", 8.0),
        (",5", 0.5),
        ("8.", 8.0),
        ("７.９８", 7.98),
        ("1e1", 10.0),
        ("1_0", None),
        ("1,234.5", None),
        ("0x8", None),
        ("7.98mm", None),
        ("--8", None),
        ("", None),
    ],
)
def test_numbers_as_people_write_them(text, value):
    assert parse_number(text) == value


IDS = "The ids are on map.svg."
BAD_ROWS = [
    ("sise,D1,,80,,,,,", "expected kind fit, size, zero or hold, got 'sise'. Did you mean size?"),
    (",D1,,80,,,,,", "expected kind fit, size, zero or hold, got nothing."),
    (
        "zero,D1,,0,,,,,",
        "expected no feature in a row of kind zero, got 'D1'. Clear it, or make the kind size.",
    ),
    (
        "zero,,,ok,,,,,",
        "expected a number, got 'ok'. Write only the size, such as 7.98.",
    ),
    (
        "zero,,,7.98,,,,,",
        "expected a closed-jaw reading of at most 1 mm either way, got '7.98'."
        " Close the jaws and read again, or clear the cell.",
    ),
    (
        "zero,,,0,,insid,,,",
        "expected jaws outside, inside, depth, got 'insid'. Did you mean inside?",
    ),
    (
        "fit,A1,G1,slid,,,,,",
        "expected one of no-go, force, push, slide, loose, go, stop, got 'slid'."
        " Did you mean slide?",
    ),
    (
        "fit,A1,G1,ok,,,,,",
        "expected one of no-go, force, push, slide, loose, go, stop, got 'ok'."
        " A range of grades is written push..slide.",
    ),
    (
        "size,A9,,12,,,,,",
        "expected a feature of this coupon, got 'A9'. Row A has the ids A1 to A4.",
    ),
    ("size,dovel,,12,,,,,", "expected a feature of this coupon, got 'dovel'. Did you mean dowel?"),
    ("size,wing,,12,,,,,", f"expected a feature of this coupon, got 'wing'. {IDS}"),
    ("size,,,12,,,,,", f"expected a feature of this coupon, got nothing. {IDS}"),
    (
        "size,dowel,,6,,,,,",
        "expected a printed feature, got 'dowel'."
        " Hardware goes in column mate of a fit row; its size is known already.",
    ),
    ("fit,A1,,slide,,,,,", f"expected a mate of this coupon, got nothing. {IDS}"),
    (
        "fit,A1,G9,slide,,,,,",
        "expected a mate of this coupon, got 'G9'. Row G has the ids G1 to G2.",
    ),
    (
        "fit,A1,A2,slide,,,,,",
        "expected an external flat mate for slot A1, got 'slot A2'."
        " Correct the feature or the mate.",
    ),
    (
        "fit,B1,G1,slide,,,,,",
        "expected an external round mate for hole B1, got 'tongue G1'."
        " Correct the feature or the mate.",
    ),
    (
        "fit,D1,G1,slide,,,,,",
        "expected an internal flat mate for tongue D1, got 'tongue G1'."
        " Correct the feature or the mate.",
    ),
    (
        "size,D1,G1,80,,,,,",
        "expected no mate in a size row, got 'G1'. Clear the mate, or make the kind fit.",
    ),
    (
        "size,A1,,12,,outside,,,",
        "expected inside jaws for slot A1, got 'outside'. Correct the jaws or the feature.",
    ),
    (
        "size,D1,,80,,inside,,,",
        "expected outside jaws for tongue D1, got 'inside'. Correct the jaws or the feature.",
    ),
    (
        "size,D1,,80,,depth,,,",
        "expected outside jaws for tongue D1, got 'depth'. Correct the jaws or the feature.",
    ),
    (
        "size,B1,,6,,depth,,,",
        "expected inside jaws for hole B1, got 'depth'. Correct the jaws or the feature.",
    ),
    (
        "size,D1,,80,,outsid,,,",
        "expected jaws outside, inside, depth, got 'outsid'. Did you mean outside?",
    ),
    (
        "size,D1,,80,,,y,,",
        "expected along x for tongue D1, got 'y'. Correct it, or leave it blank.",
    ),
    (
        "size,B1,,6,,,z,,",
        "expected along x or y for hole B1, got 'z'. Correct it, or leave it blank.",
    ),
    (
        "size,D3,,60,,,x,,",
        "expected along blank for tongue D3, got 'x'. Correct it, or leave it blank.",
    ),
    ("size,D1,,80,inch,,,,", "expected unit mm or in, got 'inch'. Did you mean in?"),
    ("size,D1,,80,furlong,,,,", "expected unit mm or in, got 'furlong'. Leave blank for mm."),
    (
        "size,D1,,=80,,,,,",
        "expected a value, not a formula, got '=80'. Type the value that the formula shows.",
    ),
    (
        "size,D1,,80 mm,,,,,",
        "expected a number, got '80 mm'. Write only the number here, and the unit in column unit.",
    ),
    (
        "size,A1,,Jul 98,,,,,",
        "expected a number, got 'Jul 98'. A spreadsheet may have turned it into a date:"
        " format the column as text and type it again.",
    ),
    (
        "size,A1,,07.08.98,,,,,",
        "expected a number, got '07.08.98'. A spreadsheet may have turned it into a date:"
        " format the column as text and type it again.",
    ),
    ("size,D1,,wide,,,,,", "expected a number, got 'wide'. Write only the size, such as 7.98."),
    *(
        (
            f"size,D1,,{number},,,,,",
            f"expected a size from 0.01 to 2000 mm, got '{number}'."
            " Measure it again, or clear the cell.",
        )
        for number in ("0", "1e-300", "0.009", "-79.8", "nan", "inf", "1e9", "2000.1", "1e400")
    ),
]


@pytest.mark.parametrize(("row", "message"), BAD_ROWS)
def test_each_bad_row_is_told(tmp_path, row, message):
    with pytest.raises(EntriesError) as caught:
        read(tmp_path, "size,D2,,39.9,,,,,", row)
    assert caught.value.message == f"entries.csv row 3: {message}"


@pytest.mark.parametrize(("text", "message"), BAD_ROWS)
def test_a_bad_row_makes_no_entry(text, message):
    row = Row(7, *next(csv.reader([text])))
    entries, problems = understand([row], small_coupon())
    assert entries == []
    assert [str(problem) for problem in problems] == [f"entries.csv row 7: {message}"]


def test_every_problem_of_the_file_is_told_in_the_order_of_its_rows(tmp_path):
    with pytest.raises(EntriesError) as caught:
        read(tmp_path, "size,A9,,0,,,,,", *[row for row, _ in BAD_ROWS], "fit,A1,G1,1,2,3,4,5,6,7")
    rows = [int(problem.where.split()[-1]) for problem in caught.value.problems]
    assert rows == sorted(rows)
    assert set(rows) == set(range(2, len(BAD_ROWS) + 4))


ROWS = ["size,D1,,79.85,,,,,", "size,A1,,11.7,,,,,", "fit,A2,G1,slide,,,,,", "fit,B1,H1,go,,,,,"]


def without_rows(entries):
    return sorted(str({**vars(entry), "row": 0}) for group in entries for entry in group)


def test_the_order_of_rows_does_not_matter(tmp_path):
    plain = without_rows(read(tmp_path, *ROWS))
    for seed in range(5):
        mixed = random.Random(seed).sample(ROWS, len(ROWS))
        assert without_rows(read(tmp_path, *mixed)) == plain


def test_splitting_a_sheet_in_two_loses_nothing(tmp_path):
    whole = without_rows(read(tmp_path, *ROWS))
    parts = without_rows(read(tmp_path, *ROWS[:1])) + without_rows(read(tmp_path, *ROWS[1:]))
    assert sorted(parts) == whole


def test_inches_and_millimetres_of_one_length_are_equal(tmp_path):
    for value_mm in (3.0, 7.98, 12.7, 79.85):
        sizes, _ = read(
            tmp_path, f"size,D1,,{value_mm},mm,,,,", f"size,D1,,{value_mm / 25.4!r},in,,,,"
        )
        assert sizes[0].value_mm == pytest.approx(sizes[1].value_mm, abs=1e-12)


lengths = st.decimals("0.01", "2000", places=4, allow_nan=False, allow_infinity=False)


@given(lengths, st.sampled_from(".,"), st.sampled_from(["", " ", "\u00a0"]))
def test_any_length_reads_back_with_point_or_comma(length, mark, blank):
    text = f"{blank}{length}{blank}".replace(".", mark)
    assert parse_number(text) == float(length)


@pytest.mark.slow
@given(st.text(max_size=12))
def test_a_number_is_read_as_python_reads_it_or_not_at_all(text):
    found = parse_number(text)
    if found is not None:
        assert repr(found) == repr(float(text.strip().replace(",", ".")))


@given(st.sampled_from(list(Grade)), st.sampled_from(list(Grade)), st.booleans())
def test_any_two_grades_make_a_range_in_their_order(one, other, upper):
    text = f"{one}..{other}"
    found = parse_grades(text.upper() if upper else text)
    assert found == tuple(sorted((one, other), key=list(Grade).index))


hostile = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


@given(st.lists(st.builds(Row, st.integers(2, 99), *[hostile] * 9), max_size=6))
def test_no_typed_text_is_a_crash(rows):
    entries, problems = understand(rows, small_coupon())
    assert len({entry.row for entry in entries}) <= len(rows)
    assert all(str(problem).startswith("entries.csv row ") for problem in problems)


words = st.sampled_from(["fit", "size", "A1", "G1", "H1", "slide", "7,98", "in", "", "=1", "1e9"])


@given(st.builds(Row, st.just(2), *[words] * 9))
def test_a_filled_row_is_an_entry_or_a_problem_and_a_blank_one_neither(row):
    entries, problems = understand([row], small_coupon())
    if row.is_blank:
        assert (entries, problems) == ([], [])
    else:
        assert bool(entries) != bool(problems)


@pytest.mark.parametrize(
    ("rows", "zeros"),
    [
        (["size,D1,,80,,,,,", "zero,,,,mm,outside,,,"], [("D1", 0)]),
        (["size,D1,,80,,,,,", "zero,,,0.15,mm,outside,,,"], [("D1", 0.15)]),
        (['zero,,,"-0,05",,,,,', "size,D1,,80,,,,,"], [("D1", -0.05)]),
        (["zero,,,0.01,in,,,,", "size,A1,,12,,inside,,,"], [("A1", pytest.approx(0.254))]),
        (
            [
                "size,D1,,80,,,,,",
                "zero,,,0.1,,,,,",
                "size,D2,,40,,,,,",
                "zero,,,0,,,,,",
                "size,G1,,12,,,,,",
            ],
            [("D1", 0.1), ("D2", 0.1), ("G1", 0)],
        ),
        (
            [
                "zero,,,0,,,,,",
                "size,D1,,80,,,,,",
                "zero,,,0.15,,,,,",
                "size,D2,,40,,,,,",
                "zero,,,0,,,,,",
                "size,G1,,12,,,,,",
                "zero,,,,mm,outside,,,",
            ],
            [("D1", 0), ("D2", 0.15), ("G1", 0)],
        ),
        (
            ["zero,,,0.1,,,,,", "zero,,,0.03,,inside,,,", "size,A1,,12,,,,,", "size,D1,,80,,,,,"],
            [("A1", 0.03), ("D1", 0.1)],
        ),
        (
            ["zero,,,0.1,,,,Ada,", "size,D1,,80,,,,ada,", "size,D2,,40,,,,Bo,", "size,G1,,12,,,,,"],
            [("D1", 0.1), ("D2", 0), ("G1", 0.1)],
        ),
    ],
    ids=["blank", "below", "comma", "inches", "twice", "between", "inside", "by"],
)
def test_closed_jaws_tell_the_zero_of_the_readings_of_that_caliper(tmp_path, rows, zeros):
    sizes, _ = read(tmp_path, *rows)
    assert [(size.feature, size.zero_mm) for size in sizes] == zeros


def test_a_reading_is_kept_as_read_beside_its_zero(tmp_path):
    (size,), _ = read(tmp_path, "zero,,,0.15,,,,,", "size,D1,,80.1,,,,,")
    assert (size.value_mm, size.size_mm) == (80.1, pytest.approx(79.95))
