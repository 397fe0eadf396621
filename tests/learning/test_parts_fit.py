from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coupons import fit
from coupons.job.check import bought_mate
from coupons.learning.design import design_of
from coupons.learning.effects import CONTACT_REFERENCE_MM, EFFECTS, LOSSES, effect_row
from coupons.learning.fit import fit_design
from coupons.learning.posterior.latent import N_TERMS, latent_model
from coupons.learning.prior_table import EXTRUSION
from coupons.measuring.run.folder import load_run, prints_of
from coupons.measuring.run.tried_joints import with_parts
from coupons.showing.families import families
from coupons.terms import Direction, Feature, Form

HEAD = (
    "name,job,internal,internal_drawn_mm,external,external_drawn_mm,across,hardware,bed,"
    "contact_mm,result\n"
)
CONDITIONS = 'machine = "bench-1"\nmaterial = "grey"\nnozzle_mm = 0.4\nlayer_height_mm = 0.2\n'
DEMO = Path("results/filter-drawer")
ROWS = (
    "drawer,m,slot,12,tongue,11.9,x,,,,push\ndrawer,m,slot,12,tongue,11.7,x,,,,slide\n"
    "lid,m,hole,5.4,pin,5,z,,,12,push\nhinge,m,hole,8.3,,,z,pin 8 m6,,12,go\n"
    "shelf,m,slot,10,tongue,9.8,z,,internal,,force\naxle,m,hole,6.3,pin,6,x,,both,,slide\n"
)


def parts(tmp_path, rows=ROWS, runs=()):
    (tmp_path / "parts.csv").write_text(HEAD + rows, encoding="utf-8")
    (tmp_path / "conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    return with_parts(runs, tmp_path / "parts.csv", bought_mate)


def test_bodies_enter_the_design_as_they_were_printed_and_tried(tmp_path):
    design = design_of(parts(tmp_path))
    row = {key: design.sizes.effects[n] for n, (_, key) in enumerate(design.sizes.keys)}
    for key, feature in {
        "drawer tongue 11.7": Feature(Form.TONGUE, 11.7, Direction.X),
        "lid hole 5.4": Feature(Form.HOLE, 5.4, Direction.Z),
        "shelf slot 10": Feature(Form.SLOT, 10.0, Direction.Z, on_bed=True),
        "shelf tongue 9.8": Feature(Form.TONGUE, 9.8, Direction.Z, on_bed=False),
        "axle pin 6": Feature(Form.PIN, 6.0, Direction.X, on_bed=True),
    }.items():
        assert row[key] == pytest.approx(effect_row(feature))
    assert not row["pin 8 m6"].any()
    losses = dict(zip((int(n) for n in design.trials.row), design.trials.losses, strict=True))
    at = {name: n for n, name in enumerate(LOSSES)}
    longer = np.log(12 / CONTACT_REFERENCE_MM)
    assert losses[4][at["seam_loss"]] == 1, "a part's pin has its seam somewhere"
    assert losses[5][at["seam_loss"]] == 0, "a bought one has none"
    assert losses[4][at["contact_loss"]] == losses[5][at["contact_loss"]] == pytest.approx(longer)
    assert losses[2][at["contact_loss"]] == 0
    assert len(EFFECTS) == design.sizes.effects.shape[1]


@pytest.mark.slow
def test_one_job_in_two_runs_is_one_print(tmp_path):
    (whole,) = parts(tmp_path)
    halves = tuple(
        replace(whole, fits=tuple(one for one in whole.fits if (one.row < 5) is first))
        for first in (True, False)
    )
    apart = tuple(replace(half, job="") for half in halves)
    assert [prints_of(runs) for runs in ((whole,), halves, apart)] == [(0,), (0, 0), (0, 1)]
    together, split, separate = (fit_design(design_of(r)) for r in ((whole,), halves, apart))
    assert split.mean == pytest.approx(together.mean, abs=1e-6)
    assert split.covariance == pytest.approx(together.covariance, abs=1e-9)
    assert not np.allclose(separate.covariance, together.covariance, atol=1e-7)


def test_a_print_effect_acts_on_a_run_and_on_the_parts_of_its_job(tmp_path):
    run = load_run(DEMO)
    runs = parts(tmp_path, "drawer,filter-drawer,slot,12,tongue,11.7,x,,,,slide\n", (run,))
    model = latent_model(design_of(runs), EXTRUSION)
    prints = model.clearance_shared[:, N_TERMS : N_TERMS + 2 * len(EXTRUSION.prints)]
    of_first, of_second = prints[:, 0::2], prints[:, 1::2]
    assert of_first[-1].any(), "the trial of the part moves with the print of the run"
    assert not of_second.any()
    assert set(model.design.sizes.run.tolist()) == {0, 1}


def test_a_page_shows_some_joints_of_parts_and_none_beside_a_coupon(tmp_path):
    rows = "".join(f"d{n},m,slot,{10 + n},tongue,{9.8 + n:.1f},x,,,,push\n" for n in range(9))
    alone = parts(tmp_path, rows)
    assert len(families(alone)) == 6
    coupon = load_run(DEMO)
    assert families((coupon, *alone)) == families((coupon,))


@pytest.mark.slow
def test_parts_narrow_what_a_coupon_left_open(tmp_path):
    rows = "".join(
        f"drawer {n},night,slot,{20 + n},tongue,{19.72 + n:.2f},x,,,,slide\n" for n in range(6)
    )
    path = tmp_path / "parts.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    before, after = fit(DEMO), fit(DEMO, parts=path)
    assert after.profile.counts.trials == before.profile.counts.trials + 6
    assert after.profile.counts.runs == 2
    asked = {"joint": "slot/tongue", "size_mm": 20.0, "across": "x"}
    widths = [one.high_mm - one.low_mm for one in (p.offset(**asked) for p in (before, after))]
    assert widths[1] < 0.98 * widths[0]
    slots = [m for m in after.profile.measured if (m.form, m.direction) == ("slot", "x")]
    assert slots[0].tried_mm == (3.88, 25.0)
