"""Screws that cut their thread and inserts set with heat: rows, entries, and the hole to draw."""

import pytest

from coupons.errors import EntriesError, PlanError, SpecError
from coupons.making.plan import plan_coupon, record
from coupons.making.record import CouponHold, read_coupon, write_coupon
from coupons.making.spec.coupon_spec import load_spec, parse_spec
from coupons.measuring.run.entries import survey_entries
from coupons.measuring.run.holds import _of_one, held_in
from coupons.measuring.run.sheet import blank_rows
from coupons.showing.words.held import held_sentences
from coupons.terms import Direction, Held, Hold

SPEC = """
title = "screws"
[[row]]
kind = "thread"
name = "screw M3"
direction = "z"
nominal_mm = 3
holes_mm = [2.4, 2.5, 2.6, 2.7]
source = "user's own"
"""


def coupon_of(text=SPEC):
    return record(plan_coupon(parse_spec(text.encode(), "screws", "screws.toml")))


class Entered:
    """A run with nothing in it but how pieces held."""

    def __init__(self, coupon, holds):
        self.coupon, self.holds = coupon, holds


def entered(tmp_path, *results):
    coupon = coupon_of()
    sheet = tmp_path / "entries.csv"
    rows = "".join(f"hold,A{n},AB,{word}\n" for n, word in results)
    sheet.write_text("kind,feature,mate,result\n" + rows, encoding="utf-8")
    typed = survey_entries(sheet, coupon)
    if typed.problems:
        raise EntriesError(typed.problems)
    assert not typed.fits
    return held_in([Entered(coupon, typed.holds)])


def test_holes_are_drawn_as_stated_and_tried_from_wide_to_narrow():
    coupon = coupon_of()
    holes = [feature.size_mm for feature in coupon.features if feature.form == "hole"]
    assert holes == [2.4, 2.5, 2.6, 2.7]
    assert coupon.trials == ()
    assert coupon.holds[0] == CouponHold(feature="A4", mate="AB", held_by=Held.THREAD)
    assert [
        row.feature for row in blank_rows(coupon) if row.kind == "hold"
    ] == "A4 A3 A2 A1".split()


def test_a_record_without_such_rows_does_not_mention_them(tmp_path):
    write_coupon(record(plan_coupon(load_spec("first"))), tmp_path / "coupon.json")
    assert "holds" not in (tmp_path / "coupon.json").read_text(encoding="utf-8")
    write_coupon(coupon_of(), tmp_path / "screws.json")
    assert len(read_coupon(tmp_path / "screws.json").holds) == 4


def test_the_middle_of_the_holes_that_held_is_drawn(tmp_path):
    (found,) = entered(tmp_path, (4, "strips"), (3, "holds"), (2, "Holds"), (1, "hard"))
    assert (found.held_mm, found.drawn_mm) == ((2.5, 2.6), 2.55)
    assert held_sentences([found]) == [
        "screw M3 (cuts its own thread, holes along z): 2.5 to 2.6 mm holds, of 2.4 to 2.7 mm "
        "tried. Draw the hole 2.55 mm."
    ]


def test_a_hole_that_held_only_once_of_twice_is_not_drawn(tmp_path):
    (found,) = entered(tmp_path, (3, "strips"), (3, "holds"), (2, "holds"), (1, "splits"))
    assert (found.held_mm, found.drawn_mm) == ((2.5,), 2.5)


def test_a_wider_hole_that_is_tighter_leaves_nothing_to_draw(tmp_path):
    (found,) = entered(tmp_path, (4, "holds"), (3, "strips"), (2, "holds"))
    assert found.drawn_mm is None
    assert "a wider hole was found tighter" in held_sentences([found])[0]


def test_none_that_holds_asks_for_other_sizes():
    found = _of_one("insert", Held.INSERT, Direction.X, [(4.0, Hold.HARD), (4.4, Hold.DROPS)])
    (told,) = held_sentences([found])
    assert told.endswith("holes along x): none holds, of 4 to 4.4 mm tried. Print other sizes.")


BAD_ENTRIES = [
    ("hold,A1,AB,slide", "expected one of splits, hard, holds, strips, drops"),
    ("fit,A1,AB,holds", "expected one of no-go, force"),
    ("hold,A9,AB,holds", "expected a feature of this coupon"),
]


@pytest.mark.parametrize(("row", "words"), BAD_ENTRIES)
def test_a_wrong_entry_is_refused(tmp_path, row, words):
    sheet = tmp_path / "entries.csv"
    sheet.write_text(f"kind,feature,mate,result\n{row}\n", encoding="utf-8")
    assert words in str(survey_entries(sheet, coupon_of()).problems[0])


BAD_ROWS = [
    ("nominal_mm = 3\n", "nominal_mm = 2.5\n", SpecError, "holes of at most 2.5 mm"),
    ('source = "user\'s own"\n', "", SpecError, "row 1 source: expected a value"),
    ('kind = "thread"', 'kind = "thread"\nform = "pin"', SpecError, "known key"),
    ("nominal_mm = 3\n", "nominal_mm = 4\n", PlanError, "a wall of at least 4 mm around"),
]


@pytest.mark.parametrize(("old", "new", "error", "words"), BAD_ROWS)
def test_a_wrong_row_is_refused(old, new, error, words):
    with pytest.raises(error, match=words):
        coupon_of(SPEC.replace(old, new))
