import csv
import io

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.small_coupon import small_coupon

from coupons.errors import EntriesError
from coupons.measuring.run.sheet import COLUMNS, Row, blank_rows, read_rows, write_rows

PLAIN = "kind,feature,mate,result,unit,jaws,along,by,note\r\nsize,A1,,7.98,mm,inside,x,Ada,snug\r\n"
READ = [Row(2, "size", "A1", "", "7.98", "mm", "inside", "x", "Ada", "snug")]


def read(tmp_path, text):
    path = tmp_path / "entries.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_rows(path)


@pytest.mark.parametrize(
    "data",
    [
        PLAIN,
        PLAIN.replace("\r\n", "\n"),
        PLAIN.replace("\r\n", "\r"),
        PLAIN.removesuffix("\r\n"),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", "\t"),
        "sep=;\r\n" + PLAIN.replace(",", ";"),
        '"' + PLAIN.strip().replace(",", '","').replace("\r\n", '"\r\n"') + '"\r\n',
        PLAIN.replace("kind,feature", "Kind, FEATURE "),
        PLAIN.replace("size,A1", " size , A1"),
        PLAIN + ",,,,,,,,\r\n\r\n,,,\r\n",
        PLAIN.replace("\r\n", ",,,\r\n"),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.encode("utf-16-le").join([b"\xff\xfe", b""]),
        PLAIN.replace(",", "\t").encode("utf-16"),
        "note,by,along,jaws,unit,result,mate,feature,kind\r\nsnug,Ada,x,inside,mm,7.98,,A1,size\r\n",
        PLAIN.replace("kind,", "mine,kind,").replace("size,", "any,size,"),
    ],
)
def test_exports_of_many_spreadsheets_read_the_same(tmp_path, data):
    assert read(tmp_path, data) == (READ, [])


def test_a_local_code_page_keeps_its_letters(tmp_path):
    rows, _ = read(tmp_path, PLAIN.replace("snug", "größer").encode("cp1252"))
    assert rows[0].note == "größer"


@pytest.mark.parametrize("row", ["size,A1,,7,98,mm,,,", "size,A1,,7,98", 'size,A1,,"7,98",mm'])
def test_a_decimal_comma_in_a_comma_separated_file_is_one_number(tmp_path, row):
    rows, problems = read(tmp_path, ",".join(COLUMNS) + "\n" + row + "\n")
    assert (rows[0].result, problems) == ("7,98", [])


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path):
    text = 'kind,feature,result,note\n\nsize,A1,1,"two\nlines"\nsize,A2,2,\n'
    assert [row.number for row in read(tmp_path, text)[0]] == [3, 4]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "",
            "entries.csv: expected a line of column names, got an empty file."
            " Copy the blank sheet back, or make the coupon again into a new folder.",
        ),
        (
            "\n , ,\n",
            "entries.csv: expected a line of column names, got an empty file."
            " Copy the blank sheet back, or make the coupon again into a new folder.",
        ),
        (
            "kind,feature,resutl\n",
            "entries.csv row 1: expected a column result, got resutl. Correct its name.",
        ),
        (
            "size,A1,,7.98,mm\n",
            "entries.csv row 1: expected a column kind, got none of that name. The first row"
            " holds the names kind, feature, mate, result, unit, jaws, along, by, note.\n"
            "entries.csv row 1: expected a column feature, got none of that name. The first row"
            " holds the names kind, feature, mate, result, unit, jaws, along, by, note.\n"
            "entries.csv row 1: expected a column result, got none of that name. The first row"
            " holds the names kind, feature, mate, result, unit, jaws, along, by, note.",
        ),
        (
            "kind,feature,result,result\n",
            "entries.csv row 1: expected each column once, got result twice."
            " Remove or rename one of them.",
        ),
        (
            'kind,feature,result,note\nsize,A1,7.98,"so\nsize,A2,8.01,\n',
            "entries.csv row 2: expected cells with both their quotes or none,"
            " got a single double quote."
            " Close the double quotes of the cell, or remove them.",
        ),
        (
            b"\xff\xfek\x00i",
            "entries.csv: expected text, got bytes in no known encoding."
            " Save it again as CSV, UTF-8.",
        ),
        (
            "kind,feature,result\nsize,A1," + "9" * 200_000 + "\n",
            "entries.csv row 2: expected cells of at most 131072 characters, got a longer one."
            " Shorten it.",
        ),
    ],
)
def test_a_sheet_of_no_usable_shape_is_told(tmp_path, text, message):
    with pytest.raises(EntriesError) as caught:
        read(tmp_path, text)
    assert caught.value.message == message


@pytest.mark.slow
def test_a_million_rows_are_told_and_not_worked_through(tmp_path):
    with pytest.raises(EntriesError) as caught:
        read(tmp_path, "kind,feature,result\n" + "size,A1,7.98\n" * 1_000_000)
    assert caught.value.message == (
        "entries.csv: expected at most 100000 rows, got 1000001. Check that it is the right file."
    )


def test_a_row_with_too_many_cells_is_told_and_the_rest_is_read(tmp_path):
    text = "kind,feature,result\nsize,A1,1.5,a note, with commas\nsize,A2,2\n"
    rows, problems = read(tmp_path, text)
    assert [row.feature for row in rows] == ["A2"]
    assert [str(problem) for problem in problems] == [
        "entries.csv row 2: expected at most 3 cells, got 5."
        " Put text that contains the separator in double quotes."
    ]


# Text as a cell can hold it: no lone surrogates (not text), and no outer blanks (read as stripped).
cells = st.text(st.characters(exclude_categories=("Cs",)), max_size=20).map(
    lambda text: text.replace("\r", " ").strip()
)


@given(st.lists(st.builds(Row, st.just(0), *[cells] * 9), max_size=8))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_any_text_survives_writing_and_reading(tmp_path, rows):
    path = tmp_path / "entries.csv"
    write_rows(path, rows)
    found, problems = read_rows(path)
    kept = [row for row in rows if any(vars(row)[column] for column in COLUMNS)]
    strip = [{column: vars(row)[column] for column in COLUMNS} for row in found]
    assert problems == []
    assert strip == [{column: vars(row)[column] for column in COLUMNS} for row in kept]


@pytest.mark.parametrize("note", ['say "so", then;', "two\nlines", "\t", "🔧", "מידה", "=1+1", "'"])
def test_hostile_notes_survive_each_separator(tmp_path, note):
    for separator in ",;\t":
        text = io.StringIO(newline="")
        writer = csv.writer(text, delimiter=separator)
        writer.writerows([("kind", "feature", "result", "note"), ("size", "A1", "7.98", note)])
        rows, problems = read(tmp_path, text.getvalue())
        assert (rows[0].note, problems) == (note.strip(), [])


def test_blank_rows_have_the_numbers_of_their_lines(tmp_path):
    # The head is line 1, as a spreadsheet shows it.
    rows = blank_rows(small_coupon())
    write_rows(tmp_path / "entries.csv", rows)
    found, problems = read_rows(tmp_path / "entries.csv")
    assert not problems
    assert [row.number for row in rows] == [row.number for row in found]
    assert rows[0].number == 2
