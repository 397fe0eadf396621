"""`coupons fit` from the folder to what stands on the terminal and in the profile."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from coupons.cli import main
from coupons.learning.profile import read_profile

DEMO = Path(__file__).parents[1] / "results" / "filter-drawer"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return shutil.copytree(DEMO, tmp_path_factory.mktemp("fit") / "spring")


def fit(*arguments):
    return CliRunner().invoke(main, ["fit", *map(str, arguments)])


def test_entries_left_out_stand_in_the_profile(folder):
    result = fit(folder, "--without", "43", "--without", "61")
    assert result.exit_code == 0, result.output
    profile = read_profile(folder / "profile.json")
    assert profile.without == ("43", "61")
    assert profile.counts.trials == 72


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


def test_json_holds_what_a_program_would_read(folder):
    data = json.loads(fit(folder, "--json").stdout)
    assert set(data) == {"profile", "causes", "surprises", "held_out"}
    assert data["causes"]["found"][0]["place"] in ("set-up", "model")
    assert data["held_out"]["readings"]["count"] == 66
    assert data["surprises"]["entries"] == 140


def test_all_entries_left_out_is_one_clear_line(folder):
    everything = [part for row in range(2, 142) for part in ("--without", row)]
    result = fit(folder, *everything)
    assert result.exit_code == 1
    assert "hold no result yet" in result.stderr
