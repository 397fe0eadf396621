import pytest

from coupons.answering.standards.iso286 import fit_limits, it_grade_reached, limits, tolerance_mm
from coupons.errors import AnswerError


@pytest.mark.parametrize("code", ["12H9", "12 H9", " 12.0 mm H9 ", "12,0H9"])
def test_spellings_of_one_code(code):
    assert limits(code) == limits("12 H9")


@pytest.mark.parametrize("code", ["12 H9/d9", "12H9d9", "12 H9 / d9", "12 H9-d9"])
def test_spellings_of_one_fit(code):
    fit = fit_limits(code)
    assert (fit.hole.code, fit.shaft.code) == ("12 H9", "12 d9")
    assert (fit.gap_min_mm, fit.gap_max_mm) == pytest.approx((0.05, 0.136))


@pytest.mark.parametrize(("size", "width_mm"), [(10, 0.036), (10.001, 0.043), (3, 0.025)])
def test_a_size_on_a_step_belongs_to_the_step_that_ends_there(size, width_mm):
    assert tolerance_mm(9, size) == width_mm


def test_k_has_no_deviation_beyond_grade_7():
    assert limits("25 k7").lower_mm == 25.002
    assert limits("25 k8").lower_mm == 25.0


@pytest.mark.parametrize(
    ("width_mm", "grade"), [(0.001, 6), (0.043, 9), (0.0431, 10), (0.43, 14), (0.44, None)]
)
def test_grade_reached(width_mm, grade):
    assert it_grade_reached(width_mm, 12) == grade


@pytest.mark.parametrize(
    ("text", "code", "lower_mm", "upper_mm"),
    [
        ("20 ±0.1", "20 ±0.1", 19.9, 20.1),
        ("20±0,1", "20 ±0.1", 19.9, 20.1),
        ("20 mm +-0.1 mm", "20 ±0.1", 19.9, 20.1),
        ("20 +/- 0.1", "20 ±0.1", 19.9, 20.1),
        ("20 +0.1/0", "20 +0.1/0", 20.0, 20.1),
        ("20 +0.1 / -0.05", "20 +0.1/-0.05", 19.95, 20.1),
        ("20 +0,1 -0,05", "20 +0.1/-0.05", 19.95, 20.1),
        ("20 -0.2/-0.1", "20 -0.1/-0.2", 19.8, 19.9),
        ("20 −0.1/−0.2", "20 -0.1/-0.2", 19.8, 19.9),
        ("20 0/-0.1", "20 0/-0.1", 19.9, 20.0),
        ("19.9..20.1", "19.9..20.1", 19.9, 20.1),
        ("19,9 … 20,1 mm", "19.9..20.1", 19.9, 20.1),
        ("19.9 to 20.1", "19.9..20.1", 19.9, 20.1),
        ("200 ±0.3", "200 ±0.3", 199.7, 200.3),
    ],
)
def test_limits_as_numbers(text, code, lower_mm, upper_mm):
    band = limits(text)
    assert (band.code, band.lower_mm, band.upper_mm) == (code, lower_mm, upper_mm)
    assert (band.grade_number, band.is_hole) == (None, None)
    assert band.nominal_mm in (20.0, 200.0)
    # The usual spelling reads as the same again.
    assert limits(band.code) == band


@pytest.mark.parametrize(
    ("text", "hole", "shaft"),
    [
        ("20 +0.1/0 / 20 -0.1/-0.2", "20 +0.1/0", "20 -0.1/-0.2"),
        ("20 +0.1/0 / -0.1/-0.2", "20 +0.1/0", "20 -0.1/-0.2"),
        ("20 +0.1/0; 20 0/-0.1", "20 +0.1/0", "20 0/-0.1"),
        ("20 ±0.1 / 19.7 ±0.1", "20 ±0.1", "19.7 ±0.1"),
        ("20..20.1 / 19.8..19.9", "20..20.1", "19.8..19.9"),
        ("20 ±0.1", "20 ±0.1", "20 ±0.1"),
    ],
)
def test_limits_of_both_sides_as_numbers(text, hole, shaft):
    fit = fit_limits(text)
    assert (fit.hole.code, fit.shaft.code) == (hole, shaft)


@pytest.mark.parametrize(
    "text", ["20 ±0", "20.1..19.9", "20 +0.1/+0.1", "0.1 ±0.1", "20 ±30", "600 ±0.1", "0..20"]
)
def test_limits_that_no_size_lies_within(text):
    with pytest.raises(AnswerError, match="a lower limit below an upper one"):
        limits(text)


@pytest.mark.parametrize(
    "text", ["20 +0.1", "20 -0.1", "20", "200.5", "+0.1/0", "20 ±", "20 0.1/0.2", "..20", "a..b"]
)
def test_what_is_no_limits_is_told_how_to_write_them(text):
    with pytest.raises(AnswerError, match=r"20 ±0\.1, 20 \+0\.1/0 or 19\.9\.\.20\.1"):
        limits(text)


@pytest.mark.parametrize(
    ("code", "says"),
    [
        ("12 H5", "for 12 mm: H or d e f g h k m n p, each with a grade from 6 to 14, got grade 5"),
        ("12 H15", "got grade 15"),
        ("12 z9", "for 12 mm: H or d e f"),
        ("12 J7", "got J7"),
        ("12 D9", "got D9"),
        ("0 H9", "a size over 0 and up to 120 mm, got 0 mm"),
        ("121 H9", "up to 120 mm, got 121 mm"),
        ("1000000 H9", "got 1e+06 mm"),
        ("-12 H9", "such as 12 H9, got '-12 H9'"),
        ("H9", "a size and a tolerance"),
        ("12", "a size and a tolerance"),
        ("", "a size and a tolerance"),
        ("twelve H9", "a size and a tolerance"),
    ],
)
def test_codes_that_do_not_exist(code, says):
    with pytest.raises(AnswerError) as caught:
        limits(code)
    assert says in caught.value.message


@pytest.mark.parametrize("code", ["12 H9", "12 d9/H9", "12 H9/H9", "12 d9/d9", "H9/d9", "12 /"])
def test_a_fit_needs_a_hole_and_then_a_shaft(code):
    with pytest.raises(AnswerError, match="a size, a hole and a shaft"):
        fit_limits(code)
