import math

import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, known_profile, unshifted

from coupons.answering.chances.demand import Demand
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.joints.whole_part import fit_demand
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.terms import Direction, Form, Grade, Joint

NONE = np.zeros(2)


def phi(z):
    return 0.5 * math.erfc(-z / math.sqrt(2))


def test_one_joint_has_the_chance_of_its_window():
    demand = Demand((0.05, np.array([1.0, 0.0])), (-0.1, np.array([1.0, -1.0])), own_sd_mm=0.03)
    covariance = np.array([[4e-4, 1e-4], [1e-4, 9e-4]])
    below = phi(0.05 / math.sqrt(4e-4 + 9e-4))
    beyond = phi(-0.1 / math.sqrt(4e-4 - 2e-4 + 9e-4 + 9e-4))
    answer = chance_together([demand], unshifted(covariance))
    assert answer.chance == pytest.approx(below - beyond, abs=4 * answer.error + 1e-5)
    assert answer.error < 1e-3


def test_joints_that_share_nothing_multiply():
    demands = [Demand((0.05, NONE), (-0.1, NONE), 0.04), Demand((0.02, NONE), None, 0.03)]
    product = (phi(0.05 / 0.04) - phi(-0.1 / 0.04)) * phi(0.02 / 0.03)
    assert chance_together(demands, unshifted(np.eye(2))).chance == pytest.approx(product, rel=1e-9)


def test_joints_that_share_everything_hold_as_often_as_the_worst():
    row = np.array([1.0, 0.0])
    demands = [Demand((margin, row), None, 1e-9) for margin in (0.01, 0.02, 0.05)]
    answer = chance_together(demands, unshifted(np.diag([4e-4, 0.0])))
    assert answer.chance == pytest.approx(phi(0.5), abs=max(4 * answer.error, 1e-3))


def test_an_empty_set_always_holds():
    assert chance_together([], unshifted(np.eye(2))).chance == 1


def test_the_same_seed_gives_the_same_digits_and_another_agrees_within_its_error():
    rng = np.random.default_rng(3)
    demands = [
        Demand((0.05, rng.normal(size=6)), (-0.2, rng.normal(size=6)), 0.04) for _ in range(9)
    ]
    shared = unshifted(4e-4 * np.eye(6))
    first, again, other = (chance_together(demands, shared, seed) for seed in (1, 1, 2))
    assert first == again
    assert first != other
    assert abs(first.chance - other.chance) < 5 * math.hypot(first.error, other.error)


def test_order_of_the_joints_does_not_matter():
    rng = np.random.default_rng(4)
    demands = [Demand((0.08, rng.normal(size=6)), None, 0.04) for _ in range(5)]
    shared = unshifted(4e-4 * np.eye(6))
    forward, backward = (chance_together(d, shared) for d in (demands, demands[::-1]))
    assert forward.chance == pytest.approx(backward.chance, abs=5 * forward.error + 1e-4)


@pytest.mark.parametrize(("direction", "size_mm"), [(Direction.X, 12.0), (Direction.Z, 4.0)])
@pytest.mark.parametrize("gap_mm", [0.2, 0.4])
def test_one_joint_has_the_chance_that_its_answer_states(direction, size_mm, gap_mm):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    joint = Joint(Form.SLOT, Form.TONGUE, size_mm, direction)
    question = Question(joint, Grade.SLIDE, drawn_gap_mm=gap_mm)
    together = chance_together([fit_demand(profile, question, gap_mm)], shared_of(profile))
    stated = answer(profile, question).chance
    assert together.chance == pytest.approx(stated, abs=4 * together.error + 5e-4)
