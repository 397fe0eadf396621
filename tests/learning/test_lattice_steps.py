"""The search over the scatters step by step, on parabolas where every number is known by hand."""

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from support.synthetic import coupon_design, observed

from coupons.learning.effects import SCATTERS
from coupons.learning.posterior import lattice
from coupons.learning.posterior.corrections import best_mode
from coupons.learning.posterior.latent import AT_THRESHOLDS, N_TERMS, latent_model
from coupons.learning.posterior.lattice import (
    Hill,
    Point,
    ScatterPosterior,
    explored,
    flattening,
    one_scatter,
    top_of,
)
from coupons.learning.prior_table import EXTRUSION

# A step of 1.9 sds makes a normal fall by 1.805.
STEP, FALL = 1.9, 1.805


class Known:
    """A log posterior given as a formula of the place; remembers where it was asked."""

    def __init__(self, log_posterior, active=("one", "other")):
        self.log_posterior, self.active, self.asked = log_posterior, active, []

    def at(self, z, start=None):
        self.asked.append(z)
        latent = np.zeros(N_TERMS)
        latent[AT_THRESHOLDS] = np.arange(4)
        latent[0] = z[0] if len(z) else 0.0  # as if the mode went along
        mode = SimpleNamespace(latent=latent, start=start)
        return Point(z, None, mode, float(self.log_posterior(z)))


def parabola(hessian, top=0.0, height=0.0):
    hessian, top = np.array(hessian, float), np.array(top, float)
    return lambda z: height - 0.5 * (z - top) @ hessian @ (z - top)


BENT = [[2.0, 0.6], [0.6, 1.0]]


def test_differences_are_those_of_the_parabola():
    evidence = Known(parabola(BENT, (0.3, -0.4)))
    gradient, hessian = lattice._differences(evidence, evidence.at(np.array([0.1, 0.2])))
    assert hessian == pytest.approx(np.array(BENT))
    assert gradient == pytest.approx(np.array(BENT) @ [0.2, -0.6])
    # A quarter of a prior sd ahead, behind, and both ahead; once each.
    apart = np.array(evidence.asked[1:]) - [0.1, 0.2]
    h = 0.25
    expected = [[h, 0], [0, h], [-h, 0], [0, -h], [h, h]]
    assert np.array(sorted(apart.round(9).tolist())) == pytest.approx(np.array(sorted(expected)))


def test_a_climb_from_nearby_is_one_step_of_newton():
    """Six fits for a step, six to see that there is no higher place."""
    evidence = Known(parabola(BENT, (0.9, -0.8)))
    start = evidence.at(np.zeros(2))
    evidence.asked.clear()
    climb = lattice._climb(evidence, start)
    assert climb.top.z == pytest.approx([0.9, -0.8])
    assert climb.hessian == pytest.approx(np.array(BENT))
    assert climb.is_new
    assert len(evidence.asked) == 12


def test_a_climb_from_far_goes_two_prior_sds_at_once():
    evidence = Known(parabola(np.eye(2), (3.0, -4.0)))
    start = evidence.at(np.zeros(2))
    evidence.asked.clear()
    climb = lattice._climb(evidence, start)
    assert evidence.asked[5] == pytest.approx([1.2, -1.6])
    assert evidence.asked[11] == pytest.approx([2.4, -3.2])
    assert climb.top.z == pytest.approx([3.0, -4.0])


def test_where_it_is_flat_or_bent_the_other_way_a_climb_still_goes_up():
    """Curvature counts as at least a half, whatever its sign."""
    evidence = Known(parabola([[0.1, 0.0], [0.0, -0.2]], (1.0, 1.0)))
    start = evidence.at(np.zeros(2))
    lattice._climb(evidence, start)
    # The slope is (0.1, −0.2): by a half, (0.2, −0.4).
    assert evidence.asked[6] == pytest.approx([0.2, -0.4])


def test_a_step_too_far_is_halved_until_it_leads_up(monkeypatch):
    """From 0.3 down a roof: by −2, −1 and −0.5, where −0.2 is nearer to the ridge at last."""
    monkeypatch.setattr(lattice, "_differences", lambda *_: (np.array([-1.0]), np.eye(1) * 0.1))
    evidence = Known(lambda z: -abs(z[0]), ("one",))
    start = evidence.at(np.array([0.3]))
    evidence.asked.clear()
    lattice._climb(evidence, start)
    assert [z[0] for z in evidence.asked[:3]] == pytest.approx([-1.7, -0.7, -0.2])


def test_the_search_is_over_where_the_next_place_is_hardly_higher():
    """By less than a fiftieth of a unit of log probability; the higher place is the top."""
    for height, steps in ((0.019, 1), (0.022, 2)):
        sd = 0.5
        off = sd * np.sqrt(2 * height)
        evidence = Known(parabola([[1 / sd**2]], (off,)), ("one",))
        start = evidence.at(np.zeros(1))
        evidence.asked.clear()
        climb = lattice._climb(evidence, start)
        assert climb.top.z == pytest.approx([off])
        assert len(evidence.asked) == 3 * steps


def test_steps_lie_along_the_axes_and_fall_alike():
    evidence = Known(parabola(BENT))
    top = evidence.at(np.zeros(2))
    steps = lattice._lattice_steps(evidence, top, np.array(BENT))
    for step in steps:
        assert evidence.log_posterior(step) == pytest.approx(-FALL)
    assert steps[0] @ np.array(BENT) @ steps[1] == pytest.approx(0)
    values = np.linalg.eigvalsh(BENT)
    assert np.linalg.norm(steps, axis=1) == pytest.approx(STEP / np.sqrt(values))


def test_where_the_top_is_flat_steps_go_no_farther_than_where_curvature_is_a_half():
    evidence = Known(parabola([[0.5]]), ("one",))
    evidence.log_posterior = lambda z: -0.25 * z[0] ** 2
    top = evidence.at(np.zeros(1))
    for told in (0.5, 0.1, -3.0):
        (step,) = lattice._lattice_steps(evidence, top, np.array([[told]]))
        assert abs(step[0]) == pytest.approx(STEP / np.sqrt(0.5))


@pytest.mark.parametrize(("width", "calls"), [(1.0, 1), (2.0, 2), (0.4, 2), (1.1, 1), (1.2, 2)])
def test_a_step_is_stretched_to_where_a_normal_would_have_fallen_as_far(width, calls):
    """Within a quarter of 1.805 it is far enough as it is: 1/1.1² is, 1/1.2² is not."""
    evidence = Known(parabola([[1 / width**2]]), ("one",))
    top = evidence.at(np.zeros(1))
    evidence.asked.clear()
    stretch = lattice._reach(evidence, top, np.array([STEP]))
    assert stretch == pytest.approx(width if calls > 1 else 1.0)
    assert len(evidence.asked) == calls


def test_a_step_is_stretched_threefold_at_most_at_once_and_six_times_in_all():
    evidence = Known(lambda _: 0.0, ("one",))
    top = evidence.at(np.zeros(1))
    evidence.asked.clear()
    assert lattice._reach(evidence, top, np.array([1.0])) == pytest.approx(243)
    assert [z[0] for z in evidence.asked] == pytest.approx([1, 3, 9, 27, 81, 243])
    cliff = Known(lambda z: -1e6 if z[0] > 0.01 else 0.0, ("one",))
    top = cliff.at(np.zeros(1))
    cliff.asked.clear()
    lattice._reach(cliff, top, np.array([1.0]))
    assert [z[0] for z in cliff.asked[:4]] == pytest.approx([1, 1 / 3, 1 / 9, 1 / 27])


def test_a_step_ends_before_a_jump():
    """Beyond 1.2 nothing is possible; up to there it falls by half of what is wanted."""
    evidence = Known(lambda z: -0.75 * abs(z[0]) if abs(z[0]) < 1.2 else -1e6, ("one",))
    top = evidence.at(np.zeros(1))
    stretch = lattice._reach(evidence, top, np.array([1.0]))
    assert 1.0 <= stretch < 1.2
    nowhere = Known(lambda z: 0.0 if z[0] == 0 else -1e6, ("one",))
    assert lattice._reach(nowhere, nowhere.at(np.zeros(1)), np.array([1.0])) > 0


def inside(k):
    """Places of a lattice of so many dimensions at which a normal has fallen by 5.5 at most."""
    return {at for at in product(range(-3, 4), repeat=k) if FALL * sum(x * x for x in at) <= 5.5}


@pytest.mark.parametrize("k", [1, 2, 3, 4])
def test_a_lattice_holds_every_place_down_to_where_it_ends(k):
    hessian = np.diag(1.0 + np.arange(k))
    center = np.linspace(-0.5, 0.5, k)
    evidence = Known(parabola(hessian, center, height=3.0), ("any",) * k)
    points = explored(evidence)
    steps = STEP * np.diag(1 / np.sqrt(np.diag(hessian)))
    places = {
        tuple(np.rint(np.linalg.solve(steps, point.z - center)).astype(int)) for point in points
    }
    assert places == inside(k)
    assert len(points) == len(places)
    volume = k * np.log(STEP) - 0.5 * np.log(np.diag(hessian)).sum()
    assert {round(point.log_volume, 9) for point in points} == {round(volume, 9)}
    assert points[0].log_posterior == pytest.approx(3.0)


def test_a_lattice_has_no_more_points_than_six_hundred():
    evidence = Known(lambda z: -0.25 * np.sum(np.minimum(np.square(z), 0.1)), ("any",) * 4)
    top = evidence.at(np.zeros(4))
    assert 600 <= len(lattice._lattice(evidence, top, np.eye(4))) < 610


@pytest.mark.parametrize("k", [1, 2, 3, 4, 5])
def test_with_the_flattened_density_a_normal_keeps_its_variance(k):
    """In one dimension 3.61 · 2t = 1 + 2t with t = e^(−1.805 p); two and three are products."""
    power = flattening(k)
    places = np.array(sorted(inside(k)))
    weights = np.exp(-power * FALL * np.square(places).sum(axis=1))
    assert weights @ (STEP * places[:, 0]) ** 2 / weights.sum() == pytest.approx(1.0)
    if k <= 3:
        assert power == pytest.approx(np.log(5.22) / FALL)
    assert flattening(0) == 1.0


@pytest.mark.parametrize(("height", "counts"), [(-5.0, True), (-6.0, False)])
def test_a_second_hill_counts_if_its_top_is_no_lower_than_the_lattice_reaches(height, counts):
    def two(z):
        first = -0.5 * (z[0] ** 2 + z[1] ** 2) / 0.3**2
        return np.logaddexp(first, height - 0.5 * ((z[0] - 2) ** 2 + z[1] ** 2) / 0.3**2)

    points = explored(Known(two, ("other", "omega")))
    assert not any(point.z[0] > 1.5 for point in points), "only the judgement is looked at"
    points = explored(Known(two, ("omega", "other")))
    assert any(point.z[0] > 1.5 for point in points) is counts
    turned = explored(Known(lambda z: two(-z), ("omega", "other")))
    assert any(point.z[0] < -1.5 for point in turned) is counts, "to either side"


def test_a_search_begins_where_the_top_is_known():
    evidence = Known(parabola(BENT, (0.4, 0.1)))
    top = top_of(evidence)
    assert top.z == pytest.approx([0.4, 0.1])
    evidence.asked.clear()
    found = explored(evidence, top)
    assert evidence.asked[0] == pytest.approx([0.4, 0.1])
    assert found[0].z == pytest.approx([0.4, 0.1])
    evidence.asked.clear()
    explored(evidence)
    assert evidence.asked[0] == pytest.approx([0.0, 0.0])


def test_a_lattice_is_laid_anew_over_a_higher_place_that_one_of_its_points_found():
    """By half a unit of log probability; a little higher is let be."""
    for spike, found in ((0.4, False), (0.6, True)):

        def hill(z, spike=spike):
            at = np.array([STEP, 0.0])
            near = np.exp(-0.5 * np.sum((z - at) ** 2) / 0.05**2)
            return -0.5 * z @ z + (FALL + spike) * near

        evidence = Known(hill)
        laid = lattice._hill(evidence, evidence.at(np.zeros(2)))
        assert (laid.top.log_posterior > 0.1) is found


def test_the_next_mode_is_guessed_from_a_parallelogram():
    def point(*cuts):
        latent = np.zeros(N_TERMS)
        latent[AT_THRESHOLDS] = cuts
        return Point(np.zeros(1), None, SimpleNamespace(latent=latent), 0.0)

    near, ahead, behind = point(0, 1, 2, 3), point(0.1, 1.2, 2.3, 3.4), point(0, 1, 2, 3.1)
    guess = lattice._guessed(near, ahead, behind)[AT_THRESHOLDS]
    assert guess == pytest.approx([0.1, 1.2, 2.3, 3.3])
    # Thresholds that would change places: stay with what is near.
    crossed = lattice._guessed(near, point(0, 1, 2, 3), point(0, 1, 1, 3.5))
    assert crossed[AT_THRESHOLDS] == pytest.approx([0, 1, 2, 3])
    found = {(0, 0): near, (1, 0): ahead, (0, 1): behind}
    # From (1, 0) to (1, 1) as from (0, 0) to (0, 1).
    expected = ahead.mode.latent + behind.mode.latent - near.mode.latent
    assert lattice._start(found, (1, 0), (1, 1)) == pytest.approx(expected)
    assert lattice._start({(0, 0): near}, (0, 0), (1, 0)) is near.mode.latent


def test_neighbours_differ_by_one_in_one_direction():
    assert sorted(lattice._neighbours((0, 5))) == [(-1, 5), (0, 4), (0, 6), (1, 5)]


def test_a_point_is_on_a_hill_if_place_and_mode_are_the_same():
    evidence = Known(parabola(np.eye(2)))
    hill = Hill(evidence.at(np.zeros(2)), STEP * np.eye(2), {(0, 0): evidence.at(np.zeros(2))})
    assert hill.near(np.array([0.9, 0.0])) is hill.points[0, 0]
    assert hill.near(np.array([1.0, 0.0])) is None
    assert lattice._is_on(evidence, [hill], evidence.at(np.array([0.5, 0.0])))
    assert not lattice._is_on(evidence, [hill], evidence.at(np.array([1.0, 0.0])))
    assert not lattice._is_on(evidence, [], evidence.at(np.zeros(2)))
    for off, on in ((0.0009, True), (0.0012, False)):
        moved = evidence.at(np.array([0.5, 0.0]))
        moved.mode.latent[1] += off
        assert lattice._is_on(evidence, [hill], moved) is on


@pytest.mark.parametrize("active", [("tau", "sigma"), ("omega",)])
def test_scatters_stand_at_their_place_and_the_others_at_their_mean_square(active):
    design = observed(coupon_design(1, "A"), 1)
    evidence = ScatterPosterior(latent_model(design, EXTRUSION), active)
    z = np.array([0.5, -1.0])[: len(active)]
    point = evidence.at(z)
    for name in SCATTERS:
        prior = EXTRUSION.scatters[name]
        expected = prior.median * np.exp(prior.log_sd**2)
        if name in active:
            expected = prior.median * np.exp(prior.log_sd * z[active.index(name)])
        assert getattr(point.scatters, name) == pytest.approx(expected)
    _, log_evidence = best_mode(evidence.model, point.scatters)
    assert point.log_posterior == pytest.approx(log_evidence - z @ z / 2, abs=1e-6)
    assert point.log_volume == 0.0


def test_a_scatter_by_itself_is_looked_at_nine_times_within_three_prior_sds():
    seen = []

    class One:
        model = SimpleNamespace(
            table=SimpleNamespace(scatters={"tau_z": SimpleNamespace(median=0.05, log_sd=0.4)})
        )

        def __init__(self):
            self.fixed = {"tau_z": 0.07}

        def at(self, z, start):
            seen.append((np.log(self.fixed["tau_z"] / 0.05) / 0.4, start))
            mode = SimpleNamespace(latent=len(seen))
            return Point(z, None, mode, -2000.0)

    one_scatter(One(), "tau_z", Point(np.zeros(0), None, SimpleNamespace(latent=0), 0.0))
    assert [z for z, _ in seen] == pytest.approx([-3, -2.25, -1.5, -0.75, 0, 0.75, 1.5, 2.25, 3])
    assert [start for _, start in seen] == list(range(9)), "each begins where the last one ended"
