"""Places are kept to a millionth of a millimetre, sizes of contact to a ten-thousandth.

Drawn sizes here have seven digits, so that what is rounded to another digit shows.
"""

import math

import pytest
from support.one_series import USUAL, series

from coupons.making.bodies.built_bodies import label
from coupons.making.bodies.contact_area import contact_of
from coupons.making.bodies.field import field_of
from coupons.making.bodies.lettering import width_mm
from coupons.making.bodies.posts import lying, standing
from coupons.making.bodies.proportions import Measures, layers_up, nearest_layers
from coupons.making.bodies.ruler import label_places, rule
from coupons.making.bodies.ruler_bar import Ladder
from coupons.making.bodies.series import Item
from coupons.making.bodies.shapes import Text
from coupons.making.bodies.steps import steps
from coupons.making.bodies.tiles import tile
from coupons.making.bodies.windows import windowed_plate
from coupons.making.packing import arrange
from coupons.terms import Direction, Form

FIRST = 1.75 - 1 + 0.4 * math.sqrt(2)  # where the first label of a rule may begin


def is_kept(value, exact, digits=6, steps_off=1.1):
    """Whether a value has so many digits and no more, and is that near to what it is kept of."""
    unit = 10.0**-digits
    whole = abs(value / unit - round(value / unit)) < 1e-3
    return whole and abs(value - exact) < steps_off * unit


def test_places_of_windows_and_their_plate():
    body = windowed_plate(series("hole", "z", [5.1234567, 6.7654321]))
    one, two, *_ = (feature.centre[0] for feature in body.features)
    # Half a wall, and half of the size and a wall.
    assert is_kept(one, 1.5 + 8.1234567 / 2)
    assert is_kept(two, 1.5 + 8.1234567 + 9.7654321 / 2)
    long, deep = body.parts[0].shape.levels[-1][1][2]
    assert is_kept(deep, 1 + 3.66 + 1 + 1.2 + 6.7654321 + 3)
    assert is_kept(long, 1.5 + 8.1234567 + 9.7654321 / 2 + 6.7654321 / 2 + 2.2 + 6.18 + 1)


def test_places_of_posts():
    body = standing(series("pin", "z", [5.1234567]))
    deep = body.parts[0].shape.levels[-1][1][2][1]
    assert is_kept(deep, 1 + 3.66 + 0.3 + 5.1234567 + 2.4 + 1)
    (pin,) = lying(series("pin", "y", [6.0])).features
    high = 3 * (math.sin(math.radians(25)) + math.cos(math.radians(25))) / 2
    assert is_kept(pin.centre[2], high)
    fine = standing(series("pin", "z", [5.0], measures=Measures(0.4, 0.1234567)))
    # A base of 12 layers and a shoulder of 19, each rounded by itself before.
    assert is_kept(fine.seat_mm, 31 * 0.1234567, steps_off=2.1)
    assert fine.seat_mm == round(fine.seat_mm, 6)


def test_seats_have_six_digits():
    one = series("hole", "z", [5.0])
    assert one.body_of([], [], 1.23456789).seat_mm == 1.234568


def test_lengths_of_loose_pieces_and_fields():
    loose = series("hole", "z", [5.1234567], loose=True, pitch_mm=9.7654321)
    assert field_of(loose, [5.1234567], 3.0, 3.6).length_mm == 12.765432
    fixed = series("hole", "z", [5.1234567], pitch_mm=20.7654321)
    field = field_of(fixed, [5.1234567], 3.0, 3.6)
    # Its cell ends at 22.2654321 mm; half of 1.3 mm, both marks in one line, 1 mm.
    assert is_kept(field.length_mm, 22.2654321 + 0.65 + width_mm("→X↑Y") + 1)
    assert is_kept(field.middles_mm[0], 1.5 + 20.7654321 / 2)


def test_places_of_steps_tiles_and_labels():
    body = steps(series("tongue", "z", [25.0]))
    assert is_kept(body.parts[0].shape.levels[-1][1][2][1], 1 + 3.66 + 0.3 + 25 / 3 + 1)
    fine = Measures(0.2, 0.1)  # capitals of 3.253334 mm
    tall = tile(Item("A1", 10.0), Form.SLOT, Direction.X, 4.1234567, fine)
    narrow = 1 + 3.253334 + 0.8
    (cut,) = (part.shape for part in tall.parts if part.cut)
    assert cut.outline[0][1] == pytest.approx(narrow, abs=1e-9)
    deep = tall.parts[0].shape.levels[0][1][2][1]
    assert deep == round(narrow + 5.6 + 4.1234567, 6)
    text = label("A1", 10 / 3, 1.0, 2.0, USUAL).shape
    assert text.place == (0.243333, 1.0, 2.0)
    assert isinstance(text, Text)


def test_places_of_a_rule():
    sizes = (20.1234567, 40.7654321, 20.1111117)
    items = tuple(Item(f"A{n}", size) for n, size in enumerate(sizes, start=1))
    ladder = Ladder(items, 5.6666667, 6.0, 0.4)
    assert is_kept(ladder.wide_mm, 2 * 5.6666667 + 5)
    assert is_kept(ladder.whole_mm, 81.0000005)
    body = rule("A", Direction.X, 0, ladder, USUAL)
    middles = [feature.centre[0] for feature in body.features[:3]]
    wanted = (20.1234567 / 2, 20.1234567 + 40.7654321 / 2, 60.8888888 + 20.1111117 / 2)
    for middle, exact in zip(middles, wanted, strict=True):
        assert is_kept(middle, exact, steps_off=2.1)
    places = label_places(items, [item.id for item in items], USUAL)
    assert all(is_kept(at, exact, steps_off=0.6) for at, exact in zip(places, wanted, strict=True))
    texts = {p.shape.text: p.shape.place[0] for p in body.parts if isinstance(p.shape, Text)}
    free = ladder.whole_mm - 1 - FIRST - sum(map(width_mm, ("AW", "→X", "↑Y")))
    assert is_kept(texts["AW"], FIRST)
    assert is_kept(texts["→X"], FIRST + width_mm("AW") + free / 2)


def test_rectangles_are_placed_to_a_millionth():
    sizes = [(10.1234567, 30.7654321), (10.0, 20.0), (40.0, 5.0)]
    spots = arrange(sizes, (50.0, 80.0), 4.0)
    assert [(spot.x_mm, spot.y_mm) for spot in spots] == [
        (0.0, 0.0),
        (14.123457, 0.0),
        (0.0, 34.765432),
    ]


def test_proportions_and_layers_have_six_digits():
    assert layers_up(3.1, 0.1234567) == 3.209874
    assert nearest_layers(3.2, 0.1234567) == 3.209874
    fine = Measures(0.2, 0.1)
    assert (fine.letters, fine.cap_mm) == (0.888889, 3.253334)
    # Letters two and a half times as large as the nozzle is wide.
    odd = Measures(0.4567892, 0.2)
    assert (odd.letters, odd.cap_mm) == (1.141973, 4.179621)
    assert (odd.label_clear_mm, odd.label_apart_mm) == (0.913578, 1.583946)


def test_contact_is_kept_to_a_ten_thousandth():
    slot = series("slot", "x", [4.0], depth_mm=3.123456, length_mm=7.765432)
    assert contact_of(slot) == (2.3235, 5.9654)
