import re

import pytest
from known_profile import known_profile
from test_joints import DRAWER, part

from coupons.errors import AnswerError
from coupons.showing.joints_page import part_page, write_part


def test_three_files_are_written_and_replaced_when_asked_again(tmp_path):
    out = tmp_path / "out"
    for profile in (known_profile(), known_profile({"growth_ext": 0.2})):
        found = part(tmp_path, profile)
        write_part(found, out, tmp_path / "joints.csv")
        drawn = found.joints[0].moves[0].drawn_mm
        assert f"drawer_tongue,{drawn:g},mm" in (out / "variables.csv").read_text()
    assert {path.name for path in out.iterdir()} == {"joints.csv", "joints.html", "variables.csv"}


def test_the_list_itself_is_never_written_over(tmp_path):
    found = part(tmp_path, known_profile())
    before = (tmp_path / "joints.csv").read_bytes()
    with pytest.raises(AnswerError, match="a list that somebody typed"):
        write_part(found, tmp_path, tmp_path / "joints.csv")
    with pytest.raises(AnswerError, match="a list that somebody typed"):
        write_part(found, tmp_path, tmp_path / "elsewhere.csv")
    assert (tmp_path / "joints.csv").read_bytes() == before
    assert not (tmp_path / "variables.csv").exists()


def test_the_page_needs_nothing_from_outside_and_escapes_names(tmp_path):
    page = part_page(part(tmp_path, known_profile()), '<img src=x onerror="1">.csv')
    assert "<img" not in page
    assert not re.search(r"(src|href)=[\"']?https?:", page)
    assert "−" in page
    assert "into material" in page


def test_a_rehearsed_part_says_so_on_the_page(tmp_path):
    assert "REHEARSED" in part_page(part(tmp_path, known_profile(rehearsed=True)), "x.csv")
    assert "REHEARSED" not in part_page(part(tmp_path, known_profile()), "x.csv")


def test_the_chance_bars_are_whole(tmp_path):
    page = part_page(part(tmp_path, known_profile(), DRAWER.splitlines()[0] + "\n"), "x.csv")
    widths = [float(width) for width in re.findall(r'<rect[^>]* width="([\d.]+)"', page)]
    assert len(widths) == 5
    assert sum(widths) == pytest.approx(100, abs=0.1)
