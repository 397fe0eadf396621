"""What leaves a command: any stream can hold it, and it steers no terminal."""

import json
import os
import shutil
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.drawn_bodies import write
from support.meeting_cases import pin_in_plate, pocket

from coupons.cli import COMMANDS, main
from coupons.learning.profile_file import read_profile, write_profile

DEMO = Path(__file__).parents[2] / "results" / "filter-drawer"
MET = DEMO.parent / "filter-drawer-bodies" / "met" / "meetings.csv"
PROFILE = DEMO / "profile.json"
PRESS = ["--size", "10", "--interference", "0.1", "--ring-outside", "16"]
PRESS += ["--ring-modulus", "3.5 GPa", "--strain-limit", "1 %"]
CLIP = ["--deflection", "2.4", "--length", "19", "--thickness", "3.2", "--strain-limit", "2 %"]
SLIDING = ["--joint", "slot/tongue", "--size", "12", "--across", "x"]
STEERING = "\x1b]0;mine\x07\x9b2J\u202e\u2066\x00"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return shutil.copytree(DEMO, tmp_path_factory.mktemp("said") / "run")


def bodies(folder):
    """Mesh files with a pocket and a pin whose meetings are told with signs."""
    drawn = pocket(0.2, 0.2) | {
        n: s.translate((0, 0, 60)) for n, s in pin_in_plate(0.2, 48).items()
    }
    return [write(solid, folder / f"{name}.stl") for name, solid in drawn.items()]


def invocations(folder):
    """Name one run of every command that says much, by the command."""
    again = folder.parent / "again"
    shutil.rmtree(again, ignore_errors=True)
    return {
        "specs": [[]],
        "make": [["recheck", "-o", again], ["recheck", "-o", folder]],
        "rehearse": [[again], [folder]],
        "try": [[again]],
        "check": [[folder], [folder, "--json"]],
        "fit": [[again]],
        "hand": [[again, "--by", "Bo"]],
        "offset": [
            [PROFILE, *SLIDING],
            [PROFILE, "--hardware", "screw M3 medium", "--across", "z"],
            [PROFILE, "--joint", "slot/tongue", "--limits", "12 H9/d9", "--across", "x"],
            [PROFILE, "--form", "hole", "--prints", "8", "--across", "z", "--json"],
        ],
        "joints": [[PROFILE, DEMO / "joints.csv"]],
        "meet": [bodies(folder.parent)],
        "relieve": [[PROFILE, MET, "-o", folder.parent / "relieved"]],
        "press": [PRESS],
        "clip": [CLIP],
        "compare": [[PROFILE, PROFILE]],
        "still": [[PROFILE, recheck_of(folder)]],
        "next": [[PROFILE, *SLIDING]],
        "board": [[PROFILE, "-o", folder.parent / "board"]],
    }


def recheck_of(folder):
    """Write a profile beside a run that differs from the demo's in its entries alone."""
    again = read_profile(PROFILE).model_copy(update={"entries_sha256": "a" * 64})
    write_profile(again, folder.parent / "recheck.json")
    return folder.parent / "recheck.json"


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["cp1252", "latin-1", "ascii"])
def test_every_command_speaks_to_a_stream_of_few_characters(folder, encoding):
    runner = CliRunner(charset=encoding)
    said = invocations(folder)
    assert list(said) == list(COMMANDS)
    for command, each in said.items():
        for arguments in [["-h"], *each]:
            result = runner.invoke(main, [command, *map(str, arguments)])
            assert result.exception is None or isinstance(result.exception, SystemExit)
            assert result.exit_code in (0, 1), result.output
            assert result.output
            assert "--json" in arguments or "\\u" not in result.output


def test_signs_of_our_own_are_said_in_ascii():
    result = CliRunner(charset="ascii").invoke(main, ["offset", str(PROFILE), *SLIDING])
    assert "Move each face of the 12 mm tongue -0." in result.output
    result = CliRunner(charset="ascii").invoke(main, ["specs"])
    assert " cm3" in result.output


@pytest.mark.slow
@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_a_redirect_with_a_narrow_encoding_gets_the_whole_answer(tmp_path, encoding):
    said = tmp_path / "said.txt"
    with said.open("wb") as file:
        done = subprocess.run(
            [sys.executable, "-m", "coupons", "offset", PROFILE, *SLIDING],
            stdout=file,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
            check=False,
        )
    assert (done.returncode, done.stderr) == (0, b"")
    assert "It slides with" in said.read_bytes().decode(encoding)


def assert_harmless(text):
    odd = [sign for sign in text if unicodedata.category(sign)[0] == "C" and sign != "\n"]
    assert odd == []


def said_with(*arguments):
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    assert_harmless(result.output)
    return result


def spoil(path, old, new):
    text = path.read_text(encoding="utf-8-sig")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("entries.csv", "fit,A1,", f"fit,A1{STEERING[:-1]},"),
        ("entries.csv", "kind,feature", f"kind,feature,{STEERING[:-1]}extra"),
        ("conditions.toml", "machine =", f'"m{STEERING}" = '),
        ("conditions.toml", "machine =", '"a\\u001b[2J\\nb\\u202e" = 1\nmachine ='),
        ("conditions.toml", "machine = ", "machine = \x1b[2J"),
        ("coupon.json", '"id": "A1"', '"id": "A1\\u001b[2J\\u202e\\n"'),
        ("coupon.json", '"spec":', '"\\u001b[2J\\u202e": 1, "spec":'),
    ],
)
def test_nothing_in_a_run_folder_steers_a_terminal(tmp_path, name, old, new):
    folder = shutil.copytree(DEMO, tmp_path / "run")
    spoil(folder / name, old, new)
    for more in ([], ["--json"]):
        assert said_with("check", folder, *more).exit_code == 1
    assert said_with("fit", folder).exit_code == 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("cover screws", f"cover{STEERING[:-1]}screws"),
        ("screw M3 medium", f"screw{STEERING[:-1]}"),
        ("name,", f"{STEERING[:-1]},name,"),
        ("slide", f"sl{STEERING[:-1]}ide"),
    ],
)
def test_nothing_in_a_list_steers_a_terminal(tmp_path, old, new):
    listed = tmp_path / "joints.csv"
    shutil.copy(DEMO / "joints.csv", listed)
    spoil(listed, old, new)
    assert said_with("joints", PROFILE, listed).exit_code == 1


def test_nothing_in_a_spec_or_profile_steers_a_terminal(tmp_path):
    spec, profile = tmp_path / "spec.toml", tmp_path / "profile.json"
    for text in (f"t{STEERING} = 1", f'"{STEERING[:-4]}" = 1', '"a\\u001b[2J" = "\\u202e"'):
        spec.write_text(text, encoding="utf-8")
        assert said_with("make", spec, "-o", tmp_path / "run").exit_code == 1
    text = PROFILE.read_text(encoding="utf-8")
    profile.write_text(text.replace('"machine": "', '"machine": "\\u001b[2J\\u202e'), "utf-8")
    assert said_with("offset", profile, *SLIDING).exit_code == 1
    assert said_with("board", profile, "-o", tmp_path / "board").exit_code == 1


@pytest.mark.slow
def test_nothing_typed_as_an_option_or_a_path_steers_a_terminal(tmp_path):
    odd = STEERING[:-1]
    said_with("check", odd)
    said_with("fit", odd)
    said_with(f"of{odd}fset")
    said_with("offset", PROFILE, f"--{odd}")
    said_with("offset", PROFILE, "--across", odd, "--joint", odd, "--size", 12)
    said_with("offset", PROFILE, "--across", "z", "--hardware", odd)
    said_with("make", odd, "-o", tmp_path / "run")
    said_with("make", "recheck", "-o", tmp_path / "run", "--bed", odd)
    made = said_with("make", "recheck", "-o", tmp_path / f"run{odd}")
    assert made.exit_code == 0


def test_data_stay_data_whatever_stands_in_a_name(tmp_path):
    folder = shutil.copytree(DEMO, tmp_path / f"run{STEERING[:-1]}")
    spoil(folder / "entries.csv", "fit,A1,", f"fit,A1{STEERING[:-1]},")
    findings = json.loads(said_with("check", folder, "--json").stdout)["findings"]
    assert any("\x1b" in finding["what"] or "\\x1b" in finding["what"] for finding in findings)


@pytest.mark.slow
def test_a_full_disk_at_the_other_end_is_one_line():
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "coupons", "offset", PROFILE, *SLIDING],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    assert done.stderr == (
        "standard output: expected a place to write to, got no space left on device."
        " Free some space, or write elsewhere.\n"
    )


@pytest.mark.slow
def test_a_reader_that_leaves_early_is_no_fault():
    done = subprocess.run(
        f"{sys.executable} -m coupons specs | true",
        shell=True,
        stderr=subprocess.PIPE,
        check=False,
    )
    assert done.stderr == b""


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("ofset", "No such command 'ofset'. Did you mean offset?"),
        ("FIT", "No such command 'FIT'. Did you mean fit?"),
        ("joint", "No such command 'joint'. Did you mean joints?"),
        ("qqq", "No such command 'qqq'. The commands are: specs, make, "),
    ],
)
def test_an_unknown_command_is_told_the_nearest(typed, says):
    result = CliRunner().invoke(main, [typed])
    assert result.exit_code == 2
    assert says in " ".join(result.stderr.split())


def test_the_package_runs_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "coupons", "--help"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("Usage: coupons ")
