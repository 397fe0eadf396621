"""Values that no real printer has are told, six prior sds from what is usual."""

import math

import pytest
from support.known_profile import known_profile

from coupons.learning.impossible import doubts


@pytest.mark.parametrize(
    ("means", "told"),
    [
        # −0.3 % ± 6 · 0.5 %; 0.04 ± 6 · 0.08 mm.
        ({"scale_x": 0.0269}, ()),
        ({"scale_x": 0.0271}, ("scale_x 2.71 %",)),
        ({"scale_y": -0.0329}, ()),
        ({"scale_y": -0.0331}, ("scale_y −3.31 %",)),
        ({"growth_ext": 0.519}, ()),
        ({"growth_ext": 0.521}, ("growth_ext 0.521 mm",)),
        ({"growth_ext": -0.45, "skew": 0.02}, ("skew 2 %", "growth_ext −0.45 mm")),
    ],
)
def test_terms_far_from_usual_are_told_with_their_unit(means, told):
    assert doubts(known_profile(means)) == told


@pytest.mark.parametrize(("share", "told"), [(0.99, ()), (1.01, ("tau 1.11 mm",))])
def test_a_scatter_six_sds_of_its_logarithm_larger_than_usual_is_told(share, told):
    limit_mm = 0.03 * math.exp(6 * 0.6)
    assert doubts(known_profile(scatters={"tau": share * limit_mm})) == told
    assert doubts(known_profile(scatters={"tau": 0.03 / 1000})) == (), "nothing wrong with a small"
