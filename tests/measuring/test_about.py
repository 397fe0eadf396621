"""What the entry page was told about a print, read from its entries.csv into the run."""

import datetime

import pytest
from support.small_coupon import small_coupon

from coupons.errors import CouponError
from coupons.making.record import CouponRun, write_coupon
from coupons.measuring.checks.run_checks import check_run
from coupons.measuring.run.conditions import conditions_text
from coupons.measuring.run.folder import load_run

HEADER = "kind,feature,mate,result,unit,jaws,along,by,note\n"
ENTRY = "size,D1,,79.8,mm,outside,,mk,\n"
OWN = CouponRun(id="0123456789abcdef", machine="bench-1", material="grey")
OTHER = "fedcba9876543210"


def folder_with(tmp_path, about, conditions=None, run=OWN):
    coupon = small_coupon().model_copy(update={"run": run})
    write_coupon(coupon, tmp_path / "coupon.json")
    text = conditions_text("bench-1", "grey", 0.4, 0.2) if conditions is None else conditions
    (tmp_path / "conditions.toml").write_text(text, encoding="utf-8")
    rows = "".join(f'about,{key},,,,,,,"{value}"\n' for key, value in about.items())
    (tmp_path / "entries.csv").write_text(HEADER + ENTRY + rows, encoding="utf-8")
    return tmp_path


ANSWERS = {
    "printed_on": "2026-05-03",
    "resolution_mm": "0,02",
    "jaw_land_mm": "0.4",
    "first_layer_height_mm": "0.3",
    "outlines_mm": "-0.05",
    "holes_mm": "0",
    "first_layer_mm": "0.15",
    "wall_order": "outer first",
    "flow_percent": "96",
}


def test_answers_fill_in_what_the_conditions_leave_out(tmp_path):
    found = load_run(folder_with(tmp_path, ANSWERS)).conditions
    assert found.printed_on == datetime.date(2026, 5, 3)
    assert (found.caliper.resolution_mm, found.caliper.jaw_land_mm) == (0.02, 0.4)
    assert found.first_layer_height_mm == 0.3
    assert found.slicing.model_dump() == {
        "outlines_mm": -0.05,
        "holes_mm": 0.0,
        "first_layer_mm": 0.15,
        "wall_order": "outer first",
        "flow_percent": 96.0,
    }


def test_names_left_blank_are_filled_in_and_a_run_needs_no_other_file_to_be_typed_in(tmp_path):
    told = {"machine": "attic-1", "material": "pale"}
    blank = conditions_text("", "", 0.4, 0.2)
    run = folder_with(tmp_path, told, blank, CouponRun(id=OWN.id))
    found = load_run(run).conditions
    assert (found.machine, found.material) == ("attic-1", "pale")


def test_what_the_conditions_say_counts_and_the_check_tells_the_difference(tmp_path):
    said = conditions_text("bench-1", "grey", 0.4, 0.2)
    said = said.replace("# printed_on = 2026-01-31", "printed_on = 2026-01-31")
    said = said.replace("# flow_percent = 100", "flow_percent = 100")
    folder = folder_with(tmp_path, ANSWERS, said)
    assert load_run(folder).conditions.printed_on == datetime.date(2026, 1, 31)
    found = {one.where: one.what for one in check_run(folder)}
    assert found["conditions.toml at printed_on"] == (
        "printed_on is 2026-01-31 here, but 2026-05-03 on the entry page"
    )
    assert found["conditions.toml at slicing.flow_percent"] == (
        "flow_percent is 100.0 here, but 96.0 on the entry page"
    )
    assert "conditions.toml at slicing.holes_mm" not in found


def test_a_coupon_made_for_another_machine_is_remarked(tmp_path):
    folder = folder_with(tmp_path, {}, conditions_text("bench-2", "grey", 0.4, 0.2))
    looks = [one for one in check_run(folder) if one.where == "conditions.toml at machine"]
    assert [one.what for one in looks] == [
        "machine is bench-2 here, but the coupon was made for bench-1"
    ]


@pytest.mark.parametrize(
    ("about", "message"),
    [
        (
            {"run": OTHER, "machine": "bench-2", "material": "grey"},
            "entries.csv row 3: expected entries of this run, got entries of another run"
            " (bench-2, grey). Move this file to the folder of its own run",
        ),
        (
            {"coupon": "another", "run": OTHER},
            "entries.csv row 3: expected entries of this coupon, got entries of another coupon.",
        ),
        (
            {"printed_on": "the third of May"},
            "entries.csv row 3 (about printed_on): expected a date such as 2026-01-31",
        ),
        (
            {"outlines_mm": "9", "wall_order": "both"},
            "entries.csv row 3 (about outlines_mm): expected a number less than or equal to 2",
        ),
        ({"flow": "96"}, "entries.csv row 3 (about flow): expected one of coupon, run, machine"),
    ],
)
def test_answers_that_cannot_be_are_refused_with_their_row(tmp_path, about, message):
    folder = folder_with(tmp_path, about)
    with pytest.raises(CouponError) as refused:
        load_run(folder)
    assert message in str(refused.value)


def test_all_that_is_wrong_is_told_at_once(tmp_path):
    folder = folder_with(tmp_path, {"outlines_mm": "9", "wall_order": "both"})
    assert [one.severity for one in check_run(folder)].count("error") == 2


@pytest.mark.parametrize("date", ["2026-05-03", "3.5.2026", "03.05.2026"])
def test_dates_are_read_as_spreadsheets_write_them(tmp_path, date):
    run = load_run(folder_with(tmp_path, {"printed_on": date}))
    assert run.conditions.printed_on == datetime.date(2026, 5, 3)


def test_a_record_without_a_run_is_read_and_takes_any_print(tmp_path):
    folder = folder_with(tmp_path, {"run": OTHER}, run=None)
    assert '"run"' not in (folder / "coupon.json").read_text()
    assert load_run(folder).coupon.run is None
    assert not [found for found in check_run(folder) if "was made for" in found.what]
