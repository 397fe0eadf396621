"""What gives under a finger and under jaws, each from its formula with figures put in by hand.

A finger pushes with 20 N, jaws with 5 N; the plastic has 2000 N/mm² and a Poisson's ratio of 0.35,
so that its shear modulus is 2000 / 2.7 N/mm².
"""

import math

import pytest

from coupons.making.bodies.proportions import (
    Measures,
    layers_up,
    least_wall_mm,
    line_width_mm,
    nearest_layers,
    room_on,
)
from coupons.making.bodies.ruler_bar import Ladder, ladder_for, reads_off_mm, slope
from coupons.making.bodies.series import Item
from coupons.making.bodies.stiffness import (
    BarSection,
    lean_mm,
    pressed_mm,
    round_length_mm,
    section_of,
    shortening_per_mm2,
    spreading_mm,
    window_deflection_mm,
)

USUAL = Measures(0.4, 0.2)


def exactly(value):
    return pytest.approx(value, rel=1e-9)


def test_a_wall_beside_a_window_is_a_beam_built_in_at_both_ends():
    # F L³ / (192 E I) with I = 5 · 2³ / 12, and F L / (4 k G A) with A = 10 mm² and k = 5/6.
    bending = 20 * 9**3 / (192 * 2000 * (40 / 12))
    shear = 20 * 9 / (4 * 5 / 6 * 2000 / 2.7 * 10)
    assert window_deflection_mm(9.0, 2.0, 5.0) == exactly(bending + shear)


def test_a_block_between_rails_is_a_beam_that_is_free_to_turn():
    # F L³ / (48 E I): blocks of 3 by 6 mm over 5 mm between the rails, I = 6 · 3³ / 12.
    bending = 5 * 5**3 / (48 * 2000 * 13.5)
    shear = 5 * 5 / (4 * 5 / 6 * 2000 / 2.7 * 18)
    assert lean_mm(3.0, 5.0, 6.0) == exactly(bending + shear)


def test_the_wall_of_a_round_counts_within_45_degrees_of_its_thinnest_place():
    assert round_length_mm(8.0) == exactly(8 / math.sqrt(2))


def test_a_load_spreads_by_one_across_for_two_along():
    # dx / (E h w) over the way in which w grows from a to b by 2 · dx / 2, less the bar's own:
    # F / (E h) · (ln(b/a) − (b − a)/b).
    found = spreading_mm(5.0, 15.0, 4.0)
    assert found == exactly(5 / (2000 * 4) * (math.log(3) - 10 / 15))
    slices = 10_000
    step = 10 / slices  # added up slice by slice
    summed = sum(step * (1 / (5 + (k + 0.5) * step) - 1 / 15) for k in range(slices))
    assert found == pytest.approx(5 / (2000 * 4) * summed, rel=1e-6)


ANGLE = (
    ((1.0, 2.0), (7.0, 2.0), (7.0, 4.0), (1.0, 4.0)),  # 6 by 2 mm
    ((1.0, 4.0), (3.0, 4.0), (3.0, 8.0), (1.0, 8.0)),  # 2 by 4 mm on its left end
)


def test_an_angle_has_the_moments_of_its_two_rectangles():
    # Areas 12 and 8, middles (4, 3) and (2, 6): together (3.2, 4.2).
    section = section_of(ANGLE)
    assert section.area_mm2 == exactly(20)
    assert section.middle_mm == (exactly(3.2), exactly(4.2))
    # b h³ / 12 each, and the area by the square of how far its middle is off (Steiner).
    yy = 2 * 6**3 / 12 + 12 * 0.8**2 + 4 * 2**3 / 12 + 8 * 1.2**2
    zz = 6 * 2**3 / 12 + 12 * 1.2**2 + 2 * 4**3 / 12 + 8 * 1.8**2
    yz = 12 * 0.8 * -1.2 + 8 * -1.2 * 1.8
    assert section.second_mm4 == (exactly(yy), exactly(zz), exactly(yz))


def test_a_triangle_has_the_moments_of_the_handbook():
    # Right-angled, legs b = 3 and h = 6: b³h/36, b h³/36, −b²h²/72 about its middle.
    section = section_of((((0.0, 0.0), (3.0, 0.0), (0.0, 6.0)),))
    assert section.area_mm2 == exactly(9)
    assert section.middle_mm == (exactly(1), exactly(2))
    assert section.second_mm4 == (exactly(4.5), exactly(18), exactly(-4.5))


def test_a_bar_shortens_by_compression_and_by_bending_about_both_axes():
    section = BarSection(10.0, (1.0, 2.0), (4.0, 9.0, 0.0))
    # 2 mm beside its middle and 3 mm above it: 1/A + 2²/4 + 3²/9.
    assert shortening_per_mm2(section, (3.0, 5.0)) == exactly(0.1 + 1 + 1)
    assert shortening_per_mm2(section, (-1.0, -1.0)) == exactly(2.1)
    assert shortening_per_mm2(section, (1.0, 2.0)) == exactly(0.1)
    # With a mixed moment of 3: (2² · 9 − 2 · 2 · 1 · 3 + 1² · 4) / (36 − 9).
    mixed = BarSection(10.0, (1.0, 2.0), (4.0, 9.0, 3.0))
    assert shortening_per_mm2(mixed, (3.0, 3.0)) == exactly(0.1 + 28 / 27)
    assert pressed_mm(80.0, mixed, (3.0, 3.0)) == exactly(5 * 80 / 2000 * (0.1 + 28 / 27))


def items(*sizes):
    return tuple(Item(f"A{n}", size) for n, size in enumerate(sizes, start=1))


def test_a_ladder_is_two_rails_and_the_jaws_between_them():
    ladder = Ladder(items(8.0, 7.5, 6.0), 5.0, 4.0, 0.4)
    assert ladder.wide_mm == 15.0
    assert ladder.jaws_mm == (7.5, 2.0)
    assert ladder.whole_mm == 21.5
    plain = Ladder(items(8.0, 7.5, 6.0), 5.0, 4.0, 0.0)
    # Without a chamfer: two rails of 5 by 4 mm, 5 mm apart; a block of 15 by 4 mm.
    assert plain.at_notch.area_mm2 == exactly(40)
    assert plain.at_notch.middle_mm == (exactly(7.5), exactly(2))
    rails = (2 * (4 * 5**3 / 12 + 20 * 25), 10 * 4**3 / 12)
    assert plain.at_notch.second_mm4 == (exactly(rails[0]), exactly(rails[1]), pytest.approx(0))
    assert plain.at_block.second_mm4[:2] == (exactly(4 * 15**3 / 12), exactly(15 * 4**3 / 12))


def test_every_size_of_a_ladder_reads_off_by_what_gives_beside_it():
    ladder = Ladder(items(8.0, 7.0, 6.0, 9.0, 1.5), 5.0, 4.0, 0.0)
    # Pressed on its axis: 5 N over 2000 N/mm² and 60 mm² at blocks, 40 mm² at notches.
    block, notch = 5 / 2000 / 60, 5 / 2000 / 40
    face = 5 / (2000 * 4) * (math.log(3) - 10 / 15)

    def lean(size):
        return 5 * 125 / (48 * 2000 * 4 * size**3 / 12) + 25 / (10 / 3 * 2000 / 2.7 * 4 * size)

    def end(size):
        return lean(size) + face

    wanted = [
        -(8 * block + 2 * face),
        7 * notch + end(8) + end(6),
        -6 * 5 / 2000 / 20,  # so short that it carries the load alone, 5 mm wide and 4 mm high
        9 * notch + end(6) + end(1.5),
        -1.5 * 5 / 2000 / 20,
        -(15.5 * block + 16 * notch + end(8) + end(1.5)),
    ]
    assert -wanted[2] < 6 * block + 2 * face
    assert -wanted[0] < 8 * 5 / 2000 / 20
    off = reads_off_mm(ladder)
    assert off == tuple(exactly(each) for each in wanted)
    # A least-squares line through all of them by drawn size.
    sizes = [8, 7, 6, 9, 1.5, 31.5]
    mean, mean_off = sum(sizes) / 6, sum(off) / 6
    top = sum((s - mean) * (o - mean_off) for s, o in zip(sizes, off, strict=True))
    assert slope(ladder, off) == exactly(top / sum((s - mean) ** 2 for s in sizes))


def test_the_lowest_ladder_that_is_stiff_is_taken():
    short = items(20.0, 100.0, 20.0)
    low = ladder_for(short, 3.0, 3.6, USUAL)
    # A rail carries a line of labels of 3.66 mm, 1 mm from either side; 4.8 mm are 24 layers.
    assert (low.rail_mm, low.high_mm, low.foot_mm) == (pytest.approx(5.66), 4.8, 0.4)
    assert ladder_for(short, 7.0, 3.6, USUAL).rail_mm == 7.0
    assert ladder_for(short, 3.0, 6.1, USUAL).high_mm == 6.2
    assert ladder_for(short, 3.0, 3.6, Measures(0.4, 0.28)).high_mm == 5.04
    # One that no height makes stiff is as high as may be, 10 mm.
    long = items(30.0, 300.0, 30.0, 300.0, 30.0)
    assert ladder_for(long, 3.0, 3.6, USUAL).high_mm == 10.0
    assert ladder_for(long, 3.0, 3.6, Measures(0.4, 0.3)).high_mm == 9.9


@pytest.mark.parametrize("sizes", [(30, 200, 30), (12, 30, 30), (3, 12, 30), (4, 30, 60)])
def test_a_layer_lower_would_give_too_much(sizes):
    ladder = ladder_for(items(*map(float, sizes)), 3.0, 3.6, USUAL)

    def is_stiff(high_mm):
        one = Ladder(ladder.items, ladder.rail_mm, high_mm, 0.4)
        off = reads_off_mm(one)
        return max(map(abs, off)) <= 0.01 and abs(slope(one, off)) <= 5e-5

    assert ladder.high_mm == 10.0 or is_stiff(ladder.high_mm)
    assert ladder.high_mm == 4.8 or not is_stiff(round(ladder.high_mm - 0.2, 6))


def test_heights_are_rounded_to_whole_layers():
    assert [layers_up(mm, 0.2) for mm in (0.1, 0.2, 0.21, 3.0, 3.01)] == [0.2, 0.2, 0.4, 3.0, 3.2]
    assert layers_up(0.6, 0.3) == 0.6, "no layer more for a rounding of the computer"
    assert [nearest_layers(mm, 0.2) for mm in (0.09, 0.1, 0.29, 0.3, 0.5)] == [
        0.0,
        0.2,
        0.2,
        0.4,
        0.6,
    ]
    assert [nearest_layers(mm, 0.2) for mm in (-0.1, -0.11, -0.3)] == [0.0, -0.2, -0.2]


def test_what_follows_nozzle_and_layers():
    assert line_width_mm(0.4) == exactly(0.45)
    assert [least_wall_mm(nozzle) for nozzle in (0.4, 0.5, 0.8)] == [3.0, 3.375, exactly(5.4)]
    assert room_on((180.0, 40.0)) == (170.0, 30.0)
    # The finest strokes are 0.8 mm wide, in letters made for 0.9 mm; layers count from 0.4 mm on.
    assert Measures(0.1, 0.05).letters == pytest.approx(8 / 9, abs=1e-6)
    thick = Measures(1.0, 0.8)
    # Strokes of 2.25 mm: two and a half times as large.
    assert thick.letters == 2.5
    assert thick.cap_mm == exactly(3.66 * 2.5)
    assert (thick.lead_in_mm, thick.foot_mm) == (0.8, 0.8)
    assert (thick.raised_mm, thick.base_mm) == (0.8, 2.4)
    assert thick.label_clear_mm == 2.0
    assert thick.label_apart_mm == 1.3 + 3
    # Two labels may meet face to face: 2 · 0.8 + 1 mm are four layers.
    assert thick.shoulder_height_mm == 3.2
    assert thick.text_mm("A1") == exactly(6.18 * 2.5)
    assert USUAL.layers_up(3.5) == 3.6
