"""What is said of a new coupon, of a proposal written down by hand."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from coupons.answering.next.judged import Shipped
from coupons.answering.next.new_coupon import ChosenRow, Proposal
from coupons.answering.words.new_coupon import (
    met_lines,
    proposal_data,
    proposal_lines,
    row_words,
    spec_of,
)
from coupons.making.spec.coupon_spec import Assumed
from coupons.making.spec.row_kinds import FitRow, SizesRow, SpansRow

SLOTS = FitRow(
    kind="fit", form="slot", direction="x", size_mm=12, gaps_mm=(0.2, 0.3, 0.4), gauges=2
)
ONE_PIN = FitRow(kind="fit", form="pin", direction="z", size_mm=8, gaps_mm=(0.2,), gauges=1)
RULE = SpansRow(kind="spans", direction="y", tongues_mm=(5, 8), slots_mm=(20,))


def want(name, within_mm=None):
    return SimpleNamespace(asked=SimpleNamespace(name=name), within_mm=within_mm)


DRAWER = Proposal(
    wants=(want("drawer"), want("lid", 0.05)),
    rows=(ChosenRow(SLOTS, 10.0, 3.5, 0, 0.18), ChosenRow(RULE, 4.2, 2.4, 1, 0.06)),
    assumed=Assumed(),
    minutes=60.0,
    prints=2,
    print_minutes=14.2,
    bench_minutes=5.9,
    before_mm=(0.2, 0.1),
    after_mm=(0.12, 0.04),
    again_mm=(0.119, 0.02),
    new_mm=(0.118, 0.03),
    least_mm=(0.05, 0.02),
    one_more_mm=(0.1, 0.015),
    shipped=(Shipped("recheck", 3, 4, 5, 57.0, (0.16, 0.06)),),
)


def test_a_row_is_told_by_what_it_holds():
    assert row_words(SLOTS).endswith("gaps 0.2, 0.3 and 0.4 mm to 2 loose tongues of 12 mm")
    assert row_words(ONE_PIN).endswith("gap 0.2 mm to 1 loose hole of 8 mm")
    assert row_words(RULE) == "rule along y, for the caliper"
    one = SizesRow(kind="sizes", form="slot", direction="x", sizes_mm=(4,))
    assert row_words(one).endswith(", 4 mm, for the caliper")


def test_intervals_stand_in_columns_and_prints_are_counted():
    text = "\n".join(proposal_lines(DRAWER))
    flowing = " ".join(text.split())
    assert (
        "Print it 2 times, each a job of its own: 14 minutes of print and 6 at the bench each time."
        in flowing
    )
    lines = text.splitlines()
    heads = next(line for line in lines if line.startswith("known to ± mm"))
    drawer = next(line for line in lines if line.startswith("drawer"))
    lid = next(line for line in lines if line.startswith("lid"))
    assert drawer.split()[1:4] == ["0.200", "0.120", "0.119"]
    assert lid.split()[1:4] == ["0.100", "0.040", "0.020"]
    assert len(drawer) == len(lid) == len(heads) <= 80
    for name, value in (("now", "0.200"), ("after", "0.120"), ("same", "0.119")):
        assert heads.index(f" {name}") + len(name) == drawer.index(value) + 4
    assert all(len(line) <= 80 for line in lines)
    assert "A  " in text
    assert "gaps 0.2, 0.3 and 0.4 mm to 2 loose tongues of 12 mm (14 min)" in flowing
    assert "B rule along y, for the caliper (7 min)" in flowing


def test_long_names_are_cut_to_their_column():
    long = replace(DRAWER, wants=(want("x" * 60), want("lid")))
    line = next(line for line in proposal_lines(long) if line.startswith("xxx"))
    assert line.split()[0] == "x" * 34


def test_shipped_coupons_stand_beside_it_at_equal_minutes():
    lines = proposal_lines(DRAWER)
    new = next(line for line in lines if line.startswith("the new coupon"))
    # Two prints of 20.1 minutes; from 0.2 to 0.12 and from 0.1 to 0.04 mm: by 40 and by 60 %.
    assert new.split()[3:] == ["2", "2", "40", "50", "%"]
    shipped = next(line for line in lines if line.startswith("recheck"))
    assert shipped.split()[1:] == ["3", "4", "of", "5", "57", "30", "%"]


def test_what_is_reached_is_said_of_wants_with_a_width():
    def said(**changes):
        return " ".join(" ".join(proposal_lines(replace(DRAWER, **changes))).split())

    assert "Expected to reach lid within 0.05 mm." in said()
    assert "drawer within" not in said()
    missed = said(after_mm=(0.12, 0.051))
    assert "These minutes do not reach lid within 0.05 mm." in missed
    assert "No coupon reaches" in said(after_mm=(0.12, 0.07), least_mm=(0.05, 0.06))
    assert "±0.060 mm" in said(after_mm=(0.12, 0.07), least_mm=(0.05, 0.06))
    assert "Expected to reach" in said(after_mm=(0.12, 0.05))


def test_a_print_more_is_worth_it_where_an_interval_that_is_too_wide_narrows():
    def worth(**changes):
        return replace(DRAWER, **changes).is_worth((0.114, 0.02), (0.12, 0.04))

    # The drawer by exactly 5 % is not more than 5 %; the lid is narrow enough already.
    assert not worth()
    assert worth(wants=(want("drawer"), want("lid")))
    assert DRAWER.is_worth((0.1139, 0.04), (0.12, 0.04))
    assert DRAWER.is_worth((0.12, 0.03), (0.12, 0.06))
    same, other = "One more print of the same would", "another new coupon would narrow"
    again = "\n".join(proposal_lines(replace(DRAWER, again_mm=(0.1, 0.04))))
    assert same in again
    another = "\n".join(proposal_lines(replace(DRAWER, new_mm=(0.1, 0.04))))
    assert other in " ".join(another.split())
    assert "no further print is worth it" in " ".join(" ".join(proposal_lines(DRAWER)).split())
    assert "by 5 % or more" in " ".join(again.split())


def test_the_spec_says_why_each_row_is_there():
    text = " ".join(part.strip("# ") for part in spec_of(DRAWER).splitlines())
    assert "For drawer; lid." in text
    assert "drawer: known to ±0.200 mm now, ±0.120 expected after it." in text
    assert "lid: known to ±0.100 mm now, ±0.040 expected after it. Wanted: ±0.05 mm." in text
    assert "10.0 + 3.5 minutes of print and bench. Without it, drawer would be known to" in text
    assert "±0.180 mm, not ±0.120." in text
    assert "4.2 + 2.4 minutes of print and bench. Without it, lid" in text


@pytest.mark.parametrize(
    ("count", "listed"), [(3, "For a; b; c."), (4, "For a; b; c; 1 more."), (1, "For a.")]
)
def test_three_wants_are_named_and_the_others_counted(count, listed):
    many = replace(
        DRAWER,
        wants=tuple(map(want, "abcd"[:count])),
        before_mm=(0.2,) * count,
        after_mm=(0.1,) * count,
        rows=(ChosenRow(SLOTS, 10.0, 3.5, 0, 0.18),),
    )
    assert listed in spec_of(many)


def test_one_print_is_said_as_one():
    once = replace(DRAWER, prints=1)
    assert "Print it once: 14 minutes of print and 6 at the bench." in proposal_lines(once)[0]


def test_the_same_is_told_as_data():
    data = proposal_data(DRAWER)
    assert (data["minutes"], data["prints"]) == (60.0, 2)
    assert (data["print_minutes"], data["bench_minutes"]) == (14.2, 5.9)
    lid = data["wants"][1]
    assert lid["name"] == "lid"
    assert lid["within_mm"] == 0.05
    found = [lid[f"{name}_mm"] for name in ("known_to", "after", "after_same_again")]
    assert found == [0.1, 0.04, 0.02]
    assert (lid["after_another_mm"], lid["at_best_mm"]) == (0.03, 0.02)
    assert [row["kind"] for row in data["rows"]] == ["fit", "spans"]
    assert data["rows"][0]["print_minutes"] == 10.0
    (shipped,) = data["shipped"]
    assert shipped["narrower"] == pytest.approx((0.2 + 0.4) / 2)
    assert (shipped["prints"], shipped["rows"], shipped["of_rows"]) == (3, 4, 5)
    assert data["narrower"] == pytest.approx(0.5)
    assert (data["same_again_is_worth_it"], data["another_is_worth_it"]) == (False, False)


def test_wants_that_are_met_are_listed():
    assert met_lines(["drawer", "lid"]) == [
        "Known well enough already: drawer.",
        "Known well enough already: lid.",
    ]


WIDE = replace(
    DRAWER,
    wants=(want("drawer"), want("lid", 0.05)),
    after_mm=(0.08, 0.04),
    new_mm=(0.0758, 0.04),
    one_more_mm=(0.0714, 0.0152),
)


def test_a_proposal_is_told_from_its_prints_to_the_coupons_beside_it():
    assert proposal_lines(WIDE) == [
        "Print it 2 times, each a job of its own: 14 minutes of print and 6 at the bench",
        "  each time.",
        "",
        "known to ± mm                            now    after     same    other  at best",
        "drawer                                 0.200    0.080    0.119    0.076    0.050",
        "lid                                    0.100    0.040    0.020    0.040    0.020",
        "after: what is expected then. same, other: after one more print, of it or of",
        "another new coupon. at best: what stays open because prints differ.",
        "",
        "Expected to reach lid within 0.05 mm.",
        "One more print of any coupon, however large, leaves ±0.071 and 0.015 mm at best.",
        # From 0.080 to 0.076 mm is by a twentieth and a little.
        "After that, another new coupon would narrow an interval by 5 % or more; the same",
        "  not.",
        "",
        "A  slots across x, gaps 0.2, 0.3 and 0.4 mm to 2 loose tongues of 12 mm (14 min)",
        "B  rule along y, for the caliper (7 min)",
        "",
        "at equal minutes    prints      rows   minutes   narrower by",
        # Two prints of 20.1 minutes; both to 40 % of what was known.
        "the new coupon           2         2        40          60 %",
        # To 80 and to 60 %.
        "recheck                  3    4 of 5        57          30 %",
        "rows: how many of a coupon's rows would be tried and measured in these minutes.",
        "By how much a coupon without such a joint narrows rests on the model alone.",
    ]


def test_a_spec_of_a_proposal_names_its_rows_in_turn():
    text = " ".join(spec_of(WIDE).replace("#", " ").split())
    assert "Row A: slots across x, gaps 0.2, 0.3 and 0.4 mm to 2 loose tongues" in text
    assert "Row B: rule along y, for the caliper. 4.2 + 2.4 minutes" in text
    assert "Written by `coupons next`. Print it 2 times" in text


def test_the_data_of_a_proposal_are_those_of_its_wants_in_turn():
    data = proposal_data(replace(WIDE, print_minutes=14.26, bench_minutes=5.94))
    assert (data["print_minutes"], data["bench_minutes"]) == (14.3, 5.9)
    drawer, lid = data["wants"]
    assert drawer == {
        "name": "drawer",
        "within_mm": None,
        "known_to_mm": 0.2,
        "after_mm": 0.08,
        "after_same_again_mm": 0.119,
        "after_another_mm": 0.0758,
        "after_any_print_mm": 0.0714,
        "at_best_mm": 0.05,
    }
    assert lid["after_any_print_mm"] == 0.0152
    assert [row["bench_minutes"] for row in data["rows"]] == [3.5, 2.4]
    assert [row["print_minutes"] for row in data["rows"]] == [10.0, 4.2]
    assert data["shipped"][0]["name"] == "recheck"
    assert data["shipped"][0]["minutes"] == 57.0
    assert data["shipped"][0]["after_mm"] == [0.16, 0.06]
    assert data["another_is_worth_it"] is True
    fine = replace(WIDE, rows=(ChosenRow(SLOTS, 10.04, 3.46, 0, 0.18),))
    assert proposal_data(fine)["rows"][0]["print_minutes"] == 10.0
    assert proposal_data(fine)["rows"][0]["bench_minutes"] == 3.5
