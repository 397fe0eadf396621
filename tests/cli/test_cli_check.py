import json

import pytest
from click.testing import CliRunner
from support.small_coupon import small_coupon

from coupons.cli import MOST, main
from coupons.making.record import write_coupon
from coupons.measuring.run.folder import start_run


@pytest.fixture
def folder(tmp_path):
    start_run(tmp_path, small_coupon(), machine="bench-1", material="grey")
    write_coupon(small_coupon(), tmp_path / "coupon.json")
    return tmp_path


def fill(folder, old, new):
    path = folder / "entries.csv"
    path.write_bytes(path.read_bytes().replace(old.encode(), new.encode()))


def check(*arguments):
    return CliRunner().invoke(main, ["check", *map(str, arguments)])


def test_a_look_alone_passes(folder):
    fill(folder, "size,D2,,,", "size,D2,,1.571,")
    result = check(folder)
    assert result.exit_code == 0
    assert result.stdout == (
        """\
fit trials:           0 filled in, 12 blank
caliper readings:     1 filled in, 9 blank
jaws closed:          0 filled in, 1 blank
  still blank: rows 2–20, 22–24

look   conditions.toml
       Not filled in: nozzle_temp_c, bed_temp_c, speed_mm_s, printed_on.
       Fill in what you know; it helps to explain later why two runs differ.

look   entries.csv row 21 (D2)
       Reads 1.571 mm; the drawn size is 40 mm. As inches it would be 39.90 mm.
       If it was read in inches, write in in column unit.

0 errors to correct, 2 things to look at.
"""
    )


def test_an_error_fails_and_fits_the_terminal(folder):
    fill(folder, "fit,A1,G1,", "fit,A1,G1,slid")
    result = check(folder)
    assert result.exit_code == 1
    assert "error  entries.csv row 2\n" in result.stdout
    assert "       Did you mean slide?\n" in result.stdout
    assert result.stdout.endswith("1 error to correct, 1 thing to look at.\n")
    assert max(map(len, result.stdout.splitlines())) <= 80


def test_a_flood_of_findings_is_cut_short_on_the_terminal_alone(folder):
    inner, outer = ["A1", "A2", "A3", "B1", "B2"], ["D1", "D2", "D3", "G1", "H1"]
    rows = [f"size,{name},,9,,outside,,,\r\n" for name in inner]
    rows += [f"size,{name},,9,,inside,,,\r\n" for name in outer]
    fill(folder, "size,D2,,,", "".join(rows * 5) + "size,D2,,,")
    assert "\nand 12 more; --json lists all\n" in check(folder).stdout
    assert len(json.loads(check(folder, "--json").stdout)["findings"]) == 52  # copies too


def test_one_mistake_in_every_row_is_told_once_with_all_its_places_in_json(folder):
    fill(folder, "size,D2,,,", "size,D2,,1 mm,\r\n" + "size,D2,,2 mm,,,,,\r\n" * 99)
    result = check(folder)
    assert (
        """\
error  entries.csv rows 21, 22, 23 and 97 more
       100 findings of the same kind; the first: expected a number, got '1 mm'.
       Write only the number here, and the unit in column unit.
"""
        in result.stdout
    )
    assert result.stdout.endswith("1 error to correct, 2 things to look at.\n")  # copies too
    (error,) = (
        found
        for found in json.loads(check(folder, "--json").stdout)["findings"]
        if found["severity"] == "error"
    )
    assert [each["where"].split()[-1] for each in error["each"]] == list(map(str, range(21, 121)))
    assert error["each"][1]["what"] == "expected a number, got '2 mm'"


def test_json_holds_counts_and_findings(folder):
    fill(folder, "fit,A1,G1,", "fit,A1,G1,slid")
    result = check(folder, "--json")
    assert result.exit_code == 1
    data = json.loads(result.stdout)
    assert data["counts"][0] == {"kind": "fit", "filled": 1, "blank": 11, "missing": 0}
    assert data["blank_rows"] == [[3, 24]]
    assert data["findings"][0] == {
        "severity": "error",
        "where": "entries.csv row 2",
        "what": "expected one of no-go, force, push, slide, loose, go, stop, got 'slid'",
        "todo": "Did you mean slide?",
    }


def test_rows_that_are_gone_are_said(folder):
    path = folder / "entries.csv"
    lines = path.read_text(encoding="utf-8-sig").replace("fit,A1,G1,", "fit,A1,G1,slide")
    kept = [line for line in lines.splitlines() if not line.startswith(("size,A", "fit,B"))]
    path.write_text("\n".join(kept), encoding="utf-8")
    text = check(folder).stdout
    assert "fit trials:           1 filled in, 7 blank, 4 without a row\n" in text
    assert "caliper readings:     0 filled in, 7 blank, 3 without a row\n" in text
    assert "3 of the coupon's 10 caliper readings are not in the sheet: A1, A2, A3.\n" in text


def test_a_folder_that_is_not_there_is_one_line(tmp_path):
    result = check(tmp_path / "nowhere")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "expected a run folder, got no such folder" in result.stderr


def test_a_cut_off_record_says_where_and_how_to_mend_it(folder):
    path = folder / "coupon.json"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:20]))
    text = " ".join(check(folder).stdout.split())
    assert "Expected a complete JSON file, got one that breaks off at line " in text
    assert "Make the same coupon in a new folder and copy its coupon.json here." in text


def test_a_fit_shows_as_many_faults_as_a_check_and_counts_the_rest(folder):
    with (folder / "entries.csv").open("a", encoding="utf-8") as sheet:
        sheet.write("size,D2,,wide,,,,,\n" * 500)
    lines = CliRunner().invoke(main, ["fit", str(folder)]).stderr.splitlines()
    assert len(lines) == MOST + 1
    assert lines[-1] == f"and {500 - MOST} more; `coupons check --json` lists all"


def test_several_runs_are_checked_in_one_go(folder):
    fill(folder, "size,D2,,,", "size,D2,,1.571,")
    one = check(folder).stdout
    both = check(folder, folder)
    assert both.exit_code == 0
    assert both.stdout.count(one.strip()) == 2
    assert both.stdout.startswith(f"{folder}:\n")
    data = json.loads(check(folder, folder, "--json").stdout)
    assert data == [json.loads(check(folder, "--json").stdout)] * 2
