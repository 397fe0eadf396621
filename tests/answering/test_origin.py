"""Every answer says whose it is and how old, starts with what decides, and echoes the question."""

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.offset import answer
from coupons.answering.origin import (
    STALE_AFTER_DAYS,
    Origin,
    age_of,
    carried_sentence,
    hands_sentence,
    like_sentence,
    origin_data,
    origin_sentence,
)
from coupons.answering.question import Question
from coupons.answering.words.answer_data import as_data
from coupons.answering.words.answers import headline, sentences
from coupons.answering.words.comparison import heading
from coupons.answering.words.joint_files import as_data as part_data
from coupons.answering.words.joints import note_lines
from coupons.answering.words.sizes import limits_data, limits_sentences, size_data, size_sentences
from coupons.cli import main
from coupons.learning.profile import Carried, Like
from coupons.learning.profile_file import read_profile, write_profile
from coupons.showing.board.collect import Posted
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.table import board_table
from coupons.terms import Direction, Form, Grade, Joint

TODAY = date(2026, 6, 1)

ASKED = {
    "joint": (lambda p: p.offset("slot/tongue", size_mm=12, across="x"), sentences, as_data),
    "hardware": (lambda p: p.offset(hardware="pin 8 m6", across="z"), sentences, as_data),
    "size": (lambda p: p.size("pin", prints_mm=8, across="z"), size_sentences, size_data),
    "hole": (lambda p: p.clearance_hole("screw M3 fine", across="z"), size_sentences, size_data),
    "limits": (
        lambda p: p.limits("12 H12/d12", joint="slot/tongue", across="x"),
        limits_sentences,
        limits_data,
    ),
}


def printed(days_ago):
    when = None if days_ago is None else TODAY - timedelta(days=days_ago)
    return Printer(known_profile(printed_on=when, layer_height_mm=0.15))


@pytest.mark.parametrize("kind", ASKED)
@pytest.mark.parametrize(
    ("days_ago", "told", "state"),
    [
        (12, "printed 2026-05-20 (fresh, 12 days old)", "fresh"),
        (400, "printed 2025-04-27 (stale, 400 days old)", "stale"),
        (None, "no print date", "undated"),
        (-3, "printed 2026-06-04 (future date)", "future date"),
    ],
)
def test_every_answer_says_whose_it_is_and_how_old(kind, days_ago, told, state):
    ask, say, data = ASKED[kind]
    found = ask(printed(days_ago))
    lines = say(found, TODAY)
    assert any(
        line.startswith("For bench-1, grey, 0.15 mm layers;") and told in line for line in lines
    )
    assert lines[0].startswith("STALE: printed 400 days ago") == (state == "stale")
    origin = data(found, TODAY)["origin"]
    assert (origin["machine"], origin["material"]) == ("bench-1", "grey")
    assert (origin["layer_height_mm"], origin["age_days"]) == (0.15, days_ago)
    assert origin["state"] == state
    assert data(found, TODAY)["words"] == lines


def test_it_is_stale_from_the_day_after():
    for days, stale in ((STALE_AFTER_DAYS, False), (STALE_AFTER_DAYS + 1, True)):
        found = printed(days).offset("slot/tongue", size_mm=12, across="x")
        assert sentences(found, TODAY)[0].startswith("STALE") is stale


@pytest.mark.parametrize(
    ("wish", "first", "second"),
    [
        ({}, "of the 12 mm tongue −", "It slides with"),
        ({"move": "internal"}, "of the 12 mm slot −", "It slides with"),
        ({"at_least": 0.9}, "the slot stays 12.00 mm.", "It slides or is looser with"),
        (
            {"printed_gap_mm": 0.2},
            "draw the tongue 11.",
            "Drawn this way, a pair on the next print has a gap of",
        ),
        ({"drawn_gap_mm": 0.0}, "Leave the tongue as it is, 12.00 mm", "It slides with"),
    ],
)
def test_two_sentences_decide(wish, first, second):
    lines = sentences(printed(3).offset("slot/tongue", size_mm=12, across="x", **wish), TODAY)
    assert first in lines[0]
    assert lines[1].startswith(second)


def test_what_puts_the_chance_in_doubt_comes_before_the_details():
    far = sentences(printed(3).offset("slot/tongue", size_mm=200, across="x"), TODAY)
    assert far[2].startswith("EXTRAPOLATED: 200 mm")
    size = size_sentences(printed(3).size("hole", prints_mm=200, across="z"), TODAY)
    assert size[2].startswith("EXTRAPOLATED: 200 mm")
    joint = {"size_mm": 12, "across": "z", "drawn_gap_mm": 0.1}
    between = sentences(printed(3).offset("slot/tongue", **joint), TODAY)
    assert between[2].startswith("A gap of 0.10 mm is 0.67 layers of 0.15 mm")


def test_an_empty_line_parts_what_decides_from_the_details(part):
    asked = ["--joint", "slot/tongue", "--size", "12", "--across", "x"]
    lines = CliRunner().invoke(main, ["offset", str(part), *asked]).output.split("\n\n")
    assert len(lines) == 2
    assert lines[0].startswith("STALE")
    assert " % chance (too tight " in " ".join(lines[0].split()[-12:])
    assert lines[1].startswith("The drawn gap is")


def test_the_sentence_names_where_each_offset_starts_and_what_stays():
    joint = {"size_mm": 12, "across": "x"}
    p = printed(3)
    both = sentences(p.offset("slot/tongue", move="both", **joint), TODAY)[0]
    assert "Move each face of the 12 mm slot −" in both
    assert ", and each face of the 12 mm tongue −" in both
    assert "stays" not in both
    internal = sentences(p.offset("slot/tongue", move="internal", **joint), TODAY)[0]
    assert internal.endswith("; the tongue stays 12.00 mm.")
    nut = sentences(p.offset(hardware="nut M3", across="x"), TODAY)[0]
    assert "each face of the 5.5 mm slot" in nut
    assert nut.endswith("; the nut M3 stays as it is.")
    hole = size_sentences(p.clearance_hole("screw M3 medium", across="z"), TODAY)
    assert "the round face of the 3.4 mm hole" in hole[0]
    assert hole[0].endswith("; the screw M3 stays as it is.")
    assert hole[1].startswith("Chance that it is within 3.4 H13")


def test_signs_and_words_agree():
    p = printed(3)
    for gap_mm, way in ((-0.2, "+0.10 mm, out of the material"), (0.2, "−0.10 mm, into the")):
        found = p.offset("slot/tongue", size_mm=12, across="x", drawn_gap_mm=gap_mm)
        assert way in sentences(found, TODAY)[0]


@pytest.mark.slow
def test_data_holds_the_question_and_what_stays():
    found = printed(3).offset("slot/tongue", size_mm=12, across="x", at_least=0.9, fit="push")
    data = as_data(found, TODAY)
    assert data["question"] == {
        "joint": "slot/tongue",
        "size_mm": 12,
        "across": "x",
        "hardware": None,
        "fit": "push",
        "move": "external",
        "at_least": 0.9,
        "drawn_gap_mm": None,
        "printed_gap_mm": None,
        "bed": None,
        "contact_mm": None,
        "two_prints": False,
        "slant_deg": None,
        "choices": 1,
        "loose_costs": 1.0,
    }
    assert data["stays"] == "slot"
    assert data["moves"][0]["from_mm"] == 12
    size = size_data(printed(3).size("hole", across="z", limits="8 ±0.1"), TODAY)
    assert size["question"] == {
        "form": "hole",
        "across": "z",
        "prints_mm": 8.0,
        "drawn_mm": None,
        "limits": "8 ±0.1",
        "hardware": None,
        "bed": None,
    }
    limits = limits_data(printed(3).limits("12 ±0.1", joint="slot/tongue", across="x"), TODAY)
    assert limits["question"] == {
        "joint": "slot/tongue",
        "across": "x",
        "limits": ["12 ±0.1", "12 ±0.1"],
    }


ROWS = """name,internal,external,size_mm,across,fit,hardware
lid,slot,tongue,12,x,slide,
cover,,,,z,,screw M3 medium
"""


@pytest.fixture
def part(tmp_path):
    (tmp_path / "joints.csv").write_text(ROWS)
    old = known_profile(printed_on=date.today() - timedelta(days=200))
    write_profile(old, tmp_path / "profile.json")
    return tmp_path


def test_a_part_says_whose_answers_it_holds(part):
    found = Printer(known_profile(printed_on=date(2026, 5, 20))).part(part / "joints.csv")
    notes = list(note_lines(found))
    assert notes[-1].startswith("For bench-1, grey, 0.2 mm layers; printed 2026-05-20")
    assert "cover: The offset is from the 3.4 mm hole of the standard." in notes
    data = part_data(found)
    assert data["origin"]["printed_on"] == "2026-05-20"
    assert data["joints"][0]["question"] == {
        "joint": "slot/tongue",
        "size_mm": 12.0,
        "across": "x",
        "hardware": None,
        "fit": "slide",
        "printed_gap_mm": None,
        "move": "external",
        "bed": None,
        "contact_mm": None,
        "sides": [
            {"side": "internal", "machine": None, "print": None},
            {"side": "external", "machine": None, "print": None},
        ],
        "pitch_mm": None,
        "sizes_mm": [12.0],
        "slant_deg": None,
        "choices": 1,
        "loose_costs": 1.0,
    }


@pytest.mark.slow
def test_a_stale_part_says_so_on_the_terminal_in_the_table_and_on_the_page(part):
    asked = ["joints", str(part), str(part / "joints.csv"), "-o", str(part / "out")]
    result = CliRunner().invoke(main, asked)
    assert result.exit_code == 0, result.output
    assert result.output.startswith("STALE: printed 200 days ago")
    for name in ("joints.csv", "joints.html"):
        assert "STALE: printed 200 days ago" in (part / "out" / name).read_text("utf-8-sig")
    assert "For bench-1, grey, 0.2 mm layers" in (part / "out" / "joints.html").read_text()
    told = CliRunner().invoke(main, [*asked[:3], "--json"])
    assert json.loads(told.output)["origin"]["state"] == "stale"


def kept(version):
    return read_profile(Path(__file__).parents[1] / "kept_profiles" / f"version-{version}.json")


@pytest.mark.parametrize("version", [1, 2, 3])
def test_answers_board_and_comparison_mark_a_profile_of_an_older_model(version):
    profile = kept(version)
    drawer = Question(Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X), Grade.SLIDE)
    told = [
        " ".join(headline(answer(profile, drawer))),
        " ".join(heading([profile, profile])),
        board_table(make_board([Posted(profile, "run")], TODAY)),
    ]
    for text in map(" ".join, map(str.split, told)):
        assert ("OLD MODEL" in text) is (version < 3)
        assert (f"a profile of version {version}. Fit its runs again" in text) is (version < 3)


def test_an_answer_says_for_whose_hands_it_is():
    drawer = Question(Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X), Grade.SLIDE)
    alone = known_profile()
    several = known_profile(counts=alone.counts.model_copy(update={"hands": 3}))
    assert "people" not in " ".join(sentences(answer(alone, drawer)))
    said = " ".join(sentences(answer(several, drawer)))
    assert "3 people tried: the fit is that of people at large" in said


def plain(**changes):
    return Origin("bench-1", "grey", 0.2, changes.pop("printed_on", None), **changes)


@pytest.mark.parametrize(
    ("days_ago", "words", "is_fresh"),
    [
        (0, "fresh, 0 days old", True),
        (1, "fresh, 1 day old", True),
        (90, "fresh, 90 days old", True),
        (91, "stale, 91 days old", False),
        (-1, "future date", False),
        (None, "undated", False),
    ],
)
def test_an_age_is_told_in_words(days_ago, words, is_fresh):
    printed_on = None if days_ago is None else TODAY - timedelta(days=days_ago)
    age = age_of(plain(printed_on=printed_on), TODAY)
    assert (age.words, age.is_fresh) == (words, is_fresh)
    data = origin_data(plain(printed_on=printed_on), TODAY)
    assert (data["age_days"], data["state"]) == (days_ago, words.split(",")[0])
    assert (data["hands"], data["hand"], data["old_model"]) == (1, None, False)


def test_a_keeper_may_say_when_a_profile_is_stale():
    printed_on = TODAY - timedelta(days=30)
    assert age_of(plain(printed_on=printed_on), TODAY, 30).is_fresh
    assert not age_of(plain(printed_on=printed_on), TODAY, 29).is_fresh


@pytest.mark.parametrize("hands", [1, 2, 5])
def test_from_two_people_on_the_fit_is_that_of_people_at_large(hands):
    said = hands_sentence(plain(hands=hands))
    assert said.startswith(f"{hands} people tried" if hands > 1 else "")
    assert bool(said) is (hands > 1)


NAMES = ("attic-1", "attic-2", "attic-3", "attic-4", "attic-5")


@pytest.mark.parametrize(
    ("count", "what"),
    [
        (1, "a machine like it (attic-1)"),
        (2, "2 machines like it (attic-1, attic-2)"),
        (4, "4 machines like it (attic-1, attic-2, attic-3, attic-4)"),
        (5, "5 machines like it (attic-1, attic-2, attic-3, attic-4 …)"),
    ],
)
def test_up_to_four_machines_are_named_that_an_answer_leans_on(count, what):
    like = Like(machines=NAMES[:count], unlike=2 / 3)  # as likely as it may be, and still like
    agrees = f"It leans on {what}, as far as its own entries agree."
    assert like_sentence(plain(like=like)) == agrees
    assert origin_sentence(plain(like=like), TODAY).endswith(f"may be stale. {agrees}")
    other = like.model_copy(update={"unlike": 0.67})
    assert like_sentence(plain(like=other)) == (
        f"It was to lean on {what}, but its own entries do not look like theirs (chance 67%): "
        "little was taken from them."
    )


@pytest.mark.parametrize(
    ("count", "what"),
    [
        (1, "one machine changed (attic-1)"),
        (4, "4 machines changed (attic-1, attic-2, attic-3, attic-4)"),
        (5, "5 machines changed (attic-1, attic-2, attic-3, attic-4 …)"),
    ],
)
def test_up_to_four_machines_are_named_whose_change_carries_over(count, what):
    carried = Carried(
        material="grey",
        nozzle_mm=0.4,
        layer_height_mm=0.2,
        pairs=NAMES[:count],
        over=(),
        moved={},
        anew=(),
        unlike=0.5,  # as likely as it may be
    )
    assert carried_sentence(plain(carried=carried)) == (
        f"From grey, 0.4 mm nozzle, 0.2 mm layers, as {what}. Carries over: nothing; learned anew: "
        "nothing."
    )
    else_ = carried.model_copy(update={"unlike": 0.51})
    assert carried_sentence(plain(carried=else_)) == (
        f"It was to take over from grey, 0.4 mm nozzle, 0.2 mm layers, but did not change as "
        f"{what[:-1]}; chance 51%): little was carried over."
    )
