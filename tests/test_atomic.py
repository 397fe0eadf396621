import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from coupons import atomic
from coupons.atomic import not_ours, remove, together, write_text
from coupons.errors import WriteError


@pytest.mark.parametrize(
    ("name", "got"),
    [
        ("afile/x", "got a file where its folder should be"),
        ("afile/x/y", "got a file where its folder should be"),
        ("folder", "got is a directory"),
        ("n" * 300, "got file name too long"),
    ],
)
def test_where_no_file_can_be_is_told_and_nothing_is_left_behind(tmp_path, name, got):
    (tmp_path / "afile").write_text("mine")
    (tmp_path / "folder").mkdir()
    with pytest.raises(WriteError, match=f"expected a path that can be written, {got}"):
        write_text(tmp_path / name, "text")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["afile", "folder"]
    assert (tmp_path / "afile").read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("none", ""),
        ("empty", ""),
        ("ours", ""),
        ("afile", "expected a list to replace, or no such file, got another kind of file"),
        ("afile/x", "expected a path that can be written, got a file where its folder should be"),
        (".", "expected a path that can be written, got a folder or a device"),
        ("n" * 300, "expected a path that can be written, got file name too long"),
    ],
)
def test_only_what_this_tool_wrote_may_be_replaced(tmp_path, name, says):
    (tmp_path / "afile").write_text("mine")
    (tmp_path / "ours").write_text("ours")
    (tmp_path / "empty").touch()
    problems = not_ours(tmp_path / name, "a list", lambda data: data == b"ours")
    assert bool(problems) == bool(says)
    assert says in "".join(map(str, problems))


def full_after(monkeypatch, module, name, times):
    """Have a function of a module fail as on a full disk once it was called some times."""
    real, calls = getattr(module, name), []

    def fails(*arguments):
        calls.append(arguments)
        if len(calls) > times:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments)

    monkeypatch.setattr(module, name, fails)


def texts(folder):
    return {path.name: path.read_text() for path in folder.iterdir()}


def write_two(folder, stale=None, fault=None):
    with together():
        write_text(folder / "profile", "new")
        if stale is not None:
            remove(folder / stale)
        if fault is not None:
            raise fault
        write_text(folder / "report", "new")


def test_of_files_written_together_all_change_or_none(tmp_path, monkeypatch):
    write_text(tmp_path / "profile", "old")
    write_text(tmp_path / "report", "old")
    full_after(monkeypatch, os, "fsync", 1)
    with pytest.raises(WriteError, match="no space left on device"):
        write_two(tmp_path)
    assert texts(tmp_path) == {"profile": "old", "report": "old"}


def test_where_the_last_step_fails_half_way_it_is_said_what_is_new(tmp_path, monkeypatch):
    write_text(tmp_path / "report", "old")
    full_after(monkeypatch, Path, "replace", 1)
    with pytest.raises(WriteError) as caught:
        write_two(tmp_path)
    assert f"Already written: {tmp_path / 'profile'}. The other files" in caught.value.message
    assert texts(tmp_path) == {"profile": "new", "report": "old"}


def test_what_is_stale_goes_only_when_the_new_files_are_there(tmp_path, monkeypatch):
    write_text(tmp_path / "stale", "old")
    with together() as files:
        remove(tmp_path / "stale")
        write_text(tmp_path / "new", "new")
        assert texts(tmp_path)["stale"] == "old"
        assert "new" not in texts(tmp_path)
        files.settle()
        assert texts(tmp_path) == {"new": "new"}
    full_after(monkeypatch, os, "fsync", 0)
    with pytest.raises(WriteError):
        write_two(tmp_path, stale="new")
    assert texts(tmp_path) == {"new": "new"}


@pytest.mark.parametrize("fault", [KeyboardInterrupt, RuntimeError])
def test_an_interrupt_leaves_everything_as_it_was(tmp_path, fault):
    with pytest.raises(fault):
        write_two(tmp_path, fault=fault)
    assert texts(tmp_path) == {}


KILLED = """
import os, sys
from pathlib import Path
from coupons.atomic import together, write_text
with together():
    write_text(Path(sys.argv[1]) / "profile.json", "half")
    os.kill(os.getpid(), 9)
"""


def test_what_a_kill_leaves_behind_is_cleaned_by_the_next_run(tmp_path):
    subprocess.run([sys.executable, "-c", KILLED, tmp_path], check=False)
    (left,) = tmp_path.iterdir()
    assert left.name.startswith(".coupons-")
    mine = tmp_path / ".coupons-mine.part"
    mine.write_text("not an unfinished file of ours")
    write_text(tmp_path / "profile.json", "whole")
    assert texts(tmp_path) == {"profile.json": "whole", mine.name: mine.read_text()}


def test_an_unfinished_file_of_a_run_at_work_stays(tmp_path):
    with together():
        write_text(tmp_path / "one", "first")
        (waiting,) = tmp_path.iterdir()
        other = waiting.with_name(waiting.name.replace(f"-{os.getpid()}-", f"-{os.getppid()}-"))
        other.write_text("of another process that is alive")
        write_text(tmp_path / "two", "second")
        assert waiting.exists()
        assert other.exists()
    assert texts(tmp_path) == {
        "one": "first",
        "two": "second",
        other.name: "of another process that is alive",
    }


def test_data_reach_the_disk_before_their_name_does(tmp_path, monkeypatch):
    done = []
    real_sync, real_replace = os.fsync, Path.replace

    def sync(handle):
        path = Path(f"/proc/self/fd/{handle}")
        done.append("folder" if path.is_dir() else f"{path.stat().st_size} bytes")
        real_sync(handle)

    def replace(self, to):
        done.append("name")
        return real_replace(self, to)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(Path, "replace", replace)
    write_text(tmp_path / "profile", "12345")
    assert done == ["5 bytes", "name", "folder"]


def test_a_folder_is_cleaned_once_however_many_files_go_there(tmp_path, monkeypatch):
    cleaned = []
    monkeypatch.setattr(atomic, "_clean", cleaned.append)
    with together():
        for n in range(20):
            write_text(tmp_path / f"{n}.txt", "text")
            write_text(tmp_path / "deep" / f"{n}.txt", "text")
    assert sorted(cleaned) == [tmp_path, tmp_path / "deep"]
    assert len(list(tmp_path.rglob("*.txt"))) == 40
