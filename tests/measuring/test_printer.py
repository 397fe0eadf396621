import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.ideal_machine import BENCH, IDEAL, changed
from support.small_coupon import FEATURES, feature

from coupons.measuring.virtual.machine import random_machine
from coupons.measuring.virtual.printer import (
    LEAD_IN_MM,
    Z,
    clearance_mm,
    dragged_span,
    mean_sizes,
    print_once,
    printed_sizes,
    shapes_of,
    stair_reach,
)


def error_mm(machine, *args, **more):
    drawn = feature("A1", *args, **more)
    sizes = mean_sizes(machine, shapes_of([drawn]))
    return sizes.across_mm[0] - drawn.size_mm


def test_an_ideal_machine_prints_what_is_drawn():
    sizes = print_once(IDEAL, shapes_of(FEATURES), np.random.default_rng(0))
    drawn = [each.size_mm for each in FEATURES]
    assert sizes.mean_mm == pytest.approx(drawn, abs=1e-12)


@pytest.mark.slow
def test_a_strand_pulled_round_a_circle_settles_on_the_tractrix():
    """Pull a strand step by step round a circle; where its end freezes is the printed circle."""
    radius_mm, drag_mm = 2.0, 0.75
    end = np.array([radius_mm - drag_mm, 0.0])
    for angle in np.linspace(0, 12 * np.pi, 120_000):
        nozzle = radius_mm * np.array([np.cos(angle), np.sin(angle)])
        pull = nozzle - end
        end = nozzle - pull * drag_mm / np.linalg.norm(pull)
    settled = dragged_span(np.array([2 * radius_mm]), np.array([drag_mm]))[0] / 2
    assert np.linalg.norm(end) == pytest.approx(settled, abs=1e-3)


def test_holes_close_as_they_get_small_and_pins_hardly_follow():
    machine = changed(IDEAL, bead={"drag_mm": 0.75})
    holes = [error_mm(machine, "hole", "z", size)[0] for size in (3.0, 6.0, 12.0)]
    pins = [error_mm(machine, "pin", "z", size)[0] for size in (3.0, 6.0, 12.0)]
    assert holes[0] < 1.8 * holes[1] < 3 * holes[2] < 0
    assert all(abs(pin) < 0.1 * abs(hole) for pin, hole in zip(pins, holes, strict=True))
    # Straight walls have no bend to cut.
    assert error_mm(machine, "slot", "x", 3.0)[0] == pytest.approx(0, abs=1e-12)


def test_a_circle_smaller_than_the_drag_still_has_a_size():
    assert 0 < dragged_span(np.array([1.0]), np.array([2.0]))[0] < 1.0
    # 10 mm across and 3 mm behind: radii of 5 and 3 leave 4. One of 1 mm folds onto a fifth.
    assert dragged_span(np.array([10.0, 1.0]), np.array([3.0, 2.0])) == pytest.approx([8.0, 0.2])


@pytest.mark.parametrize(
    ("tables", "args", "wanted_mm"),
    [
        ({"bead": {"laid_mm": BENCH.bead.planned_mm + 0.1}}, ("tongue", "x", 12.0), 0.1),
        ({"bead": {"laid_mm": BENCH.bead.planned_mm + 0.1}}, ("slot", "x", 12.0), -0.1),
        ({"axes": {"lost_x_mm": 0.06}}, ("tongue", "x", 12.0), -0.06),
        ({"axes": {"lost_x_mm": 0.06}}, ("slot", "x", 12.0), -0.06),
        ({"axes": {"lost_x_mm": 0.06}}, ("slot", "y", 12.0), 0.0),
        ({"axes": {"shrink_y": 0.01}}, ("tongue", "y", 80.0), -0.8),
        ({"axes": {"shrink_x": 0.01, "shrink_y": 0.02}}, ("tongue", "x+y", 60.0), -0.9),
        ({"axes": {"lost_x_mm": 0.02, "lost_y_mm": 0.06}}, ("tongue", "x-y", 60.0), -0.04),
        ({"axes": {"skew_mrad": 2.0}}, ("tongue", "x+y", 60.0), 0.06),
        ({"axes": {"skew_mrad": 2.0}}, ("tongue", "x-y", 60.0), -0.06),
        ({"layers": {"proud_mm": 0.03}}, ("tongue", "z", 4.0), 0.03),
        ({"layers": {"sag_mm": 0.1, "proud_mm": 0.03}}, ("slot", "z", 4.0), -0.13),
        ({"layers": {"sag_mm": 0.1}}, ("tongue", "x", 4.0), 0.0),
        ({"layers": {"swell_mm": 0.2}}, ("tongue", "x", 4.0), 0.0),
        ({"layers": {"swell_mm": LEAD_IN_MM + 0.1}}, ("tongue", "x", 4.0), 0.2),
        ({"layers": {"squeeze_mm": 0.1}}, ("tongue", "z", 4.0), 0.0),
    ],
)
def test_each_cause_has_its_effect_and_no_other(tables, args, wanted_mm):
    assert error_mm(changed(IDEAL, **tables), *args) == pytest.approx([wanted_mm] * 2, abs=1e-9)


def test_swell_is_met_at_the_bed():
    machine = changed(IDEAL, layers={"swell_mm": 0.2})
    assert error_mm(machine, "tongue", "x", 4.0, at_bed=True) == pytest.approx([0.4] * 2)
    assert error_mm(machine, "slot", "x", 4.0, at_bed=True) == pytest.approx([-0.4] * 2)


def test_squeeze_is_missing_in_heights_from_the_bed():
    machine = changed(IDEAL, layers={"squeeze_mm": 0.1})
    found = error_mm(machine, "tongue", "z", 4.0, place_mm=(0, 0, 2.0))
    assert found == pytest.approx([-0.1] * 2)


@pytest.mark.parametrize(
    ("size_mm", "middle_mm", "printed_mm"),
    [(4.0, 3.0, 4.0), (4.08, 3.04, 4.0), (4.12, 3.06, 4.2), (4.0, 3.09, 4.0), (4.0, 3.1, 4.0)],
)
def test_faces_across_z_stand_on_whole_layers(size_mm, middle_mm, printed_mm):
    found = error_mm(IDEAL, "tongue", "z", size_mm, place_mm=(0, 0, middle_mm))
    assert size_mm + found == pytest.approx([printed_mm] * 2)


def test_a_lying_hole_sags_on_z_alone():
    found = error_mm(changed(IDEAL, layers={"sag_mm": 0.1}), "hole", "x", 6.0)
    assert found == pytest.approx([0.0, -0.1])


def inside_the_steps_mm(radius_mm, middle_mm, layer_mm, sign):
    """Measure a staircase by walking over all its layers, with each line's end as many points."""
    angles = np.linspace(-np.pi / 2, np.pi / 2, 721)
    reach = []
    for layer in range(-200, 201):
        rise = (layer + 0.5) * layer_mm - middle_mm
        if sign < 0 and abs(rise) >= radius_mm:  # a whole layer of roof or floor
            reach.append(abs(rise) - layer_mm / 2)
        elif abs(rise) < radius_mm:
            chord = np.sqrt(radius_mm**2 - rise**2)
            across = chord - sign * (layer_mm / 2) * (1 - np.cos(angles))
            points = np.hypot(across, rise + layer_mm / 2 * np.sin(angles))
            # A pin's topmost layer is met on its flat, a hole's lines on their ends.
            reach.append(points.min() if sign < 0 else max(points.max(), abs(rise) + layer_mm / 2))
    return min(reach) if sign < 0 else max(reach)


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("layer_mm", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("radius_mm", [2.0, 3.05, 5.0])
def test_the_staircase_of_a_lying_round_is_where_its_lines_end(radius_mm, layer_mm, sign):
    for phase in (0.03, 0.17, 0.31, 0.46, 0.62, 0.77, 0.93):
        middle_mm = 6.0 + phase * layer_mm
        ends = [
            stair_reach(np.array([radius_mm]), np.array([middle]), layer_mm, np.array([sign]))[0]
            for middle in (middle_mm, -middle_mm)
        ]
        nearest = min(ends) if sign < 0 else max(ends)
        walked = inside_the_steps_mm(radius_mm, middle_mm, layer_mm, sign)
        assert nearest == pytest.approx(walked, abs=0.002)


def test_steps_are_felt_on_the_upright_diameter_of_lying_rounds_alone():
    parts = [feature("A1", "hole", "x", 6.3), feature("B1", "pin", "x", 6.0)]
    sizes = mean_sizes(IDEAL, shapes_of(parts))
    steps = sizes.felt_mm - sizes.across_mm
    assert steps[:, 0] == pytest.approx([0, 0])
    assert -0.2 <= steps[0, 1] < -0.1
    assert 0.1 < steps[1, 1] <= 0.2
    # Where the layers lie anywhere, top and bottom are alike: half of the steps are above. What a
    # mate meets above counts twice, over the middle.
    drawn_mm = np.array([6.3, 6.0])
    assert sizes.top_mm - drawn_mm == pytest.approx(steps[:, 1], abs=1e-9)
    # Turned by a quarter, the pin's steps and the hole's do not meet.
    hole, pin = (sizes.of(np.array([part])) for part in (0, 1))
    room = clearance_mm(hole, pin)[0]
    assert room == pytest.approx(0.3 - max(-steps[0, 1], steps[1, 1]))


def test_a_seam_takes_its_height_from_the_clearance_of_round_parts():
    machine = changed(IDEAL, bead={"seam_mm": 0.05})
    parts = [feature("A1", "hole", "z", 6.3), feature("B1", "pin", "z", 6.0)]
    hole, pin = (mean_sizes(machine, shapes_of([part])) for part in parts)
    assert clearance_mm(hole, pin) == pytest.approx([0.2])


def test_an_oval_pin_is_turned_until_it_goes_into_its_oval_hole():
    machine = changed(IDEAL, axes={"lost_x_mm": 0.1})
    parts = [feature("A1", "hole", "z", 6.3), feature("B1", "pin", "z", 6.0)]
    hole, pin = (mean_sizes(machine, shapes_of([part])) for part in parts)
    assert clearance_mm(hole, pin) == pytest.approx([0.3])
    true_pin = mean_sizes(IDEAL, shapes_of(parts[1:]))
    assert clearance_mm(hole, true_pin) == pytest.approx([0.2])


def test_scatter_has_the_stated_size_and_no_bias():
    """5,000 slots: standard errors of mean and deviation are 0.0003 and 0.0002 mm."""
    machine = changed(IDEAL, scatter={"feature_mm": 0.02, "feature_z_mm": 0.07})
    slots = [feature(f"A{i}", "slot", "x", 12.0) for i in range(5000)]
    steps = [feature(f"B{i}", "tongue", "z", 12.0) for i in range(5000)]
    sizes = print_once(machine, shapes_of([*slots, *steps]), np.random.default_rng(3)).mean_mm
    assert sizes[:5000].mean() == pytest.approx(12.0, abs=0.0012)
    assert sizes[:5000].std() == pytest.approx(0.02, abs=0.0008)
    assert sizes[5000:].std() == pytest.approx(0.07, abs=0.003)


def test_blobs_fatten_what_is_outside_and_narrow_what_is_inside():
    machine = changed(IDEAL, scatter={"blob_chance": 1.0, "blob_mm": 0.1})
    pair = shapes_of([feature("A1", "slot", "x", 12.0), feature("B1", "tongue", "x", 12.0)])
    sizes = print_once(machine, pair, np.random.default_rng(6)).mean_mm
    assert sizes[0] < 12.0 < sizes[1]


def test_drift_is_slow_over_the_bed_and_averages_out_over_prints():
    machine = changed(IDEAL, scatter={"drift_mm": 0.05})
    slots = [feature(f"A{i}", "slot", "x", 12.0, place_mm=(i, 0.0, 3.0)) for i in range(151)]
    rng = np.random.default_rng(4)
    prints = np.array([print_once(machine, shapes_of(slots), rng).mean_mm for _ in range(400)])
    assert np.abs(np.diff(prints, axis=1)).max() < 0.01
    assert np.abs(prints.mean(axis=0) - 12.0).max() < 0.01  # standard error 0.003
    assert prints[:, 0].std() > 0.03


def test_one_print_shifts_holes_and_pins_against_each_other():
    machine = changed(IDEAL, scatter={"print_mm": 0.05})
    pair = shapes_of([feature("A1", "slot", "x", 12.0), feature("B1", "tongue", "x", 12.0)])
    sizes = print_once(machine, pair, np.random.default_rng(5)).mean_mm - 12.0
    assert sizes[0] == pytest.approx(-sizes[1])
    assert sizes[0] != 0


def test_printed_sizes_are_told_by_id():
    sizes = printed_sizes(BENCH, FEATURES, np.random.default_rng(1))
    assert list(sizes) == [each.id for each in FEATURES]
    assert sizes["D1"] == pytest.approx(80.0, abs=0.5)


def test_no_features_are_no_trouble():
    assert printed_sizes(BENCH, [], np.random.default_rng(1)) == {}


forms = st.sampled_from([(form, axis) for form in ("pin", "hole") for axis in "xyz"])
flats = st.sampled_from([(form, axis) for form in ("tongue", "slot") for axis in ("x", "x-y", "z")])


@given(forms | flats, st.floats(1.0, 80.0), st.floats(0.2, 20.0), st.integers(0, 9999))
def test_what_is_drawn_wider_is_printed_wider(kind, size_mm, more_mm, seed):
    machine = random_machine(np.random.default_rng(seed))
    drawn = [feature("A1", *kind, size_mm), feature("A2", *kind, size_mm + more_mm)]
    sizes = mean_sizes(machine, shapes_of(drawn), on_layers=False).mean_mm
    assert sizes[0] < sizes[1]


@given(forms | flats, st.floats(3.0, 80.0), st.integers(0, 9999))
def test_more_plastic_fattens_pins_and_tongues_and_narrows_holes_and_slots(kind, size_mm, seed):
    machine = random_machine(np.random.default_rng(seed))
    more = changed(machine, bead={"laid_mm": machine.bead.laid_mm + 0.1})
    shapes = shapes_of([feature("A1", *kind, size_mm)])
    change = (mean_sizes(more, shapes).across_mm - mean_sizes(machine, shapes).across_mm)[0]
    upright = shapes.axes[0] == Z
    assert (change[upright] == 0).all()
    assert (change[~upright] * shapes.sign[0] > 0.09).all()


def lying_pin(size_mm, **more):
    """A lying pin as coupons make it, its middle lower than its radius: it stands on a flat."""
    return feature("B1", "pin", "x", size_mm, place_mm=(0, 0, round(size_mm * 0.33220, 6)), **more)


FINE = changed(IDEAL).model_copy(update={"layer_height_mm": 0.001})


def test_a_pin_that_stands_on_a_flat_is_lower_than_it_is_wide():
    """The solid of a 5 mm pin is 4.161 mm high: read off an exported mesh by another library."""
    across = mean_sizes(IDEAL, shapes_of([lying_pin(5.0)])).across_mm[0]
    assert across == pytest.approx([5.0, 4.161], abs=1e-3)
    squeezed = mean_sizes(changed(IDEAL, layers={"squeeze_mm": 0.1}), shapes_of([lying_pin(5.0)]))
    assert squeezed.across_mm[0] == pytest.approx([5.0, 4.061], abs=1e-3)


def goes_in(pin_mm, hole_mm, roof_mm):
    """Move the outline of a flattened pin up and down in a hole whose roof is lowered."""
    angles = np.radians(np.linspace(-25, 205, 461))
    y, z = pin_mm / 2 * np.cos(angles), pin_mm / 2 * np.sin(angles)
    shifts = np.linspace(-1, 1, 2001)[:, None]
    inside = (y**2 + (z + shifts) ** 2 <= (hole_mm / 2) ** 2).all(axis=1)
    under = (z + shifts).max(axis=1) <= hole_mm / 2 - roof_mm
    return bool((inside & under).any())


@pytest.mark.parametrize("gap_mm", [0.1, 0.2, 0.4])
def test_a_pin_on_a_flat_sinks_away_from_a_low_roof(gap_mm):
    """Where its clearance ends, the outline moved about in the hole is just caught.

    The printer's rule is to first order in the gap.
    """
    pin, hole = lying_pin(6.0), feature("A1", "hole", "x", 6.0 + gap_mm)
    pin_sizes = mean_sizes(FINE, shapes_of([pin]))
    for sag_mm in np.linspace(0.02, 1.0, 25):
        hole_sizes = mean_sizes(changed(FINE, layers={"sag_mm": sag_mm}), shapes_of([hole]))
        room = clearance_mm(hole_sizes, pin_sizes)[0]
        if abs(room) > 0.01 + 0.3 * gap_mm**2:
            assert (room > 0) == goes_in(6.0, 6.0 + gap_mm, sag_mm), sag_mm


def test_a_pin_on_a_flat_has_the_whole_clearance_of_a_true_hole():
    hole = mean_sizes(FINE, shapes_of([feature("A1", "hole", "x", 6.3)]))
    flat, whole = (
        mean_sizes(FINE, shapes_of([pin])) for pin in (lying_pin(6.0), feature("B1", "pin", "x", 6))
    )
    assert clearance_mm(hole, flat) == pytest.approx([0.3], abs=0.003)
    assert clearance_mm(hole, whole) == pytest.approx([0.3], abs=0.003)
