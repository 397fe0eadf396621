"""What press and clip checks say exactly at their limits, and in their errors."""

import math

import pytest
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.strength.asked import ask_clip, ask_press
from coupons.answering.strength.press import fit_strain
from coupons.answering.strength.press_and_clip import (
    ClipSection,
    PressBody,
    bending_force_n,
    cantilever_strain,
    check_press,
    check_snap,
    push_force_n,
)
from coupons.answering.strength.quantities import (
    BORE,
    LENGTH,
    Quantity,
    parse_share,
    parse_stress_mpa,
    read_quantities,
)
from coupons.errors import AnswerError
from coupons.terms import Form

PLASTIC, DOWEL = PressBody(16, 3500), PressBody(0, math.inf)


def test_a_strain_of_just_the_limit_is_within_it():
    # 0.1 mm on 10 mm is 1 %.
    press = check_press(0.1, 10, PLASTIC, DOWEL, strain_limit=0.01)
    assert (press.strain, press.within_limit) == (0.01, True)
    # 3·2·3 / (2·15²) is 4 %.
    snap = check_snap(3, 15, 2, strain_limit=0.04)
    assert (snap.strain, snap.within_limit) == (0.04, True)
    assert snap.deflection_limit_mm == pytest.approx(3)


def test_a_press_tells_what_its_ring_bears():
    found = check_press(0.1, 10, PLASTIC, DOWEL, strain_limit=0.02)
    # (16² + 10²)/(16² − 10²) = 356/156; a rigid pin leaves 0.01·3500/(356/156 + 0.36) MPa.
    pressure = 35 / (356 / 156 + 0.36)
    assert found.interference_limit_mm == pytest.approx(0.2)
    assert found.pressure_mpa == pytest.approx(pressure)
    assert found.ring_stress_mpa == pytest.approx(pressure * 356 / 156)


def test_a_clip_that_tapers_to_half_bends_further_by_what_beam_theory_gives():
    # The tip of an even clip of root h goes P·l³/(3·E·I). With a height that falls to half along
    # it, the integral of (l − x)²/h(x)³ is 24·ln 2 − 15 = 1.63553 times as large, for t = x/l:
    # ∫ 3·(1 − t)²/(1 − t/2)³ dt from 0 to 1.
    even, half = (cantilever_strain(2, 20, 3, taper) for taper in ("none", "half"))
    assert even == pytest.approx(1.5 * 3 * 2 / 400)
    assert even / half == pytest.approx(24 * math.log(2) - 15, abs=1e-5)


def test_a_push_grows_with_friction_and_slope_until_the_hook_jams():
    assert push_force_n(10, 0.0, 45) == pytest.approx(10)
    # tan 45° = 1: (0.5 + 1)/(1 − 0.5) = 3.
    assert push_force_n(10, 0.5, 45) == pytest.approx(30)
    with pytest.raises(AnswerError) as jammed:
        push_force_n(10, 0.5, 64)
    assert str(jammed.value) == (
        "The hook jams: with a friction of 0.5, the slope of its face must be under 63 degrees, "
        "not 64."
    )  # tan 63.4° = 2
    slope = math.tan(math.radians(60))
    with pytest.raises(AnswerError, match="must be under 60 degrees, not 60"):
        push_force_n(10, 1 / slope, 60)


def test_a_bending_force_is_that_of_the_root():
    # b·h²/6 = 6·3²/6 = 9 mm³; 9·2000·0.01/20 = 9 N.
    assert bending_force_n(0.01, 20, ClipSection(6, 3), 2000) == pytest.approx(9)
    with pytest.raises(AnswerError) as refused:
        bending_force_n(0.01, -20, ClipSection(0, 3), math.inf)
    assert [one.where for one in refused.value.problems] == [
        "length_mm",
        "width_mm",
        "modulus_mpa",
    ]


def test_what_is_not_said_of_a_press_is_what_is_usual():
    said = {"size": "10", "interference": "0.1", "ring-outside": "16", "ring-modulus": "3500"}
    said |= {"strain-limit": "2 %"}
    usual = {"ring-poisson": "0.36", "pin-bore": "0", "pin-poisson": "0.36"}
    assert ask_press(said) == ask_press(said | usual)
    assert ask_press(said).pressure_mpa == pytest.approx(35 / (356 / 156 + 0.36))
    # A pin of the same plastic, with what is usual of it: 0.01/((356/156 + 1)/3500) MPa.
    soft = ask_press(said | {"pin-modulus": "3500"})
    assert soft.pressure_mpa == pytest.approx(35 / (356 / 156 + 1))


def test_a_clip_tells_as_much_as_is_said_of_it():
    clip = {"deflection": "2", "length": "20", "thickness": "3", "strain-limit": "3 %"}
    assert (ask_clip(clip).bending_n, ask_clip(clip).push_n) == (None, None)
    bent = ask_clip(clip | {"width": "6", "modulus": "2 GPa"})
    # The strain is 1.5·3·2/400 = 0.0225, the force 9·2000·0.0225/20 N.
    assert bent.bending_n == pytest.approx(20.25)
    assert bent.push_n is None
    pushed = ask_clip(clip | {"width": "6", "modulus": "2000", "friction": "0.5", "angle": "45"})
    assert pushed.push_n == pytest.approx(3 * 20.25)
    assert pushed.check.within_limit is True


@pytest.mark.parametrize("one", ["width", "modulus", "friction", "angle"])
def test_numbers_of_a_clip_that_belong_together_come_together(one):
    clip = {"deflection": "2", "length": "20", "thickness": "3", "strain-limit": "3 %"}
    with pytest.raises(AnswerError, match=f"Use --.*{one}.* together, or neither"):
        ask_clip(clip | {one: "0.5"})


def test_a_quantity_begins_above_its_lowest_unless_it_says_so():
    plain = Quantity("a length", "3", lambda text: float(text), 1.0, 4.0)
    assert [plain.allows(mm) for mm in (1.0, 1.01, 4.0, 4.01, None)] == [
        False,
        True,
        True,
        False,
        False,
    ]
    assert (LENGTH.allows(0.0), BORE.allows(0.0), BORE.allows(-0.1)) == (False, True, False)
    assert (LENGTH.allows(2000.0), LENGTH.allows(2000.5), LENGTH.allows(0.5)) == (True, False, True)


@pytest.mark.parametrize(
    ("text", "mpa"),
    [
        ("3500", 3500),
        ("3500 MPa", 3500),
        ("12 N/mm2", 12),
        ("12 n/mm²", 12),
        ("2,5 GPa", 2500),
        ("1e3", 1000),
        ("-3", -3),
        ("3 kPa", None),
        ("MPa", None),
        ("", None),
        ("1e999", None),
        ("1.2.3.4", None),
    ],
)
def test_stresses_are_read_with_their_units(text, mpa):
    assert parse_stress_mpa(text) == mpa


@pytest.mark.parametrize(
    ("text", "share"),
    [("0.5", 0.5), ("50 %", 0.5), ("50 percent", 0.5), ("50 mm", None), ("x", None), ("5%", 0.05)],
)
def test_shares_are_read_as_such_or_as_percent(text, share):
    assert parse_share(text) == share


def test_what_is_not_said_is_not_read():
    assert read_quantities({"length": None, "bore": "0"}, {"length": LENGTH, "bore": BORE}) == {
        "bore": 0.0
    }


def test_of_two_printed_parts_the_hole_is_strained():
    known = Printer(known_profile())
    joint = known.offset("hole/pin", size_mm=10, across="z", drawn_gap_mm=-0.1)
    assert fit_strain(known.profile, joint, 0.01).form is Form.HOLE


@pytest.mark.parametrize("limit", [1e-9, 0.999])
def test_a_limit_is_any_share_between_none_and_all(limit):
    known = Printer(known_profile())
    joint = known.offset("hole/pin", size_mm=10, across="z", drawn_gap_mm=-0.1)
    assert fit_strain(known.profile, joint, limit).limit == limit
