"""Files of prints: which are known as ours, what is in a package, what does not read back."""

import io
import struct
import zipfile
import zlib
from dataclasses import replace

import numpy as np
import pytest
from support.looked_at import block

from coupons.errors import WriteError
from coupons.making.output import ownership
from coupons.making.output import run_files as folder_module
from coupons.making.output.ownership import IS_OURS, is_map, is_preview, is_stl, is_threemf
from coupons.making.output.png import png_bytes
from coupons.making.output.readback import read_back
from coupons.making.output.stl import stl_bytes
from coupons.making.output.threemf import MODEL_PATH, body_bytes, threemf_bytes

PACKAGE = threemf_bytes((block(),), "One", {"spec": "one"})


def stl(count=2, more=0, header=b"coupon one"):
    return header.ljust(80) + struct.pack("<I", count) + bytes(50 * count + more)


STLS = [
    (stl(), True),
    (stl(0), True),
    (stl(300), True),
    (stl(more=1), False),
    (stl(more=-1), False),
    (stl(2, more=50), False),
    (stl()[:83], False),
    (stl(0)[:84], True),
    (stl(0)[:83], False),
    (stl(header=b"solid one"), False),
    (stl(header=b"a coupon one"), False),
    (b"coupon one", False),
    (b"", False),
    (stl_bytes((block(),), "coupon one plate 1", placed=True), True),
    (stl_bytes((block(),), "part one", placed=True), False),
]


@pytest.mark.parametrize("at", range(len(STLS)))
def test_an_stl_of_ours_has_our_header_and_is_whole(at):
    data, ours = STLS[at]
    assert is_stl(data) is ours


def repacked(change=None, names=None, data=PACKAGE):
    """Pack a package anew, its model changed, or its members under other names."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for at, name in enumerate(old.namelist()):
            text = old.read(name).decode()
            if name == MODEL_PATH and change:
                text = change(text)
            if names is None or names[at] is not None:
                new.writestr(name if names is None else names[at], text)
    return out.getvalue()


def pushed(by):
    """Set the note of the application so far behind that it ends at a byte of the model."""
    note = '<metadata name="Application">coupons</metadata>'

    def change(text):
        at = text.index(note) + len(note)
        return text[: text.index(note)] + " " * (by - at) + text[text.index(note) :]

    return change


PACKAGES = [
    (PACKAGE, True),
    (repacked(), True),
    (repacked(lambda text: text.replace(">coupons<", ">other<")), False),
    (repacked(names=["[Content_Types].xml", "_rels/.rels", "3D/other.model"]), False),
    (repacked(names=["[Content_Types].xml", None, MODEL_PATH]), False),
    (repacked(pushed(4096)), True),
    (repacked(pushed(4097)), False),
    (PACKAGE[:-9], False),
    (b"", False),
]


@pytest.mark.parametrize("at", range(len(PACKAGES)))
def test_a_package_of_ours_has_our_members_and_says_so_near_its_head(at):
    data, ours = PACKAGES[at]
    assert is_threemf(data) is ours


MAP = b'<svg xmlns="a" viewBox="0 0 9 9" width="9mm" aria-label="Map of One"><g data-plate="1"/>'


MAPS = [
    (MAP, True),
    (MAP.replace(b"Map of", b"Chart of"), False),
    (MAP.replace(b"data-plate", b"data-id"), False),
    (b" " + MAP, False),
    (b"", False),
]


@pytest.mark.parametrize("at", range(len(MAPS)))
def test_a_map_of_ours_begins_as_we_draw_it(at):
    data, ours = MAPS[at]
    assert is_map(data) is ours


def chunk(name, data):
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width=3, height=2, lines=None, sizes=None, between=b""):
    lines = bytes([1, *range(3 * width)]) * height if lines is None else lines
    head = struct.pack(">IIBBBBB", *(sizes or (width, height)), 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + between
        + chunk(b"IDAT", zlib.compress(lines))
        + chunk(b"IEND", b"")
    )


PICTURES = [
    (png(), True),
    (png(1, 1), True),
    (png(7, 5), True),
    (png(lines=bytes([0, *range(9)]) * 2), False),
    (png(lines=bytes([1, *range(9), 0, *range(9)])), False),
    (png(lines=bytes([1, *range(9)]) * 3), False),
    (png(lines=bytes([1, *range(9)]) * 1), False),
    (png(lines=bytes([1, *range(9)]) * 2 + b"\1"), False),
    (png(sizes=(2, 3)), False),
    (png(between=chunk(b"tEXt", b"Title\0one")), False),
    (png().replace(b"IDAT", b"iDAT"), False),
    (png() + b"\0", False),
    (png()[:-1], False),
    (png()[1:], False),
    (b"", False),
]


@pytest.mark.parametrize("at", range(len(PICTURES)))
def test_a_picture_of_ours_has_three_chunks_and_lines_less_their_left_neighbours(at):
    data, ours = PICTURES[at]
    assert is_preview(data) is ours


def test_a_picture_that_says_it_is_huge_is_not_unpacked(monkeypatch):
    monkeypatch.setattr(ownership, "_MOST_PIXELS", 20)
    for width, height, ours in ((5, 4, True), (7, 3, False), (1, 20, True), (1, 21, False)):
        assert is_preview(png(width, height)) is ours


def test_what_is_packed_badly_is_not_ours():
    data = bytearray(png(9, 9))
    data[45] ^= 0xFF
    assert not is_preview(bytes(data))


def test_kinds_are_known_by_their_endings():
    assert {ending: each.__name__ for ending, each in IS_OURS.items()} == {
        ".stl": "is_stl",
        ".3mf": "is_threemf",
        ".svg": "is_map",
        ".png": "is_preview",
    }


def test_a_png_has_one_header_of_eight_bits_a_channel():
    data = png_bytes(np.zeros((5, 7, 3), np.uint8))
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert data[8:33] == chunk(b"IHDR", struct.pack(">IIBBBBB", 7, 5, 8, 2, 0, 0, 0))
    assert data.endswith(chunk(b"IEND", b""))
    length = struct.unpack(">I", data[33:37])[0]
    assert data[33 : 45 + length] == chunk(b"IDAT", data[41 : 41 + length])
    assert zlib.decompress(data[41 : 41 + length]) == (b"\1" + bytes(21)) * 5


def test_each_byte_of_a_png_is_stored_less_its_left_neighbour():
    pixels = np.array([[[9, 8, 7], [10, 6, 7], [250, 0, 1]]], np.uint8)
    data = png_bytes(pixels)
    length = struct.unpack(">I", data[33:37])[0]
    assert list(zlib.decompress(data[41 : 41 + length])) == [1, 9, 8, 7, 1, 254, 0, 240, 250, 250]


def model_of(data):
    return zipfile.ZipFile(io.BytesIO(data)).read(MODEL_PATH).decode()


def test_a_package_holds_three_members_that_do_not_change_from_one_system_to_another():
    with zipfile.ZipFile(io.BytesIO(PACKAGE)) as package:
        members = package.infolist()
    assert [m.filename for m in members] == ["[Content_Types].xml", "_rels/.rels", MODEL_PATH]
    # 3 says Unix; the time is the first that a zip can hold.
    assert {m.create_system for m in members} == {3}
    assert {m.date_time for m in members} == {(1980, 1, 1, 0, 0, 0)}
    assert {m.compress_type for m in members} == {zipfile.ZIP_DEFLATED}


def test_bodies_of_a_package_are_numbered_named_and_placed():
    two = replace(block("B <2>", at=(12.5, 0.1, 0.0)), triangles=block().triangles[:1])
    model = model_of(threemf_bytes((block(at=(1.0, 2.0, 0.0)), two), "Two", {"b": "2", "a": "1"}))
    assert model.count("<object ") == 2
    assert '<object id="1" type="model" name="A">' in model
    assert '<object id="2" type="model" name="B &lt;2&gt;">' in model
    assert '<item objectid="1" transform="1 0 0 0 1 0 0 0 1 1 2 0"/>' in model
    assert '<item objectid="2" transform="1 0 0 0 1 0 0 0 1 12.5 0.1 0"/>' in model
    names = ["Title", "Application", "coupon:a", "coupon:b"]
    assert [model.index(f'name="{name}"') for name in names] == sorted(
        model.index(f'name="{name}"') for name in names
    )
    assert model.count("<vertex ") == 16
    assert model.count("<triangle ") == 13
    assert '<vertex x="40" y="30" z="10"/>' in model
    assert '<triangle v1="0" v2="1" v3="3"/>' in model


def test_one_body_keeps_all_the_digits_of_its_corners():
    corners = np.array([[1 / 3, 0.1, 2e-9], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    model = model_of(body_bytes("part", corners, np.array([[0, 1, 2]]), {"of": "x"}))
    x, y, z = (
        model.split('<vertex x="')[1]
        .split('"/>')[0]
        .replace('" y="', " ")
        .replace('" z="', " ")
        .split()
    )
    assert (float(x), float(y), float(z)) == tuple(corners[0])
    assert '<object id="1" type="model" name="part">' in model
    assert '<item objectid="1"/>' in model
    assert '<metadata name="coupon:of">x</metadata>' in model


def test_single_digits_bring_a_short_float_back():
    odd = replace(block(), vertices_mm=block().vertices_mm + np.float32(1 / 3))
    texts = model_of(threemf_bytes((odd,), "Odd", {})).split('<vertex x="')[1:]
    found = {np.float32(text.split('"')[0]) for text in texts}
    assert found == set(odd.vertices_mm[:, 0].tolist())


def told(name, data, *solids):
    return [str(each) for each in read_back({name: data}, {name: solids})]


def test_what_was_written_reads_back():
    one, two = block(), block("B", at=(60.0, 0.0, 0.0))
    assert told("p.3mf", threemf_bytes((one, two), "t", {}), one, two) == []
    assert told("p.stl", stl_bytes((one, two), "t", placed=True), one, two) == []
    assert list(read_back({"p.3mf": b"not read"}, {})) == []


@pytest.mark.parametrize(("share", "is_told"), [(0.9e-4, False), (1.1e-4, True)])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_volume_may_be_off_by_a_ten_thousandth(share, is_told, sign):
    stated = replace(block(), volume_mm3=12_000 / (1 + sign * share))
    for name, data in (
        ("p.3mf", threemf_bytes((block(),), "t", {})),
        ("p.stl", stl_bytes((block(),), "t", placed=True)),
    ):
        found = told(name, data, stated)
        assert bool(found) is is_told
        where = "p.3mf A" if name == "p.3mf" else "p.stl"
        assert not found or found[0].startswith(
            f"{where}: expected {stated.volume_mm3:.2f} mm³, got 12000.00 mm³. This is a fault of "
        )


def test_a_body_with_a_gap_and_one_that_is_missing_are_told():
    open_ = replace(block(), triangles=block().triangles[1:])
    (found,) = told("p.3mf", threemf_bytes((open_,), "t", {}), block())
    assert found.startswith("p.3mf A: expected a closed surface, got one with gaps.")
    (found,) = told("p.3mf", threemf_bytes((block(),), "t", {}), block(), block("B"))
    assert found.startswith("p.3mf: expected bodies A, B, got A.")
    (found,) = told("p.3mf", threemf_bytes((), "t", {}), block())
    assert found.startswith("p.3mf: expected bodies A, got none.")


def test_print_files_of_an_earlier_layout_alone_are_stale(tmp_path):
    prints = tmp_path / "print"
    (prints / "bodies").mkdir(parents=True)
    ours, others = stl(), b"mine"
    kept = {"one-plate-1.stl": others, "two-plate-1.stl": ours, "one-plate-x.stl": ours}
    kept |= {"my-one-plate-1.stl": ours, "one-plate-3.txt": ours, "bodies/B.stl": others}
    stale = {"one-plate-12.stl": ours, "one-plate-2.3mf": PACKAGE, "bodies/A.stl": ours}
    for name, data in {**kept, **stale}.items():
        (prints / name).write_bytes(data)
    (prints / "one-plate-5.stl").symlink_to(prints / "one-plate-12.stl")
    (prints / "one-plate-6.stl").mkdir()
    found = folder_module._stale(prints, "one")
    assert found == {prints / name for name in stale}


def test_files_of_others_are_not_replaced_and_our_own_are(tmp_path):
    (tmp_path / "map.svg").write_bytes(MAP)
    (tmp_path / "preview.png").write_bytes(b"a picture of somebody's")
    files = [tmp_path / name for name in ("map.svg", "preview.png", "plate.stl")]
    with pytest.raises(WriteError) as caught:
        folder_module._refuse_to_replace(tmp_path, files)
    assert [each.where for each in caught.value.problems] == [str(files[1])]
    assert folder_module._refuse_to_replace(tmp_path, [files[0], files[2]]) is None
    elsewhere = tmp_path / "elsewhere"
    (elsewhere / "bodies").mkdir(parents=True)
    (tmp_path / "print").symlink_to(elsewhere)
    with pytest.raises(WriteError) as caught:
        folder_module._refuse_to_replace(tmp_path, [files[0]])
    assert [each.where for each in caught.value.problems] == [str(tmp_path / "print")]
