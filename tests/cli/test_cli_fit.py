"""`coupons fit` from the folder to what stands on the terminal and in the profile."""

import csv
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from coupons.cli import main
from coupons.learning.profile_file import read_profile

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return shutil.copytree(DEMO, tmp_path_factory.mktemp("fit") / "spring")


def fit(*arguments):
    return CliRunner().invoke(main, ["fit", *map(str, arguments)])


@pytest.mark.slow
def test_entries_left_out_stand_in_the_profile(folder):
    result = fit(folder, "--without", "43", "--without", "61")
    assert result.exit_code == 0, result.output
    profile = read_profile(folder / "profile.json")
    assert profile.without == ("43", "61")
    assert profile.counts.trials == 72


@pytest.mark.slow
def test_the_profile_keeps_which_sizes_were_tried_and_which_were_read(folder):
    fit(folder)
    measured = read_profile(folder / "profile.json").measured
    slots = next(m for m in measured if (m.form, m.direction) == ("slot", "x"))
    record = json.loads((folder / "coupon.json").read_text(encoding="utf-8"))
    sizes = {f["id"]: f["size_mm"] for f in record["features"] if f["form"] == "slot"}
    along_x = {f["id"] for f in record["features"] if f["direction"] == "x"}
    rows = csv.DictReader((folder / "entries.csv").read_text(encoding="utf-8-sig").splitlines())
    used = {"fit": [], "size": []}
    for row in rows:
        if row["feature"] in along_x & set(sizes) and row["result"]:
            used[row["kind"]].append(sizes[row["feature"]])
    assert slots.tried_mm == (min(used["fit"]), max(used["fit"]))
    assert slots.read_mm == (min(used["size"]), max(used["size"]))
    assert slots.tried_mm[1] < slots.read_mm[1]


@pytest.mark.slow
def test_without_changes_no_file_of_the_person(folder):
    before = (folder / "entries.csv").read_bytes()
    fit(folder, "--without", "43")
    assert (folder / "entries.csv").read_bytes() == before


@pytest.mark.parametrize("row", ["0", "100000", "A1", "autumn:12", "-1"])
def test_an_unknown_row_is_an_error_and_writes_nothing(folder, row):
    (folder / "profile.json").unlink(missing_ok=True)
    result = fit(folder, "--without", row)
    assert result.exit_code == 1
    assert f"--without {row}: expected" in result.stderr
    assert not (folder / "profile.json").exists()


@pytest.mark.slow
def test_json_holds_what_a_program_would_read(folder):
    data = json.loads(fit(folder, "--json").stdout)
    names = {"profile", "first", "causes", "unexpected", "shared_slips", "held_out", "runs"}
    assert set(data) == names
    assert data["causes"]["found"][0]["place"] in ("printer", "drawing")
    assert data["held_out"]["readings"]["count"] == 66
    assert data["unexpected"]["entries"] == 140


def test_all_entries_left_out_is_one_clear_line(folder):
    everything = [part for row in range(2, 142) for part in ("--without", row)]
    result = fit(folder, *everything)
    assert result.exit_code == 1
    assert "hold no result yet" in result.stderr


@pytest.mark.slow
def test_profiles_in_one_folder_keep_their_own_pages(folder, tmp_path):
    for name in ("bench-1", "bench-2"):
        result = fit(folder, "-o", tmp_path / f"{name}.json")
        pages = f"{name}-report.html and {name}-wall-card.html"
        assert result.output.endswith(f"Wrote {tmp_path / name}.json, {pages}\n")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        f"{name}{end}"
        for name in ("bench-1", "bench-2")
        for end in ("-report.html", "-wall-card.html", ".json")
    ]


@pytest.mark.parametrize(
    ("output", "got"),
    [
        ("spring/entries.csv", "another kind of file"),
        ("spring/coupon.json", "another kind of file"),
        ("spring/report.html", "another kind of file"),
        ("spring", "a folder or a device"),
        ("spring/entries.csv/p.json", "a file where its folder should be"),
    ],
)
def test_a_file_that_is_no_profile_is_never_written_over(folder, output, got):
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    result = fit(folder, "-o", folder.parent / output)
    assert result.exit_code == 1
    assert f"{output}: expected a" in result.stderr
    assert f"got {got}" in result.stderr
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_a_report_of_ones_own_beside_the_profile_is_never_written_over(folder, tmp_path):
    (tmp_path / "p-report.html").write_text("mine")
    result = fit(folder, "-o", tmp_path / "p.json")
    assert "p-report.html: expected a report to replace, or no such file" in result.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["p-report.html"]


@pytest.mark.slow
def test_a_damaged_profile_may_be_replaced(folder):
    assert fit(folder).exit_code == 0
    path = folder / "profile.json"
    path.write_text(path.read_text()[:300])
    assert fit(folder).exit_code == 0
    assert read_profile(path).machine == "bench-1"


@pytest.mark.slow
def test_one_print_given_twice_is_refused(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "copy")
    for twice in (folder, folder.parent / "." / "spring", copy):
        result = fit(folder, twice, "--without", "spring:43")
        assert result.exit_code == 1
        assert f"{twice}: expected another print, got the same entries as {folder}" in (
            result.stderr
        )
    conditions = copy / "conditions.toml"
    conditions.write_text("printed_on = 2026-01-31\n" + conditions.read_text())
    assert fit(folder, copy, "-o", tmp_path / "both.json").exit_code == 0
