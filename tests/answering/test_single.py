import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.single import SizeQuestion, draw_size
from coupons.answering.standards.iso286 import limits
from coupons.answering.words.sizes import size_sentences
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS
from coupons.terms import Direction, Form


def question(form, printed_mm, along="z", **more):
    return SizeQuestion(Form(form), printed_mm, Direction(along), **more)


def test_a_hole_that_closes_is_drawn_wider():
    # On each face: growth 0.05, round 0.02, curl 0.06·5/8; scale −0.3 % of 8 mm: −0.239 mm in all.
    means = {"growth_int": 0.05, "round_int": 0.02, "curl_int": 0.06, "curl_bend": 0.0}
    scales = {"scale_x": -0.003, "scale_y": -0.003}
    found = draw_size(known_profile(means | scales), question("hole", 8.0))
    assert found.drawn_mm == pytest.approx(8.24)
    assert (found.offset_mm, found.faces) == (pytest.approx(-0.12), 2)
    assert found.expected_mm == pytest.approx(8.0, abs=0.01)


def test_a_tongue_that_grows_is_drawn_thinner():
    found = draw_size(
        known_profile({"growth_ext": 0.06, "scale_x": 0}), question("tongue", 12, "x")
    )
    assert found.drawn_mm == pytest.approx(11.88)
    assert found.offset_mm == pytest.approx(-0.06), "into the material"


def test_sizes_across_layers_are_whole_layers():
    found = draw_size(known_profile({"scale_z": 0.0}), question("tongue", 4.1))
    assert found.layers == round(found.drawn_mm / 0.2)
    assert found.drawn_mm == pytest.approx(0.2 * found.layers)
    assert found.faces == 1


def test_the_interval_holds_nine_prints_in_ten():
    # The same printers, drawn and printed by plain draws: terms, print shift, own deviation.
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    found = draw_size(profile, question("slot", 20.0, "x"))
    rng = np.random.default_rng(2)
    terms, shifts = drawn_prints(profile, rng, 200_000, strata=500)
    of = dict(zip(TERMS, terms.T, strict=True))
    scale, growth = of["scale_x"] + of["scale_int"], of["growth_int"] + of["growth_int_xy"]
    # What a print closes, what it shifts all faces by, and its own scale in the plane.
    closed, fatter, stretched, *_ = shifts.T
    tau = profile.scatters["tau"]
    own_sds = tau.median_mm * np.exp(tau.log_sd * rng.normal(size=len(terms)))
    printed = found.drawn_mm * (1 + scale + stretched) - 2 * growth + of["lost_motion"]
    printed += fatter - closed
    printed += own_sds * rng.normal(size=len(terms))
    inside = np.mean((printed > found.low_mm) & (printed < found.high_mm))
    assert inside == pytest.approx(0.90, abs=0.01)
    assert found.sd_mm == pytest.approx(printed.std(), rel=0.02)


def test_the_chance_of_limits_is_largest_at_the_size_to_draw():
    profile, band = known_profile(), limits("12 H13")
    best = draw_size(profile, question("slot", band.middle_mm, "x", limits=band))
    for step in (-0.06, 0.06):
        drawn = best.drawn_mm + step
        worse = draw_size(
            profile, question("slot", band.middle_mm, "x", limits=band, drawn_mm=drawn)
        )
        assert worse.drawn_mm == drawn
        assert worse.chance < best.chance < 1


def test_what_was_never_measured_is_refused():
    profile = known_profile(sd_share={"growth_ext_z": 1.0, "scale_z": 1.0})
    assert draw_size(profile, question("tongue", 12, "x"))
    with pytest.raises(NotMeasuredError, match="tongues across z"):
        draw_size(profile, question("tongue", 4.0))


def test_outside_the_measured_sizes_it_says_so():
    assert not draw_size(known_profile(), question("hole", 80)).extrapolated
    assert draw_size(known_profile(), question("hole", 81)).extrapolated
    missing = draw_size(known_profile(measured=()), question("hole", 8))
    assert missing.extrapolated
    warning = "EXTRAPOLATED from other features: no holes with their axis along z were measured."
    assert warning in size_sentences(missing)


@pytest.mark.parametrize("size_mm", [0, -1, 0.4, 501, 1e6, float("nan")])
def test_sizes_that_make_no_sense(size_mm):
    with pytest.raises(AnswerError, match="A size must be"):
        draw_size(known_profile(), question("hole", size_mm))
