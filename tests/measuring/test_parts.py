import re
import shutil
from pathlib import Path

import pytest

from coupons import EntriesError, check_parts
from coupons.job.check import bought_mate
from coupons.measuring.run.folder import load_run, prints_of
from coupons.measuring.run.tried_joints import with_parts
from coupons.terms import Grade

HEAD = (
    "name,job,internal,internal_drawn_mm,external,external_drawn_mm,across,hardware,bed,contact_mm,"
    "result,by,note\n"
)
CONDITIONS = 'machine = "bench-1"\nmaterial = "grey"\nnozzle_mm = 0.4\nlayer_height_mm = 0.2\n'
DEMO = Path("results/filter-drawer")


def listed(tmp_path, rows, conditions=True):
    path = tmp_path / "parts.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    if conditions:
        (tmp_path / "conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    return path


def test_each_job_is_a_run_and_one_size_of_one_name_is_one_body(tmp_path):
    rows = (
        "drawer (1 notch),mon,slot,12,tongue,11.8,x,,,,push,ann,\n"
        "drawer (2 notches),mon,slot,12,tongue,11.7,x,,,20,slide,ann,\n"
        "lid,tue,hole,5.4,pin,5,z,,,,push..slide,,\n"
        "hinge,tue,hole,8.3,,,z,pin 8 m6,,,go,,\n"
        "later,tue,hole,8.3,pin,8,z,,,,,,\n"
    )
    monday, tuesday = with_parts((), listed(tmp_path, rows), bought_mate)
    assert [one.id for one in monday.coupon.features] == [
        "drawer slot 12",
        "drawer tongue 11.8",
        "drawer tongue 11.7",
    ]
    # The slot met both tongues: it is what they are tried in, as a gauge is.
    assert {(fit.feature, fit.mate) for fit in monday.fits} == {
        ("drawer tongue 11.8", "drawer slot 12"),
        ("drawer tongue 11.7", "drawer slot 12"),
    }
    assert [fit.contact_mm for fit in monday.fits] == [None, 20.0]
    assert [piece.name for piece in tuesday.coupon.hardware] == ["pin 8 m6"]
    assert tuesday.fits[0].tightest is Grade.PUSH
    assert len(tuesday.fits) == 2, "a blank result is skipped"
    assert prints_of((monday, tuesday)) == (0, 1)


def test_a_job_named_as_a_run_is_the_print_of_that_run(tmp_path):
    run = load_run(DEMO)
    rows = "drawer,filter-drawer,slot,12,tongue,11.7,x,,,,push,,\nlid,,hole,5.4,pin,5,z,,,,push,,\n"
    runs = with_parts((run,), listed(tmp_path, rows, conditions=False), bought_mate)
    assert prints_of(runs) == (0, 0, 2)
    assert runs[1].conditions == run.conditions


def test_the_table_of_answers_with_results_added_is_a_list_of_parts(tmp_path):
    from coupons import load_profile
    from coupons.answering.words.joint_files import answers_csv

    part = load_profile(DEMO / "profile.json").part(DEMO / "joints.csv")
    head, *rows = answers_csv(part).splitlines()
    text = "\r\n".join([f"{head},result", *(f"{row},push" for row in rows)])
    path = tmp_path / "parts.csv"
    path.write_text(text, encoding="utf-8")
    (run,) = with_parts((load_run(DEMO),), path, bought_mate)[1:]
    assert len(run.fits) == len(part.joints)
    assert {piece.name for piece in run.coupon.hardware} == {"screw M3", "pin 8 m6"}


ODD_ROWS = [
    ("a,,slot,12,tongue,,x,,,,push,,", "external_drawn_mm from"),
    ("a,,slot,12,pin,11.7,x,,,,push,,", "external pin or tongue|a hole with a pin"),
    ("a,,slot,12,tongue,11.7,q,,,,push,,", "across x, y, z"),
    ("a,,slot,12,tongue,11.7,x,,,,pish,,", "Did you mean push"),
    ("a,,slot,12,tongue,5,x,,,,push,,", "under half"),
    ("a,,slot,0.472,tongue,0.46,x,,,,push,,", "internal_drawn_mm from"),
    ("a,,slot,12,tongue,11.7,z,,,,push,,", "bed for a joint across z"),
    ("a,,slot,12,tongue,11.7,x,,external,,push,,", "no face looks down"),
    ("a,,slot,12,tongue,11.7,x,,,-3,push,,", "contact_mm from"),
    ("a,,hole,8.3,pin,8,z,pin 8 m6,,,push,,", "has its own"),
    ("a,,hole,8.3,,,z,pin 8 q9,,,push,,", "pin 8 q9|tolerance|q9"),
    (",,slot,12,tongue,11.7,x,,,,push,,", "a name"),
    ("a,/tmp/x,slot,12,tongue,11.7,x,,,,push,,", "a job of up to"),
    ("a,,=B2,12,tongue,11.7,x,,,,push,,", "formula"),
]


@pytest.mark.parametrize(("row", "words"), ODD_ROWS)
def test_each_odd_row_is_told_with_what_to_do(tmp_path, row, words):
    with pytest.raises(EntriesError, match=words):
        with_parts((), listed(tmp_path, row + "\n"), bought_mate)


def test_all_problems_are_told_at_once_and_by_check_too(tmp_path):
    path = listed(tmp_path, "".join(f"{row}\n" for row, _ in ODD_ROWS))
    with pytest.raises(EntriesError) as told:
        with_parts((), path, bought_mate)
    assert {p.where.split()[-1] for p in told.value.problems} == {
        str(n) for n in range(2, len(ODD_ROWS) + 2)
    }
    errors = [one for one in check_parts(path) if one.severity == "error"]
    assert sum(len(one.each) for one in errors) == len(told.value.problems)


def test_one_body_cannot_be_printed_in_two_ways(tmp_path):
    rows = "a,m,slot,12,tongue,11.7,x,,,,push,,\na,m,slot,12,tongue,11.6,y,,,,push,,\n"
    with pytest.raises(EntriesError, match="printed as in row 2"):
        with_parts((), listed(tmp_path, rows), bought_mate)


def test_a_list_by_itself_needs_conditions(tmp_path):
    rows = "a,m,slot,12,tongue,11.7,x,,,,push,,\n"
    with pytest.raises(EntriesError, match=r"conditions.toml"):
        with_parts((), listed(tmp_path, rows, conditions=False), bought_mate)


@pytest.mark.parametrize(
    "text", ["", "name,job\n", HEAD, HEAD + "a,,slot,12,tongue,11.7,x,,,,,,\n"]
)
def test_empty_lists_are_refused(tmp_path, text):
    path = tmp_path / "parts.csv"
    path.write_text(text, encoding="utf-8")
    shutil.copy(DEMO / "conditions.toml", tmp_path)
    with pytest.raises(EntriesError):
        with_parts((), path, bought_mate)
    assert {one.severity for one in check_parts(path)} == {"error"}


LOOKS = [
    # One slot refuses a tongue that is thinner than one that slid.
    (
        "a,m,slot,12,tongue,11.8,x,,,,slide,,\na,m,slot,12,tongue,11.6,x,,,,no-go,,\n",
        "does not fit this gap",
    ),
    # Two joints of one kind and print: the wider gap is three grades tighter.
    (
        "a,m,slot,12,tongue,11.9,x,,,,loose,,\nb,m,slot,14,tongue,13.7,x,,,,force,,\n",
        "same kind of joint",
    ),
    ("a,m,slot,12,tongue,11.8,x,,,,push,,\na,m,slot,12,tongue,11.8,x,,,,push,,\n", "same as row 2"),
    ("a,m,slot,12,tongue,11.8,x,,,,slide,,\na,m,slot,12,tongue,11.8,x,,,,no-go,,\n", "same pair"),
    ("a,m,slot,17,tongue,12,x,,,,loose,,\n", r"gap is \+5.00"),
    ("a,,slot,12,tongue,11.8,x,,,,slide,,\nb,,slot,12,tongue,11.7,y,,,,slide,,\n", "name no job"),
]


@pytest.mark.parametrize(("rows", "words"), LOOKS)
def test_what_looks_wrong_is_told_and_kept(tmp_path, rows, words):
    path = listed(tmp_path, rows)
    found = check_parts(path)
    assert [one.severity for one in found] == ["look"], found
    assert re.search(words, found[0].what)
    assert found[0].where.startswith("parts.csv")
    assert with_parts((), path, bought_mate), "nothing is dropped"


def test_a_sound_list_has_nothing_to_correct(tmp_path):
    rows = (
        "a,m,slot,12,tongue,11.9,x,,,,push,,\na,m,slot,12,tongue,11.7,x,,,,slide,,\n"
        "b,m,slot,14,tongue,13.7,x,,,,push,,\n"
    )
    assert check_parts(listed(tmp_path, rows)) == ()
