"""What becomes of drawings and terms between two profiles, worked out by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.compare.effect_changes import TermChange, compare_terms
from coupons.answering.compare.side_by_side import (
    AnswerChange,
    Verdict,
    compare,
    drifts,
    gap_sd_mm,
)
from coupons.answering.question import Question
from coupons.learning.effects import EFFECTS, TERMS
from coupons.terms import Direction, Form, Grade, Joint

SLIDE = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)


def changed(kept, best, change_mm=0.0, sd_mm=1.0):
    """Return a change whose answers have but a chance."""
    before, after = SimpleNamespace(chance=0.9), SimpleNamespace(chance=best)
    return AnswerChange("joint", SLIDE, before, after, change_mm, sd_mm, kept)


@pytest.mark.parametrize(
    ("kept", "best", "change_mm", "verdict"),
    [
        # A loss of 10 points is none, and 50 % works.
        (0.5, 0.6, 0.0, Verdict.WORKS),
        (0.5, 0.61, 0.0, Verdict.UNCLEAR),
        (0.5, 0.61, 1.97, Verdict.REDRAW),
        (0.5, 0.61, -1.97, Verdict.REDRAW),
        (0.5, 0.61, 1.96, Verdict.UNCLEAR),
        (0.49, 0.5, 0.0, Verdict.NO_WORSE),
        (0.49, 0.5, 5.0, Verdict.NO_WORSE),
        # A gap wanted as a number has no chance to lose.
        (None, 0.9, 1.96, Verdict.WORKS),
        (None, 0.9, 1.97, Verdict.REDRAW),
    ],
)
def test_what_becomes_of_a_drawing_by_its_chance_and_its_change(kept, best, change_mm, verdict):
    assert changed(kept, best, change_mm).verdict is verdict


def test_without_both_answers_nothing_changed():
    none = AnswerChange("joint", SLIDE, None, None)
    assert (none.change_mm, none.sd_mm, none.kept_chance) == (0.0, 0.0, None)
    assert (none.is_changed, none.detectable_mm, none.verdict) == (False, 0.0, None)
    half = AnswerChange("joint", SLIDE, SimpleNamespace(chance=0.9), None)
    assert half.verdict is None


def test_the_uncertainty_of_a_change_is_that_of_both_profiles_together():
    # Of the growth of outer faces alone something is open: 0.5 and 0.2 of 0.08 mm a face. Two
    # faces move the gap by twice as much; two profiles add their squares.
    only = dict.fromkeys(TERMS, 1e-6)
    before, after = (
        known_profile({"growth_ext": g}, only | {"growth_ext": share})
        for g, share in ((0.04, 0.5), (0.06, 0.2))
    )
    (found,) = compare(before, after, {"joint": SLIDE})
    assert gap_sd_mm(before, SLIDE) == pytest.approx(0.08, rel=1e-4)
    assert found.sd_mm == pytest.approx(np.hypot(0.08, 0.032), rel=1e-4)
    assert found.detectable_mm == pytest.approx(2.8 * np.hypot(0.08, 0.032), rel=1e-4)
    (charted,) = drifts([before, after], {"joint": SLIDE})
    assert charted.chart.sds_mm == pytest.approx((0.08, 0.032), rel=1e-4)


def test_a_term_that_changed_is_told_in_its_own_unit():
    # 0.04 ± 0.03 and 0.13 ± 0.04 mm a face: 0.09 ± 0.05, less than 1.96 of it.
    changes = [TermChange("growth_ext", 0.04, after, 0.05) for after in (0.13, 0.15, -0.06)]
    assert [round(c.change, 6) for c in changes] == [0.09, 0.11, -0.10]
    assert [c.is_changed for c in changes] == [False, True, True]
    assert changes[0].detectable == pytest.approx(0.14)
    assert not TermChange("growth_ext", 0.0, 0.98, 0.5).is_changed, "1.96 of it is not more"


def test_a_term_that_keeps_more_than_half_of_its_variance_is_not_compared():
    # 0.70 of the prior's standard deviation is 0.49 of its variance, 0.72 is 0.52.
    shares = {"skew": 0.72, "lost_motion": 0.70, "scale_x": 1.0}
    vague = known_profile(sd_share=shares)
    for pair in ((known_profile(), vague), (vague, known_profile())):
        names = [term.name for term in compare_terms(*pair)]
        assert names == [name for name in EFFECTS if name not in ("skew", "scale_x")]
