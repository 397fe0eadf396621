"""No command replaces or removes a file that it did not write, by whatever way it leads there."""

import io
import os
import struct
import zipfile
import zlib
from pathlib import Path

import pytest
from click.testing import CliRunner

from coupons.cli import main
from coupons.making.output.ownership import IS_OURS, is_preview
from coupons.making.output.png import png_bytes

DEMO = Path(__file__).parents[1] / "results" / "filter-drawer"


def run(*arguments: object):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def bytes_of(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "run"
    assert run("make", "recheck", "-o", folder).exit_code == 0
    return folder


@pytest.fixture
def folder(made, tmp_path):
    for path in made.rglob("*"):
        to = tmp_path / "run" / path.relative_to(made)
        to.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file():
            to.write_bytes(path.read_bytes())
    return tmp_path / "run"


def saved_anew(data):
    """Save a package as a slicer does that adds its settings; take other files their head."""
    if not data.startswith(b"PK"):
        return data[1:]
    package = io.BytesIO(data)
    with zipfile.ZipFile(package, "a") as opened:
        opened.writestr("Metadata/settings.config", "layer_height = 0.2")
    return package.getvalue()


OWN_STL = b"of my own".ljust(80) + struct.pack("<I", 1) + bytes(50)


@pytest.mark.slow
def test_ones_own_solid_among_the_bodies_stays(folder):
    own = folder / "print" / "bodies" / "bracket.stl"
    own.write_bytes(OWN_STL)
    beside = folder / "print" / "recheck-plate-7.stl"
    beside.write_bytes(OWN_STL)
    assert run("make", "recheck", "-o", folder).exit_code == 0
    assert own.read_bytes() == beside.read_bytes() == OWN_STL


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("print/bodies/AG.stl", OWN_STL),
        ("print/recheck-plate-1.stl", b"solid mine\nendsolid mine\n"),
        ("print/recheck-plate-1.3mf", b"PK\x03\x04 a project"),
        ("map.svg", b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h9"/></svg>'),
        ("preview.png", b"\x89PNG\r\n\x1a\n a photo"),
        ("entry.html", b"<!doctype html><title>my notes</title>"),
        ("sheet.html", b"<!doctype html><title>my notes</title>"),
        ("coupon.json", b'{"mine": true}'),
        ("conditions.toml", b"mine = true"),
        ("entries.csv", b"what,mine\n"),
    ],
)
@pytest.mark.slow
def test_a_file_of_ones_own_is_named_and_nothing_is_written(folder, name, data):
    (folder / name).write_bytes(data)
    before = bytes_of(folder)
    done = run("make", "recheck", "-o", folder, "--bed", "150x150")
    assert done.exit_code == 1
    assert str(folder / name) in done.stderr
    assert bytes_of(folder) == before


@pytest.mark.slow
@pytest.mark.parametrize("name", ["print", "print/bodies"])
def test_a_linked_folder_is_not_written_into(folder, tmp_path, name):
    elsewhere = tmp_path / "elsewhere"
    (folder / name).rename(elsewhere)
    (elsewhere / "bracket.stl").write_bytes(OWN_STL)
    before = bytes_of(elsewhere)
    (folder / name).symlink_to(elsewhere)
    done = run("make", "recheck", "-o", folder)
    assert done.exit_code == 1
    assert "expected a folder of the run's own, got a link" in done.stderr
    assert bytes_of(elsewhere) == before


def test_every_file_made_is_known_again_and_none_that_was_saved_anew(made):
    for path in made.rglob("*"):
        if path.suffix in IS_OURS:
            data = path.read_bytes()
            assert IS_OURS[path.suffix](data)
            assert not IS_OURS[path.suffix](saved_anew(data))
    text = (made / "map.svg").read_bytes()
    assert not IS_OURS[".svg"](b'<?xml version="1.0"?>\n' + text)


def test_files_of_older_folders_are_known_too():
    kept = IS_OURS.keys() - {".stl"}  # not kept in the repository: made again in a second
    found = [path for path in DEMO.rglob("*") if path.suffix in kept]
    assert len(found) == 3
    assert [path.name for path in found if not IS_OURS[path.suffix](path.read_bytes())] == []


def test_a_picture_that_another_program_packed_is_not_ours():
    import numpy as np

    ours = png_bytes(np.zeros((4, 4, 3), np.uint8))
    lines = b"".join(b"\x00" + bytes(12) for _ in range(4))
    data = zlib.compress(lines)

    def chunk(name, body):
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    others = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 4, 8, 2, 0, 0, 0))
    others += chunk(b"IDAT", data) + chunk(b"IEND", b"")
    assert is_preview(ours)
    assert not is_preview(others)


def fit_to(output):
    return run("fit", DEMO, "-o", output)


def board_to(output, *options):
    """Write a board whose first page is at this path, or, if a pipe is there, at it."""
    folder = output if output.is_fifo() else output.parent
    return run("board", DEMO / "profile.json", "-o", folder, *options)


@pytest.mark.slow
@pytest.mark.parametrize(("write", "name"), [(fit_to, "link.json"), (board_to, "index.html")])
def test_a_link_is_followed_not_replaced(tmp_path, write, name):
    real = tmp_path / "shared" / "kept"
    real.parent.mkdir()
    link = tmp_path / name
    link.symlink_to(real)
    done = write(link)
    assert done.exit_code == 0, done.output
    assert link.is_symlink()
    assert real.stat().st_size > 1000


@pytest.mark.parametrize("write", [fit_to, board_to])
def test_what_is_no_plain_file_is_refused_and_stays(tmp_path, write):
    pipe = tmp_path / "pipe.json"
    os.mkfifo(pipe)
    done = write(pipe)
    assert done.exit_code == 1
    assert "pipe.json: expected a path that can be written, got a pipe or a device" in done.stderr
    assert pipe.is_fifo()


def test_what_a_link_leads_to_is_replaced(tmp_path):
    real, link = tmp_path / "real" / "index.html", tmp_path / "other" / "index.html"
    link.parent.mkdir()
    link.symlink_to(real)
    assert board_to(real).exit_code == 0
    before = real.stat().st_ino
    assert board_to(link, "--stale-after", 5).exit_code == 0
    assert link.is_symlink()
    assert real.stat().st_ino != before


def test_a_file_replaced_keeps_who_may_read_it(tmp_path):
    page = tmp_path / "index.html"
    assert board_to(page).exit_code == 0
    page.chmod(0o600)
    assert board_to(page, "--stale-after", 5).exit_code == 0
    assert page.stat().st_mode & 0o777 == 0o600
