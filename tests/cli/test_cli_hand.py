"""``coupons hand`` from the folder to the profile and the answers for that hand."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from coupons import fit_hand, load_profile
from coupons.cli import main

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"
ROWS = "A6,AG,push A5,AH,force B4,BG,push B5,BH,push C4,CG,push C5,CH,slide C6,CJ,slide D6,DG,push"


def run(*arguments):
    return CliRunner().invoke(main, list(map(str, arguments)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = shutil.copytree(DEMO, tmp_path_factory.mktemp("hand") / "spring")
    with (folder / "entries.csv").open("a", encoding="utf-8") as file:
        for row in ROWS.split():
            file.write(f"fit,{row},,,,Bo,\n")
    return folder


@pytest.fixture(scope="module")
def told(folder):
    return run("hand", folder, "--by", "bo")


def test_it_says_where_each_fit_begins_in_80_columns(told, folder):
    assert told.exit_code == 0, told.output
    lines = told.stdout.splitlines()
    assert lines[0] == "The hand of bo, from 8 trials on bench-1, grey:"
    assert lines[-1] == f"Wrote {folder / 'profile-bo.json'}"
    assert max(map(len, lines[:-1])) <= 80
    assert any(line.startswith("For a sliding fit bo wants a gap") for line in lines)


@pytest.mark.usefixtures("told")
def test_an_offset_from_it_says_whose_hand(folder):
    asked = ["--joint", "slot/tongue", "--size", "12", "--across", "x"]
    answer = run("offset", folder / "profile-bo.json", *asked)
    words = " ".join(answer.stdout.split())
    assert "The fit is for the hand of bo, from 8 trials on a print that others had tried." in words
    data = json.loads(run("offset", folder / "profile-bo.json", *asked, "--json").stdout)
    assert data["origin"]["hand"] == {"by": "bo", "trials": 8}
    assert "The fit is for the hand" not in run("offset", folder, *asked).stdout


@pytest.mark.usefixtures("told")
def test_python_gives_the_same(folder):
    found = fit_hand(folder, folder / "profile.json", by="bo")
    assert found.profile == load_profile(folder / "profile-bo.json").profile


@pytest.mark.usefixtures("told")
def test_nothing_of_the_others_is_touched(folder):
    for name in ("profile.json", "conditions.toml", "coupon.json"):
        assert (folder / name).read_bytes() == (DEMO / name).read_bytes()


def test_output_and_data(folder, tmp_path):
    path = tmp_path / "mine.json"
    told = run("hand", folder, "--by", "Bo", "-o", path, "--json")
    data = json.loads(told.stdout)
    assert data["profile"] == str(path)
    assert data["hand"] == {"by": "Bo", "trials": 8}
    assert data["from_push"] < data["from_slide"] < data["from_loose"]


def test_who_tried_nothing_is_told_what_to_try_and_nothing_is_written(folder):
    told = run("hand", folder, "--by", "Cleo")
    assert told.exit_code == 1
    assert "expected at least 6 trials by Cleo, got 0. Have Cleo try these pairs" in told.stderr
    assert not (folder / "profile-cleo.json").exists()


def test_a_file_that_is_no_profile_is_not_replaced(folder, tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("mine")
    assert run("hand", folder, "--by", "bo", "-o", path).exit_code == 1
    assert path.read_text() == "mine"
