"""Limits, hardware and the grade that a scatter reaches, each worked out by hand.

Values of the standards are those of the tables' sources: ISO 286-1, ISO 273, ISO 965 class 6g, ISO
4032, ISO 7089 and ISO 492, named with their published copies in ``standards/data``.
"""

import math

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.capability import grades_reached, meet_limits
from coupons.answering.chances.one_print import log_sd_after
from coupons.answering.chances.prints import made_by
from coupons.answering.standards.hardware import Hardware, hardware, two_holes
from coupons.answering.standards.iso286 import (
    fit_limits,
    it_grade_reached,
    limits,
    tolerance_mm,
)
from coupons.answering.standards.numeric_limits import numeric_limits, two_bands
from coupons.answering.standards.published import rows, step_of
from coupons.errors import AnswerError
from coupons.learning.profile import LogSpread, MeasuredRange
from coupons.terms import Direction, Form, MovingBody

X, Y, Z = Direction.X, Direction.Y, Direction.Z


@pytest.mark.parametrize(
    ("code", "lower_mm", "upper_mm"),
    [
        # Over 10 and up to 18 mm: IT6 11, IT7 18, IT9 43 µm; d −50, g −6, k +1, n +12, p +18 µm.
        ("12 H7", 12.0, 12.018),
        ("12 h7", 11.982, 12.0),
        ("12 d9", 11.907, 11.95),
        ("12 g6", 11.983, 11.994),
        ("12 k6", 12.001, 12.012),
        ("12 k8", 12.0, 12.027),
        ("12 n6", 12.012, 12.023),
        ("12 p6", 12.018, 12.029),
        ("120 H14", 120.0, 120.87),
        ("0.5 H6", 0.5, 0.506),
        ("499.9 ±0.1", 499.8, 500.0),
        ("0.2 ±0.1", 0.1, 0.3),
    ],
)
def test_a_letter_is_a_distance_and_a_number_is_a_width(code, lower_mm, upper_mm):
    band = limits(code)
    assert (band.lower_mm, band.upper_mm) == (lower_mm, upper_mm)
    assert band.width_mm == pytest.approx(upper_mm - lower_mm)
    assert band.middle_mm == pytest.approx((lower_mm + upper_mm) / 2)


def test_the_side_and_the_grade_are_those_of_the_letter():
    assert (limits("12 H10").grade_number, limits("12 H10").is_hole) == (10, True)
    assert (limits("12 h6").grade_number, limits("12 h6").is_hole) == (6, False)
    assert (limits("12 ±0.1").grade_number, limits("12 ±0.1").is_hole) == (None, None)


def test_a_fit_s_gaps_are_those_of_the_ends_that_meet():
    # 20 H7/g6: 0 to 21, −7 to −20 µm.
    fit = fit_limits("20 H7/g6")
    assert (fit.gap_min_mm, fit.gap_max_mm) == (pytest.approx(0.007), pytest.approx(0.041))
    press = fit_limits("20H7p6")
    assert press.gap_min_mm == pytest.approx(-0.035), "negative is an interference"
    numbers = fit_limits("12 +0.1/0 / 11.8 ±0.1")
    assert (numbers.gap_min_mm, numbers.gap_max_mm) == (pytest.approx(0.1), pytest.approx(0.4))


@pytest.mark.parametrize("code", ["120.1 H9", "0 H9", "500 ±0.1", "0.1 ±0.1", "0.1 ±0.2"])
def test_sizes_beyond_the_tables_and_below_nothing_are_refused(code):
    with pytest.raises(AnswerError):
        limits(code)


@pytest.mark.parametrize(
    ("width_mm", "size_mm", "grade"),
    [
        (0.043, 12, 9),
        (0.0430005, 12, 9),  # half a nanometre is no wider grade
        (0.043002, 12, 10),
        (0.011, 12, 6),
        (0.0, 12, 6),
        (0.43, 12, 14),
        (0.4301, 12, None),
        (0.036, 10, 9),
        (0.036, 10.001, 9),
        (0.0361, 10, 10),
        (0.87, 120, 14),
    ],
)
def test_the_finest_grade_that_a_width_fits_into(width_mm, size_mm, grade):
    assert it_grade_reached(width_mm, size_mm) == grade


def test_grades_are_from_six_to_fourteen():
    assert [tolerance_mm(n, 3) for n in (6, 14)] == [0.006, 0.25]
    for n in (5, 15):
        with pytest.raises(AnswerError, match=f"got grade {n}"):
            tolerance_mm(n, 3)
    for size_mm in (0, 121, math.nan, math.inf):
        with pytest.raises(AnswerError):
            tolerance_mm(9, size_mm)


def test_a_step_is_over_its_first_number_and_includes_its_second():
    steps = rows("iso286_it_grades")
    found = [step_of(mm, steps) for mm in (0.0, 0.001, 3.0, 3.001, 120.0, 120.001)]
    ends = [row and row["to_incl_mm"] for row in found]
    assert ends == [None, "3", "3", "6", "120", None]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("20 +0.1/-0.05", ("20 +0.1/-0.05", 20.0, 19.95, 20.1)),
        ("20 -0.2 mm / 0", ("20 0/-0.2", 20.0, 19.8, 20.0)),
        ("19.8 to 20.1", ("19.8..20.1", 19.95, 19.8, 20.1)),
        ("20 ± 0.1 mm", ("20 ±0.1", 20.0, 19.9, 20.1)),
        ("20 ±0.000002", ("20 ±2e-06", 20.0, 19.999998, 20.000002)),
        ("20 H7", None),
    ],
)
def test_limits_as_numbers_have_one_spelling(text, found):
    assert numeric_limits(text) == found


def test_two_bands_are_told_apart():
    assert two_bands("20 +0.1/0 and 20 -0.1/-0.2") == ("20 +0.1/0", "20 -0.1/-0.2")
    assert two_bands("20 +0.1/0 / ±0.2") == ("20 +0.1/0", "20 ±0.2")
    assert two_bands("20 +0.1/0 / 0/-0.2") == ("20 +0.1/0", "20 0/-0.2")
    assert two_bands("20 H7 / 20 ±0.1") == ("", "")
    assert two_bands("20") == ("", "")


@pytest.mark.parametrize(
    ("text", "piece"),
    [
        ("pin 8 m6", ("pin 8 m6", Form.PIN, 8.0, 8.006, 8.015, "ISO 286-1 m6")),
        ("PIN 7,98 +-0,02", ("pin 7.98 ±0.02", Form.PIN, 7.98, 7.96, 8.0, "measured by hand")),
        ("pin 8 +0.1/0", ("pin 8 +0.1/0", Form.PIN, 8.0, 8.0, 8.1, "limits as given")),
        (
            "screw m3",
            ("screw M3", Form.PIN, 3.0, 2.874, 2.98, "ISO 965 class 6g, major diameter"),
        ),
        ("nut M4", ("nut M4", Form.TONGUE, 7.0, 6.78, 7.0, "ISO 4032 across flats")),
        (
            "head M4",
            (
                "head M4",
                Form.TONGUE,
                7.0,
                6.78,
                7.0,
                "ISO 4014 grade A across flats, from memory",
            ),
        ),
        (
            # h14 over 6 and up to 10 mm is 0.36 mm.
            "washer M4",
            (
                "washer M4",
                Form.PIN,
                9.0,
                8.64,
                9.0,
                "ISO 7089 outside diameter; h14 from memory",
            ),
        ),
        (
            "bearing bore 8",
            (
                "bearing bore 8",
                Form.HOLE,
                8.0,
                7.992,
                8.0,
                "ISO 492 Normal class, mean diameter",
            ),
        ),
        (
            "bearing outer 22",
            (
                "bearing outer 22",
                Form.PIN,
                22.0,
                21.991,
                22.0,
                "ISO 492 Normal class, mean diameter",
            ),
        ),
    ],
)
def test_a_piece_has_its_form_its_limits_and_their_source(text, piece):
    name, form, nominal_mm, lower_mm, upper_mm, source = piece
    found = hardware(text)
    assert (found.name, found.form, found.nominal_mm) == (name, form, nominal_mm)
    assert (found.lower_mm, found.upper_mm) == pytest.approx((lower_mm, upper_mm), abs=1e-9)
    assert (found.source, found.printed, found.series) == (source, None, "")
    assert found.alone == found
    assert found.size_mm == pytest.approx((lower_mm + upper_mm) / 2)
    # A size that lies anywhere between two ends has their distance / √12 as its sd.
    assert found.sd_mm == pytest.approx((upper_mm - lower_mm) / math.sqrt(12))
    inside = form is not Form.HOLE
    assert found.move is (MovingBody.INTERNAL if inside else MovingBody.EXTERNAL)
    flat = form is Form.TONGUE
    assert found.forms == ((Form.SLOT, Form.TONGUE) if flat else (Form.HOLE, Form.PIN))


@pytest.mark.parametrize(
    ("series", "code"), [("fine", "3.2 H12"), ("medium", "3.4 H13"), ("COARSE", "3.6 H14")]
)
def test_a_series_gives_a_screw_its_hole(series, code):
    found = hardware(f"screw M3 {series}")
    assert found.printed == limits(code)
    assert (found.series, found.name) == (series.lower(), f"screw M3 {series.lower()}")
    assert found.alone == hardware("screw M3")
    problem = two_holes(found, "fit slide")
    assert str(problem) == (
        f"hardware: expected either {found.name}, whose standard sets the hole ({code}), or a fit, "
        f"got fit slide as well. Leave out fit slide for the hole of the standard, or leave out "
        f"{found.series} for the fit."
    )
    assert two_holes(found.alone, "fit slide") is None


@pytest.mark.parametrize(
    "text",
    [
        "pin 1000 ±0.01",
        "pin 0.5 ±0.01",
        "pin 8 ±3.99",
        "bearing bore 2.6",
        "bearing bore 120",
        "bearing outer 6.1",
    ],
)
def test_the_last_sizes_that_are_read(text):
    assert isinstance(hardware(text), Hardware)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("pin 1000.1 ±0.01", "a size and a half width well below it, got pin 1000.1 ±0.01"),
        ("pin 8 ±4", "a size and a half width well below it, got pin 8 ±4. Check both numbers"),
        ("bearing bore 2.5", "a bearing bore diameter over 2.5 and up to 120 mm, got 2.5."),
        ("bearing bore 120.5", "got 120.5. For others, write a measured size as pin 22.01 ±0.01"),
        ("bearing outer 6", "a bearing outer diameter over 6 and up to 120 mm, got 6."),
        ("pin 8 H7", "the class of a shaft, such as m6, h6 or h8, got pin 8 H7. Capital letters"),
        ("screw M3.6", "got 'screw M3.6'. Choose one of these"),
    ],
)
def test_the_first_sizes_that_are_not(text, says):
    with pytest.raises(AnswerError) as caught:
        hardware(text)
    assert says in caught.value.message


def measured(form, low_mm, high_mm, lies=X):
    return MeasuredRange(form=form, direction=lies, low_mm=low_mm, high_mm=high_mm)


def profile_with(scatters, *ranges, log_sds=None, **changes):
    """Return a profile whose scatters are nothing but for some, known but for some."""
    profile = known_profile(measured=ranges, **changes)
    spreads = {
        name: LogSpread(median_mm=scatters.get(name, 1e-9), log_sd=(log_sds or {}).get(name, 1e-9))
        for name in profile.scatters
    }
    return profile.model_copy(update={"scatters": spreads})


def test_sizes_are_split_at_the_steps_of_the_standard():
    def ends(low_mm, high_mm):
        profile = profile_with({"tau": 0.004}, measured(Form.SLOT, low_mm, high_mm))
        return [(reach.low_mm, reach.high_mm) for reach in grades_reached(profile)]

    assert ends(12, 18) == [(12, 18)]
    assert ends(12, 18.5) == [(12, 18), (18, 18.5)]
    assert ends(10, 12) == [(10, 10), (10, 12)], "10 mm ends the step before"
    assert ends(10.5, 12) == [(10.5, 12)]
    assert ends(4, 4) == [(4, 4)]


def test_six_sds_hold_what_a_feature_and_its_print_have_of_their_own():
    slot = measured(Form.SLOT, 12, 25)
    for scatters, bands in (
        # 6 × 0.004; 6 × 0.003 × √(1 + ½²); a ratio of 0.001 at the largest size of each step.
        ({"tau": 0.004}, (0.024, 0.024)),
        ({"rho": 0.003}, (0.018 * math.sqrt(1.25),) * 2),
        ({"rho_scale": 0.001}, (0.108, 0.15)),
    ):
        found = grades_reached(profile_with(scatters, slot))
        assert [reach.band_mm for reach in found] == pytest.approx(bands, rel=1e-5)
    upright = profile_with({"tau_z": 0.004, "tau": 0.1}, measured(Form.SLOT, 12, 18, Z))
    (reach,) = grades_reached(upright)
    assert reach.band_mm == pytest.approx(0.024, rel=1e-4), "along z only what is along z"


def test_what_is_not_known_of_a_scatter_is_in_percentiles_and_confidences():
    # A scatter of median 0.004 mm whose logarithm has an sd of 0.5: of its six sds, 0.024 mm, the
    # tenth percentile is e^(−0.5 × 1.2816) times that. IT7 (0.018 mm) is reached where the
    # logarithm is ln(0.018/0.024) = −0.288 or less: 28.3 %; IT8 (0.027 mm) in 59.3 %.
    slot = measured(Form.SLOT, 12, 18)
    profile = profile_with({"tau": 0.004}, slot, log_sds={"tau": 0.5})
    (reach,) = grades_reached(profile)
    tenth, median, ninetieth = (reach.quantiles_mm[n] for n in (10, 50, 90))
    factor = math.exp(0.5 * 1.2816)
    assert (tenth, ninetieth) == pytest.approx((0.024 / factor, 0.024 * factor), rel=0.02)
    assert median == pytest.approx(reach.band_mm) == pytest.approx(0.024, rel=0.02)
    assert len(reach.quantiles_mm) == 101
    assert (reach.grade, reach.confidence) == (8, reach.confidences[8])
    assert reach.confidences[7] == pytest.approx(0.283, abs=0.015)
    assert reach.confidences[8] == pytest.approx(0.593, abs=0.015)
    assert set(reach.confidences) == set(range(6, 15))
    assert reach.confidence_within(0.027) == pytest.approx(reach.confidences[8], abs=0.006)
    # A second print teaches nothing of what features have of their own.
    assert reach.after_mm == pytest.approx((tenth, ninetieth), rel=1e-6)


def test_a_second_print_narrows_what_prints_differ_by():
    slot = measured(Form.SLOT, 12, 18)
    profile = profile_with({"rho": 0.004}, slot, log_sds={"rho": 0.5})
    (reach,) = grades_reached(profile)
    left = log_sd_after(profile, "rho")
    assert left < 0.5
    middle = 0.024 * math.sqrt(1.25)
    ends = [middle * math.exp(sign * 1.2816 * left) for sign in (-1, 1)]
    assert reach.after_mm == pytest.approx(ends, rel=0.02)
    assert reach.after_mm[0] > reach.quantiles_mm[10]
    assert reach.after_mm[1] < reach.quantiles_mm[90]


def test_what_no_print_showed_counts_as_a_share_of_the_variance():
    # τ² = 4, ρ²·1.25 = 5 in thousandths squared; each mean square is e^(2·sd²) above its median's.
    slot = measured(Form.SLOT, 12, 18)
    scatters = {"tau": 0.002, "rho": 0.002}

    def assumed(**log_sds):
        (reach,) = grades_reached(profile_with(scatters, slot, log_sds=log_sds))
        return reach.assumed

    of_rho = 5 * math.exp(2 * 0.5**2)
    assert assumed(rho=0.5) == pytest.approx(of_rho / (4 + of_rho), rel=1e-3)
    assert assumed(rho=0.1) == 0
    of_tau = 4 * math.exp(2 * 0.6**2)
    assert assumed(tau=0.6) == pytest.approx(of_tau / (of_tau + 5), rel=1e-3)


def test_a_band_wider_than_the_coarsest_grade_has_none():
    # IT14 over 10 and up to 18 mm is 0.43 mm: six times 0.0717.
    slot = measured(Form.SLOT, 12, 18)
    (wide,) = grades_reached(profile_with({"tau": 0.0718}, slot))
    assert (wide.grade, wide.confidence, wide.confidences[14]) == (None, 1.0, 0.0)
    (last,) = grades_reached(profile_with({"tau": 0.0716}, slot))
    assert (last.grade, last.confidence) == (14, 1.0)


def test_only_what_is_asked_for_is_graded():
    slot, pin = measured(Form.SLOT, 12, 18), measured(Form.PIN, 12, 18)
    profile = profile_with({"tau": 0.004}, slot, pin)
    assert [reach.form for reach in grades_reached(profile)] == [Form.SLOT, Form.PIN]
    assert [reach.form for reach in grades_reached(profile, [pin])] == [Form.PIN]
    assert grades_reached(profile, []) == ()


@pytest.mark.slow
def test_each_side_is_drawn_by_the_printer_that_makes_it_and_lies_as_it_does():
    ranges = [measured(form, 11, 13, lies) for form in Form for lies in (X, Y)]
    here = known_profile(measured=tuple(ranges))
    grown = {"growth_ext": here.means["growth_ext"] + 0.05}
    there = known_profile(grown, measured=tuple(ranges), machine="attic-1")
    fit = fit_limits("12 H14/d14")
    one = meet_limits(here, fit, Form.SLOT, Form.TONGUE, X)
    assert one.is_one_print
    assert (one.hole.question.form, one.shaft.question.form) == (Form.SLOT, Form.TONGUE)
    assert one.hole.question.limits == fit.hole
    assert one.shaft.question.printed_mm == fit.shaft.middle_mm
    assert {(reach.form, reach.direction) for reach in one.reached} == {
        (Form.SLOT, X),
        (Form.TONGUE, X),
    }
    two = meet_limits(here, fit, Form.SLOT, Form.TONGUE, X, Y, made_by(here, None, there))
    assert not two.is_one_print
    assert two.hole == one.hole
    # 0.05 mm more on each of two faces; drawn in steps of 0.02 mm, and y grows unlike x.
    assert two.shaft.drawn_mm == pytest.approx(one.shaft.drawn_mm - 0.1, abs=0.03)
    assert (two.shaft.question.direction, two.shaft.origin.machine) == (Y, "attic-1")
    assert {(reach.form, reach.direction) for reach in two.reached} == {
        (Form.SLOT, X),
        (Form.TONGUE, Y),
    }
    assert len(two.reached) == 2
    assert np.isfinite(two.both.chance)
    assert repr(one) == (
        f"<LimitsAnswer to 12 H14/12 d14: draw slot {one.hole.drawn_mm:g} mm, tongue "
        f"{one.shaft.drawn_mm:g} mm; {100 * one.both.chance:.0f} % chance>"
    )
