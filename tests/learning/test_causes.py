"""What is wrong with a printer whose faults are known."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from support.prior_printer import PriorPrinter, observe, print_sizes
from support.synthetic import coupon_design, small_scatters

from coupons.learning.causes import Place, find_causes
from coupons.learning.effects import EFFECTS, effect_row, prior_mean
from coupons.learning.fit import fit_design
from coupons.learning.prior_table import EXTRUSION, EXTRUSION_2
from coupons.terms import Direction, Feature, Form

SCATTERS = small_scatters(tau=0.02, tau_z=0.05, sigma=0.012, omega=0.03)

SURE = replace(EXTRUSION, lapse=0.0)


@lru_cache
def causes_of(rows="ABCD", n_runs=1, scatters=SCATTERS, **faults):
    """Causes found on a printer that has these faults and no other."""
    terms = np.concatenate([np.zeros(len(EFFECTS)), prior_mean()[len(EFFECTS) :]])
    terms[[EFFECTS.index(name) for name in faults]] = list(faults.values())
    printer = PriorPrinter(terms, scatters, SURE)
    rng = np.random.default_rng(5)
    design = coupon_design(n_runs, rows)
    return find_causes(fit_design(observe(printer, design, print_sizes(printer, design, rng), rng)))


def named(causes, name):
    return next(cause for cause in causes.found if cause.name == name)


def test_the_largest_fault_comes_first_and_says_its_cure():
    first = causes_of(scale_y=-0.008, growth_int=0.02).found[0]
    assert first.name == "scale_y"
    assert first.certain
    assert first.place is Place.SET_UP
    assert first.says == "sizes along y are too short"
    assert first.value == pytest.approx(-0.008, abs=4 * first.sd)
    assert f"by {1 / (1 + first.value):.4f}" in first.todo
    assert "shrinkage along y to 0." in first.todo


@pytest.mark.slow
@pytest.mark.parametrize(
    ("faults", "name", "says", "place"),
    [
        ({"scale_x": 0.006}, "scale_x", "sizes along x are too long", Place.SET_UP),
        ({"growth_ext": -0.1}, "growth_ext", "outer sizes are too small", Place.SET_UP),
        ({"growth_int": 0.15}, "growth_int", "openings are too small", Place.SET_UP),
        ({"curl_int": 0.15}, "curl_int", "small holes close up", Place.MODEL),
        ({"round_ext": 0.08}, "round_ext", "pins are larger than tongues", Place.MODEL),
    ],
)
def test_each_fault_is_named_in_words(faults, name, says, place):
    causes = causes_of(**faults)
    cause = named(causes, name)
    assert (cause.says, cause.place, cause.certain) == (says, place, True)
    assert causes.found[0] == cause


@pytest.mark.slow
def test_the_closing_of_small_holes_is_told_at_five_millimetres_over_both_faces():
    cause = named(causes_of(curl_int=0.10), "curl_int")
    assert cause.unit == "mm at 5 mm"
    assert cause.value == pytest.approx(0.20, abs=3 * cause.sd)
    assert cause.sd < 0.06


def test_what_a_fault_does_is_counted_over_the_printed_sizes():
    causes = causes_of(scale_y=-0.008)
    cause = named(causes, "scale_y")
    design = coupon_design(1, "ABCD")
    along_y = design.sizes.effects[:, EFFECTS.index("scale_y")]
    by_hand = abs(cause.value) * math.sqrt(np.mean(along_y**2))
    assert cause.effect_mm == pytest.approx(by_hand, rel=1e-9)
    assert cause.effect_sd_mm / cause.effect_mm == pytest.approx(cause.sd / abs(cause.value))


def test_shares_are_of_the_whole_budget_in_order_of_size():
    causes = causes_of(scale_x=-0.004, curl_int=0.1)
    shares = [cause.share for cause in causes.found]
    assert sum(shares) == pytest.approx(1)
    assert shares == sorted(shares, reverse=True)
    assert causes.total_mm**2 * shares[0] == pytest.approx(causes.found[0].effect_mm ** 2)


def test_a_printer_without_fault_is_not_accused():
    causes = causes_of()
    wrong = [c.name for c in causes.found if c.certain and c.place is not Place.NEITHER]
    assert len(wrong) <= 1  # nine terms at 90 %


def test_what_was_not_measured_is_said_and_not_ranked():
    causes = causes_of()
    assert {"squareness", "scale along z", "first layer", "how far prints differ"} <= set(
        causes.not_measured
    )
    assert not {"skew", "scale_z", "first_layer", "rho"} & {c.name for c in causes.found}


def read_alone(keep, **faults):
    """Causes found where only readings of some sizes were taken."""
    terms = np.concatenate([np.zeros(len(EFFECTS)), prior_mean()[len(EFFECTS) :]])
    terms[[EFFECTS.index(name) for name in faults]] = list(faults.values())
    printer, rng = PriorPrinter(terms, SCATTERS, SURE), np.random.default_rng(5)
    whole = coupon_design(1, "ABCD")
    design = observe(printer, whole, print_sizes(printer, whole, rng), rng)
    kept = np.flatnonzero([keep(n) for n in design.readings.size])
    readings = {name: column[kept] for name, column in vars(design.readings).items()}
    trials = {name: column[:0] for name, column in vars(design.trials).items()}
    design = replace(
        design,
        readings=replace(design.readings, **readings),
        trials=replace(design.trials, **trials),
    )
    return find_causes(fit_design(design))


SIZES = coupon_design(1, "ABCD").sizes


@pytest.mark.parametrize(("longest_mm", "proven"), [(45.0, False), (85.0, True)])
def test_steps_are_set_by_long_spans_only(longest_mm, proven):
    causes = read_alone(lambda n: SIZES.drawn[n] < longest_mm, scale_x=-0.02)
    cause = named(causes, "scale_x")
    assert cause.proven is proven
    assert ("Multiply the steps" in cause.todo) is proven
    assert ("over at most 40.0 mm" in cause.todo and "“spans”" in cause.todo) is not proven


def test_a_scatter_of_which_one_reading_says_nothing_is_not_a_cause():
    causes = read_alone(lambda n: n == 0)
    assert "tau" not in [cause.name for cause in causes.found]
    assert "scatter in the layer plane" in causes.not_measured


def test_what_is_known_in_a_sum_alone_is_said_to_be_so():
    holes = SIZES.effects[:, EFFECTS.index("round_int")] < 0
    causes = read_alone(lambda n: holes[n])
    told = [what for what in causes.not_measured if what.startswith(("holes", "openings ("))]
    assert told == [
        "openings (cannot be separated from holes)",
        "holes (cannot be separated from openings)",
    ]
    assert "outer faces" in causes.not_measured  # of which nothing was read at all


@pytest.mark.slow
def test_prints_that_differ_show_once_several_are_fitted():
    loose = small_scatters(tau=0.01, tau_z=0.05, sigma=0.012, omega=0.03, rho=0.08)
    causes = causes_of(n_runs=4, scatters=loose)
    assert "how far prints differ" not in causes.not_measured
    cause = named(causes, "rho")
    assert cause.place is Place.NEITHER
    assert 0.03 < cause.value < 0.15


def test_the_angle_is_told_in_degrees_and_in_mm():
    from coupons.learning.causes import _KINDS, _words

    assert _KINDS["skew"].todo.format_map(_words(0.002)) == (
        "Square the frame: 0.20 mm in 100 mm, 0.11°"
    )


def test_every_term_has_its_words():
    from coupons.learning.causes import _KINDS, _SCATTERS, _words

    assert set(_KINDS) == {*EFFECTS, *_SCATTERS, *EXTRUSION_2.scatters} - {"sigma", "omega"}
    for kind in _KINDS.values():
        for value in (0.01, -0.01):
            told = kind.says.format_map(_words(value)) + kind.todo.format_map(_words(value))
            assert "{" not in told


# What a positive value of each term does, from how it acts on a size: + makes it larger.
TOO_MUCH = {
    "scale_x": ("sizes along x are too long", "sizes along x are too short"),
    "scale_z": ("sizes along z are too long", "sizes along z are too short"),
    "scale_int": ("openings shrink less than outsides", "openings shrink more than outsides"),
    "lost_motion": ("all sizes are larger along x", "all sizes are larger along y"),
    "growth_ext_xy": ("outer faces are fatter across x", "outer faces are fatter across y"),
    "growth_int_xy": ("openings are tighter across x", "openings are tighter across y"),
    "growth_ext": ("outer sizes are too large", "outer sizes are too small"),
    "growth_int": ("openings are too small", "openings are too large"),
    "round_ext": ("pins are larger than tongues", "pins are smaller than tongues"),
    "round_int": ("holes are smaller than slots", "holes are larger than slots"),
    "curl_ext": ("small pins are too thin", "small pins are too fat"),
    "curl_int": ("small holes close up", "small holes open up"),
    "growth_ext_z": ("steps along z are too large", "steps along z are too small"),
    "growth_int_z": ("openings are too low along z", "openings are too high along z"),
    "bed_height": ("heights on the bed are too tall", "heights on the bed are too low"),
    "first_layer": ("the first layer is too wide", "the first layer is too narrow"),
}


def test_words_follow_the_sign_of_the_term():
    from coupons.learning.causes import _KINDS, _words

    for name, said in TOO_MUCH.items():
        assert [_KINDS[name].says.format_map(_words(v)) for v in (0.01, -0.01)] == list(said)


def test_a_bend_of_the_closing_is_named_by_what_it_does_to_the_smallest_holes():
    from coupons.learning.causes import _KINDS, _words

    row = effect_row(Feature(Form.HOLE, 2.0, Direction.Z))
    closes = row[EFFECTS.index("curl_bend")] < 0
    assert closes, "a positive bend makes a hole of 2 mm narrower still"
    assert _KINDS["curl_bend"].says.format_map(_words(0.01)) == "very small holes close more"


def test_cures_follow_the_sign_of_the_term():
    from coupons.learning.causes import _KINDS, _words

    def todo(name, value):
        return _KINDS[name].todo.format_map(_words(value))

    # One per cent long: fewer steps, and less shrinkage than is set.
    assert "steps per mm of x by 0.9901, or set the shrinkage along x to −1.00 %" in todo(
        "scale_x", 0.01
    )
    assert "steps per mm of z by 1.0101, or set the shrinkage along z to 1.00 %" in todo(
        "scale_z", -0.01
    )
    assert todo("bed_height", 0.1).startswith("Lower the height of the nozzle")
    assert todo("bed_height", -0.1).startswith("Raise the height of the nozzle")
    assert todo("first_layer", 0.1).startswith("Widen the gap between nozzle and bed")
    assert todo("first_layer", -0.1).startswith("Narrow the gap between nozzle and bed")
