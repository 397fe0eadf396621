import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.compare.before_after import CauseOutcome, before_after, conditions_between
from coupons.answering.words.before_after import before_after_lines
from coupons.cli import main
from coupons.learning.profile import LogSpread
from coupons.learning.profile_file import read_profile, write_profile
from coupons.measuring.run.conditions import Slicing

CLEAN = {"growth_ext": 0.0, "growth_int": 0.0, "skew": 0.0}


def outcome(before, after, name, **shares):
    found = before_after(
        known_profile({name: before}, {name: shares.get("before_share", 0.1)}),
        known_profile({name: after}, {name: shares.get("after_share", 0.1)}),
    )
    (one,) = [each for each in found.causes if each.name == name]
    return one


@pytest.mark.parametrize(
    ("before", "after", "share", "became"),
    [
        # growth_ext is known to 0.008 mm a face each: a difference counts from 0.022 on.
        (0.10, 0.00, 0.1, CauseOutcome.CURED),
        (0.10, 0.05, 0.1, CauseOutcome.BETTER),
        (0.10, -0.05, 0.1, CauseOutcome.BETTER),
        (0.10, 0.09, 0.1, CauseOutcome.UNCHANGED),
        (0.05, 0.10, 0.1, CauseOutcome.WORSE),
        (0.05, -0.10, 0.1, CauseOutcome.WORSE),
        (0.00, 0.10, 0.1, CauseOutcome.WORSE),
        # Known to 0.032 mm afterwards: nobody can say that so much was cured.
        (0.04, 0.00, 0.4, CauseOutcome.UNCHANGED),
    ],
)
def test_what_became_of_a_cause(before, after, share, became):
    assert outcome(before, after, "growth_ext", after_share=share).outcome is became


def test_a_change_is_told_in_its_standard_deviations():
    one = outcome(0.10, 0.05, "growth_ext")
    assert one.sds == pytest.approx(-0.05 / (0.008 * 2**0.5))
    assert one.detectable == pytest.approx(2.8 * 0.008 * 2**0.5)
    assert (one.before_sd, one.unit) == (pytest.approx(0.008), "mm a face")


def test_a_scatter_is_never_cured():
    def with_tau(median, log_sd=0.2):
        profile = known_profile()
        spread = LogSpread(median_mm=median, log_sd=log_sd)
        return known_profile().model_copy(update={"scatters": profile.scatters | {"tau": spread}})

    def became(*medians, log_sd=0.2):
        pair = [with_tau(median, log_sd) for median in medians]
        return {one.name: one.outcome for one in before_after(*pair).causes}["tau"]

    assert became(0.06, 0.02) is CauseOutcome.BETTER
    assert became(0.02, 0.06) is CauseOutcome.WORSE
    assert became(0.03, 0.02) is CauseOutcome.UNCHANGED
    # Hardly narrower than the prior: not measured.
    assert "tau" in before_after(with_tau(0.03), with_tau(0.03, 0.59)).only_before


def test_what_one_alone_measured_is_named():
    found = before_after(known_profile(), known_profile(sd_share={"scale_z": 1.0}))
    assert (found.only_before, found.only_after) == (("scale_z",), ())
    said = " ".join(before_after_lines(found))
    assert "Measured before only: scale along z." in said


def test_conditions_that_changed_are_named_where_both_are_filled_in():
    before = known_profile(slicing=Slicing(flow_percent=100.0, outlines_mm=0.0))
    after = known_profile(nozzle_mm=0.6, slicing=Slicing(flow_percent=96.0))
    told = [(one.name, one.before, one.after) for one in conditions_between(before, after)]
    assert told == [("nozzle", "0.4 mm", "0.6 mm"), ("flow", "100 %", "96 %")]
    assert conditions_between(before, known_profile()) == ()


def said(tmp_path, before, after, *options):
    for name, profile in (("before", before), ("after", after)):
        write_profile(profile, tmp_path / f"{name}.json")
    paths = [str(tmp_path / "before.json"), str(tmp_path / "after.json")]
    return CliRunner().invoke(main, ["compare", *paths, *options])


def test_the_command_tells_what_became_of_each_cause(tmp_path):
    before = known_profile({"growth_ext": 0.1, "skew": 0.006})
    after = known_profile({"growth_ext": 0.0, "skew": 0.006, "scale_x": 0.004})
    page = tmp_path / "page.html"
    result = said(tmp_path, before, after, "-o", str(page))
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    (cured,) = [line for line in lines if line.endswith(" cured")]
    assert cured.split("   ")[0] == "outer faces, mm a face"
    assert "+0.100 ± 0.008" in cured
    assert "→ +0.000 ± 0.008" in cured
    (worse,) = [line for line in lines if line.endswith(" worse")]
    assert worse.startswith("scale along x, %")
    assert max(map(len, lines[:-1])) <= 80
    html = page.read_text(encoding="utf-8")
    assert '<tr class="cured">' in html
    assert '<tr class="unchanged"><th scope="row">squareness, %' in html
    data = json.loads(said(tmp_path, before, after, "--json").output)
    became = {one["name"]: one["outcome"] for one in data["causes"]}
    assert (became["growth_ext"], became["skew"]) == ("cured", "unchanged")


@pytest.mark.slow
def test_a_page_replaces_a_comparison_and_nothing_else(tmp_path):
    profile = known_profile()
    for _ in range(2):
        assert said(tmp_path, profile, profile, "-o", str(tmp_path / "c.html")).exit_code == 0
    (tmp_path / "mine.html").write_text("typed")
    result = said(tmp_path, profile, profile, "-o", str(tmp_path / "mine.html"))
    assert result.exit_code == 1
    assert "mine.html: expected a comparison to replace" in result.stderr
    assert (tmp_path / "mine.html").read_text() == "typed"


def test_what_changed_comes_first_the_largest_in_its_standard_deviations():
    # Terms are known to 0.1 of the prior's sd: 0.008 mm for growths, 0.0005 for scales, 0.003 mm
    # for lost motion, times √2 for both. The changes are 8.8, 5.7, 4.4 and 0.9 sds; others are 0.
    means = ({"growth_int": 0.06, "scale_x": -0.003, "growth_ext": 0.10, "lost_motion": 0.0},)
    means += ({"growth_int": 0.16, "scale_x": 0.001, "growth_ext": 0.05, "lost_motion": 0.004},)
    found = before_after(*(known_profile(each) for each in means))
    names = [one.name for one in found.causes]
    assert names[:4] == ["growth_int", "scale_x", "growth_ext", "lost_motion"]
    assert [one.name for one in found.changed] == names[:3]
    sds = [round(one.sds, 2) for one in found.causes[:4]]
    assert sds == [8.84, 5.66, -4.42, 0.94]


def test_of_changes_as_large_the_better_one_comes_first():
    means = ({"growth_int": 0.10, "growth_ext": 0.0}, {"growth_int": 0.0, "growth_ext": 0.10})
    first, second = before_after(*(known_profile(each) for each in means)).changed
    assert (first.name, first.outcome) == ("growth_int", CauseOutcome.CURED)
    assert (second.name, second.outcome) == ("growth_ext", CauseOutcome.WORSE)


def test_what_only_the_second_measured_is_named_too():
    shares = {"scale_z": 1.0, "growth_ext": 0.72, "growth_int": 0.70}
    found = before_after(known_profile(sd_share=shares), known_profile())
    # Of 0.72 of the prior's sd 0.52 of its variance is left, of 0.70 0.49.
    assert (found.only_before, found.only_after) == ((), ("growth_ext", "scale_z"))


def with_scatters(**spreads):
    profile = known_profile()
    told = {name: LogSpread(median_mm=mm, log_sd=sd) for name, (mm, sd) in spreads.items()}
    return profile.model_copy(update={"scatters": profile.scatters | told})


def test_a_scatter_is_compared_by_its_logarithm():
    # To a third, both known to 0.15 and 0.2 of the logarithm: ln(1/3) in units of 0.25.
    pair = (with_scatters(tau=(0.06, 0.15)), with_scatters(tau=(0.02, 0.20)))
    (one,) = [each for each in before_after(*pair).causes if each.name == "tau"]
    assert (one.before, one.after, one.unit) == (0.06, 0.02, "mm")
    assert (one.before_sd, one.after_sd) == (pytest.approx(0.009), pytest.approx(0.004))
    assert one.sds == pytest.approx(-4.394, abs=1e-3)
    # 2.8 times 0.25 is 0.7; e to that is 2.0138.
    assert one.detectable == pytest.approx(0.06 * 1.01375, abs=1e-5)


def test_scales_between_prints_are_ratios():
    units = {one.name: one.unit for one in before_after(*(known_profile(),) * 2).causes}
    assert (units["rho_scale"], units["rho_scale_z"], units["skew"]) == ("ratio",) * 3
    assert (units["rho"], units["tau_z"], units["bed_height"]) == ("mm",) * 3
    assert units["growth_ext"] == "mm a face"


def test_scatters_that_are_given_exactly_are_unchanged():
    pair = (with_scatters(tau=(0.06, 0.0)), with_scatters(tau=(0.02, 0.0)))
    (one,) = [each for each in before_after(*pair).causes if each.name == "tau"]
    assert (one.sds, one.outcome) == (0.0, CauseOutcome.UNCHANGED)


def test_what_an_older_model_does_not_have_is_not_compared():
    old = read_profile(Path(__file__).parents[1] / "kept_profiles" / "version-1.json")
    found = before_after(old, old)
    names = {one.name for one in found.causes} | {*found.only_before, *found.only_after}
    assert "growth_ext" in names
    assert not names & {"lost_motion", "curl_ext", "bed_height", "seam_loss"}
    later = before_after(old, known_profile())
    assert {"lost_motion", "bed_height"} <= set(later.only_after)


def test_another_material_is_a_condition_too():
    white = known_profile(material="white", slicing=Slicing(wall_order="outer first"))
    grey = known_profile(slicing=Slicing(wall_order="inner first"))
    told = [(one.name, one.before, one.after) for one in conditions_between(grey, white)]
    assert told == [
        ("material", "grey", "white"),
        ("wall order", "inner first", "outer first"),
    ]
