import re
from datetime import date, timedelta

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.origin import STALE_AFTER_DAYS, age_of
from coupons.cli import main
from coupons.learning.profile import write_profile
from coupons.showing.pages.board import Posted, read_posted, write_board
from coupons.showing.pages.board_figures import Value, figures
from coupons.showing.pages.board_table import board_table
from coupons.showing.pages.wall_card import write_wall_card

TODAY = date(2026, 6, 30)
HOSTILE = "</script><script>alert(1)</script>"


def ago(days, entries="a", **changes):
    printed_on = None if days is None else TODAY - timedelta(days)
    return known_profile(printed_on=printed_on, entries_sha256=entries * 64, **changes)


@pytest.fixture
def shelf(tmp_path):
    """Three run folders with a profile each, one of them rehearsed and from a stranger."""
    profiles = {
        "old": ago(200),
        "new": ago(10, "b", means={"growth_int": 0.1}),
        "stranger": known_profile(machine=HOSTILE, material="a", rehearsed=True),
    }
    for name, profile in profiles.items():
        write_profile(profile, tmp_path / name / "profile.json")
    return tmp_path


@pytest.mark.parametrize(
    ("days", "words", "is_fresh"),
    [
        (0, "fresh, 0 days old", True),
        (1, "fresh, 1 day old", True),
        (90, "fresh, 90 days old", True),
        (91, "stale, 91 days old", False),
        (-1, "future date", False),
    ],
)
def test_a_profile_is_fresh_up_to_the_limit(days, words, is_fresh):
    age = age_of(ago(days), TODAY)
    assert (age.words, age.is_fresh) == (words, is_fresh)


def test_an_undated_profile_is_not_fresh():
    assert not age_of(known_profile(), TODAY).is_fresh


def test_profiles_are_sorted_by_machine_with_the_newest_print_first(shelf):
    posted, refused = read_posted([shelf], TODAY)
    assert [one.source for one in posted] == ["stranger", "new", "old"]
    assert [one.is_older for one in posted] == [False, False, True]
    assert refused == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "expected whole JSON text"),
        ('{"format": "offset-prof', "expected whole JSON text"),
        ("[]", "expected an offset profile"),
        ('{"format": "offset-profile", "version": 99}', "version 3 or older"),
        ('{"format": "offset-profile", "version": 1}', "at means: expected a value, got none"),
        (" " * 70_000, "at most 65536 bytes"),
    ],
)
def test_one_bad_file_is_named_and_hides_no_good_one(shelf, text, says):
    bad = shelf / "bad.json"
    bad.write_text(text)
    posted, refused = read_posted([bad, shelf], TODAY)
    assert len(posted) == 3
    assert says in refused[0].message


def test_one_bad_file_in_a_folder_hides_no_good_one(shelf):
    (shelf / "new" / "profile.json").write_text("{")
    posted, refused = read_posted([shelf], TODAY)
    assert [one.source for one in posted] == ["stranger", "old"]
    assert str(shelf / "new" / "profile.json") in refused[0].message


def test_the_same_file_named_twice_is_one_profile(shelf):
    posted, _ = read_posted([shelf, shelf / "new", shelf / "new" / "profile.json"], TODAY)
    assert len(posted) == 3


@pytest.mark.parametrize(
    ("one", "other", "is_older"),
    [
        (ago(9), ago(3, "b"), True),
        (ago(9), ago(9, "b"), False),
        (ago(9), ago(3, "b", material="white"), False),
        (ago(9), ago(3, "b", machine="bench-2"), False),
        (ago(9), ago(3, "a"), False),
        (ago(None), ago(3, "b"), False),
        (ago(9), ago(None, "b"), False),
        (ago(9), ago(-3, "b"), False),
        (ago(-3), ago(-5, "b"), False),
    ],
)
def test_a_profile_is_older_only_than_a_later_print_that_is_known(tmp_path, one, other, is_older):
    for name, profile in (("one", one), ("other", other)):
        write_profile(profile, tmp_path / f"{name}.json")
    posted, _ = read_posted([tmp_path / "one.json", tmp_path / "other.json"], TODAY)
    assert {each.source: each.is_older for each in posted} == {
        "one.json": is_older,
        "other.json": False,
    }


@pytest.mark.parametrize(
    ("profile", "says"),
    [
        (ago(24), "fresh, 24 days"),
        (ago(191), "stale, 191 days"),
        (ago(None), "undated"),
        (ago(-9), "future date"),
    ],
)
def test_the_age_is_whole_in_the_table_beside_the_longest_names(profile, says):
    long = profile.model_copy(update={"machine": "m" * 60, "material": "n" * 60})
    posted = [Posted(long, "mine"), Posted(long, "mine", is_older=profile.printed_on is not None)]
    table = board_table(posted, [age_of(long, TODAY)] * 2, figures([long] * 2)).splitlines()
    assert max(map(len, table)) <= 80
    assert f"  {says}  " in table[1]
    assert ("  older" in table[2]) == (profile.printed_on is not None)


def test_a_folder_without_a_profile_is_named(tmp_path):
    _, refused = read_posted([tmp_path], TODAY)
    assert "expected a folder with a profile.json, got none" in refused[0].message


def test_strangers_words_stay_words_and_a_rehearsal_is_stamped_wherever_it_stands(shelf, tmp_path):
    posted, refused = read_posted([shelf], TODAY)
    write_board(tmp_path / "board.html", posted, refused, TODAY)
    html = (tmp_path / "board.html").read_text(encoding="utf-8")
    assert "<script" not in html
    named = len(re.findall(r"<bdi>&lt;/script&gt;", html))
    assert named == html.count('class="stamp">rehearsed<')
    assert named == 1 + len(
        [figure for figure in figures([posted[0].profile]) if any(figure.values)]
    )


def test_machines_are_compared_on_the_same_questions():
    found = figures([known_profile(), known_profile(means={"growth_int": 0.1}, sd_share=0.9)])
    by_title = {figure.title: figure for figure in found}
    inner = by_title["Growth of each inner face"]
    assert inner.values[0].value == pytest.approx(0.06)
    assert inner.values[1] is None  # next to nothing learned
    slide = by_title["Gap for a sliding tongue in a slot, 5 mm, across x"]
    assert slide.values[0].low < slide.values[0].value < slide.values[0].high


@pytest.mark.parametrize(("mm", "words"), [(-0.004, "0.00"), (0.0, "0.00"), (-0.006, "−0.01")])
def test_nothing_has_no_sign(mm, words):
    assert Value(mm, -1.0, 1.0).words == words


def test_the_command_writes_the_page_prints_a_table_and_names_what_is_at_fault(shelf, tmp_path):
    bad = shelf / "bad.json"
    bad.write_text("{}")
    page = tmp_path / "board.html"
    result = CliRunner().invoke(main, ["board", str(shelf), str(bad), "-o", str(page)])
    assert result.exit_code == 1
    assert page.exists()
    assert "bad.json: expected an offset profile" in result.stderr
    lines = result.stdout.splitlines()
    assert lines[0].split() == ["machine", "material", "age", "(1)", "(2)", "(3)"]
    assert max(map(len, lines[:4])) <= 80
    assert "REHEARSED a" in result.stdout


@pytest.mark.parametrize(
    ("name", "got"),
    [
        ("entries.csv", "another kind of file"),
        ("wall-card.html", "another kind of file"),
        ("entries.csv/b.html", "a file where its folder should be"),
    ],
)
def test_what_is_no_board_is_never_written_over(shelf, name, got):
    (shelf / "entries.csv").write_text("typed")
    write_wall_card(shelf / "wall-card.html", known_profile())
    result = CliRunner().invoke(main, ["board", str(shelf), "-o", str(shelf / name)])
    assert result.exit_code == 1
    assert f"{name}: expected a" in result.stderr
    assert f"got {got}" in result.stderr
    assert (shelf / "entries.csv").read_text() == "typed"


def test_a_board_is_replaced_by_the_next(shelf):
    for _ in range(2):
        result = CliRunner().invoke(main, ["board", str(shelf), "-o", str(shelf / "board.html")])
        assert result.exit_code == 0


def test_the_commands_limit_is_the_boards():
    help_text = CliRunner().invoke(main, ["board", "--help"]).stdout
    assert f"default: {STALE_AFTER_DAYS}" in help_text
