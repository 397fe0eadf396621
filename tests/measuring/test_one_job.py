"""Runs that were printed in one job are one print."""

from dataclasses import replace

import pytest
from support.synthetic import done_coupons

from coupons.errors import RunError
from coupons.measuring.run.folder import each_print_once, prints_of


@pytest.fixture(scope="module")
def run():
    return done_coupons("recheck")[0]


def of_job(run, job):
    return replace(run, job=job or "", fits=run.fits[: len(run.fits) - len(job or "")])


def test_runs_of_one_job_are_one_print(run):
    runs = [of_job(run, "a-1"), replace(of_job(run, "a-1"), fits=run.fits[:2])]
    assert each_print_once(runs) == tuple(runs)
    assert prints_of(runs) == (0, 0)


def test_runs_of_other_jobs_or_of_none_are_prints_of_their_own(run):
    runs = [of_job(run, "a-1"), of_job(run, "a-12"), of_job(run, None)]
    runs.append(replace(of_job(run, None), fits=run.fits[:1]))
    assert each_print_once(runs) == tuple(runs)
    assert prints_of(runs) == (0, 1, 2, 3)


def test_the_same_print_twice_is_told_once(run):
    one = of_job(run, "a-1")
    with pytest.raises(RunError) as told:
        each_print_once([one, one])
    assert len(told.value.problems) == 1
