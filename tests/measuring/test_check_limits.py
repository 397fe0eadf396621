"""The limits at which a check speaks up, each from both sides."""

from dataclasses import replace

import pytest
from support.small_coupon import feature, small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.making.record import CouponPart, CouponTrial
from coupons.measuring.checks.contradictions import find_contradictions
from coupons.measuring.checks.mistyped import find_slips
from coupons.measuring.checks.run_checks import check_survey, missing_rows
from coupons.measuring.run.conditions import Caliper, Slicing
from coupons.measuring.run.entries import FitEntry, SizeEntry, Typed, ZeroEntry
from coupons.measuring.run.folder import Survey
from coupons.measuring.run.sheet import Row, blank_rows
from coupons.terms import GRADES, Grade, Jaws


def fit(feature_id, mate, grade, row=2):
    return FitEntry(row, feature_id, mate, Grade(grade), Grade(grade))


def graded(*trials, coupon=None):
    fits = [fit(*trial, row=n) for n, trial in enumerate(trials, start=2)]
    return find_contradictions(coupon or small_coupon(), fits)


GAUGES = {"T1": 14.0, "T2": 14.05, "T3": 10.0, "T4": 9.95}
FAR = small_coupon(
    features=(
        feature("A1", "slot", "x", 11.8),
        feature("A4", "slot", "x", 12.4),
        *(feature(id_, "tongue", "x", size, role="gauge") for id_, size in GAUGES.items()),
    ),
    trials=(
        CouponTrial(feature="A1", mate="T1", gap_mm=-0.2),
        CouponTrial(feature="A4", mate="T1", gap_mm=0.4),
    ),
    readings=(),
)


@pytest.mark.parametrize(
    ("pair", "gap"),
    [(("A1", "T1"), ""), (("A1", "T2"), "-2.25"), (("A4", "T3"), ""), (("A4", "T4"), "+2.45")],
)
def test_a_gap_is_far_two_millimetres_beyond_all_that_are_planned(pair, gap):
    """Planned are −0.2 to 0.4: −2.2 to 2.4 are not far, in binary or out of it."""
    found = graded((*pair, "push"), coupon=FAR)
    assert [one.what.split(" mm")[0].split()[-1] for one in found] == ([gap] if gap else [])


@pytest.mark.parametrize(
    ("wider_mm", "odd"),
    [(0.1 + 0.2, 0), (0.3000002, 0), (0.300002, 1)],
    ids=["binary", "1e-7", "1e-6"],
)
def test_gaps_are_the_same_to_a_millionth(wider_mm, odd):
    coupon = small_coupon(
        features=(
            feature("A1", "slot", "x", 0.3),
            feature("A2", "slot", "x", wider_mm),
            feature("T1", "tongue", "x", 0.2, role="gauge"),
        ),
        trials=(CouponTrial(feature="A1", mate="T1", gap_mm=0.1),),
        readings=(),
    )
    found = graded(("A1", "T1", "slide"), ("A2", "T1", "push"), coupon=coupon)
    assert [one.kind for one in found] == ["wrong order"] * odd


@pytest.mark.parametrize(("count", "said"), [(3, 0), (4, 1)])
def test_one_grade_alone_is_odd_from_four_trials_on(count, said):
    pairs = [("A1", "G1"), ("A2", "G1"), ("A3", "G1"), ("A4", "G1")][:count]
    found = graded(*((*pair, "push") for pair in pairs))
    assert [one.what for one in found] == [
        "all 4 trials say push, so its limits stay unknown"
    ] * said


@pytest.mark.parametrize(("other", "odd"), [("force", 0), ("no-go", 1), ("slide", 0), ("loose", 1)])
def test_repeats_may_be_one_grade_apart(other, odd):
    found = graded(("A2", "G1", "push"), ("A2", "G1", other))
    assert [one.kind for one in found] == ["repeated trial"] * odd


def test_of_a_row_the_pair_that_contradicts_most_is_told():
    """By grades, and by how much wider the gap is where grades are as far apart."""
    rows = [("A1", "G1", "slide"), ("A2", "G1", "push"), ("A3", "G1", "push")]
    (one,) = graded(*rows)
    assert one.where == "entries.csv row 4 (A3 with G1)"
    assert "slide at -0.20 mm in row 2" in one.what
    (one,) = graded(("A1", "G1", "loose"), ("A2", "G1", "no-go"), ("A4", "G1", "push"))
    assert one.where == "entries.csv row 3 (A2 with G1)"
    gaps = [("A2", "G1", "loose"), ("A3", "G1", "loose"), ("A4", "G1", "slide")]
    (one,) = graded(*gaps)
    assert "loose at +0.00 mm in row 2" in one.what


def test_what_several_mates_find_of_one_feature_is_told_once():
    """A3 is too tight for G1 beside A1, and for G2 beside A2."""
    (one,) = graded(
        ("A1", "G1", "push"), ("A3", "G1", "force"), ("A2", "G2", "push"), ("A3", "G2", "no-go")
    )
    assert one.where == "entries.csv row 3 (A3 with G1)"
    assert one.what.endswith("in row 2; the same with G2 in row 5")
    # Beside A1 both times, but other features: two findings.
    two = graded(
        ("A1", "G1", "push"), ("A3", "G1", "force"), ("A1", "G2", "push"), ("A4", "G2", "no-go")
    )
    assert [one.where.split(" row ")[1] for one in two] == ["3 (A3 with G1)", "5 (A4 with G2)"]


@pytest.mark.parametrize("loosest", [True, False])
def test_of_repeats_at_one_gap_the_loosest_and_the_tightest_are_compared(loosest):
    """Narrow: push and slide; wide: slide and push. The pair slide and push is told."""
    narrow = [("A2", "G1", "push"), ("A2", "G1", "slide")]
    wide = [("A3", "G1", "slide"), ("A3", "G1", "push")]
    rows = [*narrow, *wide] if loosest else [*reversed(narrow), *reversed(wide)]
    (one,) = graded(*rows)
    assert one.what.startswith("tighter than at a narrower gap: push at +0.20 mm, slide at +0.00")


def test_a_pin_that_stands_fixed_has_the_gap_of_the_hole_around_it():
    """Hole 6.4 on a pin of 6.0: +0.4, and not −0.4 nor twice as much."""
    coupon = small_coupon(
        features=(feature("P1", "pin", "z", 6.0), feature("P2", "pin", "z", 6.2),
                  feature("R1", "hole", "z", 6.4, role="gauge")),
        trials=(CouponTrial(feature="P1", mate="R1", gap_mm=0.4),),
        readings=(),
    )  # fmt: skip
    (one,) = graded(("P1", "R1", "push"), ("P2", "R1", "slide"), coupon=coupon)
    assert "push at +0.40 mm, slide at +0.20 mm in row 3" in one.what


def sizes(*readings):
    return [
        SizeEntry(n, name, value, Jaws.INSIDE if name[0] in "AB" else Jaws.OUTSIDE)
        for n, (name, value) in enumerate(readings, start=2)
    ]


def slips(*readings, coupon=None, texts=None):
    entries = sizes(*readings)
    rows = {
        one.row: Row(
            one.row, "size", one.feature, result=(texts or {}).get(one.row, f"{one.value_mm:g}")
        )
        for one in entries
    }
    return find_slips(coupon or small_coupon(), entries, rows)


@pytest.mark.parametrize(("apart_mm", "odd"), [(0.09, 0), (0.11, 1)])
def test_readings_of_one_feature_agree_to_a_tenth(apart_mm, odd):
    found = slips(("D1", 79.7), ("D1", 79.7 + apart_mm))
    assert [one.kind for one in found] == ["repeat"] * odd


@pytest.mark.parametrize(("apart_mm", "kinds"), [(0.04, ["feature differs"]), (0.06, 2)])
def test_two_readings_as_near_as_a_twentieth_were_not_mistyped_both(apart_mm, kinds):
    found = slips(("D1", 76.0), ("D1", 76.0 + apart_mm))
    told = [one.kind for one in found]
    assert told == (kinds if isinstance(kinds, list) else ["implausible"] * kinds)


def of_row(usual_mm, typed):
    """Three slots that print off by so much, and a fourth of 12.4 mm as typed."""
    plain = [(f"A{n}", round(11.6 + 0.2 * n + usual_mm, 3)) for n in (1, 2, 3)]
    return slips(*plain, ("A4", float(typed)), texts={5: typed})


@pytest.mark.parametrize(
    ("usual_mm", "what"),
    [
        # 12.53 with its digits swapped is 12.35. At −0.03 the row suggests 12.37, 0.16 off: odd,
        # and 12.35 is nearer by far; at −0.01 the row suggests 12.39, 0.14 off: not odd.
        (-0.03, "Was 12.35 meant?"),
        (-0.01, None),
        # 0.23 off, 12.35 within 0.05: nearer than a quarter. 0.25 off and 0.07: not.
        (-0.10, "Was 12.35 meant?"),
        (-0.12, None),
    ],
)
def test_an_odd_reading_needs_an_explanation_four_times_nearer(usual_mm, what):
    found = of_row(usual_mm, "12.53")
    assert [one.what.split(". ")[1] for one in found] == ([what] if what else [])


@pytest.mark.parametrize(("typed", "fits"), [("12.165", True), ("12.175", False)])
def test_a_reading_is_of_another_feature_if_it_fits_that_one_four_times_better(typed, fits):
    """All print 0.07 small: 12.165 misses A4 by 0.165, A3 by 0.035; 12.175 by 0.155 and 0.045."""
    found = of_row(-0.07, typed)
    assert [one.what.split(". ")[1] for one in found] == ["It would fit A3 (12.2 mm)"] * fits


@pytest.mark.parametrize(
    ("drawn_mm", "typed", "odd"),
    [
        # The widest up to 1.25 times the narrowest make a row of nearly one size. With two of
        # their digits swapped 15.20 is 15.02, and 15.31 is 15.13.
        ((12.0, 13.0, 15.0), "15.20", 1),
        ((12.0, 13.0, 15.1), "15.31", 0),
        # Two sizes do not make a row, however often one was read.
        ((12.0, 15.0), "15.20", 0),
    ],
)
def test_a_row_has_three_sizes_that_differ_by_a_quarter_at_most(drawn_mm, typed, odd):
    coupon = small_coupon(
        features=tuple(feature(f"A{n}", "slot", "x", d) for n, d in enumerate(drawn_mm, start=1)),
        trials=(),
        readings=(),
    )
    sound = [("A1", 12.0), ("A1", 12.0), *((f"A{n + 1}", d) for n, d in enumerate(drawn_mm[:-1]))]
    last = (f"A{len(drawn_mm)}", float(typed))
    found = slips(*sound, last, coupon=coupon, texts={len(sound) + 2: typed})
    assert [one.kind for one in found] == ["mistyped"] * odd


@pytest.mark.parametrize(("near_mm", "fits"), [(12.609375, False), (12.609, True)])
def test_a_quarter_of_the_miss_itself_is_not_near_enough(near_mm, fits):
    """12.5625 misses 12.375 by 3/16 and 12.609375 by 3/64, all of them exact in binary."""
    drawn = {"A1": 12.0, "A2": 12.375, "A3": near_mm}
    coupon = small_coupon(
        features=tuple(feature(name, "slot", "x", size) for name, size in drawn.items()),
        trials=(),
        readings=(),
    )
    found = slips(("A1", 12.0), ("A2", 12.5625), ("A3", near_mm), coupon=coupon)
    assert [one.kind for one in found] == ["wrong row"] * fits


def test_a_number_typed_in_inches_is_mistyped_in_inches():
    """60 mm are 2.362 in; of 23.62 typed with the unit in, the point was meant elsewhere."""
    coupon = small_coupon(features=(feature("D3", "tongue", "x", 60.0),), trials=(), readings=())
    entry = SizeEntry(2, "D3", 23.62 * 25.4, Jaws.OUTSIDE)
    rows = {2: Row(2, "size", "D3", result="23.62", unit="in")}
    (found,) = find_slips(coupon, [entry], rows)
    assert found.what.endswith("Was 2.362 meant?")


def test_a_point_is_not_moved_before_all_digits():
    """0.598 is no explanation of 598 for a feature of 0.6 mm: nobody types a bare point first."""
    coupon = small_coupon(features=(feature("D3", "tongue", "x", 0.6),), trials=(), readings=())
    (found,) = slips(("D3", 598.0), coupon=coupon)
    assert "meant" not in found.what


@pytest.mark.parametrize(("count", "told"), [(2, 2), (3, 1)])
def test_three_readings_in_inches_are_told_at_once(count, told):
    readings = [("D1", 3.14), ("D2", 1.57), ("G1", 0.47)][:count]
    found = slips(*readings)
    assert len(found) == told
    assert ("3 readings in rows 2 to 4" in found[0].what) is (told == 1)


CONDITIONS = as_if_done(small_coupon()).conditions.model_copy(
    update={
        "nozzle_temp_c": 210.0,
        "bed_temp_c": 60.0,
        "speed_mm_s": 60.0,
        "printed_on": "2026-01-31",
        "first_layer_height_mm": 0.2,
        "caliper": Caliper(resolution_mm=0.01, jaw_land_mm=0.3),
        "slicing": Slicing(
            outlines_mm=0.0, holes_mm=0.0, first_layer_mm=0.0, wall_order="inner first",
            flow_percent=100.0,
        ),
    }
)  # fmt: skip


def checked(coupon=None, conditions=CONDITIONS, **typed):
    found = Survey(
        coupon=coupon or small_coupon(), conditions=conditions, typed=Typed(**typed), faults=()
    )
    return check_survey(found)


def read_at(values, name="D1"):
    return tuple(SizeEntry(n, name, v, Jaws.OUTSIDE) for n, v in enumerate(values, start=2))


def rows_of(entries):
    return tuple(
        Row(one.row, "size", one.feature, result=f"{one.value_mm:g}", note=str(one.row), by="Ada")
        for one in entries
    )


def of_steps(resolution_mm, values):
    entries = read_at(values)
    caliper = Caliper(resolution_mm=resolution_mm, jaw_land_mm=0.3)
    conditions = CONDITIONS.model_copy(update={"caliper": caliper})
    found = checked(conditions=conditions, sizes=entries, rows=rows_of(entries))
    return [one.what for one in found if "resolution_mm" in one.todo]


@pytest.mark.parametrize(
    ("resolution_mm", "step_mm", "coarse_mm"),
    [
        (0.01, 0.02, 0.02),
        (0.01, 0.05, 0.05),
        (0.02, 0.1, 0.1),
        (0.1, 0.1, None),
        # Half as large again as the caliper's own is another step: 0.1 is of 0.06, not of 0.08.
        (0.06, 0.3, 0.1),
        (0.08, 0.4, None),
    ],
)
def test_the_step_of_the_readings_is_held_against_the_calipers(resolution_mm, step_mm, coarse_mm):
    found = of_steps(resolution_mm, [round(79.2 + step_mm * n, 4) for n in range(12)])
    said = (
        f"all 12 readings are multiples of {coarse_mm} mm, but resolution_mm is {resolution_mm} mm"
    )
    assert found == ([] if coarse_mm is None else [said])


def test_some_inches_say_nothing_of_a_step_in_millimetres():
    entries = read_at([79.85, 79.855, 79.856, 79.857])
    rows = tuple(replace(row, unit="in") for row in rows_of(entries))
    assert [o for o in checked(sizes=entries, rows=rows) if "resolution_mm" in o.todo] == []
    assert of_steps(0.01, [79.85, 79.855, 79.856, 79.857])[0].startswith(
        "3 of 4 readings are finer"
    )
    assert of_steps(0.01, [79.85, 79.855, 79.856]) == []


@pytest.mark.parametrize(("zero_mm", "said"), [(0.004, 0), (0.005, 1), (-0.005, 1), (-0.004, 0)])
def test_a_zero_is_off_from_half_a_step_on(zero_mm, said):
    entries = (replace(read_at([79.85])[0], zero_mm=zero_mm), read_at([79.85])[0])
    found = checked(zeros=(ZeroEntry(7, zero_mm),), sizes=entries)
    told = [one for one in found if "closed jaws" in one.what]
    assert len(told) == said
    if said:
        assert told[0].where == "entries.csv row 7"
        assert told[0].what == (
            f"the caliper reads {zero_mm:+g} mm with closed jaws: 1 reading is corrected by"
            f" {-zero_mm:+g} mm"
        )


@pytest.mark.parametrize(("entries", "asked"), [(23, False), (24, True)])
def test_what_nobody_said_is_asked_for_from_24_entries_on(entries, asked):
    fits = tuple(fit("A2", "G1", GRADES[n % 5], row=n) for n in range(entries - 4))
    readings = read_at([79.85, 79.86, 79.87, 79.88])
    blank = CONDITIONS.model_copy(update={"slicing": Slicing(), "first_layer_height_mm": None})
    blank = blank.model_copy(update={"caliper": Caliper(jaw_land_mm=0.3)})
    found = checked(conditions=blank, fits=fits, sizes=readings)
    said = [one.what for one in found if one.what.startswith("not filled in")]
    what = (
        "not filled in: first_layer_height_mm, [slicing], caliper.resolution_mm, who tried and"
        " measured (by)"
    )
    assert said == ([what] if asked else [])
    # With nothing read the caliper is not asked about; a name in any row is enough.
    named = (Row(99, "fit", by="Ada"),)
    found = checked(conditions=blank, fits=(*fits, *fits), rows=named)
    assert found[0].what == "not filled in: first_layer_height_mm, [slicing]"


def missing(names):
    rows = [row for row in blank_rows(small_coupon()) if f"{row.feature} {row.mate}" not in names]
    typed = Typed(rows=tuple(rows))
    found = check_survey(Survey(small_coupon(), CONDITIONS, typed, ()))
    gone = missing_rows(small_coupon(), typed)
    return gone, [one.what for one in found if "not in the sheet" in one.what]


def test_of_rows_that_are_gone_six_are_named():
    six = [f"A{n} G{m}" for n in (1, 2, 3) for m in (1, 2)]
    named = ", ".join(pair.replace(" ", " with ") for pair in six)
    gone, (what,) = missing(six)
    assert len(gone) == 6
    assert what == f"6 of the coupon's 12 fit trials are not in the sheet: {named}"
    gone, (what,) = missing([*six, "A4 G1"])
    assert len(gone) == 7
    assert what == f"7 of the coupon's 12 fit trials are not in the sheet: {named}, …"
    gone, (what,) = missing(["A1 G1"])
    assert what == "1 of the coupon's 12 fit trials is not in the sheet: A1 with G1"


@pytest.mark.parametrize(("bores", "said"), [(0, ""), (1, "1 reading"), (2, "2 readings")])
def test_the_flat_of_the_jaws_is_asked_for_where_bores_were_read(bores, said):
    inside = [SizeEntry(n, "B1", 5.7, Jaws.INSIDE, "x") for n in range(2, 2 + bores)]
    others = [SizeEntry(20, "A1", 11.7, Jaws.INSIDE), SizeEntry(21, "H1", 5.9, Jaws.OUTSIDE)]
    conditions = CONDITIONS.model_copy(update={"caliper": Caliper(resolution_mm=0.01)})
    found = checked(conditions=conditions, sizes=(*inside, *others))
    told = [one.what for one in found if "jaw_land_mm" in one.what]
    assert told == ([f"{said} inside holes, but jaw_land_mm (the flat on the inside jaws) is not"
                     " filled in"] if said else [])  # fmt: skip


def test_sizes_between_layers_are_named_six_at_most_and_of_parts_said_otherwise():
    steps = tuple(feature(f"S{n}", "tongue", "z", 1.0 + 0.1 * n) for n in range(1, 16, 2))
    coupon = small_coupon(features=steps, trials=(), readings=())
    (found,) = checked(coupon=coupon)
    assert found.what == (
        "the drawn size of S1, S3, S5, S7, S9, S11 is not a whole number of layers of 0.2 mm; the"
        " coupon was made for 0.2 mm"
    )
    part = CouponPart(instrument="caliper", resolution_mm=0.01, uncertainty_mm=0.01)
    (found,) = checked(coupon=coupon.model_copy(update={"part": part}))
    assert found.what.endswith("; what the slicer rounds counts as an error of the printer")
