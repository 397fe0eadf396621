import re
from datetime import date, timedelta

import pytest
from click.testing import CliRunner
from known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile import write_profile
from coupons.showing.board import STALE_AFTER_DAYS, age_of, read_posted, write_board
from coupons.showing.board_figures import figures

TODAY = date(2026, 6, 30)
HOSTILE = "</script><script>alert(1)</script>"


@pytest.fixture
def shelf(tmp_path):
    """Three run folders with a profile each, one of them rehearsed and from a stranger."""
    profiles = {
        "old": known_profile(printed_on=TODAY - timedelta(200)),
        "new": known_profile(printed_on=TODAY - timedelta(10), means={"growth_int": 0.1}),
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
        (-1, "dated 2026-07-01, which is yet to come", False),
    ],
)
def test_a_profile_is_fresh_up_to_the_limit(days, words, is_fresh):
    age = age_of(known_profile(printed_on=TODAY - timedelta(days)), TODAY)
    assert (age.words, age.is_fresh) == (words, is_fresh)


def test_an_undated_profile_is_not_fresh():
    assert not age_of(known_profile(), TODAY).is_fresh


def test_profiles_are_sorted_by_machine_with_the_newest_print_first(shelf):
    posted, refused = read_posted([shelf])
    assert [one.source for one in posted] == ["stranger", "new", "old"]
    assert [one.is_older for one in posted] == [False, False, True]
    assert refused == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "expected whole JSON text"),
        ('{"format": "offset-prof', "expected whole JSON text"),
        ("[]", "expected an offset profile"),
        ('{"format": "offset-profile", "version": 99}', "version 1 or older"),
        ('{"format": "offset-profile", "version": 1}', "at means: expected a value, got none"),
        (" " * 70_000, "at most 65536 bytes"),
    ],
)
def test_one_bad_file_is_named_and_hides_no_good_one(shelf, text, says):
    bad = shelf / "bad.json"
    bad.write_text(text)
    posted, refused = read_posted([bad, shelf])
    assert len(posted) == 3
    assert says in refused[0].message


def test_a_folder_without_a_profile_is_named(tmp_path):
    _, refused = read_posted([tmp_path])
    assert "expected a folder with a profile.json, got none" in refused[0].message


def test_strangers_words_stay_words_and_a_rehearsal_is_stamped_wherever_it_stands(shelf, tmp_path):
    posted, refused = read_posted([shelf])
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
    inner = by_title["Inner faces stand proud, a face"]
    assert inner.values[0].value == pytest.approx(0.06)
    assert inner.values[1] is None  # next to nothing learned
    slide = by_title["Gap for a sliding tongue in a slot, 5 mm, across x"]
    assert slide.values[0].low < slide.values[0].value < slide.values[0].high


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


def test_the_commands_limit_is_the_boards():
    help_text = CliRunner().invoke(main, ["board", "--help"]).stdout
    assert f"default: {STALE_AFTER_DAYS}" in help_text
