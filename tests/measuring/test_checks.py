import pytest
from support.small_coupon import feature, small_coupon
from support.work import lines_run

from coupons.making.record import write_coupon
from coupons.measuring.checks.mistyped import is_plausible, plausible_mm
from coupons.measuring.checks.run_checks import Count, blank_ranges, check_run, count_rows
from coupons.measuring.run.findings import MOST_OF_A_KIND
from coupons.measuring.run.folder import survey_run
from coupons.measuring.run.sheet import COLUMNS, blank_rows

HEADER = "kind,feature,mate,result,unit,jaws,along,by,note\n"
CONDITIONS = """
machine = "bench-1"
material = "grey"
nozzle_mm = 0.4
layer_height_mm = 0.2
nozzle_temp_c = 210
bed_temp_c = 60
speed_mm_s = 60
printed_on = 2026-01-31
[caliper]
jaw_land_mm = 0.3
"""


def folder_with(tmp_path, rows, conditions=CONDITIONS, blank=True):
    """A run with these rows typed and, as in a real sheet, what is left of it blank below them."""
    write_coupon(small_coupon(), tmp_path / "coupon.json")
    (tmp_path / "conditions.toml").write_text(conditions, encoding="utf-8")
    if blank:
        rows = [*rows, *BLANK]
    (tmp_path / "entries.csv").write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    return tmp_path


BLANK = [",".join(getattr(row, column) for column in COLUMNS) for row in blank_rows(small_coupon())]


def looks(tmp_path, *rows, conditions=CONDITIONS):
    return [
        (finding.severity, finding.where.removeprefix("entries.csv "), finding.what)
        for finding in check_run(folder_with(tmp_path, rows, conditions))
    ]


SOUND = [
    "size,D1,,79.85,,,,,",
    "size,A1,,11.71,,,,,",
    "size,A1,,11.74,,,,,again",
    "size,A2,,11.90,,,,,",
    "size,A3,,12.12,,,,,",
    "size,A4,,12.28,,,,,",
    "size,B1,,5.71,,,x,,",
    "size,B1,,5.90,,,y,,",
    "fit,A1,G1,no-go,,,,,",
    "fit,A2,G1,push,,,,,",
    "fit,A3,G1,push..slide,,,,,",
    "fit,A4,G1,slide,,,,,",
    "fit,A1,G2,force,,,,,",
]


def test_a_sound_run_has_no_findings(tmp_path):
    assert looks(tmp_path, *SOUND) == []


@pytest.mark.parametrize(
    ("feature_id", "value", "findings"),
    [("B1", "5.2", 0), ("B1", "5.0", 1), ("B1", "6.4", 0), ("B1", "6.6", 1), ("H1", "5.2", 1)],
)
def test_a_small_hole_may_close_more_than_a_pin_may_shrink(tmp_path, feature_id, value, findings):
    assert len(looks(tmp_path, f"size,{feature_id},,{value},,,x,,")) == findings


@pytest.mark.parametrize(
    ("rows", "where", "what"),
    [
        (
            ["size,D2,,1.571,,,,,"],
            "row 2 (D2)",
            "reads 1.571 mm; the drawn size is 40 mm. As inches it would be 39.90 mm",
        ),
        (
            ["size,D2,,39.9,in,,,,"],
            "row 2 (D2)",
            "reads 1013.46 mm; the drawn size is 40 mm. As mm it would be 39.90 mm",
        ),
        (
            ["size,D2,,1013.46,mm,,,,"],
            "row 2 (D2)",
            "reads 1013.46 mm; the drawn size is 40 mm. Divided by 25.4 it would be 39.90 mm",
        ),
        (
            ["size,H1,,9.58,,,,,"],
            "row 2 (H1)",
            "reads 9.58 mm; the drawn size is 6 mm. Was 5.98 meant?",
        ),
        (
            ["size,H1,,598,,,,,"],
            "row 2 (H1)",
            "reads 598 mm; the drawn size is 6 mm. Was 5.98 meant?",
        ),
        (
            ["size,D1,,39.9,,,,,"],
            "row 2 (D1)",
            "reads 39.9 mm; the drawn size is 80 mm. It would fit D2 (40 mm)",
        ),
        (["size,D1,,71,,,,,"], "row 2 (D1)", "reads 71 mm; the drawn size is 80 mm"),
        (
            ["size,D1,,79.85,,,,,", "size,D1,,79.7,,,,,"],
            "row 2 (D1)",
            "reads 79.85 mm here, but 79.7 mm in row 3, on the same feature",
        ),
        (
            [
                f"size,A{i},,{value},,,,,"
                for i, value in ((1, 11.7), (2, 12.1), (3, 12.1), (4, 12.3))
            ],
            "row 3 (A2)",
            "reads 12.1 mm; the other readings in its row suggest 11.90 mm."
            " It would fit A3 (12.2 mm)",
        ),
        (
            [
                f"size,A{i},,{value},,,,,"
                for i, value in ((1, 11.73), (2, 11.92), (3, 12.13), (4, 12.91))
            ],
            "row 5 (A4)",
            "reads 12.91 mm; the other readings in its row suggest 12.33 mm. Was 12.19 meant?",
        ),
        (
            [
                f"size,A{i},,{value},,,,,"
                for i, value in ((1, 11.73), (2, 11.92), (3, 12.31), (4, 12.33))
            ],
            "row 4 (A3)",
            "reads 12.31 mm; the other readings in its row suggest 12.13 mm."
            " It would fit A4 (12.4 mm)",
        ),
        (
            [
                f"size,{name},,{value},,,,,"
                for name, value in (("D1", 3.14), ("D2", 1.57), ("G1", 0.47))
            ],
            "entries.csv",
            "3 readings in rows 2 to 4 are plausible only as inches. The first reads 3.14 mm;"
            " the drawn size is 80 mm. As inches it would be 79.76 mm",
        ),
        (
            ["fit,A2,G1,slide,,,,,", "fit,A3,G1,no-go,,,,,", "fit,A4,G1,push,,,,,"],
            "row 3 (A3 with G1)",
            "the mate does not fit this gap but fits a narrower one: no-go at +0.20 mm,"
            " slide at +0.00 mm in row 2",
        ),
        (
            ["fit,A2,G1,push,,,,,", "fit,A3,G1,force,,,,,"],
            "row 3 (A3 with G1)",
            "the mate does not fit this gap but fits a narrower one: force at +0.20 mm,"
            " push at +0.00 mm in row 2",
        ),
        (
            [
                f"fit,{pair},{grade},,,,,"
                for pair, grade in (
                    ("A2,G1", "push"),
                    ("A3,G1", "no-go"),
                    ("A2,G2", "push"),
                    ("A3,G2", "force"),
                )
            ],
            "row 3 (A3 with G1)",
            "the mate does not fit this gap but fits a narrower one: no-go at +0.20 mm,"
            " push at +0.00 mm in row 2; the same with G2 in row 5",
        ),
        (
            ["fit,A2,G1,slide,,,,,", "fit,A4,G1,push,,,,,"],
            "row 3 (A4 with G1)",
            "tighter than at a narrower gap: push at +0.40 mm, slide at +0.00 mm in row 2",
        ),
        (
            ["fit,A2,G1,go,,,,,", "fit,A2,G1,no-go,,,,,"],
            "row 2 (A2 with G1)",
            "push..loose here, but no-go for the same pair in row 3",
        ),
        (
            ["fit,B1,G1,go,,,,,"],
            "row 2",
            "expected an external round mate for hole B1, got 'tongue G1'",
        ),
        (
            [f"fit,A{i},G{j},no-go,,,,," for i in (1, 2) for j in (1, 2)],
            "entries.csv",
            "all 4 trials say no-go, so its limits stay unknown",
        ),
        (
            ["size,D1,,79.85,,,,Ada,", "size,D1,,79.85,,,,Ada,pasted", "size,D1,,79.85,,,,Bo,"],
            "row 3 (D1)",
            "same as row 2",
        ),
        (
            ["size,D1,,79.85,,,,,"] * 4,
            "row 3 (D1)",
            "same as row 2, and so are 2 more",
        ),
        (
            ["fit,C2,G1,loose,,,,,"],
            "row 2 (C2 with G1)",
            "the drawn gap of this pair is -8.00 mm, far from every trial that the coupon asks for",
        ),
    ],
)
def test_each_oddity_is_told_and_nothing_else(tmp_path, rows, where, what):
    assert [found[1:] for found in looks(tmp_path, *rows)] == [(where, what)]


@pytest.mark.parametrize(
    ("thin", "thick", "odd"), [("slide", "no-go", []), ("no-go", "slide", ["row 2 (P1 with R1)"])]
)
def test_a_ring_is_expected_to_refuse_the_thicker_pin(tmp_path, thin, thick, odd):
    folder = folder_with(tmp_path, [f"fit,P1,R1,{thin},,,,,", f"fit,P2,R1,{thick},,,,,"])
    pins = [feature("P1", "pin", "z", 5.8), feature("P2", "pin", "z", 6.0)]
    ring = feature("R1", "hole", "z", 6.1, role="gauge")
    write_coupon(
        small_coupon(features=(*pins, ring), trials=(), readings=()), tmp_path / "coupon.json"
    )
    wheres = [finding.where.removeprefix("entries.csv ") for finding in check_run(folder)]
    assert wheres == odd


def test_conditions_left_out_are_worth_a_look(tmp_path):
    bare = CONDITIONS.split("nozzle_temp_c")[0]
    assert looks(tmp_path, "size,B1,,5.7,,,x,,", conditions=bare) == [
        (
            "look",
            "conditions.toml",
            "not filled in: nozzle_temp_c, bed_temp_c, speed_mm_s, printed_on",
        ),
        (
            "look",
            "conditions.toml",
            "1 reading inside holes, but jaw_land_mm (the flat on the inside jaws)"
            " is not filled in",
        ),
    ]


TENTHS = [f"{79.1 + i / 10:.1f}" for i in range(12)]


@pytest.mark.parametrize(
    ("resolution", "values", "what"),
    [
        ("0.01", TENTHS, "all 12 readings are multiples of 0.1 mm"),
        ("0.01", [f"{tenth}5" for tenth in TENTHS], "all 12 readings are multiples of 0.05 mm"),
        ("0.01", TENTHS[1:], ""),
        ("0.01", TENTHS[1:] * 2, ""),
        ("0.1", TENTHS, ""),
        ("0.05", ["79.85", "79.83", "79.82", "79.79"], "3 of 4 readings are finer than 0.05 mm"),
        ("0.05", ["79.85", "79.83", "79.82"], ""),
        ("0.01", [f"79.{70 + i}" for i in range(12)], ""),
    ],
)
def test_readings_are_held_against_the_step_of_the_caliper(tmp_path, resolution, values, what):
    conditions = CONDITIONS + f"resolution_mm = {resolution}\n"
    rows = [f"size,D1,,{value},,,,," for value in values]
    found = [
        text
        for _, where, text in looks(tmp_path, *rows, conditions=conditions)
        if where == "conditions.toml"
    ]
    said = f", but resolution_mm is {float(resolution):g} mm"
    assert found == ([what + said] if what else [])


@pytest.mark.parametrize("value", ["NaN", "inf", "1e400"])
def test_a_size_that_is_no_number_is_one_error_of_its_row(tmp_path, value):
    bad = f"size,D1,,{value},,,,,"
    assert [found[:2] for found in looks(tmp_path, *SOUND, bad)] == [("error", "row 15")]


def test_a_layer_height_that_cannot_give_the_drawn_steps_is_worth_a_look(tmp_path):
    conditions = CONDITIONS.replace("layer_height_mm = 0.2", "layer_height_mm = 0.3")
    assert looks(tmp_path, *SOUND, conditions=conditions) == [
        (
            "look",
            "conditions.toml",
            "the drawn size of C1, C2 is not a whole number of layers of 0.3 mm;"
            " the coupon was made for 0.2 mm",
        )
    ]


def test_rehearsed_entries_are_called_so(tmp_path):
    marked = (
        CONDITIONS.replace("[caliper]", "rehearsed = true\n[caliper]")
        + '[rehearsal]\nvirtual_machine = "attic-1"\nseed = 4\n'
    )
    assert looks(tmp_path, *SOUND, conditions=marked) == [
        (
            "look",
            "conditions.toml",
            "the entries come from the virtual printer attic-1, not from a real one",
        )
    ]


def test_errors_come_first_and_do_not_hide_the_looks(tmp_path):
    found = looks(tmp_path, "size,D2,,1.571,,,,,", "fit,A1,G1,slid,,,,,", conditions="")
    assert [severity for severity, *_ in found] == ["error"] * 5 + ["look"]


def test_rows_are_counted_by_kind(tmp_path):
    rows = [*SOUND, "fit,A1,G1,,,,,,", "size,D2,,,,,,,"]
    folder = folder_with(tmp_path, rows, blank=False)
    assert count_rows(survey_run(folder).typed) == (Count("fit", 5, 1), Count("size", 8, 1))


def test_blank_rows_are_told_as_ranges(tmp_path):
    rows = [f"size,D1,,{value},,,,,{value}" for value in ("", 79.8, "", "", 79.9, "")]
    typed = survey_run(folder_with(tmp_path, rows, blank=False)).typed
    assert blank_ranges(typed) == ((2, 2), (4, 5), (7, 7))
    assert blank_ranges(survey_run(folder_with(tmp_path, rows[1:2], blank=False)).typed) == ()


@pytest.mark.parametrize(
    ("change", "trials", "readings"),
    [
        (lambda rows: rows, 0, 0),
        (lambda rows: [row.lower() for row in rows], 0, 0),
        (lambda rows: [row.replace("inside", "").replace("outside", "") for row in rows], 0, 0),
        (lambda rows: [row.replace(",y,", ",,") for row in rows], 0, 0),
        (lambda rows: [row for row in rows if "size,B1" not in row], 0, 2),
        (lambda rows: [row for row in rows if ",y," not in row], 0, 1),
        (lambda rows: [row for row in rows if ",G1," not in row], 4, 1),
        (lambda rows: rows[:3], 9, 10),
    ],
    ids=["none", "small", "no jaws", "no axis", "B1", "along y", "G1", "nearly all"],
)
def test_rows_that_are_gone_from_the_sheet_are_counted(tmp_path, change, trials, readings):
    rows = [*change(BLANK)]  # a copy: other tests read the same rows
    rows[0] = rows[0].replace("G1,", "G1,slide").replace("g1,", "g1,slide")
    folder = folder_with(tmp_path, rows, blank=False)
    found = survey_run(folder)
    counted = [count.missing for count in count_rows(found.typed, found.coupon)]
    assert counted == [trials, readings, 0][: len(counted)]
    said = [finding.what for finding in check_run(folder) if " not in the sheet: " in finding.what]
    assert len(said) == (trials > 0) + (readings > 0)


def test_a_row_that_is_gone_is_named(tmp_path):
    rows = ["size,D2,,39.9,,,,,", *(row for row in BLANK if ",y," not in row)]
    (found,) = check_run(folder_with(tmp_path, rows, blank=False))
    assert found.what == "1 of the coupon's 10 caliper readings is not in the sheet: B1 along y"


def test_a_caliper_that_is_off_with_closed_jaws_is_reported_and_its_readings_corrected(tmp_path):
    rows = ["zero,,,0.15,,,,,", "size,D1,,81.80,,,,,", "size,A1,,11.95,,,,,"]
    assert looks(tmp_path, *rows) == [
        (
            "look",
            "row 2",
            "the caliper reads +0.15 mm with closed jaws: 2 readings are corrected by -0.15 mm",
        )
    ]
    (uncorrected,) = looks(tmp_path, *rows[1:])
    assert uncorrected[2].startswith("reads 81.8 mm; the drawn size is 80 mm")
    assert looks(tmp_path, "zero,,,0.00,,,,,", "size,A1,,11.95,,,,,") == []


def test_two_readings_that_agree_are_not_called_mistyped(tmp_path):
    usual = ["size,A1,,11.73,,,,,", "size,A3,,12.13,,,,,", "size,A4,,12.33,,,,,"]
    odd = ["size,A2,,12.19,,,,Ada,", "size,A2,,12.21,,,,Bo,"]
    (alone,) = check_run(folder_with(tmp_path, [*usual, odd[0]]))
    assert "It would fit A3" in alone.what
    (both,) = check_run(folder_with(tmp_path, [*usual, *odd]))
    assert both.where == "entries.csv row 5 (A2)"
    assert both.what == (
        "reads 12.19 mm; the other readings in its row suggest 11.93 mm."
        " Row 6 agrees, so the feature itself differs"
    )
    assert both.todo.startswith("This is no typing mistake: look at A2 for strings")


def test_two_implausible_readings_that_agree_are_of_a_feature_that_differs(tmp_path):
    rows = ["size,D1,,76.21,,,,,", "size,D1,,76.19,,,,,", "size,D1,,62.19,,,,,"]
    findings = check_run(folder_with(tmp_path, rows))
    assert [finding.what for finding in findings] == [
        "reads 76.21 mm; the drawn size is 80 mm. Row 3 agrees, so the feature itself differs",
        "reads 62.19 mm; the drawn size is 80 mm",
    ]


def test_many_findings_of_one_kind_are_one_with_its_first_places(tmp_path):
    names = ["D1", "D2", "D3", "G1", "G2", "H1", "E1"]
    rows = [f"size,{name},,{30 + at}.5,,,,," for at, name in enumerate(names)]
    (found,) = check_run(folder_with(tmp_path, rows))
    assert len(names) > MOST_OF_A_KIND
    assert found.where == "entries.csv rows 2 (D1), 3 (D2), 4 (D3) and 4 more"
    assert found.what.startswith("7 findings of the same kind; the first: reads 30.5 mm; the drawn")
    assert [part.where.split()[2] for part in found.each] == [str(row) for row in range(2, 9)]
    few = check_run(folder_with(tmp_path, rows[:MOST_OF_A_KIND]))
    assert [finding.each for finding in few] == [(finding,) for finding in few]


def test_the_limits_of_a_small_hole_are_those_of_is_plausible():
    hole = feature("B1", "hole", "z", 3.0)
    low_mm, high_mm = plausible_mm(hole)
    assert (low_mm, high_mm) == pytest.approx((3 - 0.545 - 0.5, 3 + 0.545))
    assert is_plausible(low_mm, hole)
    assert not is_plausible(low_mm - 1e-6, hole)
    assert is_plausible(high_mm, hole)
    assert not is_plausible(high_mm + 1e-6, hole)


def lines_to_check(tmp_path, count):
    rows = [f"fit,A{1 + i % 4},G{1 + i % 2},slide,,,,,{i}" for i in range(count // 2)]
    rows += [f"size,D1,,{79.8 + i % 9 / 100:.2f},,,,,{i}" for i in range(count // 2)]
    folder = folder_with(tmp_path, rows)
    # All trials say one grade; 4 pairs and 9 sizes repeat; nobody said how it was sliced.
    (unsaid, first, second), lines = lines_run(lambda: check_run(folder))
    assert "all" in first.what
    assert len(second.each) == 13
    assert "slic" in unsaid.what
    return lines


def test_ten_times_the_rows_take_about_ten_times_the_work(tmp_path):
    few, many = (lines_to_check(tmp_path, count) for count in (200, 2_000))
    assert few > 200
    assert many < 15 * few
