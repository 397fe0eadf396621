"""What single readings and trials tell, against variances that are worked out by hand.

Of the printer one term alone is open, so that everything else in an observation is noise of which
the variance is a plain sum: 1/variance after = 1/variance before + (weight of the term)²/noise.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm
from support.known_profile import known_profile
from support.small_coupon import feature, small_coupon

from coupons.answering.next.exchange import with_row
from coupons.answering.next.expected_information import (
    Belief,
    as_if_done,
    covariance_after,
    trial_information,
)
from coupons.answering.next.row_information import (
    N_SHARED,
    Printers,
    believed,
    draw_printers,
    information,
    information_roots,
)
from coupons.learning.effects import TERMS, THRESHOLDS, prior_mean, prior_sd
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile_file import read_profile
from coupons.making.record import CouponReading, CouponTrial
from coupons.terms import Jaws

SCATTERS = {
    "tau": 0.03,
    "tau_z": 0.07,
    "sigma": 0.015,
    "omega": 0.04,
    "rho": 0.02,
    "rho_scale": 0.0002,
    "rho_scale_z": 0.0008,
    "rho_bed": 0.05,
    "rho_roof": 0.06,
}
EXACT = 1e-7  # as good as known, in mm
# A Student-t with 4 degrees of freedom tells 5/7 of what a normal of its scale would.
READ_MM2 = (0.015**2 + 0.01**2 / 12) * 7 / 5


def belief(term, sd):
    sds = np.full(len(TERMS), EXACT)
    sds[TERMS.index(term)] = sd
    return Belief(prior_mean(), np.diag(sds**2), Scatters(**SCATTERS))


def sds_after(coupon, term, sd):
    """Return the standard deviation that is left of a term, by both of the ways to find it."""
    before, at = belief(term, sd), TERMS.index(term)
    whole = covariance_after(coupon, before)[at, at]
    squares = {name: np.full(2, value**2) for name, value in SCATTERS.items()}
    printers = Printers(np.array([before.mean] * 2), squares, before.covariance)
    values, vectors = np.linalg.eigh(information(coupon, printers))
    roots = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    states = with_row(printers.state(), roots)
    assert states[:, at, at] == pytest.approx(states[0, at, at])
    return whole**0.5, states[0, at, at] ** 0.5


def left(sd, weight, noise_mm2):
    return (sd**-2 + weight**2 / noise_mm2) ** -0.5


def one_reading(form, direction, jaws, size_mm=12.0, along=None):
    return small_coupon(
        features=(feature("A1", form, direction, size_mm),),
        hardware=(),
        trials=(),
        readings=(CouponReading(feature="A1", jaws=jaws, along=along),),
    )


@pytest.mark.parametrize(
    ("form", "direction", "jaws", "term", "weight", "noise_mm2"),
    [
        # Of rho both of its effects, whole and half; the scale over 12 mm; a zero of 0.010 mm.
        (
            "tongue",
            "x",
            Jaws.OUTSIDE,
            "growth_ext",
            2,
            0.03**2 + 1.25 * 0.02**2 + (12 * 0.0002) ** 2 + 0.010**2,
        ),
        # The jaws' other zero is 0.015 mm.
        (
            "slot",
            "x",
            Jaws.INSIDE,
            "growth_int",
            -2,
            0.03**2 + 1.25 * 0.02**2 + (12 * 0.0002) ** 2 + 0.015**2,
        ),
        # Along z own deviations and scales are others, and a tongue stands on the bed of its print.
        (
            "tongue",
            "z",
            Jaws.OUTSIDE,
            "growth_ext_z",
            2,
            0.07**2 + (12 * 0.0008) ** 2 + 0.05**2 + 0.010**2,
        ),
        # A slot has a roof: half of its print's scatter on each of two faces.
        (
            "slot",
            "z",
            Jaws.INSIDE,
            "growth_int_z",
            -2,
            0.07**2 + (12 * 0.0008) ** 2 + 0.06**2 + 0.015**2,
        ),
    ],
)
def test_a_reading_tells_of_a_term_beside_all_else_that_it_shows(
    form, direction, jaws, term, weight, noise_mm2
):
    expected = left(0.08, weight, READ_MM2 + noise_mm2)
    found = sds_after(one_reading(form, direction, jaws), term, 0.08)
    assert found == pytest.approx([expected] * 2, rel=1e-5)


def one_trial(gap_mm, mate="G1"):
    features = (
        feature("A1", "slot", "x", 12.0 + gap_mm),
        feature("G1", "tongue", "x", 12.0, role="gauge"),
        feature("B1", "hole", "z", 6.0 + gap_mm),
        feature("C1", "slot", "z", 12.0 + gap_mm),
        feature("D1", "tongue", "z", 12.0, role="gauge"),
    )
    of = {"G1": "A1", "dowel": "B1", "D1": "C1"}[mate]
    trial = CouponTrial(feature=of, mate=mate, gap_mm=gap_mm)
    piece = small_coupon().hardware[0].model_copy(update={"sd_mm": 0.05})
    return small_coupon(features=features, hardware=(piece,), trials=(trial,), readings=())


def clearance_mm2(felt_mm, spread_mm):
    """Return the inverse of what a trial tells of its clearance, the thresholds being known."""
    thresholds = prior_mean()[TERMS.index("from_force") :][: len(THRESHOLDS)]
    margins = (felt_mm - thresholds)[None]
    told = trial_information(margins, np.array([spread_mm]), 0.04, EXTRUSION.lapse)
    return 1 / told.sum()


MEAN = dict(zip(TERMS, prior_mean(), strict=True))


@pytest.mark.parametrize("gap_mm", [0.15, 0.30, 0.55])
def test_a_trial_tells_of_a_term_beside_own_deviations_and_the_print(gap_mm):
    # Both bodies close the gap by twice their growth; a print moves both by rho, 2 in all. What is
    # open of the growth is small, so that the spread is that of the rest.
    felt_mm = gap_mm - 2 * (MEAN["growth_ext"] + MEAN["growth_int"]) + gap_mm * MEAN["scale_x"]
    own_mm2 = 2 * 0.03**2 + 4 * 0.02**2
    noise_mm2 = clearance_mm2(felt_mm, own_mm2**0.5) + own_mm2
    expected = left(0.002, 2, noise_mm2)
    found = sds_after(one_trial(gap_mm), "growth_ext", 0.002)
    told = [sd**-2 - 0.002**-2 for sd in (*found, expected)]
    assert told[:2] == pytest.approx([told[2]] * 2, rel=0.02)


def test_what_is_open_of_the_printer_spreads_what_a_trial_may_find():
    # 0.05 mm a face: the pair may turn out 0.1 mm wider or tighter, which is in the spread.
    felt_mm = 0.3 - 2 * (MEAN["growth_ext"] + MEAN["growth_int"]) + 0.3 * MEAN["scale_x"]
    own_mm2 = 2 * 0.03**2 + 4 * 0.02**2
    noise_mm2 = clearance_mm2(felt_mm, (own_mm2 + 0.1**2) ** 0.5) + own_mm2
    whole, _ = sds_after(one_trial(0.3), "growth_ext", 0.05)
    assert whole == pytest.approx(left(0.05, 2, noise_mm2), rel=2e-3)


def test_across_layers_a_trial_has_own_deviations_and_roofs_of_its_own():
    # The roof and the bed of the tongue move by their whole scatters; the scale acts on 0.3 mm.
    closed_mm = 2 * (MEAN["growth_ext_z"] + MEAN["growth_int_z"]) + MEAN["bed_height"]
    felt_mm = 0.3 * (1 + MEAN["scale_z"]) - closed_mm
    own_mm2 = 2 * 0.07**2 + 0.06**2 + 0.05**2
    noise_mm2 = clearance_mm2(felt_mm, own_mm2**0.5) + own_mm2
    found = sds_after(one_trial(0.3, "D1"), "growth_int_z", 0.002)
    told = [sd**-2 - 0.002**-2 for sd in (*found, left(0.002, 2, noise_mm2))]
    assert told[:2] == pytest.approx([told[2]] * 2, rel=0.02)


def test_hardware_varies_as_its_tolerance_says():
    # A dowel of ± 0.05 mm in place of a printed pin: half of rho and its half act on the hole.
    weights = {"scale_x": 6.3 / 2, "scale_y": 6.3 / 2, "growth_int": -2, "round_int": -2}
    curled = {"curl_int": -10 / 6.3}  # a reference of 5 mm over the size, on both sides
    felt_mm = 0.3 + sum(w * MEAN[name] for name, w in (weights | curled).items())
    assert MEAN["scale_int"] == 0
    own_mm2 = 0.03**2 + 0.05**2 + 1.25 * 0.02**2 + (6.3 * 0.0002) ** 2
    found = sds_after(one_trial(0.3, "dowel"), "growth_int", 0.002)
    # Of bend, form and seam the losses are taken from what is felt; the slope is what matters.
    told = np.array([sd**-2 - 0.002**-2 for sd in found])
    least = 4 / (clearance_mm2(felt_mm - 0.1, own_mm2**0.5) + own_mm2)
    most = 4 / (clearance_mm2(felt_mm, own_mm2**0.5) + own_mm2)
    assert told[0] == pytest.approx(told[1], rel=1e-3)
    assert min(least, most) * 0.8 < told[0] < 4 / own_mm2


def chances(margins, omega, lapse):
    """Return the chances of the five grades at given margins over the four thresholds."""
    from_grade = [1.0, *ndtr(np.array(margins) / omega), 0.0]
    return (1 - lapse) * -np.diff(from_grade) + lapse / 5


@pytest.mark.parametrize("spread", [0.0, 0.05])
@pytest.mark.parametrize("margins", [(0.3, 0.2, 0.1, -0.1), (0.1, 0.02, -0.03, -0.2)])
def test_a_trial_informs_as_the_slopes_of_its_chances_say(margins, spread):
    # Fisher's information, the mean of the squares of the slopes of log p, by differences of a
    # ten-thousandth of a millimetre; over a spread by numerical integration.
    step, omega, lapse = 1e-5, 0.04, 0.02

    def at(off):
        shifted = np.array(margins) + off
        slopes = [
            (chances(shifted + d, omega, lapse) - chances(shifted - d, omega, lapse)) / (2 * step)
            for d in step * np.eye(4)
        ]
        return np.einsum(
            "ag,bg->ab", np.array(slopes), np.array(slopes) / chances(shifted, omega, lapse)
        )

    expected = at(0.0)
    if spread:
        places, wide = np.linspace(-6, 6, 121, retstep=True)
        expected = sum(at(spread * z) * norm.pdf(z) * wide for z in places)
    found = trial_information(np.array([margins]), np.array([spread]), omega, lapse)[0]
    assert found == pytest.approx(expected, rel=1e-3 if not spread else 0.05, abs=1.0)


def test_the_scatter_of_the_judgement_may_differ_from_trial_to_trial():
    margins = np.array([[0.3, 0.2, 0.1, -0.1]] * 2)
    both = trial_information(margins, np.zeros(2), np.array([[0.04], [0.08]]), 0.02)
    for each, omega in zip(both, (0.04, 0.08), strict=True):
        alone = trial_information(margins[:1], np.zeros(1), omega, 0.02)[0]
        assert each == pytest.approx(alone)


def printers(count=3, **squares):
    known = {name: value**2 for name, value in SCATTERS.items()} | squares
    spread = {name: np.full(count, value) for name, value in known.items()}
    covariance = np.diag(prior_sd() ** 2)
    return Printers(np.array([prior_mean()] * count), spread, covariance)


def test_a_print_and_its_caliper_have_their_own_variances():
    own = np.sqrt(printers().of_print[0])
    of_print = [0.02, 0.01, 0.0002, 0.0008, 0.05, 0.06]  # of rho whole and half, then one of each
    assert own == pytest.approx([*of_print, 0.010, 0.015, 0.03, 0.001])
    state = printers().state(prints=4)
    assert state.shape == (3, N_SHARED, N_SHARED)
    diagonal = np.sqrt(np.diagonal(state[0]))
    assert diagonal[: len(TERMS)] == pytest.approx(prior_sd())
    assert diagonal[len(TERMS) :] == pytest.approx(own / 2)
    taught = np.full((3, len(TERMS), len(TERMS)), 0.5)
    assert printers().state(taught)[1, : len(TERMS), : len(TERMS)] == pytest.approx(taught[1])
    assert np.sqrt(np.diagonal(printers().state()[2]))[len(TERMS) :] == pytest.approx(own)
    assert printers().before_sds == pytest.approx(np.concatenate([prior_sd(), own]))


def test_of_a_print_that_is_wholly_known_its_own_part_stays_open():
    # Both growths less what the print had of its own: its covariance is known, the rest is 0.
    found = printers()
    after = with_row(found.state(), found.exact_roots[None])[0]
    at = [TERMS.index(name) for name in ("growth_ext", "growth_int")]
    moves = np.array([[0.5, 0.5], [0.5, -0.5]])  # of rho, and of its half
    own = moves @ np.diag([0.02**2, 0.01**2]) @ moves.T
    expected = np.linalg.inv(np.diag([0.08**-2, 0.08**-2]) + np.linalg.inv(own))
    assert after[np.ix_(at, at)] == pytest.approx(expected, rel=1e-3)
    plain = TERMS.index("skew")
    assert after[plain, plain] ** 0.5 < 2e-3 * prior_sd()[plain]


def test_a_root_holds_all_that_a_row_tells_but_a_thousandth():
    found = printers()
    coupon, scale = small_coupon(), np.outer(found.before_sds, found.before_sds)
    roots = information_roots(coupon, found)
    whole = information(coupon, found) * scale
    kept = roots @ np.swapaxes(roots, 1, 2) * scale
    values = np.linalg.eigvalsh(whole)
    assert roots.shape[2] <= 10
    missed = np.linalg.eigvalsh(whole - kept)
    eleventh = values[:, -11]
    assert missed.max(axis=1) == pytest.approx(eleventh, abs=1e-3)
    one = information_roots(one_reading("tongue", "x", Jaws.OUTSIDE), found)
    assert one.shape == (3, N_SHARED, 1)


def test_printers_are_drawn_evenly_from_what_is_believed():
    # Stratified: means agree far better than those of 400 draws, sds within 5 %.
    profile = known_profile({"growth_ext": 0.07, "from_push": 0.01}, 0.3, scatters={"rho": 0.05})
    drawn = draw_printers(profile, 400)
    assert drawn.terms.shape == (400, len(TERMS))
    free = [n for n, name in enumerate(TERMS) if not name.startswith("from_")]
    sds = 0.3 * prior_sd()[free]
    off = (drawn.terms.mean(axis=0) - profile.mean_vector)[free] / sds
    assert np.abs(off).max() < 0.15
    assert drawn.terms.std(axis=0)[free] / sds == pytest.approx(1.0, abs=0.08)
    logs = np.log(drawn.squares["rho"]) / 2
    assert logs.mean() == pytest.approx(np.log(0.05), abs=0.02)
    assert logs.std() == pytest.approx(0.2, rel=0.06)
    assert set(drawn.squares) == set(EXTRUSION.scatters)
    again = draw_printers(profile, 400)
    assert np.array_equal(drawn.terms, again.terms)
    assert not np.array_equal(drawn.terms, draw_printers(profile, 400, seed=1).terms)


def test_thresholds_of_every_printer_that_is_drawn_rise():
    drawn = draw_printers(known_profile(sd_share=1.0), 60)
    first = TERMS.index("from_force")
    thresholds = drawn.terms[:, first : first + 4]
    assert len(thresholds) == 60
    assert (np.diff(thresholds, axis=1) > 0).all()


def test_what_an_older_model_lacks_is_as_before_any_print():
    kept = Path(__file__).parents[1] / "kept_profiles" / "version-1.json"
    profile = read_profile(kept)
    lacks = prior_sd(profile.prior_table) == 0
    mean, covariance = believed(profile)
    assert lacks.any()
    assert not lacks.all()
    assert mean[lacks] == pytest.approx(prior_mean()[lacks])
    assert mean[~lacks] == pytest.approx(profile.mean_vector[~lacks])
    assert np.sqrt(np.diag(covariance))[lacks] == pytest.approx(prior_sd()[lacks])
    assert covariance[np.ix_(~lacks, ~lacks)] == pytest.approx(
        profile.covariance_matrix[np.ix_(~lacks, ~lacks)]
    )


def test_a_run_that_stands_for_a_coupon_has_every_entry_filled_in():
    coupon = small_coupon()
    run = as_if_done(coupon)
    assert len(run.sizes) == len(coupon.readings)
    assert len(run.fits) == len(coupon.trials)
    drawn = {each.id: each.size_mm for each in coupon.features}
    assert all(entry.size_mm == drawn[entry.feature] for entry in run.sizes)
    assert replace(run, fits=()).fits == ()


@pytest.mark.parametrize(("name", "gap_mm"), [("from_slide", 0.30), ("from_loose", 0.50)])
def test_a_trial_tells_of_a_threshold_what_its_clearance_does_not_hide(name, gap_mm):
    # Of a threshold and the clearance a trial tells W in all: Wₖₖ of the one, the sum of W of the
    # other, and less of both together. What is not known of the clearance takes its share away.
    felt_mm = gap_mm - 2 * (MEAN["growth_ext"] + MEAN["growth_int"]) + gap_mm * MEAN["scale_x"]
    own_mm2 = 2 * 0.03**2 + 4 * 0.02**2
    thresholds = prior_mean()[TERMS.index("from_force") :][: len(THRESHOLDS)]
    spread = np.array([own_mm2**0.5])
    told = trial_information((felt_mm - thresholds)[None], spread, 0.04, EXTRUSION.lapse)[0]
    k = TERMS.index(name) - TERMS.index("from_force")
    both = told[k].sum() ** 2 / (told.sum() + 1 / own_mm2)
    found = [sd**-2 - 0.002**-2 for sd in sds_after(one_trial(gap_mm), name, 0.002)]
    assert found == pytest.approx([told[k, k] - both] * 2, rel=0.02)
