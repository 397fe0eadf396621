"""Runs that were printed in one job are not two prints."""

from dataclasses import replace

import pytest
from support.synthetic import done_coupons

from coupons.errors import RunError
from coupons.measuring.run.folder import each_print_once


@pytest.fixture(scope="module")
def run():
    return done_coupons("recheck")[0]


def of_job(run, job, machine="none"):
    conditions = run.conditions.model_copy(update={"job": job, "machine": machine})
    return replace(run, conditions=conditions, fits=run.fits[: len(run.fits) - len(job or "")])


def test_two_runs_of_one_job_are_refused_in_words(run):
    two = [of_job(run, "a-1"), replace(of_job(run, "a-1"), fits=run.fits[:2])]
    with pytest.raises(RunError, match="a print job of its own") as told:
        each_print_once(two)
    assert "Pieces of one job are wide or narrow together" in str(told.value)
    assert "correct job in conditions.toml" in str(told.value)


def test_runs_of_other_jobs_or_of_none_are_taken(run):
    runs = [of_job(run, "a-1"), of_job(run, "a-12"), of_job(run, None)]
    runs.append(replace(of_job(run, None), fits=run.fits[:1]))
    assert each_print_once(runs) == tuple(runs)


def test_the_same_print_twice_is_told_once(run):
    one = of_job(run, "a-1")
    with pytest.raises(RunError) as told:
        each_print_once([one, one])
    assert len(told.value.problems) == 1
