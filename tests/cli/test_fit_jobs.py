"""Jobs of one set: where their profile is written, and what is advised after the first of them."""

import shutil

import pytest
from click.testing import CliRunner

from coupons.answering.next.coupon import ask_about, gains, shipped_coupons, usual_of
from coupons.cli import main
from coupons.job.fit import fit_to_files
from coupons.job.make import make_jobs
from coupons.learning.profile_file import read_profile

pytestmark = pytest.mark.slow  # three fits with their reports, 15 s


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    at = tmp_path_factory.mktemp("jobs") / "starter"
    made = make_jobs("starter", at, 2, machine="bench-1", material="grey")
    folders = [one.folder for one in made]
    for folder in folders:
        assert CliRunner().invoke(main, ["rehearse", str(folder)]).exit_code == 0
    return folders


def test_the_profile_of_jobs_lies_in_the_folder_that_holds_them(jobs, tmp_path):
    said = CliRunner().invoke(main, ["fit", *map(str, jobs)])
    assert said.exit_code == 0, said.output
    home = jobs[0].parent
    assert f"Wrote {home / 'profile.json'}" in said.output
    assert read_profile(home).machine == "bench-1"
    assert not any((folder / "profile.json").exists() for folder in jobs)
    # A copy elsewhere is not one of the folders that `make --jobs` laid out side by side.
    apart = shutil.copytree(jobs[1], tmp_path / "second")
    done = fit_to_files([jobs[0], apart])
    assert done.files.profile == apart / "profile.json"


def test_after_one_short_job_minutes_count_in_what_is_advised(jobs):
    done = fit_to_files(jobs[:1])
    assert done.files.profile == jobs[0] / "profile.json"
    records, minutes = shipped_coupons(["starter"])
    asked = [ask_about(done.profile, one) for one in usual_of(done.profile)]
    found = gains(done.profile, asked, records)
    worth = {gain.coupon: gain.narrower / minutes[gain.coupon] for gain in found}
    # A long one narrows most, and its time is not worth it. Nobody asked for joints across layers.
    assert found[0].coupon == "first"
    assert worth["first"] < worth["starter"]
    head, text = done.learned.steps[-1]
    assert head == "Next time, print the next job of coupon “starter”"
    assert max(worth, key=worth.get) == "starter"
    assert "for its time" in text
