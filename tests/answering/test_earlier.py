"""The guide of a second print starts from the profile of the first."""

import json
import re

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.next.bench import open_bench
from coupons.answering.next.earlier import EARLIER_FILE, guide_after, guide_in
from coupons.answering.next.guide import enough_after, guide_of, known
from coupons.atomic import together
from coupons.errors import PlanError, ProfileError
from coupons.job.hand_on import blank_jobs, hand_on
from coupons.job.make import make_coupon, make_jobs
from coupons.learning.profile_file import write_profile
from coupons.making.record import read_coupon
from coupons.measuring.run.folder import load_run
from coupons.showing.words.first_order import best_order

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def jobs(tmp_path_factory):
    at = tmp_path_factory.mktemp("runs") / "starter"
    return [one.folder for one in make_jobs("recheck", at, 2, machine="bench-1", material="grey")]


@pytest.fixture(scope="module")
def after(tmp_path_factory):
    at = tmp_path_factory.mktemp("after")
    write_profile(known_profile(sd_share=0.3), at / "profile.json")
    return make_coupon("recheck", at / "run", machine="bench-1", after=at / "profile.json")


def test_what_is_known_of_the_machine_is_known_from_the_start(after):
    profile = known_profile(sd_share=0.3)
    guide, fresh = guide_after(after.coupon, profile), guide_of(after.coupon)
    want = guide.wants[0].row
    assert known(guide, guide.start).values_mm[0] == pytest.approx(want @ profile.mean_vector)
    assert all(known(guide, guide.start).halves_mm < known(fresh, fresh.start).halves_mm)
    least = 1.6449 * np.sqrt(guide.prints_mm2)
    assert all(known(guide, guide.start).halves_mm > least), "prints differ all the same"
    assert enough_after(guide, best_order(guide)) < enough_after(fresh, best_order(fresh))
    assert guide_after(after.coupon, None).start.mean.tolist() == fresh.start.mean.tolist()


def test_page_and_terminal_start_from_the_profile(after):
    guide = guide_after(after.coupon, known_profile(sd_share=0.3))
    html = (after.folder / "entry.html").read_text(encoding="utf-8")
    record = json.loads(re.search(r'id="record">(.*?)</script>', html, re.S)[1])["guide"]
    assert np.allclose(record["mean"], guide.start.mean[: len(record["mean"])], rtol=1e-6)
    assert "starts from what earlier prints of this machine taught" in html
    bench = open_bench(after.folder)
    assert np.allclose(bench.guide.start.covariance, guide.start.covariance)
    assert bench.brings() < open_bench_without(after).brings()


def open_bench_without(made):
    bench = open_bench(made.folder)
    bench.guide = guide_of(made.coupon)
    return bench


def test_names_nozzle_and_layers_are_those_of_the_profile_unless_given(tmp_path):
    known = known_profile(nozzle_mm=0.6, layer_height_mm=0.3)
    write_profile(known, tmp_path / "profile.json")
    after = tmp_path / "profile.json"
    folder = make_coupon("recheck", tmp_path / "run", after=after, layer_height_mm=0.15).folder
    made = read_coupon(folder / "coupon.json")
    assert (made.run.machine, made.run.material) == (known.machine, known.material)
    assert (made.assumed.nozzle_mm, made.assumed.layer_height_mm) == (0.6, 0.15)


def test_a_profile_of_another_machine_is_refused(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    with pytest.raises(PlanError, match="bench-1"):
        make_coupon("recheck", tmp_path / "run", machine="attic-1", after=tmp_path / "profile.json")
    with pytest.raises(ProfileError, match="no such file"):
        make_coupon("recheck", tmp_path / "run", after=tmp_path / "nowhere.json")
    assert not (tmp_path / "run").exists()


def begin(folder):
    lines = (folder / "entries.csv").read_text(encoding="utf-8-sig").splitlines()
    cells = lines[1].split(",")
    lines[1] = ",".join([*cells[:3], "slide", *cells[4:]])
    (folder / "entries.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_blank_jobs_of_the_set_start_from_what_the_first_taught(jobs):
    first, second = jobs
    begin(first)
    blank = (second / "entries.csv").read_bytes()
    assert blank_jobs([load_run(first)]) == (second,)
    with together() as files:
        hand_on(known_profile(), [second], files)
    assert (second / EARLIER_FILE).is_file()
    coupon = read_coupon(second / "coupon.json")
    known_to, fresh = (
        np.diag(one.start.covariance) for one in (guide_in(second, coupon), guide_of(coupon))
    )
    assert all(known_to[:3] < 0.1 * fresh[:3])
    assert not (first / EARLIER_FILE).exists()
    # Whoever began the second job, or made it by itself, is left alone.
    begin(second)
    assert blank_jobs([load_run(first)]) == ()
    (second / "entries.csv").write_bytes(blank)
    assert blank_jobs([load_run(first)]) == (second,)
    told = (second / "conditions.toml").read_text(encoding="utf-8")
    (second / "conditions.toml").write_text(re.sub("(?m)^job = .*$", "", told), encoding="utf-8")
    assert blank_jobs([load_run(first)]) == ()
