"""What a joint has to itself, known only roughly: one joint by quadrature, many by brute force."""

import math

import numpy as np
import pytest
from scipy.special import ndtr
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.chances import even_points
from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.own_spread import OwnSpread
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import Together, chance_together
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.joints import together_sentence
from coupons.learning.effects import TERMS
from coupons.learning.profile import LogSpread
from coupons.terms import GRADES, Bed, Direction, Form, Grade, Joint

# As one print of the coupon `first` leaves them: medians in mm, sds of the log.
AFTER_ONE_PRINT = {
    "tau": (0.012, 0.30),
    "tau_z": (0.080, 0.60),
    "sigma": (0.018, 0.13),
    "omega": (0.037, 0.25),
    "rho": (0.020, 0.50),
    "rho_scale": (0.0002, 0.70),
    "rho_scale_z": (0.0008, 0.50),
    "rho_bed": (0.050, 0.70),
    "rho_roof": (0.020, 0.50),
}
FIRST_EDGE = TERMS.index("from_force")
SIZES_MM = (12.0, 18.0, 24.0, 6.0, 20.0)


def one_print(**changes):
    scatters = {n: LogSpread(median_mm=m, log_sd=s) for n, (m, s) in AFTER_ONE_PRINT.items()}
    return known_profile(sd_share=FROM_ONE_PRINT, **changes).model_copy(
        update={"scatters": scatters}
    )


@pytest.mark.parametrize(
    "own", [OwnSpread(2, 0, 1), OwnSpread(0, 2, 1), OwnSpread(1, 1, 1, 1e-5), OwnSpread(1, 0)]
)
def test_few_nodes_give_the_chance_of_fine_ones(own):
    profile = one_print()
    z = np.linspace(-6, 6, 61)
    weights = np.exp(-(z**2) / 2) / np.exp(-(z**2) / 2).sum()
    squares = [
        (median * np.exp(log_sd * z)) ** 2
        for median, log_sd in (AFTER_ONE_PRINT[name] for name in ("tau", "tau_z", "omega"))
    ]
    tau, tau_z, omega = np.meshgrid(*squares, indexing="ij")
    fine = own.known_mm2 + own.in_plane * tau + own.along_z * tau_z + own.judged * omega
    density = np.einsum("i,j,k->ijk", weights, weights, weights)
    variances, shares = own.variance_rule(profile)
    assert len(variances) <= 5
    assert shares @ variances == pytest.approx(own.mean_square(profile), rel=0.03)
    for margin_mm in (0.02, 0.05, 0.1, 0.2):
        expected = (density * ndtr(margin_mm / np.sqrt(4e-4 + fine))).sum()
        found = shares @ ndtr(margin_mm / np.sqrt(4e-4 + variances))
        assert found == pytest.approx(expected, abs=4e-4)


def questions(n):
    """Slots across x, y and z and holes, each a few times."""
    kinds = [
        (Form.SLOT, Form.TONGUE, Direction.X),
        (Form.SLOT, Form.TONGUE, Direction.Y),
        (Form.HOLE, Form.PIN, Direction.Z),
        (Form.SLOT, Form.TONGUE, Direction.X),
        (Form.SLOT, Form.TONGUE, Direction.Z),
    ]
    return [
        Question(
            Joint(internal, external, SIZES_MM[k % 5] if along is not Direction.Z else 8.0, along),
            Grade.PUSH if k % 5 == 1 else Grade.SLIDE,
            bed=Bed.NONE if along is Direction.Z and internal is Form.SLOT else None,
        )
        for k, (internal, external, along) in enumerate(kinds * 4)
    ][:n]


def brute_force(profile, asked, gaps, n, seed):
    """Draw printers, hands, prints and parts; return the share that all fit and its error.

    Every draw has its own τ, τ_z and ω beside its own terms and print.
    """
    rng = np.random.default_rng(seed)
    terms, shifts = drawn_prints(profile, rng, n, strata=1000)
    closed, _, stretched, taller, _, roof = shifts.T
    tau, tau_z, omega = (
        median * np.exp(log_sd * rng.normal(size=n))
        for median, log_sd in (AFTER_ONE_PRINT[name] for name in ("tau", "tau_z", "omega"))
    )
    holds = np.ones(n, bool)
    for question, gap_mm in zip(asked, gaps, strict=True):
        joint = question.joint
        in_z = joint.direction is Direction.Z and joint.internal is Form.SLOT
        row = Clearance(profile, joint, question.move, np.array([gap_mm])).rows[0]
        # A print's scales act on both bodies, so that only the gap is left of them.
        of_print = gap_mm * taller - roof if in_z else gap_mm * stretched - 2 * closed
        felt = gap_mm + terms @ row + of_print
        felt += math.sqrt(2) * (tau_z if in_z else tau) * rng.normal(size=n)
        felt += omega * rng.normal(size=n)
        rank = GRADES.index(question.fit)
        edges = terms[:, FIRST_EDGE : FIRST_EDGE + 4]
        holds &= (felt > edges[:, rank - 1]) & (felt < edges[:, rank])
    return holds.mean(), holds.std() / math.sqrt(n)


@pytest.mark.slow
@pytest.mark.parametrize(
    "n_joints", [5, *(pytest.param(n, marks=pytest.mark.slow) for n in (10, 20))]
)
def test_the_chance_of_all_is_that_of_brute_force(n_joints):
    # 200,000 prints; with τ, τ_z and ω at their mean squares 20 joints were stated at half of it.
    profile, asked = one_print(), questions(n_joints)
    gaps = [answer(profile, question).gap_mm for question in asked]
    demands = [fit_demand(profile, *pair) for pair in zip(asked, gaps, strict=True)]
    stated = chance_together(demands, shared_of(profile))
    share, error = brute_force(profile, asked, gaps, 200_000, seed=n_joints)
    assert share > 20 * error, "a case that can tell"
    assert stated.chance == pytest.approx(share, abs=4 * math.hypot(error, stated.error))


@pytest.mark.slow
def test_each_joint_alone_has_the_chance_of_brute_force():
    profile = one_print()
    for seed, question in enumerate(questions(5)):
        found = answer(profile, question)
        share, error = brute_force(profile, [question], [found.gap_mm], 100_000, seed)
        assert found.chance == pytest.approx(share, abs=4 * error + 1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("n_joints", [5, 10, 20])
def test_the_stated_sampling_error_holds(n_joints, monkeypatch):
    # 100 seeds against 32 times as many points: 95 % are to be inside, 88 % or fewer would be by
    # chance in 1 of 250 such tests.
    profile, asked = one_print(), questions(n_joints)
    gaps = [answer(profile, question).gap_mm for question in asked]
    demands = [fit_demand(profile, *pair) for pair in zip(asked, gaps, strict=True)]
    stated = [chance_together(demands, shared_of(profile), seed) for seed in range(100)]
    monkeypatch.setattr(even_points, "_POINTS", 32 * even_points._POINTS)
    reference = chance_together(demands, shared_of(profile), 1000).chance
    inside = [abs(one.chance - reference) <= one.sampling_error for one in stated]
    assert np.mean(inside) > 0.88
    assert np.mean([one.sampling_error for one in stated]) < 0.01


def test_sampling_error_is_written_rounded_up(tmp_path):
    from support.drawer_list import part

    found = part(tmp_path, known_profile())
    for error, said in ((1e-6, "0.1"), (0.00044, "0.2"), (0.0031, "0.8")):
        stated = type(found)(**{**vars(found), "together": Together(0.4, error)})
        assert f"sampling error ±{said}\N{NO-BREAK SPACE}%" in together_sentence(stated)
