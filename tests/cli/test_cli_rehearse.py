import re

from click.testing import CliRunner
from support.small_coupon import small_coupon

from coupons.cli import main
from coupons.making.record import write_coupon
from coupons.measuring.run.folder import start_run


def rehearse(*arguments):
    return CliRunner().invoke(main, ["rehearse", *map(str, arguments)])


def started(folder):
    start_run(folder, small_coupon())
    write_coupon(small_coupon(), folder / "coupon.json")
    return folder


def test_it_says_what_it_did_and_that_it_is_not_real(tmp_path):
    result = rehearse(started(tmp_path), "--machine", "attic-1", "--seed", "5")
    assert result.exit_code == 0
    assert result.stdout == (
        "12 fit trials and 10 caliper readings filled in from the virtual machine\n"
        "attic-1, seed 5.\n"
        "This run is rehearsed, not measured; its conditions say so.\n"
        f"Next: coupons check {tmp_path}, then coupons fit {tmp_path}\n"
    )


def test_a_run_named_after_a_shipped_machine_is_tried_on_that_one(tmp_path):
    conditions = started(tmp_path) / "conditions.toml"
    text = conditions.read_text(encoding="utf-8")
    named = re.sub(r"^machine = .*$", 'machine = "attic-1"', text, flags=re.MULTILINE)
    conditions.write_text(named, encoding="utf-8")
    assert "attic-1, seed 1" in rehearse(tmp_path).stdout


def test_a_second_time_is_refused_in_one_line(tmp_path):
    rehearse(started(tmp_path))
    result = rehearse(tmp_path)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "expected a blank sheet, got 22 rows filled in" in result.stderr


def test_a_negative_seed_is_wrong_usage(tmp_path):
    assert rehearse(tmp_path, "--seed", "-1").exit_code == 2


def test_jobs_made_together_are_rehearsed_with_seeds_of_their_own(tmp_path):
    conditions = started(tmp_path) / "conditions.toml"
    text = conditions.read_text(encoding="utf-8")
    assert "job = " in text
    named = re.sub(r"^(# )?job = [^#\n]*", 'job = "f4ccd3-3" ', text, flags=re.MULTILINE)
    conditions.write_text(named, encoding="utf-8")
    assert "seed 3" in rehearse(tmp_path).stdout
