from support.page_coupon import make_record, write_run

from coupons.measuring.run import sheet
from coupons.measuring.run.conditions import conditions_text
from coupons.measuring.run.folder import load_run
from coupons.showing.families import TrialOutcome, families
from coupons.terms import Direction, Form, Grade, Joint, MovingBody


def run_with(tmp_path, *rows):
    folder = write_run(tmp_path, make_record(rows=4, features=3))
    sheet.write_rows(
        folder / sheet.FILE,
        [sheet.Row(2, "fit", feature, mate, result) for feature, mate, result in rows],
    )
    (folder / "conditions.toml").write_text(conditions_text("bench-1", "pale", 0.4, 0.2))
    return load_run(folder)


def test_trials_are_sorted_by_kind_of_joint_most_trials_first(tmp_path):
    run = run_with(
        tmp_path, ("D1", "DG1", "go"), ("A1", "AG1", "push"), ("A3", "AG2", "slide..loose")
    )
    slots, pins = families([run])
    assert slots.joint == Joint(Form.SLOT, Form.TONGUE, 4.0, Direction.X)
    assert slots.move is MovingBody.INTERNAL
    assert slots.outcomes == (
        TrialOutcome(-0.1, Grade.PUSH, Grade.PUSH),
        TrialOutcome(0.1, Grade.SLIDE, Grade.LOOSE),
    )
    assert slots.gaps_mm == (-0.1, 0.1)
    assert pins.joint == Joint(Form.HOLE, Form.PIN, 5.0, Direction.Z)
    assert pins.move is MovingBody.EXTERNAL
    assert pins.outcomes == (TrialOutcome(-0.1, Grade.PUSH, Grade.LOOSE),)


def test_bought_mates_and_trials_that_tell_nothing_are_left_out(tmp_path):
    run = run_with(tmp_path, ("C1", "dowel", "push"), ("A1", "AG1", "no-go..loose"))
    assert families([run]) == ()
