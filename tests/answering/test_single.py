import numpy as np
import pytest
from scipy.special import ndtr
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.single import SizeQuestion, draw_size, size_demand
from coupons.answering.standards.iso286 import Limits, limits
from coupons.answering.words.sizes import size_sentences
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS
from coupons.learning.profile import LogSpread
from coupons.terms import Bed, Direction, Form


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


# A printer that is known outright: outer faces grow by 0.04 mm, own deviations are 0.03 mm, and
# prints differ by 0.02 mm, of which a face has a half, and a quarter against the inner faces.
EXACT = {"tau": 0.03, "tau_z": 0.05, "rho": 0.02, "rho_roof": 0.06, "rho_bed": 1e-9}
EXACT |= {"rho_scale": 1e-9, "rho_scale_z": 1e-9}
SD_MM = (0.03**2 + 1.25 * 0.02**2) ** 0.5


def outright(**changes):
    scales = dict.fromkeys(("scale_x", "scale_y", "scale_z", "scale_int"), 0.0)
    profile = known_profile(scales | {"growth_ext": 0.04, "growth_ext_z": 0.03}, 1e-6, **changes)
    exact = {name: LogSpread(median_mm=mm, log_sd=0.0) for name, mm in EXACT.items()}
    return profile.model_copy(update={"scatters": profile.scatters | exact})


def test_a_size_prints_with_its_own_variation_and_its_prints():
    found = draw_size(outright(), question("tongue", 12.0, "x"))
    assert (found.drawn_mm, found.expected_mm) == (11.92, pytest.approx(12.0))
    assert found.error_mm == pytest.approx(0.08)
    assert found.sd_mm == pytest.approx(SD_MM, rel=1e-4)
    assert found.high_mm - 12.0 == pytest.approx(1.6448536 * SD_MM, rel=1e-4)
    assert 12.0 - found.low_mm == pytest.approx(1.6448536 * SD_MM, rel=1e-4)
    assert (found.offset_mm, found.faces, found.layers, found.layer_mm) == (-0.04, 2, None, None)
    assert (found.chance, found.beds, found.unmeasured) == (None, (), ())
    assert (found.extrapolated, found.rehearsed) == (False, False)
    low, high = 12 - 1.6448536 * SD_MM, 12 + 1.6448536 * SD_MM
    assert repr(found) == (
        "<SizeAnswer to tongue 12 mm across x: draw 11.92 mm; "
        f"prints as {low:.2f} to {high:.2f} mm>"
    )


def test_the_chance_of_limits_is_that_of_a_normal():
    band = Limits("12 +0.05/-0.02", 12.0, 11.98, 12.05)
    asked = question("tongue", 12.015, "x", limits=band)
    found = draw_size(outright(), asked)
    # Drawn in steps of 0.02 mm from 12 mm: 11.94 prints as 12.02, the nearest to 12.015.
    assert (found.drawn_mm, found.expected_mm) == (11.94, pytest.approx(12.02))
    assert found.offset_mm == pytest.approx(-0.03)
    expected = ndtr(0.03 / SD_MM) - ndtr(-0.04 / SD_MM)
    assert found.chance == pytest.approx(expected, abs=1e-5)
    assert repr(found).startswith("<SizeAnswer to tongue 12.015 mm across x within 12 +0.05/-0.02:")
    assert asked.nominal_mm == 12.0
    assert question("tongue", 12.015, "x").nominal_mm == 12.015


def test_a_drawn_size_is_kept_and_told_by_what_it_prints_as():
    found = draw_size(outright(), question("tongue", 12.0, "x", drawn_mm=12.013))
    assert (found.drawn_mm, found.layers) == (12.013, None)
    assert found.expected_mm == pytest.approx(12.093)
    assert repr(found).startswith("<SizeAnswer to tongue 12 mm across x as drawn: prints as 12.0")
    assert found.offset_mm == pytest.approx(0.0065)


def test_layers_come_off_one_face_and_vary_as_sizes_along_z():
    # 4.1 mm less 0.06 mm of both faces is 20.2 layers of 0.2 mm; a slot's roof differs besides.
    found = draw_size(outright(), question("tongue", 4.1, "z", bed=Bed.NONE))
    assert (found.drawn_mm, found.layers, found.layer_mm, found.faces) == (4.0, 20, 0.2, 1)
    assert found.expected_mm == pytest.approx(4.06)
    assert found.offset_mm == pytest.approx(-0.1)
    assert found.sd_mm == pytest.approx(0.05, rel=1e-4)
    slot = draw_size(outright(), question("slot", 4.0, "z", bed=Bed.NONE))
    assert slot.sd_mm == pytest.approx((0.05**2 + 0.06**2) ** 0.5, rel=1e-4)


def test_unsaid_a_size_along_z_stands_on_the_bed_or_not():
    # The bed lowers a body that stands on it by 0.10 mm: both cases count the same.
    means = {"bed_height": -0.10}
    low = outright()
    profile = low.model_copy(update={"means": low.means | means})
    found = draw_size(profile, question("tongue", 4.0, "z", drawn_mm=4.0))
    assert found.expected_mm == pytest.approx(4.06 - 0.05, abs=1e-6)
    assert found.sd_mm == pytest.approx((0.05**2 + 0.05**2) ** 0.5, rel=1e-3)
    alone = dict(found.beds)
    assert set(alone) == {Bed.NONE, Bed.EXTERNAL}
    assert list(alone.values()) == pytest.approx([2 * 1.6448536 * 0.05] * 2, rel=1e-3)
    said = draw_size(profile, question("tongue", 4.0, "z", drawn_mm=4.0, bed=Bed.EXTERNAL))
    assert (said.expected_mm, said.beds) == (pytest.approx(3.96), ())


@pytest.mark.parametrize(("size_mm", "outside"), [(3, False), (80, False), (2.9, True), (81, True)])
def test_a_size_is_outside_beyond_what_was_measured(size_mm, outside):
    assert draw_size(outright(), question("tongue", size_mm, "x")).extrapolated is outside


def test_of_a_form_that_was_not_measured_every_size_is_outside():
    found = draw_size(outright(measured=()), question("tongue", 12.0, "x"))
    assert (found.extrapolated, found.measured) == (True, None)
    assert found.unmeasured == (Form.TONGUE,)


@pytest.mark.parametrize(("size_mm", "is_refused"), [(0.5, 0), (500, 0), (0.49, 1), (501, 1)])
def test_sizes_are_half_a_millimetre_to_half_a_metre(size_mm, is_refused):
    if not is_refused:
        assert draw_size(outright(), question("tongue", size_mm, "x")).expected_mm > 0
        return
    with pytest.raises(AnswerError, match=f"A size must be 0.5 to 500 mm, not {size_mm:g}."):
        draw_size(outright(), question("tongue", size_mm, "x"))


def test_the_demand_of_limits_beside_others_is_that_of_the_chance():
    band = Limits("12 +0.05/-0.02", 12.0, 11.98, 12.05)
    demand = size_demand(outright(), question("tongue", 12.0, "x"), 11.94, band)
    assert demand.lower[0] == pytest.approx(0.04)
    assert demand.upper[0] == pytest.approx(-0.03)
    assert demand.own_sd_mm == 0
    assert demand.counts == (1.0, 0.0, 0.0)
    assert demand.or_else == ()
    flat = size_demand(outright(), question("tongue", 4.0, "z"), 4.0, band)
    assert flat.counts == (0.0, 1.0, 0.0)
    assert len(flat.or_else) == 1
