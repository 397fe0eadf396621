"""Whatever a file is or holds, a command ends in words: never in a traceback, never waiting."""

import errno
import json
import math
import os
import shutil
import signal
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons import load_profile
from coupons.answering.standards.hardware import hardware
from coupons.cli import main
from coupons.errors import AnswerError, CouponError, DoubtWarning
from coupons.learning.profile_file import read_profile, write_profile
from coupons.making.record import read_coupon
from coupons.measuring.virtual.machine import load_machine

DEMO = Path(__file__).parents[1] / "results" / "filter-drawer"
PROFILE = DEMO / "profile.json"
SLIDING = ["--joint", "slot/tongue", "--size", "12", "--across", "x"]
MACHINES = Path(read_profile.__code__.co_filename).parents[1] / "measuring" / "virtual" / "machines"


@pytest.fixture(autouse=True)
def in_time():
    """End a test that waits for ever."""

    def late(*_):
        raise TimeoutError("it hangs")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(120)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def run(*arguments):
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def refused(*arguments):
    result = run(*arguments)
    assert result.exit_code == 1
    assert result.stderr.strip()
    return " ".join(result.stderr.split())


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(DEMO, tmp_path / "run")


@pytest.mark.parametrize(
    "text",
    [
        "title = " + "1" * 5000,
        "title = " + "[" * 5000,
        "title = " + "{a=" * 3000,
        'title = "a"\n[[row]]\nsize_mm = ' + "9" * 400,
        'title = "a"\n[[row]]\nsize_mm = 1e400',
        "\x00",
    ],
)
def test_numbers_and_brackets_without_end_in_a_spec(tmp_path, text):
    spec = tmp_path / "spec.toml"
    spec.write_text(text)
    assert "spec.toml" in refused("make", spec, "-o", tmp_path / "run")


@pytest.mark.parametrize("text", ["a = " + "1" * 5000, "a = " + "[" * 5000])
def test_numbers_and_brackets_without_end_in_a_machine(folder, tmp_path, text):
    machine = tmp_path / "own.toml"
    machine.write_text(text)
    assert "own.toml line 1" in refused("rehearse", folder, "--machine", machine)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["a**b", "[a]", "a?b", "..a", "a b", "ä½", "\udcff", "a\x01\nb"])
def test_a_spec_of_any_name_makes_a_coupon(tmp_path, name):
    shipped = Path(__file__).parents[1] / "coupon_specs" / "recheck.toml"
    spec = shutil.copy(shipped, tmp_path / f"{name}.toml")
    for _ in range(2):
        result = run("make", spec, "-o", tmp_path / "run")
        assert result.exit_code == 0, result.output


def test_ids_that_lead_nowhere_are_all_named(folder):
    path = folder / "coupon.json"
    record = json.loads(path.read_text())
    record["trials"][0]["feature"] = "QQ1"
    record["trials"][1]["mate"] = "QQ2"
    record["readings"][0]["feature"] = "QQ3"
    record["features"][1]["id"] = record["features"][0]["id"]
    path.write_text(json.dumps(record))
    (folder / "entries.csv").write_text("kind,feature,mate,result\n")
    said = refused("rehearse", folder)
    checked = run("check", folder)
    assert checked.exit_code == 1
    for name in ("QQ1", "QQ2", "QQ3"):
        assert name in said
        assert name in checked.output
    assert "coupon.json at trials.0.feature: expected a feature in the record" in said
    assert "expected a different id for each piece" in said


@pytest.mark.parametrize("key", ["drift_mm", "feature_mm", "print_mm", "print_z_mm", "repeat_mm"])
def test_a_spread_of_minus_nothing_is_nothing(tmp_path, key):
    text = (MACHINES / "bench-1.toml").read_text()
    lines = [f"{key} = -0.0" if line.startswith(f"{key} =") else line for line in text.splitlines()]
    own = tmp_path / "own.toml"
    own.write_text("\n".join(lines))
    assert "-0.0" in own.read_text()
    machine = load_machine(str(own))
    value = getattr(machine.caliper if key == "repeat_mm" else machine.scatter, key)
    assert math.copysign(1, value) == 1


def test_a_bought_piece_of_minus_no_spread(folder):
    path = folder / "coupon.json"
    record = json.loads(path.read_text())
    piece = {"id": "dowel", "name": "dowel", "form": "pin", "size_mm": 6.0, "sd_mm": -0.0}
    path.write_text(json.dumps({**record, "hardware": [piece]}))
    (folder / "entries.csv").write_text("kind,feature,mate,result\n")
    assert run("rehearse", folder).exit_code == 0


def no_text(folder):
    """Return a name that is no UTF-8."""
    return os.fsdecode(os.fsencode(folder) + b"/odd-\xff\xfe")


@pytest.mark.slow
def test_names_that_are_no_text(folder, tmp_path):
    odd = no_text(tmp_path)
    for command in ("check", "rehearse", "fit"):
        assert "odd-\\udcff" in refused(command, odd)
    assert run("make", "recheck", "-o", odd, "--machine", "bench-1").exit_code == 0
    assert run("rehearse", odd).exit_code == 0
    shutil.rmtree(odd)
    assert run("make", "recheck", "-o", tmp_path / "n", "--machine", "\udcff").exit_code == 1
    os.rename(folder, no_text(tmp_path / "run" / ".."))  # noqa: PTH104  a Path is text too
    for arguments in (["check"], ["fit"], ["fit", "--json"]):
        assert run(arguments[0], odd, *arguments[1:]).exit_code in (0, 1)
    shutil.copytree(DEMO, tmp_path / "other")
    spoil_number(tmp_path / "other" / "entries.csv")
    profile = tmp_path / "both.json"
    without = ["--without", f"{Path(odd).name}:12"]
    assert run("fit", odd, tmp_path / "other", *without, "-o", profile).exit_code == 0
    assert read_profile(profile).without == ("odd-\\udcff\\udcfe:12",)
    assert run("board", odd, "-o", Path(odd) / "board").exit_code in (0, 1)


def spoil_number(sheet):
    """Let a sheet be of another print."""
    text = sheet.read_text(encoding="utf-8-sig")
    row = next(line for line in text.splitlines() if line.startswith("size,"))
    cells = row.split(",")
    cells[3] = f"{float(cells[3]) + 0.01:.2f}"
    sheet.write_text(text.replace(row, ",".join(cells)), encoding="utf-8")


def test_a_folder_that_may_not_be_searched(folder, tmp_path, monkeypatch):
    closed = folder / "closed"
    closed.mkdir()

    def stat(self, **more):
        if str(self).startswith(str(closed) + "/"):
            raise PermissionError(errno.EACCES, "Permission denied", str(self))
        return real_stat(self, **more)

    def opened(path, *more, **named):
        if str(path).startswith(str(closed) + "/"):
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return real_open(path, *more, **named)

    real_open, real_stat = os.open, Path.stat
    monkeypatch.setattr(Path, "stat", stat)
    monkeypatch.setattr(Path, "lstat", lambda self: stat(self, follow_symlinks=False))
    monkeypatch.setattr(os, "open", opened)
    for arguments in (
        ["check", closed / "run"],
        ["fit", closed / "run"],
        ["rehearse", closed / "run"],
        ["make", closed / "spec.toml", "-o", tmp_path / "new"],
        ["make", "recheck", "-o", closed / "run"],
        ["offset", closed / "profile.json", *SLIDING],
        ["joints", PROFILE, closed / "joints.csv"],
        ["board", closed / "profile.json", "-o", tmp_path / "board"],
        ["board", PROFILE, "-o", closed / "board"],
        ["fit", folder, "-o", closed / "profile.json"],
    ):
        said = refused(*arguments)
        assert "permission denied" in said.lower()
        assert str(closed) in said or said.startswith(("conditions.toml", "joints.csv"))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["coupon.json", "conditions.toml", "entries.csv", "map.svg"])
@pytest.mark.parametrize("kind", ["pipe", "loop", "folder", "nowhere"])
def test_what_is_no_plain_file_in_a_run_folder(folder, name, kind):
    spoil_place(folder / name, kind)
    if name != "map.svg":
        assert name in run("check", folder).output
        assert name in refused("fit", folder)
        if (name, kind) != ("conditions.toml", "nowhere"):
            refused("rehearse", folder)
    refused("make", "first", "-o", folder)


def spoil_place(path, kind):
    path.unlink()
    match kind:
        case "pipe":
            os.mkfifo(path)
        case "loop":
            path.symlink_to(path.name)
        case "folder":
            path.mkdir()
        case "nowhere":
            path.symlink_to("not-there")


@pytest.mark.parametrize("kind", ["pipe", "loop", "folder", "nowhere"])
def test_what_is_no_plain_file_elsewhere(tmp_path, kind):
    profile, listed = tmp_path / "profile.json", tmp_path / "joints.csv"
    for path in (profile, listed, tmp_path / "spec.toml", tmp_path / "own.toml"):
        path.touch()
        spoil_place(path, kind)
    for arguments in (
        ["offset", profile, *SLIDING],
        ["joints", profile, DEMO / "joints.csv"],
        ["joints", PROFILE, listed],
        ["compare", profile, PROFILE],
        ["next", profile],
        ["next", PROFILE, "--joints", listed],
        ["board", profile, "-o", tmp_path / "board"],
        ["make", tmp_path / "spec.toml", "-o", tmp_path / "run"],
        ["rehearse", DEMO, "--machine", tmp_path / "own.toml"],
    ):
        refused(*arguments)
    if kind in ("pipe", "loop"):
        refused("board", tmp_path, "-o", tmp_path / "board")


def test_a_profile_is_read_by_the_text_of_its_path():
    assert read_profile(str(PROFILE)).means == read_profile(PROFILE).means


@pytest.mark.parametrize(
    "given",
    [
        {"size_mm": "12"},
        {"size_mm": 12, "at_least": "0.9"},
        {"size_mm": 12, "drawn_gap_mm": "0,3"},
        {"size_mm": [12], "printed_gap_mm": 0.3},
    ],
)
def test_numbers_given_as_text_are_told_by_name(given):
    printer = load_profile(PROFILE)
    with pytest.raises(AnswerError, match=r"(_mm|at_least): expected a number, got "):
        printer.offset("slot/tongue", across="x", **given)


def test_a_size_given_as_text_is_told_by_name():
    printer = load_profile(PROFILE)
    with pytest.raises(AnswerError, match="size_mm: expected a number, got '8'"):
        printer.offset(hardware="pin 8 m6", across="z", size_mm="8")
    with pytest.raises(AnswerError, match="prints_mm: expected a number, got '8'"):
        printer.size("hole", across="z", prints_mm="8")


def test_every_error_of_a_read_is_ours(tmp_path):
    for read in (read_profile, read_coupon, lambda path: load_machine(str(path))):
        with pytest.raises(CouponError):
            read(tmp_path / "with\0null")
    assert hardware("pin 8 m6").nominal_mm == 8


IMPOSSIBLE = {"scale_x": -1.0, "growth_ext": 1.0}


@pytest.fixture
def impossible(tmp_path):
    profile = known_profile()
    path = tmp_path / "profile.json"
    write_profile(profile.model_copy(update={"means": {**profile.means, **IMPOSSIBLE}}), path)
    return path


@pytest.mark.slow
def test_a_printer_that_there_cannot_be_is_doubted_wherever_it_is_used(impossible, tmp_path):
    for arguments in (
        ["offset", impossible, *SLIDING],
        ["joints", impossible, DEMO / "joints.csv"],
        ["compare", impossible, PROFILE],
        ["next", impossible],
        ["board", impossible, "-o", tmp_path / "board"],
    ):
        said = " ".join(run(*arguments).stderr.split())
        assert "not plausible for any printer: scale_x −100 %, growth_ext 1 mm" in said
        assert "Warning: " in said
    page = (tmp_path / "board" / "index.html").read_text(encoding="utf-8")
    assert "No printer is like that: growth_ext 1 mm" in page
    with pytest.warns(DoubtWarning, match="not plausible for any printer"):
        load_profile(impossible)


def test_a_printer_that_there_can_be_is_not_doubted(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(known_profile(), path)
    read_profile(path)  # a warning is an error in these tests
    read_profile(PROFILE)
    assert run("offset", PROFILE, *SLIDING).stderr == ""
