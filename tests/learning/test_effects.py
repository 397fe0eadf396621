"""Which effect acts on which feature, by hand calculation."""

import numpy as np
import pytest

from coupons.learning.effects import (
    EFFECTS,
    effect_row,
    effect_rows,
    height_share,
    prior_mean,
    prior_sd,
)
from coupons.terms import Direction, Feature, Form

BETA = {
    "scale_x": -0.002,
    "scale_y": -0.004,
    "scale_z": -0.006,
    "scale_int": 0.0005,
    "skew": 0.001,
    "lost_motion": -0.015,
    "growth_ext": 0.05,
    "growth_int": 0.07,
    "growth_ext_xy": 0.004,
    "growth_int_xy": 0.006,
    "round_ext": 0.01,
    "round_int": 0.03,
    "curl_ext": 0.012,
    "curl_int": 0.06,
    "curl_bend": 0.02,
    "growth_ext_z": 0.11,
    "growth_int_z": 0.13,
    "bed_height": 0.033,
    "first_layer": 0.09,
}

# (feature, along, printed − drawn in mm by hand)
LN2 = 0.6931471805599453
CASES = [
    # Lost motion moves outer and inner sizes alike, the growths across x and y face by face.
    (Feature(Form.TONGUE, 20.0, Direction.X), None, -0.04 + 0.10 - 0.015 + 0.008),
    (Feature(Form.TONGUE, 20.0, Direction.Y), None, -0.08 + 0.10 + 0.015 - 0.008),
    (Feature(Form.SLOT, 20.0, Direction.Y), None, -0.08 + 0.01 - 0.14 + 0.015 + 0.012),
    (Feature(Form.TONGUE, 10.0, Direction.Z), None, -0.06 + 0.22),
    (Feature(Form.TONGUE, 10.0, Direction.Z, on_bed=True), None, -0.06 + 0.22 + 0.033),
    (Feature(Form.SLOT, 10.0, Direction.Z), None, -0.06 - 0.26),
    # Curls go with 5/d; the bend with 5/d · ln(5/d), nothing at 5 mm.
    (Feature(Form.PIN, 10.0, Direction.Z), None, -0.03 + 0.10 + 0.02 - 0.012),
    (Feature(Form.HOLE, 10.0, Direction.Z), None, -0.025 - 0.14 - 0.06 - 0.06 + 0.02 * LN2),
    (Feature(Form.HOLE, 5.0, Direction.Z), None, -0.0125 - 0.14 - 0.06 - 0.12),
    (
        Feature(Form.HOLE, 10.0, Direction.Z),
        "x",
        -0.02 + 0.005 - 0.14 - 0.06 - 0.06 + 0.02 * LN2 - 0.015 - 0.012,
    ),
    # A lying bore is half an in-plane size and half a height.
    (
        Feature(Form.HOLE, 10.0, Direction.X),
        None,
        -0.05 + 0.0025 - 0.07 - 0.13 - 0.06 + 0.0075 + 0.006,
    ),
    (Feature(Form.HOLE, 10.0, Direction.X), "z", -0.06 - 0.26 - 0.06),
    (Feature(Form.TONGUE, 40.0, Direction.XY_PLUS), None, -0.12 + 0.10 + 0.02),
    (Feature(Form.TONGUE, 40.0, Direction.XY_MINUS), None, -0.12 + 0.10 - 0.02),
    (
        Feature(Form.TONGUE, 20.0, Direction.X, at_bed=True),
        None,
        -0.04 + 0.10 + 0.18 - 0.015 + 0.008,
    ),
    (
        Feature(Form.SLOT, 20.0, Direction.X, at_bed=True),
        None,
        -0.04 + 0.01 - 0.14 - 0.18 - 0.015 - 0.012,
    ),
]


@pytest.mark.parametrize(("feature", "along", "error_mm"), CASES)
def test_error_by_hand(feature, along, error_mm):
    beta = np.array([BETA[name] for name in EFFECTS])
    assert effect_row(feature, along) @ beta == pytest.approx(error_mm, abs=1e-12)


def test_the_skew_sign_is_that_of_a_sheared_square():
    # Shear x by 0.001 a mm of y: the + diagonal of a 100 mm square grows, the other shrinks.
    shear = np.array([[1.0, 0.001], [0.0, 1.0]])
    for direction, corner in ((Direction.XY_PLUS, [1, 1]), (Direction.XY_MINUS, [1, -1])):
        drawn = np.array(corner) * 100.0
        grown = np.linalg.norm(shear @ drawn) - np.linalg.norm(drawn)
        row = effect_row(Feature(Form.TONGUE, float(np.linalg.norm(drawn)), direction))
        assert row[EFFECTS.index("skew")] * 0.001 == pytest.approx(grown, rel=2e-3)


def test_rows_at_several_sizes_are_the_rows_one_by_one():
    sizes = np.array([3.0, 5.0, 12.0])
    stacked = effect_rows(Feature(Form.HOLE, 1.0, Direction.Y), sizes)
    single = [effect_row(Feature(Form.HOLE, float(size), Direction.Y)) for size in sizes]
    assert stacked == pytest.approx(np.array(single))


@pytest.mark.parametrize(
    ("feature", "share"),
    [
        (Feature(Form.SLOT, 5, Direction.X), 0.0),
        (Feature(Form.SLOT, 5, Direction.Z), 1.0),
        (Feature(Form.PIN, 5, Direction.Z), 0.0),
        (Feature(Form.PIN, 5, Direction.Y), 0.5),
        (Feature(Form.TONGUE, 5, Direction.XY_MINUS), 0.0),
    ],
)
def test_height_share(feature, share):
    assert height_share(feature) == share


def test_priors_stand_in_the_order_of_the_terms():
    assert len(prior_mean()) == len(prior_sd()) == len(EFFECTS) + 8
    assert prior_mean()[EFFECTS.index("first_layer")] == 0.10
    assert (prior_sd() > 0).all()
