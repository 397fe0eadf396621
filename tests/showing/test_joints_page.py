import re

import pytest
from support.drawer_list import DRAWER, part
from support.known_profile import known_profile

from coupons.errors import WriteError
from coupons.showing.pages.joints_page import part_page, write_part


@pytest.mark.slow
def test_three_files_are_written_and_replaced_when_asked_again(tmp_path):
    out = tmp_path / "out"
    for profile in (known_profile(), known_profile({"growth_ext": 0.2})):
        found = part(tmp_path, profile)
        write_part(found, out, tmp_path / "joints.csv")
        drawn = found.joints[0].moves[0].drawn_mm
        assert f"\ndrawer,tongue,{drawn:g},12," in (out / "drawn-sizes.csv").read_text()
    assert {path.name for path in out.iterdir()} == {"joints.csv", "joints.html", "drawn-sizes.csv"}


@pytest.mark.parametrize("name", ["joints.csv", "drawn-sizes.csv", "joints.html"])
@pytest.mark.parametrize(
    "typed",
    [
        DRAWER,
        "joint,body,drawn_mm\r\nwall,rib,2\r\n",
        "<!doctype html><title>joints</title>",
        '<body class="part">',
    ],
)
def test_what_somebody_typed_is_never_written_over(tmp_path, name, typed):
    found, out = part(tmp_path, known_profile()), tmp_path / "out"
    out.mkdir()
    (out / name).write_text(typed, newline="")
    with pytest.raises(WriteError, match="expected earlier answers to replace, or no such file"):
        write_part(found, out, tmp_path / "elsewhere.csv")
    assert [(path.name, path.read_bytes()) for path in out.iterdir()] == [(name, typed.encode())]


def test_the_list_itself_is_never_written_over_even_if_it_looks_like_answers(tmp_path):
    found = part(tmp_path, known_profile())
    out = tmp_path / "out"
    write_part(found, out, tmp_path / "elsewhere.csv")
    with pytest.raises(WriteError, match=r"drawn-sizes\.csv: expected earlier answers"):
        write_part(found, out, out / "drawn-sizes.csv")


def test_every_file_in_the_way_is_told_at_once(tmp_path):
    (tmp_path / "afile").touch()
    with pytest.raises(WriteError) as refused:
        write_part(part(tmp_path, known_profile()), tmp_path / "afile" / "x", tmp_path / "list.csv")
    assert len(refused.value.problems) == 3


def test_the_page_needs_nothing_from_outside_and_escapes_names(tmp_path):
    page = part_page(part(tmp_path, known_profile()), '<img src=x onerror="1">.csv')
    assert "<img" not in page
    assert not re.search(r"(src|href)=[\"']?https?:", page)
    assert "−" in page
    assert "into material" in page


@pytest.mark.slow
def test_a_rehearsed_part_says_so_on_the_page(tmp_path):
    assert "REHEARSED" in part_page(part(tmp_path, known_profile(rehearsed=True)), "x.csv")
    assert "REHEARSED" not in part_page(part(tmp_path, known_profile()), "x.csv")


def test_the_chance_bars_are_whole(tmp_path):
    page = part_page(part(tmp_path, known_profile(), DRAWER.splitlines()[0] + "\n"), "x.csv")
    widths = [float(width) for width in re.findall(r'<rect[^>]* width="([\d.]+)"', page)]
    assert len(widths) == 5
    assert sum(widths) == pytest.approx(100, abs=0.1)
