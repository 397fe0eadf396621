import math

import numpy as np
import pytest

from coupons.answering.standards.hardware import hardware
from coupons.errors import AnswerError
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.terms import Form


@pytest.mark.parametrize(
    ("text", "name", "form"),
    [
        ("pin 8 m6", "pin 8 m6", Form.PIN),
        ("Pin 8m6", "pin 8 m6", Form.PIN),
        ("pin 8,0 h8", "pin 8 h8", Form.PIN),
        ("pin 7.98 ±0.01", "pin 7.98 ±0.01", Form.PIN),
        ("pin 7,98 +-0,01", "pin 7.98 ±0.01", Form.PIN),
        ("screw m3", "screw M3", Form.PIN),
        ("screw M3 Medium", "screw M3 medium", Form.PIN),
        ("nut M4", "nut M4", Form.TONGUE),
        ("head M4", "head M4", Form.TONGUE),
        ("washer M4", "washer M4", Form.PIN),
        ("bearing outer 22", "bearing outer 22", Form.PIN),
        ("bearing bore 8", "bearing bore 8", Form.HOLE),
    ],
)
def test_kinds(text, name, form):
    piece = hardware(text)
    assert (piece.name, piece.form) == (name, form)
    assert piece.lower_mm < piece.size_mm < piece.upper_mm
    assert piece.source


def test_sd_is_that_of_sizes_spread_evenly_over_the_band():
    piece = hardware("screw M3")
    draws = np.random.default_rng(4).uniform(piece.lower_mm, piece.upper_mm, 200_000)
    assert piece.sd_mm == pytest.approx(draws.std(), rel=0.01)
    assert piece.size_mm == pytest.approx(draws.mean(), abs=3 * piece.sd_mm / math.sqrt(200_000))


def test_nominal_is_what_it_is_called_by():
    assert hardware("screw M3").nominal_mm == 3
    assert hardware("nut M3").nominal_mm == 5.5
    assert hardware("pin 8 h8").nominal_mm == 8


def test_only_a_screw_with_a_series_has_limits_for_the_printed_hole():
    assert hardware("screw M3 medium").printed.code == "3.4 H13"
    assert hardware("screw M3").printed is None
    assert hardware("pin 8 m6").printed is None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "one of pin, screw, nut, head, washer, bearing"),
        ("bolt M3", "one of pin, screw"),
        ("pin", "a size and a tolerance"),
        ("pin 8", "such as 8 m6, 8 h6 or 8 h8"),
        ("pin 8 H7", "the class of a shaft"),
        ("pin 8 z6", "for 8 mm: H or d e f"),
        ("pin 0 m6", "a size over 0"),
        ("pin 0 ±0.01", "a size and a half width"),
        ("pin 1 ±1", "a size and a half width"),
        ("screw", "screw with one of M1.6 M2 M2.5"),
        ("screw M9", "screw with one of M1.6 M2 M2.5"),
        ("screw M3 snug", "one of fine, medium, coarse after screw M3, got snug"),
        ("nut M3.7", "nut with one of M1.6"),
        ("washer M2", "washer with one of M3 M4"),
        ("bearing 608", "bearing outer or bearing bore, and a diameter"),
        ("bearing inner 8", "bearing outer or bearing bore"),
        ("bearing bore 2", "over 2.5 and up to 120 mm"),
        ("bearing outer 500", "over 6 and up to 120 mm"),
    ],
)
def test_hardware_that_does_not_exist(text, says):
    with pytest.raises(AnswerError) as caught:
        hardware(text)
    assert says in caught.value.message


def test_the_shipped_coupon_takes_its_pieces_from_the_same_tables():
    # Two rooms hold limits of bought pieces: what is printed for a trial, and what is asked later.
    coupon = record(plan_coupon(load_spec("hardware")))
    # Screws and inserts that hold themselves have no published holes.
    tried = {trial.mate for trial in coupon.trials}
    pieces = {piece.name: piece for piece in coupon.hardware if piece.id in tried}
    same = {
        "dowel pin 8 m6": "pin 8 m6",
        "drill shank 5 h8": "pin 5 h8",
        "screw M3, thread 6g": "screw M3",
        "ball bearing, outside 22": "bearing outer 22",
        "ball bearing, bore 8": "bearing bore 8",
    }
    assert set(pieces) == set(same)
    for name, ask in same.items():
        assert pieces[name].size_mm == pytest.approx(hardware(ask).size_mm, abs=1e-6), name
        assert pieces[name].sd_mm == pytest.approx(hardware(ask).sd_mm, abs=1e-6), name
        assert pieces[name].form is hardware(ask).form
