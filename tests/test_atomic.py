import pytest

from coupons.atomic import not_ours, write_text
from coupons.errors import WriteError


@pytest.mark.parametrize(
    ("name", "got"),
    [
        ("afile/x", "got a file where its folder would be"),
        ("afile/x/y", "got a file where its folder would be"),
        ("folder", "got is a directory"),
        ("n" * 300, "got file name too long"),
    ],
)
def test_where_no_file_can_be_is_told_and_nothing_is_left_behind(tmp_path, name, got):
    (tmp_path / "afile").write_text("mine")
    (tmp_path / "folder").mkdir()
    with pytest.raises(WriteError, match=f"expected a place for a file, {got}"):
        write_text(tmp_path / name, "text")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["afile", "folder"]
    assert (tmp_path / "afile").read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("none", ""),
        ("empty", ""),
        ("ours", ""),
        ("afile", "expected a list to replace, or no such file, got a file that is something else"),
        ("afile/x", "expected a place for a file, got a file where its folder would be"),
        (".", "expected a place for a file, got a folder or a device"),
        ("n" * 300, "expected a place for a file, got file name too long"),
    ],
)
def test_only_what_this_tool_wrote_may_be_replaced(tmp_path, name, says):
    (tmp_path / "afile").write_text("mine")
    (tmp_path / "ours").write_text("ours")
    (tmp_path / "empty").touch()
    problems = not_ours(tmp_path / name, "a list", lambda data: data == b"ours")
    assert bool(problems) == bool(says)
    assert says in "".join(map(str, problems))
