"""Which sources of error are told, how large and in what words, where moments are given."""

from types import SimpleNamespace

import numpy as np
import pytest

from coupons.learning.causes import (
    Place,
    between_prints_once,
    find_causes,
    unit_of,
    unsaid,
    unsaid_term,
)
from coupons.learning.effects import EFFECTS, TERMS, effect_row, prior_sd
from coupons.learning.prior_table import EXTRUSION
from coupons.terms import Direction, Feature, Form

SIZES = (
    Feature(Form.TONGUE, 60.0, Direction.X),
    Feature(Form.TONGUE, 20.0, Direction.Y),
    Feature(Form.SLOT, 10.0, Direction.X),
    Feature(Form.TONGUE, 30.0, Direction.Z, on_bed=True),
    Feature(Form.PIN, 8.0, Direction.X),
)
ROWS = np.array([effect_row(feature) for feature in SIZES])


def fitted(means=None, left=None, scatters=None, read=(0, 1, 2, 3), bought=True):
    """A fit to five printed sizes, and to a bought one, with these moments and no others.

    ``left`` is the share of a term's prior variance that is left, nothing of it unless given;
    ``scatters`` holds root mean square and sd of the log of those that were learned.
    """
    mean, shares = np.full(len(TERMS), 1e-9), np.full(len(TERMS), 0.01)
    for name, value in (means or {}).items():
        mean[TERMS.index(name)] = value
    for name, value in (left or {}).items():
        shares[TERMS.index(name)] = value
    known = scatters or {}

    def log_sd_moments(name):
        return 0.0, known[name][1] if name in known else EXTRUSION.scatters[name].log_sd

    sizes = SimpleNamespace(
        effects=np.vstack([ROWS, 1000 * np.ones((1, len(EFFECTS)))]) if bought else ROWS,
        is_printed=np.array([True] * 5 + [False] * bought),
        z_share=np.array([0.0, 0, 0, 1, 0.5] + [1.0] * bought),
    )
    readings = SimpleNamespace(
        size=np.array(read, int), effects=np.zeros((len(read), len(EFFECTS)))
    )
    return SimpleNamespace(
        design=SimpleNamespace(sizes=sizes, readings=readings),
        mean=mean,
        covariance=np.diag(shares * prior_sd() ** 2),
        mixture=SimpleNamespace(
            model=SimpleNamespace(table=EXTRUSION),
            mean_square=lambda name: known[name][0] ** 2,
            log_sd_moments=log_sd_moments,
        ),
    )


def named(causes, name):
    (found,) = [cause for cause in causes.found if cause.name == name]
    return found


def test_an_effect_counts_by_the_root_mean_square_over_what_was_printed():
    """Along x lie 60, 10 and, of the lying pin, none: its size is half y and half z."""
    causes = find_causes(fitted({"scale_x": -0.002}))
    cause = named(causes, "scale_x")
    act = np.sqrt((60**2 + 10**2) / 5)
    assert cause.effect_mm == pytest.approx(0.002 * act)
    assert cause.effect_sd_mm == pytest.approx(0.1 * 0.005 * act)
    assert (cause.value, cause.sd, cause.unit) == (-0.002, pytest.approx(0.0005), "ratio")
    assert (cause.certain, cause.proven, cause.place) == (True, True, Place.SET_UP)
    assert cause.says == "sizes along x are too short"


def test_the_closing_of_holes_is_said_over_both_faces_and_every_other_term_as_it_is():
    causes = find_causes(fitted({"curl_int": 0.05, "growth_ext": 0.03}))
    closing, growth = named(causes, "curl_int"), named(causes, "growth_ext")
    assert (closing.value, closing.unit) == (pytest.approx(0.10), "mm at 5 mm")
    assert closing.sd == pytest.approx(2 * 0.1 * 0.08)
    assert (growth.value, growth.unit) == (pytest.approx(0.03), "mm a face")
    # Twice on each outer face in the plane: two tongues, and half of that on the lying pin.
    assert growth.effect_mm == pytest.approx(0.03 * np.sqrt((4 + 4 + 1) / 5))


@pytest.mark.parametrize(("sds", "certain"), [(1.64, False), (1.65, True), (-1.65, True)])
def test_a_term_is_certain_beyond_1_645_of_its_sds(sds, certain):
    """A refinement that is not is not told at all."""
    sd = 0.1 * 0.08
    assert named(find_causes(fitted({"growth_ext": sds * sd})), "growth_ext").certain is certain
    told = [c.name for c in find_causes(fitted({"lost_motion": sds * 0.1 * 0.03})).found]
    assert ("lost_motion" in told) is certain


def test_at_the_limit_itself_a_term_is_neither_certain_nor_unmeasured():
    fit = fitted({"growth_ext": 1.645, "growth_int": 1.0})
    at, other = TERMS.index("growth_ext"), TERMS.index("growth_int")
    fit.covariance[at, at] = 1.0
    table = EXTRUSION.effects["growth_int"].sd ** 2
    fit.covariance[other, other] = 0.5 * table
    causes = find_causes(fit)
    assert "growth_ext" not in [cause.name for cause in causes.found], "far wider than its prior"
    assert "growth_int" in [cause.name for cause in causes.found]
    fit.covariance[at, at] = 2**-10
    fit.mean[at] = 1.645 * 2**-5
    assert not named(find_causes(fit), "growth_ext").certain
    fit.mean[at] *= 1 + 1e-9
    assert named(find_causes(fit), "growth_ext").certain


def test_a_span_counts_by_the_axis_that_a_caliper_read():
    """A round of 60 mm lying along z is 30 mm of x by its size, and 60 by a reading along x."""
    fit = fitted({"scale_x": -0.02}, read=(0,))
    column = EFFECTS.index("scale_x")
    fit.design.sizes.effects[0, column] = 30.0
    fit.design.readings.effects[0, column] = 30.0
    assert named(find_causes(fit), "scale_x").proven
    fit.design.readings.effects[0, column] = -30.0
    assert "over at most 0.0 mm" in named(find_causes(fit), "scale_x").todo


def test_the_skew_is_told_in_millimetres_of_a_hundred_and_in_degrees():
    """0.004 is 0.40 mm in 100 mm and, as an angle in radians, 0.23°."""
    fit = fitted({"skew": -0.004})
    fit.design.sizes.effects[0, EFFECTS.index("skew")] = 10.0
    assert named(find_causes(fit), "skew").todo == "Square the frame: 0.40 mm in 100 mm, 0.23°"
    fit = fitted({"skew": 0.0356})
    fit.design.sizes.effects[0, EFFECTS.index("skew")] = 10.0
    assert named(find_causes(fit), "skew").todo == "Square the frame: 3.56 mm in 100 mm, 2.04°"


@pytest.mark.parametrize(("left", "is_told"), [(0.499, True), (0.501, False)])
def test_a_term_is_measured_if_half_of_its_prior_variance_or_less_is_left(left, is_told):
    causes = find_causes(fitted({"growth_int": 0.9, "scale_int": 0.9}, {"growth_int": left}))
    assert ("growth_int" in [cause.name for cause in causes.found]) is is_told
    assert ("openings" in causes.not_measured) is not is_told
    unknown = find_causes(fitted({}, {"scale_int": 0.99}))
    assert "scale of openings" not in unknown.not_measured, "a refinement need not be measured"


@pytest.mark.parametrize(
    ("read", "proven"), [((0,), True), ((1, 2), False), ((), False), ((1, 2, 0), True)]
)
def test_a_scale_is_proven_by_a_long_span_alone(read, proven):
    cause = named(find_causes(fitted({"scale_x": -0.02}, read=read)), "scale_x")
    assert cause.proven is proven
    assert cause.todo.startswith("Multiply the steps per mm of x by 1.0204") is proven
    growth = named(find_causes(fitted({"growth_ext": 0.1}, read=read)), "growth_ext")
    assert growth.proven, "only scales need one"


@pytest.mark.parametrize(("span_mm", "proven"), [(49.9, False), (50.0, True), (50.1, True)])
def test_a_span_is_long_from_fifty_millimetres_on(span_mm, proven):
    fit = fitted({"scale_x": -0.02}, read=(0,))
    fit.design.sizes.effects[0, EFFECTS.index("scale_x")] = span_mm
    cause = named(find_causes(fit), "scale_x")
    assert cause.proven is proven
    said = f"read over at most {span_mm:.1f} mm, where a seam or backlash could also make them"
    assert (said in cause.todo) is not proven


@pytest.mark.parametrize(
    ("axis", "means", "words"),
    [
        ("y", -0.01, ("too short", "print the coupon “spans”")),
        ("z", 0.01, ("too long", "measure something over 50 mm tall")),
    ],
)
def test_what_would_prove_a_scale_is_said(axis, means, words):
    cause = named(find_causes(fitted({f"scale_{axis}": means}, read=())), f"scale_{axis}")
    assert "over at most 0.0 mm" in cause.todo
    assert all(each in cause.todo for each in words)


LEARNED = dict.fromkeys(EXTRUSION.scatters, (0.03, 0.1)) | {
    "rho_scale": (2e-4, 0.1),
    "rho_scale_z": (8e-4, 0.1),
}


def test_scatters_count_by_what_they_move_of_the_printed_sizes():
    causes = find_causes(fitted(scatters=LEARNED | {"tau": (0.02, 0.2)}))
    tau = named(causes, "tau")
    assert (tau.value, tau.sd, tau.unit) == (pytest.approx(0.02), pytest.approx(0.004), "mm")
    assert tau.effect_mm == pytest.approx(0.02 * np.sqrt((3 + 0.5) / 5))
    assert tau.effect_sd_mm == pytest.approx(0.2 * tau.effect_mm)
    assert (tau.certain, tau.place, tau.says) == (True, Place.NEITHER, "like features differ")
    along_z = np.sqrt((1 + 0.5) / 5)
    assert named(causes, "tau_z").effect_mm == pytest.approx(0.03 * along_z)
    # The shift moves both faces of sizes in the plane by 1, half of that the lying pin; the second
    # one half as much.
    rho = named(causes, "rho")
    assert rho.effect_mm == pytest.approx(0.03 * np.sqrt((3 + 0.25) * (1 + 0.25) / 5))
    scale = named(causes, "rho_scale")
    assert (scale.value, scale.unit) == (pytest.approx(2e-4), "ratio")
    along = 60**2 + 20**2 + 10**2 + 4**2
    assert scale.effect_mm == pytest.approx(2e-4 * np.sqrt(along / 5))
    assert named(causes, "rho_bed").effect_mm == pytest.approx(0.03 * np.sqrt(1 / 5))
    assert {"sigma", "omega"}.isdisjoint(cause.name for cause in causes.found)


def test_a_scatter_is_measured_once_its_log_sd_is_below_85_percent_of_the_priors():
    limit = 0.85 * EXTRUSION.scatters["tau"].log_sd
    for log_sd, is_told in ((limit - 1e-3, True), (limit + 1e-3, False)):
        causes = find_causes(fitted(scatters={"tau": (0.02, log_sd)}))
        assert ("tau" in [cause.name for cause in causes.found]) is is_told
        assert ("scatter in the layer plane" in causes.not_measured) is not is_told


def test_shares_are_of_the_sum_of_squares_and_the_largest_comes_first():
    causes = find_causes(
        fitted({"growth_ext": 0.01, "scale_x": 0.01}, scatters={"tau": (0.02, 0.1)})
    )
    effects = [cause.effect_mm for cause in causes.found]
    assert effects == sorted(effects, reverse=True)
    assert causes.found[0].name == "scale_x"
    squares = np.square(effects)
    assert [c.share for c in causes.found] == pytest.approx(list(squares / squares.sum()))
    assert causes.total_mm == pytest.approx(np.sqrt(squares.sum()))


def test_units_are_those_of_the_terms():
    told = {name: unit_of(name) for name in (*EFFECTS, "rho_scale", "rho_scale_z", "rho")}
    ratios = {name for name, unit in told.items() if unit == "ratio"}
    assert ratios == {
        *("scale_x", "scale_y", "scale_z", "scale_int", "skew"),
        *("rho_scale", "rho_scale_z"),
    }
    assert {name for name, unit in told.items() if unit == "mm"} == {"lost_motion", "bed_height"}
    assert told["growth_ext"] == told["rho"] == "mm a face"


def test_prints_that_differ_are_named_once():
    assert between_prints_once(["tau", "rho_bed", "rho"]) == ("tau", "rho_bed")
    assert between_prints_once([]) == ()
    assert unsaid("rho") == "how far prints differ"


def test_a_term_known_in_a_sum_alone_is_said_with_the_other():
    sds = prior_sd()
    covariance = np.diag(sds**2)
    one, other = EFFECTS.index("growth_int"), EFFECTS.index("round_int")
    covariance[one, other] = covariance[other, one] = -0.99 * sds[one] * sds[other]
    assert unsaid_term("growth_int", covariance, sds) == (
        "openings (cannot be separated from holes)"
    )
    assert unsaid_term("growth_int", np.diag(sds**2), sds) == "openings"
