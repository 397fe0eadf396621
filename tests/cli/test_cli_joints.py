import json

import pytest
from click.testing import CliRunner
from support.drawer_list import DRAWER, HEAD
from support.known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile_file import write_profile


@pytest.fixture
def folder(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    (tmp_path / "joints.csv").write_text(HEAD + DRAWER, encoding="utf-8")
    return tmp_path


def run(folder, *more):
    arguments = [
        "joints",
        str(folder / "profile.json"),
        str(folder / "joints.csv"),
        *map(str, more),
    ]
    return CliRunner().invoke(main, arguments)


def test_a_part_is_answered_on_the_terminal_and_in_files(folder):
    result = run(folder, "-o", folder / "out")
    assert result.exit_code == 0, result.output
    assert "Chance that all 6 joints fit on one print" in result.output
    assert max(map(len, result.output.splitlines())) <= 80
    assert (folder / "out" / "joints.html").exists()


def test_the_answers_as_data(folder):
    data = json.loads(run(folder, "--json").output)
    assert len(data["joints"]) == 7
    assert 0 < data["together"]["chance"] < min(j["chance"] or 1 for j in data["joints"])
    assert not (folder / "out").exists()


def test_a_joint_without_an_answer_ends_with_1_after_the_others(folder):
    profile = known_profile(sd_share={"growth_int_z": 1, "growth_ext_z": 1, "scale_z": 1})
    write_profile(profile, folder / "profile.json")
    (folder / "joints.csv").write_text(HEAD + DRAWER + "shelf,slot,tongue,12,z,slide,,\n")
    result = run(folder, "-o", folder / "out")
    assert result.exit_code == 1
    assert "shelf: Not measured" in result.output
    assert "drawer" in (folder / "out" / "drawn-sizes.csv").read_text()
    assert "shelf" not in (folder / "out" / "drawn-sizes.csv").read_text()


def test_a_faulty_list_ends_with_1_and_writes_nothing(folder):
    (folder / "joints.csv").write_text(HEAD + "a,slot,tongue,0,x,slid,,\nb,slot,pin,5,q,push,,\n")
    result = run(folder, "-o", folder / "out")
    assert result.exit_code == 1
    assert len(result.output.strip().splitlines()) == 4
    assert not (folder / "out").exists()


def test_columns_that_are_not_read_are_told_beside_the_data(folder):
    (folder / "joints.csv").write_text("colour," + HEAD + "red,a,slot,tongue,9,x,slide,,\n")
    result = run(folder, "--json")
    assert json.loads(result.stdout)["joints"]
    assert result.stderr == "joints.csv: columns not used: colour.\n"


def test_swapped_files_are_told(folder):
    swapped = [str(folder / name) for name in ("joints.csv", "profile.json")]
    result = CliRunner().invoke(main, ["joints", *swapped])
    assert result.exit_code == 2
    assert "The profile comes first" in result.output


@pytest.mark.slow
def test_ten_thousand_rows_are_answered(folder):
    rows = (f"j{n},slot,tongue,{5 + n % 40},x,slide,,\n" for n in range(10_000))
    (folder / "joints.csv").write_text(HEAD + "".join(rows))
    result = run(folder, "-o", folder / "out")
    assert result.exit_code == 0, result.output[-500:]
    assert "Chance that all 10000 joints fit on one print" in result.output
    assert (folder / "out" / "drawn-sizes.csv").read_text().count("\n") == 20_001
