"""What follows the nozzle and the layers, reckoned by hand for three machines."""

import math

import numpy as np
import pytest

from coupons.making.bodies.lettering import letter_starts
from coupons.making.bodies.proportions import Measures, least_wall_mm, room_on
from coupons.making.bodies.shapes import Text, boxed
from coupons.making.bodies.stiffness import round_length_mm, window_deflection_mm
from coupons.making.plan import plan_coupon
from coupons.making.spec.coupon_spec import load_spec

# A line is 1.125 of the nozzle wide, a stroke two lines but not under 0.8 mm; heights are rounded
# up to whole layers. Letters for a 0.4 mm nozzle: strokes of 0.9 mm, capitals of 3.66 mm.
LEAST = {
    "raised_mm": 0.6,
    "label_clear_mm": 0.8,
    "label_apart_mm": 1.3,
    "lead_in_mm": 0.4,
    "foot_mm": 0.4,
    "base_mm": 1.4,
    "shoulder_height_mm": 2.2,
}
WIDE = {
    "raised_mm": 1.0,
    "label_clear_mm": 1.6,
    "label_apart_mm": 3.3,
    "lead_in_mm": 0.5,
    "foot_mm": 0.5,
    "base_mm": 1.5,
    "shoulder_height_mm": 3.0,
}
BY_HAND = {
    (0.4, 0.2): {"letters": 1.0, "cap_mm": 3.66, **LEAST},
    (0.2, 0.1): {"letters": 0.888889, "cap_mm": 3.253334, **LEAST},
    (0.8, 0.5): {"letters": 2.0, "cap_mm": 7.32, **WIDE},
}


@pytest.mark.parametrize("machine", list(BY_HAND))
def test_proportions_follow_the_nozzle_and_the_layers(machine):
    measures = Measures(*machine)
    found = {name: getattr(measures, name) for name in BY_HAND[machine]}
    assert found == pytest.approx(BY_HAND[machine], abs=2e-6)


def test_walls_are_six_lines_thick_and_three_millimetres_at_least():
    assert [least_wall_mm(nozzle) for nozzle in (0.25, 0.4, 0.6)] == pytest.approx([3.0, 3.0, 4.05])


def test_a_bed_is_used_but_for_five_millimetres_all_round():
    assert room_on((180.0, 220.0)) == (170.0, 210.0)


def test_a_line_of_text_fills_its_box():
    # Two letters of four steps of 0.46 mm and a pen of 0.9 mm each, 0.7 mm apart; six steps high.
    low, high = boxed(Text("A1", (10.0, 20.0, 3.0)))
    assert low == pytest.approx((10, 20, 3))
    assert high == pytest.approx((10 + 2 * (4 * 0.46 + 0.9) + 0.7, 20 + 6 * 0.46 + 0.9, 3.6))
    assert letter_starts("A↔1") == pytest.approx((0, 3.44, 3.44 + 7 * 0.46 + 0.9 + 0.7))


def test_a_wall_beside_a_window_bends_as_the_handbook_says():
    # 20 N in the middle of a beam of 7 mm, built in at both ends, 3 mm by 4 mm, 2000 N/mm².
    bending = 20 * 7**3 / (192 * 2000 * 4 * 3**3 / 12)
    shear = 20 * 7 / (4 * (5 / 6) * 2000 / (2 * 1.35) * 12)
    assert window_deflection_mm(7, 3, 4) == pytest.approx(bending + shear)
    assert round_length_mm(10) == pytest.approx(50**0.5)


def test_bodies_stand_as_high_as_their_parts_add_up_to():
    bodies = {item.body.id: item.body for item in plan_coupon(load_spec("first")).placed}
    tops = {name: body.box[1][2] for name, body in bodies.items()}
    # Plates of holes and slots are 3.6 mm thick and their labels stand 0.6 mm out of them; posts
    # of 4.6 mm (a mate of 3.6 mm and 1 mm to see) stand on a shoulder 2.2 mm above a base of 1.4.
    assert tops["A"] == pytest.approx(3.6 + 0.6)
    assert tops["D"] == tops["AG"] == pytest.approx(1.4 + 2.2 + 3.6 + 1.0)
    assert all(body.box[0][2] == 0 for body in bodies.values())


def test_blocks_of_heights_stand_behind_their_labels_and_within_their_floor():
    bodies = [item.body for item in plan_coupon(load_spec("upright")).placed]
    (steps,) = [body for body in bodies if body.features[0].id == "E1"]
    floor = steps.parts[0].shape.corners()
    for feature in steps.features:
        (block,) = [p.shape for p in steps.parts if p.feature == feature.id]
        (text,) = [p.shape for p in steps.parts if getattr(p.shape, "text", "") == feature.id]
        low, high = boxed(block)
        # A label is 1 mm from the edge, a block 0.3 mm from the label and 1 mm from the far edge.
        assert low[1] == pytest.approx(boxed(text)[1][1] + 0.3)
        assert boxed(text)[0][1] == pytest.approx(min(y for _, y, _ in floor) + 1.0)
        assert high[1] <= max(y for _, y, _ in floor) - 1.0 + 1e-6
        assert high[0] - low[0] == high[1] - low[1] == pytest.approx(7.0)


def test_a_seam_s_groove_is_a_notch_square_to_the_round():
    (pin,) = (i.body for i in plan_coupon(load_spec("first")).placed if i.body.id == "AG")
    (groove,) = (part.shape for part in pin.parts if part.cut)
    apex, one, other = np.array(groove.outline) - pin.features[0].centre[:2]
    out = np.array([math.cos(math.radians(67.5)), math.sin(math.radians(67.5))])
    # From 0.1 mm outside a pin of 5 mm inwards, as wide on either side of its middle.
    assert (one + other) / 2 == pytest.approx(2.6 * out)
    assert (other - one) @ out == pytest.approx(0, abs=1e-9)
    assert np.linalg.norm(apex) < 2.5
    assert apex == pytest.approx(np.linalg.norm(apex) * out)
