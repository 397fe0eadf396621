import json
import os
from dataclasses import replace
from datetime import date, timedelta

import pytest
from click.testing import CliRunner
from support.known_profile import EVERYTHING, known_profile

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.rank import JobChance, rank
from coupons.answering.joints.whole_part import answer_part
from coupons.answering.offset import answer
from coupons.answering.origin import STALE_AFTER_DAYS, age_of
from coupons.answering.question import Question
from coupons.cli import main
from coupons.learning.effects import TERMS
from coupons.learning.profile import Hand, MeasuredRange
from coupons.learning.profile_file import MAX_BYTES, read_profile, write_profile
from coupons.neutral import natural_key
from coupons.showing.board.collect import read_posted
from coupons.showing.board.figures import (
    COLUMNS,
    Gap,
    capability_of,
    capability_words,
    gaps_of,
    measured_size_mm,
    size_note,
)
from coupons.showing.board.machine_rows import make_board
from coupons.showing.board.months import months_of
from coupons.showing.board.roles import Role
from coupons.showing.board.site import page_of, ranked, slug, write_site
from coupons.showing.board.table import board_table, job_table
from coupons.terms import Direction, Form, Grade, Joint

TODAY = date(2026, 6, 30)
HOSTILE = "</script><script>alert(1)</script>"
FLAT_X = tuple(one for one in EVERYTHING if one.direction is Direction.X)
ROUND = ("round_int", "curl_int", "round_ext", "curl_ext", "round_loss", "growth_int")
PLANE = tuple(one for one in EVERYTHING if one.direction is not Direction.Z)
FEW = known_profile().counts.model_copy(update={"trials": 12, "readings": 20})


def ago(days, entries="a", **changes):
    printed_on = None if days is None else TODAY - timedelta(days)
    # Of one direction alone, to be quick.
    changes = {"measured": FLAT_X} | changes
    return known_profile(printed_on=printed_on, entries_sha256=entries * 64, **changes)


def full(days, entries="a", **changes):
    return ago(days, entries, measured=PLANE, **changes)


def shelve(folder, **profiles):
    for name, profile in profiles.items():
        write_profile(profile, folder / name / "profile.json")
    return folder


def board_of(folder, **profiles):
    posted, refused = read_posted([shelve(folder, **profiles)])
    assert refused == ()
    return make_board(posted, TODAY)


def run(*arguments):
    return CliRunner().invoke(main, [str(each) for each in arguments])


@pytest.fixture
def shelf(tmp_path):
    """Three run folders with a profile each, one of them rehearsed and from a stranger."""
    return shelve(
        tmp_path / "shelf",
        old=ago(200),
        new=ago(10, "b", means={"growth_int": 0.1}),
        stranger=known_profile(machine=HOSTILE, material="a", rehearsed=True),
    )


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


def test_machines_stand_in_the_order_in_which_people_count(tmp_path):
    names = ["bench-10", "bench-2", "attic-1", "Bench-3", "bench-1"]
    made = board_of(tmp_path, **{name: ago(3, machine=name) for name in names})
    assert [row.machine for row in made.rows] == [
        "attic-1",
        "bench-1",
        "bench-2",
        "Bench-3",
        "bench-10",
    ]
    assert natural_key("2") < natural_key("10") < natural_key("a")


def test_one_row_a_machine_and_material_with_the_newest_that_answers(shelf):
    posted, _ = read_posted([shelf])
    made = make_board(posted, TODAY)
    assert [(row.machine, row.material) for row in made.rows] == [
        (HOSTILE, "a"),
        ("bench-1", "grey"),
    ]
    row = made.rows[1]
    assert row.head.posted.source == "new"
    assert [(one.posted.source, one.role) for one in row.others] == [("old", Role.OLDER)]


@pytest.mark.parametrize(
    ("later", "head", "role"),
    [
        (full(3, "b"), "later", Role.OLDER),
        # A print of one direction alone answers less: it does not blank the row.
        (ago(3, "b"), "full", Role.RECHECK),
        (full(3, "b", sd_share=dict.fromkeys(TERMS, 0.9)), "full", Role.RECHECK),
        (full(3, "b", counts=FEW), "full", Role.RECHECK),
        # Another nozzle is another thing: it answers for itself, and checks nothing.
        (full(3, "b", counts=FEW, nozzle_mm=0.6), "later", Role.OTHER),
        (full(None, "b"), "full", Role.UNDATED),
        (full(-3, "b"), "full", Role.FUTURE),
        (full(3, "b", rehearsed=True), "full", Role.REHEARSED),
        # Another person's thresholds on the same machine, as `fit` with a hand writes them.
        (full(3, "b", hand=Hand(by="Bo", trials=8)), "full", Role.HAND),
    ],
)
def test_what_takes_the_place_of_a_full_profile(tmp_path, later, head, role):
    (row,) = board_of(tmp_path, full=full(9), later=later).rows
    assert row.head.posted.source == head
    assert [one.role for one in row.others] == [role]
    assert (row.rechecks != ()) is (role is Role.RECHECK)
    assert row.head.gaps[0] is not None
    assert row.head.gaps[1] is not None


def test_a_recheck_confirms_a_profile_and_makes_it_fresh(tmp_path):
    again = full(3, "b", counts=FEW)
    (row,) = board_of(tmp_path, base=full(200), again=again).rows
    assert (row.state, row.age.words) == ("fresh", "fresh, 3 days old")
    assert row.told.startswith("YES: bench-1, grey is still as its profile of")
    assert row.reasons == ()


def test_a_recheck_doubts_a_profile_with_the_reason(tmp_path):
    fatter = {"growth_ext": 0.14, "growth_int": 0.16}
    checks = {f"c{n}": full(n, f"{n}", counts=FEW, means=fatter) for n in (3, 4, 5)}
    (row,) = board_of(tmp_path, base=full(40), **checks).rows
    assert row.state == "doubted"
    text = " ".join(row.reasons)
    assert "NO: bench-1, grey is no longer as its profile of" in text
    assert "Likeliest of the changes weighed: all faces moved 0.0" in text
    assert "Look at the extrusion amount" in text
    assert "`coupons fit c5 c4 c3 -o since.json`" in text
    # It still answers: a re-check never blanks the row.
    assert row.head.posted.source == "base"
    assert row.head.gaps[0] is not None


def test_commands_stand_on_the_pages_as_code(tmp_path):
    checks = {f"c{n}": full(n, f"{n}", counts=FEW, means=FATTER) for n in (3, 4, 5)}
    made = board_of(tmp_path / "shelf", base=full(40), **checks)
    write_site(tmp_path / "site", made)
    for name in ("index.html", page_of("bench-1")):
        html = (tmp_path / "site" / name).read_text(encoding="utf-8")
        assert "<code>coupons fit c5 c4 c3 -o since.json</code>" in html
        assert "`" not in html[html.index("<main>") : html.index("</main>")]


FATTER = {"growth_ext": 0.14, "growth_int": 0.16}
P = tuple(f"{n:016x}" for n in range(9))
THREE = full(40, prints=P[:3], coupons=("starter",) * 3)
MOVED = {
    f"c{n}": full(n, f"{n}", prints=(P[n],), coupons=("recheck",), counts=FEW, means=FATTER)
    for n in (3, 4, 5)
}
ALL = full(3, "f", prints=P[:6], coupons=("starter",) * 3 + ("recheck",) * 3)


def test_a_profile_that_is_mixed_with_its_rechecks_does_not_hide_what_they_say(tmp_path):
    alone = board_of(tmp_path / "alone", base=THREE, **MOVED)
    mixed = board_of(tmp_path / "mixed", base=THREE, **MOVED, everything=ALL)
    (row,) = mixed.rows
    assert row.head.posted.source == "base"
    assert row.state == "doubted"
    assert row.told == alone.rows[0].told
    assert {one.posted.source for one in row.others if one.role is Role.MIXED} == {"everything"}
    (note,) = mixed.notes
    assert note.startswith(
        "Fitted together with re-checks that find a change, so not used: everything."
    )
    assert alone.notes == ()


def test_rechecks_that_find_no_change_may_be_fitted_with_the_full_prints(tmp_path):
    same = {name: one.model_copy(update={"means": THREE.means}) for name, one in MOVED.items()}
    (row,) = board_of(tmp_path / "same", base=THREE, **same, everything=ALL).rows
    assert row.head.posted.source == "everything"
    assert {one.role for one in row.others} == {Role.SHARES}
    # A later re-check is held against it.
    late = full(1, "e", prints=P[7:8], coupons=("recheck",), counts=FEW)
    made = board_of(tmp_path / "late", base=THREE, **same, everything=ALL, late=late)
    (row,) = made.rows
    assert row.head.posted.source == "everything"
    assert [one.posted.source for one in row.rechecks] == ["late"]
    assert (row.state, made.notes) == ("fresh", ())


def test_profiles_of_single_jobs_are_no_witnesses_for_the_one_of_all(tmp_path):
    jobs = {
        f"job-{n}": full(39 - n, f"{n}", prints=(P[n],), coupons=("starter",), counts=FEW)
        for n in range(3)
    }
    (row,) = board_of(tmp_path, base=THREE, **jobs).rows
    assert row.head.posted.source == "base"
    assert {one.role for one in row.others} == {Role.SHARES}
    assert row.still is None
    assert months_of(row, [row]).trends == ()


def test_a_print_that_two_rechecks_share_counts_once(tmp_path):
    alone = board_of(tmp_path / "alone", base=THREE, **MOVED)
    both = full(3, "9", prints=P[3:5], coupons=("recheck",) * 2, counts=FEW, means=FATTER)
    again = full(3, "8", prints=P[3:4], coupons=("recheck",), counts=FEW)
    few = FEW.model_copy(update={"runs": 2})
    both = both.model_copy(update={"counts": few})
    again = again.model_copy(update={"counts": FEW.model_copy(update={"trials": 10})})
    made = board_of(tmp_path / "more", base=THREE, **MOVED, both=both, again=again)
    (row,) = made.rows
    assert row.told == alone.rows[0].told
    shared = {one.posted.source for one in row.others if one.role is Role.SHARES}
    assert shared == {"both", "again"}


def test_the_same_entries_fitted_again_do_not_silence_the_rechecks(tmp_path):
    again = {"again": MOVED["c3"].model_copy(update={"made_with": "coupons 0"})}
    (row,) = board_of(tmp_path, base=THREE, **MOVED, **again).rows
    assert row.state == "doubted"


def test_history_is_told_newest_first_with_what_tells_equal_rows_apart(tmp_path):
    days = {"jan": 150, "feb": 120, "mar": 90, "now": 3}
    profiles = {name: ago(n, name[0]) for name, n in days.items()}
    profiles["now"] = ago(3, "n", counts=FEW)
    write_site(tmp_path / "site", board_of(tmp_path / "shelf", **profiles))
    page = (tmp_path / "site" / page_of("bench-1")).read_text(encoding="utf-8")
    history = page[page.index("<caption>History") :]
    dates = [history.index(str(TODAY - timedelta(n))) for n in (3, 90, 120, 150)]
    assert dates == sorted(dates)
    ids = {path.stem[-8:] for path in (tmp_path / "site" / "profiles").iterdir()}
    assert len(ids) == 4
    assert all(f">{one}<" in page for one in ids)


def test_every_reason_against_a_profile_is_told(tmp_path):
    def why(profile):
        (row,) = board_of(tmp_path / str(len(list(tmp_path.iterdir()))), one=profile).rows
        return row.state, " ".join(row.reasons)

    assert why(ago(3)) == ("fresh", "")
    assert why(ago(200)) == ("stale", "Its print is 200 days old: print a re-check.")
    assert why(ago(None))[0] == "undated"
    state, reason = why(ago(-5))
    assert state == "future date"
    assert f"dated {TODAY + timedelta(5)}, in the future: correct printed_on" in reason
    assert why(ago(3, rehearsed=True))[0] == "rehearsed"
    with pytest.warns(UserWarning, match="not plausible"):
        state, reason = why(ago(3, means={"growth_ext": 1.0}))
    assert (state, reason) == ("doubted", "No printer is like that: growth_ext 1 mm.")


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
    posted, refused = read_posted([bad, shelf / "new", shelf / "old"])
    assert len(posted) == 2
    assert says in refused[0].message


def test_a_folder_is_searched_for_profiles_of_any_name_and_nothing_else(tmp_path):
    write_profile(ago(3, machine="a"), tmp_path / "deep" / "er" / "profile.json")
    write_profile(ago(3, machine="b"), tmp_path / "taken-home.json")
    (tmp_path / "coupon.json").write_text("{}")
    (tmp_path / "notes.txt").write_text('"offset-profile"')
    posted, refused = read_posted([tmp_path])
    assert [one.source for one in posted] == ["er", "taken-home.json"]
    assert refused == ()


def spoilt(folder, edit):
    """Write a profile with numbers replaced and return what the board says of it."""
    shelve(folder, good=ago(3))
    data = edit(json.loads((folder / "good" / "profile.json").read_text()))
    (folder / "bad.json").write_text(json.dumps(data))
    result = run("board", folder, "-o", folder / "site")
    assert result.exit_code == 1
    html = (folder / "site" / "index.html").read_text(encoding="utf-8")
    shown = html[html.index("file was not read") :].split("<li>")[1].split("</li>")[0]
    assert shown.count("\n") == result.stderr.strip().count("\n")
    return result.stderr.splitlines()


def test_of_a_spoilt_file_the_first_problems_are_told_and_how_many_there_are(tmp_path):
    few = ("machine", "material", "nozzle_mm", "coupons", "rehearsed")
    lines = spoilt(tmp_path / "few", lambda data: data | dict.fromkeys(few))
    assert [line.split(":")[0].split()[-1] for line in lines[:3]] == list(few[:3])
    assert lines[3:] == ["and 2 more errors in this file."]
    lines = spoilt(tmp_path / "many", lambda data: data | {"covariance": [1e308] * 100})
    assert len(lines) == 4
    assert "expected a profile, got 100 errors in all." in lines[3]


def test_other_files_of_data_are_passed_over_with_a_word(tmp_path):
    shelve(tmp_path, good=ago(3))
    for name in ("null", "list", "coupon", "deep"):
        (tmp_path / f"{name}.json").write_text("null")
    result = run("board", tmp_path, "-o", tmp_path / "site")
    assert (result.exit_code, result.stderr) == (0, "")
    said = " ".join(result.stdout.split())
    assert "Passed over, as they do not begin as a profile does: " in said
    for name in ("deep", "list", "null"):
        assert f"/{name}.json" in said.replace(" ", "")
    assert "coupon.json" not in said
    assert "Passed over" in (tmp_path / "site" / "index.html").read_text(encoding="utf-8")


def test_the_same_file_named_twice_is_one_profile(shelf):
    posted, _ = read_posted([shelf, shelf / "new", shelf / "new" / "profile.json"])
    assert len(posted) == 3


def test_copies_count_once_and_are_said(tmp_path):
    made = board_of(tmp_path, one=ago(3), two=ago(3))
    assert made.rows[0].others == ()
    assert "In several files of the same content, shown once: one." in made.notes


def test_names_in_other_capitals_and_several_materials_are_said(tmp_path):
    made = board_of(
        tmp_path,
        a=ago(3, machine="bench-1"),
        b=ago(3, machine="Bench-1"),
        c=ago(3, machine="bench-1", material="white"),
        d=ago(-3, machine="bench-2"),
    )
    assert len(made.rows) == 4
    assert made.notes == (
        "Bench-1 and bench-1 differ in capitals only: give one machine one name.",
        "With several materials, a row each: bench-1 (grey, white).",
        "Dated in the future, so not used where there is another: d.",
    )


def test_names_that_a_disk_may_take_for_one_have_pages_of_their_own():
    names = ["bench-1", "Bench-1", "BENCH-1", "bench/1", "bench 1", "../bench-1", "⌀", "", "x" * 60]
    slugs = [slug(name) for name in names]
    assert len({one.casefold() for one in slugs}) == len(names)
    assert all(one and set(one) <= set("abcdefghijklmnopqrstuvwxyz0123456789-") for one in slugs)


def test_links_pipes_and_huge_files_are_named_and_hide_no_good_one(shelf):
    (shelf / "new" / "loop").symlink_to(shelf)
    (shelf / "old" / "again").symlink_to(shelf / "new")
    (shelf / "broken").symlink_to(shelf / "nowhere")
    (shelf / "pipe").mkdir()
    os.mkfifo(shelf / "pipe" / "profile.json")
    os.mkfifo(shelf / "pipe" / "other.json")
    huge = shelf / "huge" / "profile.json"
    huge.parent.mkdir()
    with huge.open("wb") as file:
        file.write(b'{"format": "offset-profile"')
        file.truncate(100_000_000)
    posted, refused = read_posted([shelf])
    assert len(posted) == 3
    said = sorted(error.message.removeprefix(str(shelf)) for error in refused)
    assert [text.split(": expected")[0] for text in said] == [
        "/huge/profile.json",
        "/new/loop",
        "/pipe/profile.json",
    ]
    assert "got a link that leads back to a folder above it" in said[1]
    assert "got a pipe or a device" in said[2]


def test_a_folder_without_a_profile_is_named(tmp_path):
    _, refused = read_posted([tmp_path])
    assert "expected a folder with a profile.json, got none" in refused[0].message


def test_strangers_words_stay_words_on_every_page(shelf, tmp_path):
    posted, _ = read_posted([shelf])
    write_site(tmp_path / "site", make_board(posted, TODAY))
    for path in (tmp_path / "site").rglob("*.html"):
        html = path.read_text(encoding="utf-8")
        assert "<script>alert" not in html
        assert ("&lt;/script&gt;" in html) is ("bench-1" not in path.name)


def test_the_index_as_data_leads_to_every_profile(shelf, tmp_path):
    posted, _ = read_posted([shelf])
    site = tmp_path / "site"
    write_site(site, make_board(posted, TODAY))
    data = json.loads((site / "index.json").read_text(encoding="utf-8"))
    row = data["rows"][1]
    assert (row["machine"], row["material"], row["state"]) == ("bench-1", "grey", "fresh")
    assert list(row["gaps"]) == [column["key"] for column in data["columns"]]
    assert (site / row["profile"]).read_bytes() == (shelf / "new/profile.json").read_bytes()
    older = site / row["others"][0]["profile"]
    assert older.read_bytes() == (shelf / "old/profile.json").read_bytes()
    assert (site / row["page"]).exists()
    files = {str(path.relative_to(site)) for path in site.rglob("*") if path.is_file()}
    assert files == set(data["files"])


def test_every_row_is_readable_without_a_script(shelf, tmp_path):
    posted, _ = read_posted([shelf])
    write_site(tmp_path / "site", make_board(posted, TODAY))
    html = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert html.count('<details class="row">') == html.count('<tr><th scope="row">') == 2
    hidden = [part.split(">")[0] for part in html.split("<")[1:] if " hidden" in part.split(">")[0]]
    assert {one.split()[0] for one in hidden} == {"form", "button", "p"}
    assert '<p id="none" hidden>' in html  # which says that nothing was found


def test_a_board_may_lie_in_the_folder_that_it_shows(shelf):
    for _ in range(2):
        result = run("board", shelf, "-o", shelf / "site")
        assert result.exit_code == 0, result.output
    data = json.loads((shelf / "site" / "index.json").read_text(encoding="utf-8"))
    assert len(data["rows"]) == 2
    assert all(one["id"] for row in data["rows"] for one in (row, *row["others"]))


def test_what_is_gone_leaves_the_board_and_nothing_else_does(shelf):
    site = shelf / "site"
    run("board", shelf, "-o", site)
    (site / "mine.html").write_text("typed")
    (site / "machines" / "bench-9.html").write_text("typed")
    page = site / page_of(HOSTILE)
    assert page.exists()
    for path in (shelf / "stranger").iterdir():
        path.unlink()
    run("board", shelf, "-o", site)
    assert not page.exists()
    assert len(list((site / "profiles").iterdir())) == 2
    assert (site / "mine.html").read_text() == "typed"
    assert (site / "machines" / "bench-9.html").read_text() == "typed"


def test_the_same_profiles_give_the_same_bytes(shelf, tmp_path):
    posted, _ = read_posted([shelf])
    for name in ("a", "b"):
        write_site(tmp_path / name, make_board(posted, TODAY))
    for path in (tmp_path / "a").rglob("*.*"):
        assert path.read_bytes() == (tmp_path / "b" / path.relative_to(tmp_path / "a")).read_bytes()


def test_the_command_writes_the_site_prints_a_table_and_names_what_is_at_fault(shelf, tmp_path):
    bad = shelf / "bad.json"
    bad.write_text("{}")
    result = run("board", shelf, bad, "-o", tmp_path / "site")
    assert result.exit_code == 1
    assert (tmp_path / "site" / "index.html").exists()
    assert "bad.json: expected an offset profile" in result.stderr
    lines = result.stdout.splitlines()
    assert lines[0].split() == ["machine", "material", "state", "(1)", "(2)", "(3)"]
    assert max(map(len, lines[:-1])) <= 80  # the last names a path
    assert "REHEARSED a" in result.stdout


@pytest.mark.parametrize("also_good", [False, True])
def test_a_mistyped_path_takes_nothing_off_a_board(shelf, tmp_path, also_good):
    site = tmp_path / "site"
    assert run("board", shelf, "-o", site).exit_code == 0
    stood = {path: path.read_bytes() for path in site.rglob("*") if path.is_file()}
    result = run("board", tmp_path / "shelv", *([shelf / "new"] * also_good), "-o", site)
    assert result.exit_code == 1
    assert "shelv: expected a profile, got no such file" in result.stderr
    assert result.stderr.endswith(f"Nothing was written; {site} stays as it was.\n")
    assert result.stdout == ""
    assert {path: path.read_bytes() for path in site.rglob("*") if path.is_file()} == stood


def test_of_profiles_that_cannot_be_read_no_board_is_written(tmp_path):
    (tmp_path / "bad.json").write_text('{"format": "offset-profile"')
    result = run("board", tmp_path, "-o", tmp_path / "site")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.endswith("\nNothing was written.\n")
    assert not (tmp_path / "site").exists()


@pytest.mark.parametrize(
    ("taken", "says"),
    [
        ("site", "site: expected a path that can be written, got a file"),
        ("site/index.html", "index.html: expected a page of a board to replace"),
        ("site/index.json", "index.json: expected a page of a board to replace"),
        ("site/machines/bench-1.html", "bench-1.html: expected a page of a board to replace"),
    ],
)
def test_what_is_no_board_is_never_written_over(shelf, tmp_path, taken, says):
    other = tmp_path / taken
    other.parent.mkdir(parents=True, exist_ok=True)
    other.write_text("typed")
    result = run("board", shelf, "-o", tmp_path / "site")
    assert result.exit_code == 1
    assert says in result.stderr
    assert other.read_text() == "typed"
    assert not (tmp_path / "site" / "profiles").exists()


def test_the_state_is_whole_in_the_table_beside_the_longest_names(tmp_path):
    days = {"a": 24, "b": 191, "c": None, "d": -9}
    long = {"machine": "m" * 60}
    profiles = {n: ago(day, material=n * 60, **long) for n, day in days.items()}
    table = board_table(board_of(tmp_path, **profiles))
    assert max(map(len, table.splitlines())) <= 80
    for says in ("fresh, 24 days", "stale, 191 days", "undated", "future date"):
        assert f"  {says}  " in table


def test_a_rehearsed_machine_is_told_so_once_a_line(tmp_path):
    table = board_table(board_of(tmp_path, one=ago(3, rehearsed=True)))
    assert table.splitlines()[1].lower().count("rehearsed") == 1
    assert "REHEARSED grey  fresh, 3 days" in table


@pytest.mark.parametrize(("mm", "words"), [(-0.004, "0.00"), (0.0, "0.00"), (-0.006, "−0.01")])
def test_nothing_has_no_sign(mm, words):
    assert Gap(mm, -1.0, 1.0, 0.5).words == words


def test_a_question_without_data_is_blank_and_the_capability_is_near_the_usual_size():
    only_x = dict(zip((column.key for column in COLUMNS), gaps_of(ago(3)), strict=True))
    assert only_x["slide_flat_x"].low_mm < only_x["slide_flat_x"].gap_mm
    assert only_x["slide_flat_y"] is only_x["slide_round_z"] is None
    found = capability_of(known_profile())
    assert (found.form, found.high_mm) == (Form.TONGUE, 12.0)
    assert capability_of(known_profile(measured=())) is None


PINS_OF_4 = tuple(
    MeasuredRange(form=form, direction=Direction.Z, low_mm=low_mm, high_mm=high_mm)
    for form, low_mm, high_mm in ((Form.PIN, 4.0, 4.0), (Form.HOLE, 4.1, 18.0))
)


def test_a_machine_is_asked_at_the_nearest_size_that_it_measured():
    at = [column.key for column in COLUMNS].index("slide_round_z")
    usual, small = (gaps_of(ago(3, measured=m))[at] for m in (EVERYTHING, PINS_OF_4))
    assert (usual.size_mm, usual.at) == (5.0, "")
    assert (small.size_mm, small.at) == (4.0, "at 4")
    # Small holes close up more.
    assert small.gap_mm > usual.gap_mm
    asked = Joint(Form.HOLE, Form.PIN, 4.0, Direction.Z)
    assert small.gap_mm == answer(ago(3), Question(asked, Grade.SLIDE)).gap_mm


@pytest.mark.parametrize(
    ("outer", "inner", "size_mm"),
    [
        ((3.0, 8.0), (3.1, 8.4), 5.0),
        ((5.0, 5.0), (5.2, 5.5), 5.0),  # a joint is named by its outer body
        ((4.0, 4.0), (4.1, 18.0), 4.0),
        ((6.0, 12.0), (3.0, 12.0), 6.0),
        ((3.0, 20.0), (6.3, 20.4), 5.8),
        ((3.0, 3.0), (12.0, 18.0), None),  # nothing that mates
    ],
)
def test_the_size_asked_is_one_that_both_bodies_measured(outer, inner, size_mm):
    ranges = [
        MeasuredRange(form=form, direction=Direction.X, low_mm=ends[0], high_mm=ends[1])
        for form, ends in ((Form.TONGUE, outer), (Form.SLOT, inner))
    ]
    found = measured_size_mm(known_profile(measured=tuple(ranges)), COLUMNS[0].joint)
    assert found == (None if size_mm is None else pytest.approx(size_mm))


def test_another_size_is_told_beside_the_gap_everywhere(tmp_path):
    made = board_of(
        tmp_path / "shelf",
        a=ago(3, measured=EVERYTHING),
        b=ago(3, machine="attic-1", measured=PINS_OF_4),
    )
    gap = made.rows[0].head.gaps[3]
    write_site(tmp_path / "site", made)
    home = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert f"<td>{gap.words} <small>at 4</small></td>" in home
    assert f"round z at 4 mm: {gap.words} mm" in home
    assert f"{gap.words} at 4" in (tmp_path / "site" / page_of("attic-1")).read_text()
    rows = json.loads((tmp_path / "site" / "index.json").read_text())["rows"]
    assert [row["gaps"]["slide_round_z"]["size_mm"] for row in rows] == [4.0, 5.0]
    table = board_table(made)
    assert f"  at 4: {gap.words}" in table
    assert "at 4: the machine measured nothing nearer to 5 mm than joints of 4 mm." in table
    assert "At 4: the machine measured nothing nearer" in home


def test_a_size_is_explained_only_where_one_stands_beside_a_gap(tmp_path):
    made = board_of(tmp_path / "shelf", a=ago(3))
    write_site(tmp_path / "site", made)
    assert "nothing nearer" not in (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert "nothing nearer" not in board_table(made)
    gaps = [Gap(0.3, 0.2, 0.4, 0.7, size_mm=size) for size in (19.5, 4.0, 5.0, 4.0)]
    assert size_note(gaps) == (
        "at 4, at 19.5: the machine measured nothing nearer to 5 mm than joints of that size."
    )


def test_the_figures_of_a_machine_are_sentences(tmp_path):
    made = board_of(tmp_path / "shelf", one=ago(3, measured=EVERYTHING, coupons=("a", "b", "a")))
    write_site(tmp_path / "site", made)
    page = (tmp_path / "site" / page_of("bench-1")).read_text(encoding="utf-8")
    grade, width_mm = made.rows[0].capability.grade, {13: 0.27, 12: 0.18, 11: 0.11}
    # ISO 286-1: IT11, IT12 and IT13 of 10 to 18 mm are 0.11, 0.18 and 0.27 mm (from memory).
    assert (
        f"Outer sizes of 12 mm in the plane scatter within IT{grade}, "
        f"{width_mm[grade]:.2f} mm wide, with six standard deviations ("
    ) in page
    assert "Scatter (± 1 sd): like features on one print, in the plane " in page
    assert "<bdi>2 × a, b</bdi>" in page
    assert capability_words(replace(made.rows[0].capability, grade=None)).endswith(
        "tolerance grade IT14."
    )


def test_every_state_that_is_not_as_it_should_be_is_explained(tmp_path):
    checks = {f"c{n}": full(n, f"{n}", counts=FEW, means=FATTER) for n in (3, 4, 5)}
    made = board_of(
        tmp_path / "shelf",
        base=full(40),
        **checks,
        fresh=ago(3, machine="bench-2"),
        undated=ago(None, machine="bench-3"),
        stale=ago(200, machine="bench-4", rehearsed=True),
        future=ago(-3, machine="bench-5"),
    )
    assert [row.state_words for row in made.rows] == [
        "doubted",
        "fresh",
        "undated",
        "rehearsed, stale",
        "future date",
    ]
    assert [row.state for row in made.rows][3] == "rehearsed"
    write_site(tmp_path / "site", made)
    home = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    told = " ".join(board_table(made).split())
    for says in (
        "doubted: its re-checks",
        "undated: without a print date, so nobody knows how old it is. Fill in printed_on",
        "stale: printed more than 90 days ago",
        "future date: printed_on lies in the future",
        "rehearsed: from a virtual printer",
    ):
        assert says in told
        assert says in home
    assert "watch: " not in told
    data = json.loads((tmp_path / "site" / "index.json").read_text(encoding="utf-8"))
    assert data["rows"][3]["states"] == ["rehearsed", "stale"]


def test_a_rehearsed_machine_is_doubted_in_the_terminal_too(tmp_path):
    checks = {f"c{n}": full(n, f"{n}", counts=FEW, means=FATTER, rehearsed=True) for n in (3, 4, 5)}
    made = board_of(tmp_path, base=full(40, rehearsed=True), **checks)
    assert "REHEARSED grey  doubted, 40 days" in board_table(made)


def test_a_doubted_machine_ranks_after_the_others_with_the_reason(tmp_path):
    checks = {f"c{n}": full(n, f"{n}", counts=FEW, means=FATTER) for n in (3, 4, 5)}
    made = board_of(tmp_path, base=full(40), **checks, other=ago(3, machine="bench-2"))
    blank = ago(3, machine="bench-3", measured=())
    made = replace(made, rows=(*made.rows, *board_of(tmp_path / "more", blank=blank).rows))
    chances = (0.9, 0.2, None)
    job = {
        (row.machine, row.material): JobChance(row.head.profile, chance, 0.0, "lid", {})
        for row, chance in zip(made.rows, chances, strict=True)
    }
    assert [row.machine for row in ranked(made.rows, job)] == ["bench-2", "bench-1", "bench-3"]
    said = " ".join(job_table(made, job).split())
    assert "doubted: its re-checks" in said
    assert "chances are still those of the profile" in said


def test_a_later_print_of_another_size_only_does_not_take_the_place_of_a_full_one(tmp_path):
    small = (*PINS_OF_4, *PLANE)
    (row,) = board_of(
        tmp_path, base=ago(9, measured=EVERYTHING), later=ago(3, "b", measured=small)
    ).rows
    assert row.head.posted.source == "base"
    # The chart compares joints of one size alone.
    charted = {one.column.key for one in months_of(row, [row]).trends}
    assert "slide_flat_x" in charted
    assert "slide_round_z" not in charted


def test_no_profile_makes_the_site_larger_than_its_share(tmp_path):
    # 15 MB for a thousand profiles, with the largest profile that there may be.
    profiles = {f"bench-{n}": ago(3, machine=f"bench-{n}", measured=EVERYTHING) for n in range(4)}
    made = board_of(tmp_path / "shelf", **profiles)
    sizes = []
    for n in (2, 4):
        board = make_board([row.head.posted for row in made.rows[:n]], TODAY)
        write_site(tmp_path / str(n), board)
        files = [path for path in (tmp_path / str(n)).rglob("*.*") if "profiles" not in path.parts]
        sizes.append(sum(path.stat().st_size for path in files))
    assert (sizes[1] - sizes[0]) / 2 + MAX_BYTES < 15_000


def test_a_job_ranks_the_machines(tmp_path):
    shelf = shelve(
        tmp_path / "shelf",
        sure=ago(3, machine="sure", scatters={"tau": 0.01, "omega": 0.01}),
        vague=ago(3, machine="vague", sd_share=0.6),
        partly=ago(3, machine="partly", sd_share=dict.fromkeys(ROUND, 1.0)),
    )
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit\n"
        "drawer,slot,tongue,12,x,slide\nlid,hole,pin,8,z,push\n"
    )
    result = run("board", shelf, "--job", joints, "-o", tmp_path / "site")
    assert result.exit_code == 0, result.output
    names = [line.split()[0] for line in result.stdout.splitlines()[1:4]]
    assert names == ["sure", "vague", "partly"]
    assert "not measured: lid" in result.stdout
    html = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert html.index(">sure<") < html.index(">vague<")
    rows = json.loads((tmp_path / "site" / "index.json").read_text())["rows"]
    chances = {row["machine"]: row["job_chance"] for row in rows}
    assert chances["sure"] > chances["vague"] > 0
    assert chances["partly"] is None
    joints.write_text("name,internal,external,size_mm,across,fit\nlid,slot,tongue,12,x,0.2\n")
    refused = run("board", shelf, "--job", joints, "-o", tmp_path / "other")
    assert refused.exit_code == 1
    assert "give at least one joint a fit" in refused.stderr


@pytest.mark.slow
def test_a_job_of_several_prints_and_machines_has_the_chance_of_the_whole_part(tmp_path):
    shelf = shelve(tmp_path / "shelf", one=ago(3), two=ago(3, machine="bench-2"))
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit,internal_print,external_print,"
        "external_profile\n"
        "together,slot,tongue,12,x,slide,a,a,\n"
        "apart,slot,tongue,12,x,slide,a,b,\n"
        "of another,slot,tongue,12,x,slide,a,c,shelf/two/profile.json\n"
    )
    listed = read_joints(joints).joints
    profiles = [read_profile(path) for path in sorted(shelf.rglob("profile.json"))]
    for one, profile in zip(rank(profiles, listed), profiles, strict=True):
        assert one.missing == {}
        assert one.chance == answer_part(profile, listed).together.chance
    result = run("board", shelf, "--job", joints, "-o", tmp_path / "site")
    assert result.exit_code == 0, result.output
    assert "fit at once" in result.stdout


def test_a_job_that_no_machine_measured_says_so(tmp_path):
    nothing = ago(3, sd_share=dict.fromkeys(TERMS, 1.0))
    joints = tmp_path / "joints.csv"
    joints.write_text("name,internal,external,size_mm,across,fit\nlid,slot,tongue,12,x,slide\n")
    shelf = shelve(tmp_path / "shelf", one=nothing)
    said = run("board", shelf, "--job", joints, "-o", tmp_path / "site").stdout
    assert "not measured: lid" in said
    assert "No machine has an answer to all joints" in said
    assert "`coupons next` says which coupon" in " ".join(said.split())


def test_a_joint_of_two_materials_is_not_told_as_not_measured(tmp_path):
    """What is missing is trials of the two together, not data of the machine."""
    nothing_round = dict.fromkeys(ROUND, 1.0)
    shelf = shelve(
        tmp_path / "shelf",
        grey=ago(3, machine="bench-1", material="grey", sd_share=nothing_round),
        white=ago(3, machine="bench-2", material="white"),
    )
    joints = tmp_path / "joints.csv"
    joints.write_text(
        "name,internal,external,size_mm,across,fit,external_profile\n"
        "drawer,slot,tongue,12,x,slide,shelf/white/profile.json\nlid,hole,pin,8,z,push,\n"
    )
    result = run("board", shelf, "--job", joints, "-o", tmp_path / "site")
    assert result.exit_code == 0, result.output
    lines = {line.split()[0]: line for line in result.stdout.splitlines() if line}
    assert "not measured: lid; two materials: drawer" in lines["bench-1"]
    assert "not measured" not in lines["bench-2"]
    said = " ".join(result.stdout.split())
    assert "two materials: the list takes one body from a printer of another material" in said
    assert "print a coupon in the other material on this machine" in said
    html = (tmp_path / "site" / "index.html").read_text(encoding="utf-8")
    assert "not measured: lid; two materials: drawer" in html
    assert "print a coupon in the other material on this machine" in html
    rows = json.loads((tmp_path / "site" / "index.json").read_text())["rows"]
    missing = {row["machine"]: row["job_missing"] for row in rows}
    grey = {"not measured": ["lid"], "two materials": ["drawer"]}
    assert missing == {"bench-1": grey, "bench-2": {}}


def test_a_machine_that_lacks_nothing_is_told_no_help(tmp_path):
    shelf = shelve(tmp_path / "shelf", one=ago(3))
    joints = tmp_path / "joints.csv"
    joints.write_text("name,internal,external,size_mm,across,fit\nlid,slot,tongue,12,x,slide\n")
    said = run("board", shelf, "--job", joints, "-o", tmp_path / "site").stdout
    assert "not measured" not in said
    assert "two materials" not in said


def test_the_commands_limit_is_the_boards():
    assert f"default: {STALE_AFTER_DAYS}" in run("board", "--help").stdout
