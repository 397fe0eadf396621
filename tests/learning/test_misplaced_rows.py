"""Rows of x and y exchanged, and which gauges are looked at: the changed designs themselves."""

from dataclasses import replace

import numpy as np
import pytest
from support.small_coupon import feature, small_coupon

from coupons.answering.next.expected_information import as_if_done
from coupons.learning.checking.misplaced import exchanged_rows, slipped_gauges
from coupons.learning.design import design_of
from coupons.making.record import CouponReading, CouponTrial
from coupons.terms import Jaws

SIZES_MM = (11.8, 12.0, 12.2, 12.4)
# Rows A and C are slots across x, B and D the same across y; G and H are gauges, P is a pin.
TWINS = {"A": "B", "B": "A", "C": "D", "D": "C"}


class Asked:
    """Evidence that keeps the designs that it is asked about."""

    def __init__(self, runs):
        self.design, self.asked = design_of(runs), []

    def log_odds(self, changed, typed=None):
        self.asked.append((changed, typed))
        return float(len(self.asked))


def twin_coupon(second=True, counts=(4, 4, 4, 4)):
    """Each row of slots with one gauge, and a standing pin read along both axes."""
    letters = "ABCD" if second else "AB"
    slots = [
        feature(f"{letter}{n}", "slot", "xyxy"["ABCD".index(letter)], size, role=role)
        for letter, role, count in zip(
            letters, ("fit", "fit", "span", "span"), counts, strict=False
        )
        for n, size in enumerate(SIZES_MM[:count], start=1)
    ]
    gauges = [feature("G1", "tongue", "x", 12.0, role="gauge")]
    gauges += [feature("H1", "tongue", "y", 12.0, role="gauge")]
    pin = feature("P1", "pin", "z", 6.0)
    lying = feature("Q1", "pin", "x", 6.0)
    tried = [(slot.id, {"A": "G1", "B": "H1"}[slot.row]) for slot in slots if slot.row in "AB"]
    readings = [CouponReading(feature=slot.id, jaws=Jaws.INSIDE) for slot in slots]
    readings += [CouponReading(feature="P1", jaws=Jaws.OUTSIDE, along=axis) for axis in "xy"]
    readings += [CouponReading(feature="Q1", jaws=Jaws.OUTSIDE, along="y")]
    return small_coupon(
        features=(*slots, *gauges, pin, lying),
        trials=tuple(CouponTrial(feature=f, mate=m, gap_mm=0.0) for f, m in tried),
        readings=tuple(readings),
    )


def done(coupon):
    run = as_if_done(coupon)
    sizes = tuple(replace(one, row=n) for n, one in enumerate(run.sizes, start=2))
    fits = tuple(replace(one, row=n) for n, one in enumerate(run.fits, start=40))
    return replace(run, sizes=sizes, fits=fits)


def exchanged(run, letters, axes_too):
    """The run as it is if it was typed with these rows, and the axes of rounds, exchanged."""

    def like(name):
        return TWINS[name[0]] + name[1:] if name[0] in letters else name

    axes = {"x": "y", "y": "x", None: None} if axes_too else {"x": "x", "y": "y", None: None}
    sizes = tuple(
        replace(s, feature=like(s.feature), along=axes[s.along] if s.feature == "P1" else s.along)
        for s in run.sizes
    )
    return replace(
        run, sizes=sizes, fits=tuple(replace(f, feature=like(f.feature)) for f in run.fits)
    )


def told(design):
    """What a design says, in the order of its rows: which size was read, tried, and how."""
    keys, readings, trials = design.sizes.keys, design.readings, design.trials
    drawn = design.sizes.drawn
    read = [
        (keys[at], drawn[at], tuple(e))
        for at, e in zip(readings.size, readings.effects, strict=True)
    ]
    tried = [(keys[i], keys[e]) for i, e in zip(trials.internal, trials.external, strict=True)]
    return read, tried


def test_each_pair_of_like_rows_is_tried_by_itself_and_all_with_and_without_the_rounds():
    run = done(twin_coupon())
    asked = Asked([run])
    found = list(exchanged_rows(asked, [run]))
    assert [one.names for one in found] == [
        ("A", "B"),
        ("C", "D"),
        ("A", "B", "C", "D"),
        ("A", "B", "C", "D"),
    ]
    assert [(one.run, one.what) for one in found] == [(0, "rows")] * 4
    assert [one.log_odds for one in found] == [1.0, 2.0, 3.0, 4.0]
    # Readings of A and B are in rows 2 to 9, their trials in 40 to 47.
    assert found[0].rows == (*range(2, 10), *range(40, 48))
    assert found[1].rows == tuple(range(10, 18))
    assert found[2].rows == (*range(2, 18), *range(40, 48))
    meant = [("AB", False), ("CD", False), ("ABCD", True), ("ABCD", False)]
    for (changed, typed), (letters, axes_too) in zip(asked.asked, meant, strict=True):
        assert typed is None, "every entry has its place"
        expected = told(design_of([exchanged(run, letters, axes_too)]))
        read, tried = told(changed)
        assert tried == expected[1]
        assert [one[:2] for one in read] == [one[:2] for one in expected[0]]
        for one, other in zip(read, expected[0], strict=True):
            assert one[2] == pytest.approx(other[2])


def test_only_the_run_itself_is_changed():
    run = done(twin_coupon(second=False))
    asked = Asked([run, run])
    found = list(exchanged_rows(asked, [run, run]))
    assert [one.run for one in found] == [0, 0, 0, 1, 1, 1]
    changed, _ = asked.asked[4]
    expected = design_of([run, exchanged(run, "AB", axes_too=True)])
    assert told(changed)[1] == told(expected)[1]
    for one, other in zip(told(changed)[0], told(expected)[0], strict=True):
        assert one[0] == other[0]
        assert one[2] == pytest.approx(other[2])


def test_entries_without_a_twin_are_left_out_on_both_sides():
    run = done(twin_coupon(second=False))
    # B1 was neither read nor tried: what was typed of A1 has no place to go to.
    sizes = tuple(one for one in run.sizes if one.feature != "B1")
    fits = tuple(one for one in run.fits if one.feature != "B1")
    run = replace(run, sizes=sizes, fits=fits)
    asked = Asked([run])
    list(exchanged_rows(asked, [run]))
    changed, typed = asked.asked[0]
    for design in (changed, typed):
        read, tried = told(design)
        assert len(read) == len(run.sizes) - 1
        assert len(tried) == len(run.fits) - 1
    assert [key for key, _, _ in told(typed)[0]][:3] == [(0, "A2"), (0, "A3"), (0, "A4")]
    assert [key for key, _, _ in told(changed)[0]][:3] == [(0, "B2"), (0, "B3"), (0, "B4")]


@pytest.mark.parametrize(("count", "looked"), [(1, 0), (2, 3)])
def test_rows_that_were_hardly_read_do_not_show_it(count, looked):
    """At least four readings must move; two slots a row make four."""
    run = done(twin_coupon(second=False, counts=(count, count)))
    assert len(list(exchanged_rows(Asked([run]), [run]))) == looked
    fewer = replace(run, sizes=run.sizes[1:])
    assert list(exchanged_rows(Asked([fewer]), [fewer])) == []


def test_rows_of_other_sizes_or_another_count_are_no_twins():
    for counts in ((4, 3), (3, 4)):
        run = done(twin_coupon(second=False, counts=counts))
        assert list(exchanged_rows(Asked([run]), [run])) == []


def test_of_rows_alike_several_times_over_each_has_one_twin():
    coupon = twin_coupon()
    features = tuple(
        one.model_copy(update={"role": "fit"}) if one.role == "span" else one
        for one in coupon.features
    )
    run = done(coupon.model_copy(update={"features": features}))
    found = list(exchanged_rows(Asked([run]), [run]))
    assert [one.names for one in found][:2] == [("A", "B"), ("C", "D")]
    assert len(found) == 4


@pytest.mark.parametrize(("count", "ways"), [(4, 2), (3, 0)])
def test_a_gauge_that_was_tried_in_fewer_than_four_does_not_show_a_slip(count, ways):
    run = done(twin_coupon(second=False))
    fits = tuple(one for one in run.fits if one.mate == "G1")[:count]
    run = replace(run, fits=fits)
    found = list(slipped_gauges(Asked([run]), [run]))
    assert [one.what for one in found] == ["gauge"] * ways
    if ways:
        assert [one.names for one in found] == [("G1", "A1", "A2"), ("G1", "A2", "A1")]
        assert found[0].rows == (40, 41, 42, 43)
        assert [one.log_odds for one in found] == [1.0, 2.0]


def test_a_gauge_tried_twice_in_two_slots_was_tried_in_two():
    run = done(twin_coupon(second=False))
    fits = tuple(one for one in run.fits if one.mate == "G1")[:2]
    run = replace(run, fits=(*fits, *(replace(one, row=one.row + 9) for one in fits)))
    assert list(slipped_gauges(Asked([run]), [run])) == []


def test_the_slots_of_a_gauge_are_ordered_by_size_and_those_of_other_roles_are_none():
    run = done(twin_coupon(second=False))
    features = list(run.coupon.features)
    features[0], features[3] = features[3], features[0]  # the record has them in any order
    features.append(feature("A9", "slot", "x", 11.9, role="span"))
    run = replace(run, coupon=run.coupon.model_copy(update={"features": tuple(features)}))
    asked = Asked([run])
    found = [one for one in slipped_gauges(asked, [run]) if one.names[0] == "G1"]
    assert [one.names for one in found] == [("G1", "A1", "A2"), ("G1", "A2", "A1")]
    changed, typed = asked.asked[0]
    slots = [pair[0] for pair in told(changed)[1] if pair[1] == (0, "G1")]
    assert sorted(slots) == [(0, "A2"), (0, "A3"), (0, "A4")]
    assert len(told(typed)[1]) == len(run.fits) - 1
    assert np.isclose(found[0].log_odds, 1.0)
