import pytest
from support.small_coupon import small_coupon

from coupons.errors import ConditionsError, CouponError, EntriesError, RunError
from coupons.making.record import write_coupon
from coupons.measuring.run.folder import load_run, start_run
from coupons.terms import Grade


def started(folder, **names):
    start_run(folder, small_coupon(), **{"machine": "bench-1", "material": "grey"} | names)
    write_coupon(small_coupon(), folder / "coupon.json")
    return folder


def fill(folder, old, new):
    path = folder / "entries.csv"
    text = path.read_bytes().decode()
    assert text.count(old) == 1
    path.write_bytes(text.replace(old, new).encode())


def bytes_of(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_started_run_reads_once_something_is_filled_in(tmp_path):
    folder = started(tmp_path / "run")
    fill(folder, "fit,A1,G2,,", "fit,A1,G2,slide,")
    fill(folder, "size,D1,,,", "size,D1,,79.8,")
    run = load_run(folder)
    assert [(fit.feature, fit.mate, fit.tightest) for fit in run.fits] == [
        ("A1", "G2", Grade.SLIDE)
    ]
    assert [(size.feature, size.value_mm) for size in run.sizes] == [("D1", 79.8)]
    assert run.conditions.machine == "bench-1"
    assert run.coupon == small_coupon()


def test_the_blank_sheet_has_one_row_per_trial_and_reading(tmp_path):
    lines = (started(tmp_path) / "entries.csv").read_bytes().decode("utf-8-sig").split("\r\n")
    coupon = small_coupon()
    assert lines[0] == "kind,feature,mate,result,unit,jaws,along,by,note"
    assert len([line for line in lines if line.startswith("fit,")]) == len(coupon.trials)
    assert len([line for line in lines if line.startswith("size,")]) == len(coupon.readings)
    assert "size,B1,,,mm,inside,y,," in lines


def test_conditions_default_to_what_the_coupon_was_laid_out_for(tmp_path):
    text = (started(tmp_path) / "conditions.toml").read_text(encoding="utf-8")
    assert "nozzle_mm = 0.4\n" in text
    assert "layer_height_mm = 0.2\n" in text


def test_starting_again_with_nothing_typed_changes_nothing(tmp_path):
    before = bytes_of(started(tmp_path))
    start_run(tmp_path, small_coupon(), machine="bench-1", material="grey")
    assert bytes_of(tmp_path) == before


def refused(folder, **changes):
    before = bytes_of(folder)
    call = {"coupon": small_coupon(), "machine": "bench-1", "material": "grey"} | changes
    with pytest.raises(RunError) as caught:
        start_run(folder, **call)
    assert bytes_of(folder) == before
    return caught.value.message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("fit,A1,G2,,", "fit,A1,G2,slide,"),
        ("fit,A1,G2,,,,,,", "fit,A1,G2,,,,,,stringy"),
        ("fit,A1,G2,,,,,,", "fit,A1,G2,,,,,,,,,kept here"),
    ],
)
def test_starting_over_anything_typed_is_refused(tmp_path, old, new):
    fill(started(tmp_path), old, new)
    message = refused(tmp_path)
    assert "expected a blank sheet, got 1 row filled in" in message


def test_starting_over_another_coupon_is_refused(tmp_path):
    started(tmp_path)
    message = refused(tmp_path, coupon=small_coupon(digest="d2"))
    assert "expected no other coupon in the folder, got d1" in message


def test_starting_over_other_conditions_is_refused(tmp_path):
    started(tmp_path)
    assert "conditions.toml: expected no conditions.toml yet" in refused(
        tmp_path, machine="bench-2"
    )


def test_starting_over_files_that_cannot_be_read_is_refused(tmp_path):
    started(tmp_path)
    (tmp_path / "coupon.json").write_text("{", encoding="utf-8")
    (tmp_path / "entries.csv").write_text("", encoding="utf-8")
    message = refused(tmp_path)
    assert "a record that cannot be read" in message
    assert "a sheet that cannot be read" in message


@pytest.mark.parametrize(
    ("named", "message"),
    [
        (
            {"machine": "m" * 81},
            "conditions.toml at machine: expected at most 60 characters, got 81. Shorten it.",
        ),
        (
            {"layer_height_mm": 50.0},
            "conditions.toml at layer_height_mm: expected a number less than or equal to 5,"
            " got 50.0. Correct the value.",
        ),
    ],
)
def test_conditions_that_could_not_be_read_back_are_not_written(tmp_path, named, message):
    with pytest.raises(RunError) as caught:
        start_run(tmp_path, small_coupon(), **named)
    assert caught.value.message == message
    assert list(tmp_path.iterdir()) == []


def test_problems_of_both_files_are_told_at_once(tmp_path):
    fill(started(tmp_path, machine=""), "fit,A1,G2,,", "fit,A1,G2,slid,")
    with pytest.raises(RunError) as caught:
        load_run(tmp_path)
    assert [problem.where for problem in caught.value.problems] == [
        "conditions.toml at machine",
        "entries.csv row 3",
    ]


def test_problems_of_one_file_keep_its_class(tmp_path):
    folder = started(tmp_path, machine="")
    fill(folder, "fit,A1,G2,,", "fit,A1,G2,slide,")
    with pytest.raises(ConditionsError):
        load_run(folder)


def test_a_run_with_nothing_filled_in_is_one_clear_message(tmp_path):
    with pytest.raises(EntriesError) as caught:
        load_run(started(tmp_path))
    assert caught.value.message == (
        "entries.csv: expected at least one result, got 23 blank rows."
        " Print the coupon, try and measure it, and fill in the column result."
    )


def test_a_spoiled_record_does_not_hide_the_other_files(tmp_path):
    folder = started(tmp_path, machine="")
    (folder / "coupon.json").write_text('{"format": "coupon-record"', encoding="utf-8")
    (folder / "entries.csv").unlink()
    with pytest.raises(RunError) as caught:
        load_run(folder)
    places = [problem.where for problem in caught.value.problems]
    assert places == ["coupon.json", "conditions.toml at machine", "entries.csv"]


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(CouponError, match="expected a run folder, got no such folder"):
        load_run(tmp_path / "nowhere")
