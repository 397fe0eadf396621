"""One spec as several print jobs: rows that take turns, and one run folder a job."""

import pytest

from coupons.errors import PlanError, SpecError
from coupons.making.estimate import estimate
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec
from coupons.measuring.run.conditions import read_conditions
from coupons.terms import Form

HOLE = """
[[row]]
kind = "sizes"
form = "hole"
direction = "z"
sizes_mm = [8]
"""


def spec_of(*jobs):
    rows = [HOLE + (f"jobs = {list(each)}\n" if each else "") for each in jobs]
    return parse_spec(('title = "Turns"\n' + "".join(rows)).encode(), "turns", "turns.toml")


def test_rows_take_turns_and_keep_their_letters():
    spec = spec_of((), (1,), (2, 3))
    letters = [spec.of_job(job).row_ids() for job in (1, 2, 3, 4)]
    assert letters == [("A", "B"), ("A", "C"), ("A", "C"), ("A", "B")]
    digests = [spec.of_job(job).digest for job in (1, 2, 3, 4)]
    assert digests[0] == digests[3]
    assert len(set(digests)) == 3


def test_a_spec_without_turns_is_the_same_for_every_job():
    spec = spec_of((), ())
    assert spec.of_job(2) is spec


@pytest.mark.parametrize(
    ("jobs", "says"),
    [
        (((1,), (3,)), "rows for every job up to 3, got none for 2"),
        (((2, 1),), "rising"),
        (((0,),), "1"),
        (((10,),), "9"),
    ],
)
def test_odd_turns_are_refused(jobs, says):
    with pytest.raises(SpecError, match=says):
        spec_of(*jobs)


@pytest.fixture(scope="module")
def starters():
    spec = load_spec("starter")
    return [plan_coupon(spec, job=job) for job in (1, 2, 3)]


def test_each_starter_is_short_and_has_its_rows(starters):
    for plan in starters:
        cost = estimate(plan, 120)
        assert cost.minutes <= 23
        assert cost.plastic_cm3 <= 10
        tried = {
            (feature.form, feature.direction)
            for feature in record(plan).features
            if feature.role == "fit"
        }
        assert (Form.SLOT, "y") in tried
        assert (Form.HOLE, "z") in tried
        assert {(Form.SLOT, "x"), (Form.TONGUE, "x")} & tried


def test_bore_rule_and_long_contact_take_turns(starters):
    records = [record(plan) for plan in starters]
    bores = [
        [f.size_mm for f in one.features if f.form is Form.HOLE and f.size_mm > 10]
        for one in records
    ]
    assert bores == [[18], [], []]
    assert [len(one.bars) for one in records] == [0, 1, 0]
    tall = [max(body.extent_mm[2] for body in one.bodies) for one in records]
    assert [high >= 20 for high in tall] == [False, False, True]


@pytest.mark.slow
def test_three_jobs_are_three_folders_each_with_a_job_of_its_own(tmp_path):
    from coupons.job.make import make_jobs

    made = make_jobs("starter", tmp_path, 3, machine="bench-1", material="grey")
    assert [one.folder.name for one in made] == ["job-1", "job-2", "job-3"]
    jobs = [read_conditions(one.folder / "conditions.toml").job for one in made]
    assert [job.rsplit("-")[-1] for job in jobs] == ["1", "2", "3"]
    assert len({job[:-1] for job in jobs}) == 1
    assert len({one.coupon.spec.digest for one in made}) == 3


def test_where_one_folder_is_in_the_way_none_is_written(tmp_path):
    from coupons.errors import WriteError
    from coupons.job.make import make_jobs

    (tmp_path / "job-2").mkdir()
    (tmp_path / "job-2" / "entry.html").write_text("mine")
    with pytest.raises(WriteError):
        make_jobs("recheck", tmp_path, 2)
    assert [path.name for path in tmp_path.iterdir()] == ["job-2"]


@pytest.mark.parametrize("jobs", [0, 10])
def test_a_number_of_jobs_that_makes_no_sense_is_refused(tmp_path, jobs):
    from coupons.job.make import make_jobs

    with pytest.raises(PlanError, match="a number from 1 to 9"):
        make_jobs("recheck", tmp_path, jobs)


@pytest.mark.parametrize(("nozzle_mm", "layer_mm"), [(0.25, 0.188), (0.6, 0.45), (0.8, 0.4)])
def test_every_starter_is_made_for_every_nozzle(nozzle_mm, layer_mm):
    spec = load_spec("starter")
    for job in (1, 2, 3):
        plan = plan_coupon(spec, (120, 120), layer_mm, nozzle_mm, job=job)
        assert len(record(plan).trials) >= 15
