"""What entries would mean if they were in the wrong rows: the changed designs themselves."""

from dataclasses import replace

import numpy as np
import pytest
from support.small_coupon import small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.learning.checking.misplaced import slipped_gauges, turned_prints
from coupons.learning.design import design_of

TURNED = {"x": "y", "y": "x", "z": "z", "x+y": "x-y", "x-y": "x+y", None: None}


class Asked:
    """Evidence that keeps the designs that it is asked about."""

    def __init__(self, runs):
        self.design, self.changed, self.typed = design_of(runs), [], []

    def log_odds(self, changed, typed=None):
        self.changed.append(changed)
        self.typed.append(typed)
        return 0.0


def turned_coupon():
    """The small coupon, laid on the bed turned by a right angle."""
    coupon = small_coupon()
    features = tuple(
        each.model_copy(update={"direction": type(each.direction)(TURNED[each.direction])})
        for each in coupon.features
    )
    return coupon.model_copy(update={"features": features})


def test_a_print_that_was_turned_has_the_effects_of_the_other_axes_and_the_others_stay():
    run = as_if_done(small_coupon())
    axes = tuple(replace(size, along=TURNED[size.along]) for size in run.sizes)
    really = replace(run, coupon=turned_coupon(), sizes=axes)
    asked = Asked([run, run])
    list(turned_prints(asked, [run, run]))
    for changed, runs in zip(asked.changed, ([really, run], [run, really]), strict=True):
        expected = design_of(runs)
        assert changed.sizes.keys == expected.sizes.keys
        assert changed.sizes.effects == pytest.approx(expected.sizes.effects)
        assert changed.readings.effects == pytest.approx(expected.readings.effects)
    assert not np.allclose(asked.changed[0].readings.effects, asked.design.readings.effects)


def test_a_single_print_cannot_have_been_turned():
    run = as_if_done(small_coupon())
    assert list(turned_prints(Asked([run]), [run])) == []


def test_a_gauge_one_place_on_loses_the_one_trial_that_has_no_place_there():
    run = as_if_done(small_coupon())
    run = replace(run, fits=tuple(replace(fit, row=n) for n, fit in enumerate(run.fits, start=2)))
    asked = Asked([run])
    found = list(slipped_gauges(asked, [run]))
    gauges = [at for at, one in enumerate(found) if one.names[0] == "G1"]
    name = [key[1] for key in asked.design.sizes.keys]
    tried = []
    for at in gauges:
        trials = asked.changed[at].trials
        pairs = [(name[i], name[e]) for i, e in zip(trials.internal, trials.external, strict=True)]
        tried.append(sorted(slot for slot, mate in pairs if mate == "G1"))
        assert len(asked.typed[at].trials.internal) == len(pairs), "both without it"
    # A1 to A4 were tried. One on, they are A2 to A4; one back, A1 to A3.
    assert tried == [["A2", "A3", "A4"], ["A1", "A2", "A3"]]
