from dataclasses import replace

import numpy as np
import pytest
from bench.calibration import profile_of_fit
from support.known_profile import known_profile
from support.prior_printer import draw_printer, observe, print_sizes
from support.rehearsed import rehearsed_run
from support.synthetic import done_coupons

from coupons.answering.chances.bed import crosses_layers
from coupons.answering.chances.next_print import prior_of_next_print, variance_parts
from coupons.answering.next.coupon import USUAL, ask_about, gains
from coupons.answering.offset import clearances
from coupons.answering.print_gains import Narrowed, PrintGains, what_prints_added
from coupons.answering.question import Question
from coupons.answering.wanted_window import window_row
from coupons.learning.design import design_of
from coupons.learning.fit import fit_design, fit_runs
from coupons.learning.profile import Like
from coupons.learning.profile_of_fit import profile_of
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.showing.words.print_gains import (
    another_sentence,
    differ_sentence,
    job_sentences,
    prints_data,
    prints_lines,
)
from coupons.terms import Direction, Form, Grade, Joint

pytestmark = pytest.mark.slow


def runs_in(folder, jobs, **conditions):
    coupon = record(plan_coupon(load_spec("recheck")))
    found = []
    for seed, job in enumerate(jobs, start=1):
        name = folder / f"run-{seed}"
        name.mkdir()
        (name / "entries.csv").write_text(f"{seed}\n", encoding="utf-8")
        run = rehearsed_run(seed, coupon=coupon, folder=name)
        told = run.conditions.model_copy(update=conditions)
        found.append(replace(run, job=job, conditions=told))
    return tuple(found)


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    runs = runs_in(tmp_path_factory.mktemp("prints"), ("", "", ""))
    profile = profile_of(fit_runs(runs), runs)
    return runs, profile, what_prints_added(runs, profile)


def test_each_column_is_what_that_many_prints_tell(three):
    runs, profile, found = three
    assert found.after == (1, 2, 3)
    first = profile_of(fit_runs(runs[:1]), runs[:1])
    for one in found.fits:
        assert one.half_mm[0] == pytest.approx(ask_about(first, one.question).known_to_mm)
        assert one.half_mm[-1] == pytest.approx(ask_about(profile, one.question).known_to_mm)
        gained = -np.diff(one.half_mm)
        assert gained[0] > gained[1], "a second print narrows most"
        if not crosses_layers(one.question.joint.internal, one.question.joint.direction):
            assert one.half_mm[1] < 0.9 * one.half_mm[0]
    assert found.coupon == "recheck"
    assert 0 < found.narrower < 0.3


def test_only_joints_that_were_tried_are_weighed(three):
    _, _, found = three
    tried = {("slot", Direction.X), ("hole", Direction.Z)}  # the rows of recheck
    assert {(f.question.joint.internal, f.question.joint.direction) for f in found.fits} == tried


def test_the_table_fits_a_terminal_and_says_whether_another_helps(three):
    _, profile, found = three
    lines = prints_lines(found, profile, 80)
    assert max(map(len, lines)) <= 80
    assert "another" in lines[0]
    assert "Prints differ in faces by" in differ_sentence(profile)
    assert "would narrow these by" in another_sentence(found)
    tired = replace(found, fits=tuple(replace(f, another_mm=f.half_mm[-1]) for f in found.fits))
    assert "only 0" in another_sentence(tired)
    assert prints_data(found)["after_prints"] == [1, 2, 3]


def test_one_print_has_nothing_to_compare(tmp_path):
    runs = runs_in(tmp_path, ("night", "night"))
    profile = known_profile()
    assert what_prints_added(runs[:1], profile) is None
    assert what_prints_added(runs, profile) is None, "two runs of one job are one print"
    (said,) = job_sentences(runs)
    assert "run-1, run-2 were printed in one job" in said
    assert profile_of(fit_runs(runs), runs).counts.runs == 1


def test_what_other_machines_added_does_not_pass_for_prints(three):
    runs, profile, _ = three
    like = Like(machines=("bench-2", "bench-3"), unlike=0.1)
    assert what_prints_added(runs, profile.model_copy(update={"like": like})) is None


def test_runs_of_one_day_are_asked_whether_they_were_one_job(tmp_path):
    from datetime import date

    runs = runs_in(tmp_path, ("", "", "night"), printed_on=date(2026, 3, 1))
    (said,) = job_sentences(runs)
    assert said.startswith("run-1, run-2 have the print date of another run")
    apart = [
        replace(r, conditions=r.conditions.model_copy(update={"printed_on": None})) for r in runs
    ]
    assert job_sentences(apart) == []


def test_the_prior_of_the_next_print_is_the_machine_and_what_a_print_has_of_its_own():
    profile = known_profile()
    mean, covariance = prior_of_next_print(profile)
    assert mean == pytest.approx(profile.mean_vector)
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    question = Question(joint, Grade.SLIDE)
    row = window_row(clearances(profile, question, np.zeros(1))[0], question)
    of_machine, of_print, weights = variance_parts(profile, row)
    stated = float(weights @ (of_machine + of_print)[:, 0])
    assert float(row[0] @ covariance @ row[0]) == pytest.approx(stated, rel=0.02)


def test_another_print_narrows_as_much_as_foreseen():
    # 16 printers from the prior; the mean of the ratio is known to about 0.015.
    rng, coupon = np.random.default_rng(8), done_coupons("recheck")[0]
    one, two = design_of([coupon]), design_of([coupon, coupon])
    foreseen, found = [], []
    for _ in range(16):
        printer = draw_printer(rng)
        seen = observe(printer, two, print_sizes(printer, two, rng), rng)
        both = profile_of_fit(fit_design(seen))
        first = profile_of_fit(fit_design(_first_run(seen, one)))
        asked = [ask_about(first, each) for each in USUAL[:2]]
        (gain,) = gains(first, asked, {"recheck": coupon.coupon})
        for before, after, question in zip(asked, gain.known_to_mm, USUAL[:2], strict=True):
            foreseen.append(after / before.known_to_mm)
            found.append(ask_about(both, question).known_to_mm / before.known_to_mm)
    assert np.mean(foreseen) == pytest.approx(np.mean(found), rel=0.12)


def _first_run(seen, one):
    """Return the observations of the first of two like prints."""
    readings = replace(one.readings, value=seen.readings.value[: len(one.readings.value)])
    n = len(one.trials.internal)
    trials = replace(one.trials, tightest=seen.trials.tightest[:n], loosest=seen.trials.loosest[:n])
    return replace(one, readings=readings, trials=trials)


@pytest.mark.parametrize(
    ("fits", "share"),
    [
        # From 0.20 to 0.15 mm and from 0.10 to 0.09 mm: by a quarter and a tenth.
        ([((0.30, 0.20), 0.15), ((None, 0.10), 0.09)], 0.175),
        # What is not foreseen, or was not measured to the last, does not count.
        ([((0.30, 0.20), 0.15), ((0.30, 0.20), None), ((None, None), 0.1)], 0.25),
        # Another print never makes anything less certain.
        ([((0.30, 0.20), 0.22)], 0.0),
        ([((0.30, 0.20), None)], None),
        ([], None),
    ],
)
def test_by_how_much_another_print_narrows_is_the_mean_over_the_fits(fits, share):
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    told = tuple(Narrowed(Question(joint, Grade.SLIDE), half, after) for half, after in fits)
    found = PrintGains((1, 2), told, "first").narrower
    assert found == (None if share is None else pytest.approx(share))


def test_an_interval_that_a_further_print_widens_is_explained():
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    why = "An interval that is wider after a print: that print lies further off than the others."

    def told(*half):
        fit = Narrowed(Question(joint, Grade.SLIDE), half, None)
        found = PrintGains(tuple(range(1, len(half) + 1)), (fit,), "")
        lines = prints_lines(found, known_profile(), 80)
        return " ".join(" ".join(lines).split())

    assert why in told(0.132, 0.088, 0.095)
    assert why not in told(0.132, 0.0881, 0.0882), "the same to what is shown"
    assert why not in told(None, 0.132, 0.088)
