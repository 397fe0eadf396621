"""Each cause that the virtual workshop can have, switched on alone: what it moves, and what not."""

import numpy as np
import pytest
from support.ideal_machine import IDEAL, changed
from support.small_coupon import feature, small_coupon
from support.truth import mean_clearance_mm, threshold_gap_mm

from coupons.making.record import CouponBody, CouponReading, CouponTrial, write_coupon
from coupons.measuring.run.folder import load_run, start_run
from coupons.measuring.virtual.machine import Machine, load_machine
from coupons.measuring.virtual.person import CONTACT_MM
from coupons.measuring.virtual.printer import clearance_mm, mean_sizes, print_once, shapes_of
from coupons.measuring.virtual.rehearsal import as_entries, rehearse, try_out, work_list
from coupons.terms import GRADES, Bed, Direction, Form, Grade, Jaws, Joint, Seam

N_PRINTS = 1000
# Standard error of a standard deviation out of so many prints, as a share of it.
OF_SD = 1 / np.sqrt(2 * N_PRINTS)

STEADY = changed(
    IDEAL,
    caliper={"zero_mm": 0.0, "repeat_mm": 0.0, "slip_chance": 0.0, "jaw_land_mm": 0.0}
    | {"inside_mm": 0.0, "session_mm": 0.0, "session_inside_mm": 0.0, "resolution_mm": 0.0001},
    person={"judgement_mm": 0.0, "lapse_chance": 0.0, "jaw_force_n": 0.0, "contact_mm": 0.0},
)

# One of each kind of size, all in one print. Off the bed unless it is said.
HIGH = (0.0, 0.0, 60.0)
PARTS = {
    "tongue x 100": feature("A1", "tongue", "x", 100.0, place_mm=HIGH),
    "tongue y 100": feature("A2", "tongue", "y", 100.0, place_mm=HIGH),
    "tongue x 10": feature("A3", "tongue", "x", 10.0, place_mm=HIGH),
    "slot x 10": feature("A4", "slot", "x", 10.0, place_mm=HIGH),
    "slot y 10": feature("A5", "slot", "y", 10.0, place_mm=HIGH),
    "tongue y 10": feature("A6", "tongue", "y", 10.0, place_mm=HIGH),
    "pin 10": feature("A7", "pin", "z", 10.0, place_mm=HIGH),
    "hole 10": feature("A8", "hole", "z", 10.0, place_mm=HIGH),
    "step 10": feature("B1", "tongue", "z", 10.0, place_mm=HIGH),
    "step 100": feature("B2", "tongue", "z", 100.0, place_mm=HIGH),
    "level slot 10": feature("B3", "slot", "z", 10.0, place_mm=HIGH),
    "height 10": feature("B4", "tongue", "z", 10.0, place_mm=(0.0, 0.0, 5.0)),
}


def deviations(**scatter):
    """Return printed − drawn of every part over many prints, with one scatter alone."""
    machine, rng = changed(IDEAL, scatter=scatter), np.random.default_rng(17)
    shapes = shapes_of(list(PARTS.values()))
    found = np.array([print_once(machine, shapes, rng).mean_mm for _ in range(N_PRINTS)])
    return dict(zip(PARTS, (found - shapes.drawn_mm).T, strict=True))


@pytest.mark.parametrize(
    ("scatter", "sds_mm"),
    [
        (
            {"print_scale": 0.00019},
            {"tongue x 100": 0.019, "tongue y 100": 0.019}
            | dict.fromkeys(
                ("tongue x 10", "slot x 10", "slot y 10", "tongue y 10", "pin 10", "hole 10"),
                0.0019,
            ),
        ),
        (
            {"print_scale_z": 0.0008},
            {"step 100": 0.08, "step 10": 0.008, "level slot 10": 0.008, "height 10": 0.008},
        ),
        ({"print_z_mm": 0.1}, {"height 10": 0.1}),
        ({"print_sag_mm": 0.05}, {"level slot 10": 0.05}),
        (
            {"print_alike_mm": 0.01},
            dict.fromkeys(
                [name for name in PARTS if name[:4] not in ("step", "leve", "heig")], 0.01
            ),
        ),
    ],
)
def test_what_differs_by_print_moves_its_own_sizes_alone(scatter, sds_mm):
    for name, found in deviations(**scatter).items():
        wanted_mm = sds_mm.get(name, 0.0)
        # Lines are laid inside the face, so a scale acts on a length 0.42 mm shorter or longer.
        assert found.std() == pytest.approx(wanted_mm, rel=0.05 + 4 * OF_SD, abs=1e-9), name
        assert abs(found.mean()) <= 4 * wanted_mm / np.sqrt(N_PRINTS) + 1e-9


@pytest.mark.slow
def test_with_one_deviation_inner_and_outer_faces_move_alike_and_with_the_other_against():
    alike, against = deviations(print_alike_mm=0.01), deviations(print_mm=0.01)
    assert alike["slot x 10"] == pytest.approx(alike["tongue x 10"])
    assert alike["hole 10"] == pytest.approx(alike["pin 10"])
    assert against["slot x 10"] == pytest.approx(-against["tongue x 10"])


def test_one_print_has_one_scale_along_x_and_y():
    found = deviations(print_scale=0.0002)
    assert found["tongue x 100"] == pytest.approx(found["tongue y 100"])


def test_machine_files_of_before_print_what_they_printed():
    """What a file does not name has no part in it, and takes no chance from what it does."""
    bench = load_machine("bench-1")
    values = bench.model_dump()
    new = {
        "axes": ("inner_shrink_less", "wider_x_mm", "wave_x_mm", "wave_y_mm"),
        "scatter": ("print_alike_mm", "print_scale", "print_scale_z", "print_sag_mm"),
        "caliper": ("inside_mm", "session_mm", "session_inside_mm"),
        "person": ("contact_mm", "others_mm"),
    }
    for table, keys in new.items():
        for key in keys:
            del values[table][key]
    old = Machine.model_validate(values)
    shapes = shapes_of([PARTS["slot x 10"], PARTS["tongue x 10"]])
    rng = np.random.default_rng(1)
    first_two = rng.normal(0, bench.scatter.print_mm), rng.normal(0, bench.scatter.drift_mm, 3)
    sd = old.scatter.model_copy(
        update={"feature_mm": 0.0, "blob_chance": 0.0, "print_mm": bench.scatter.print_mm}
    )
    printed = print_once(old.model_copy(update={"scatter": sd}), shapes, np.random.default_rng(1))
    mean = mean_sizes(old, shapes)
    moved = (printed.mean_mm - mean.mean_mm) / (1 - bench.axes.shrink_x)
    assert moved == pytest.approx([-first_two[0], first_two[0]], abs=1e-9)


def error_mm(part, **tables):
    return float(mean_sizes(changed(IDEAL, **tables), shapes_of([part])).mean_mm[0] - part.size_mm)


@pytest.mark.parametrize(
    ("name", "wanted_mm"),
    [
        ("tongue x 10", 0.04),
        ("slot x 10", -0.04),
        ("tongue y 10", -0.04),
        ("slot y 10", 0.04),
        ("pin 10", 0.0),
        ("hole 10", 0.0),
        ("step 10", 0.0),
        ("level slot 10", 0.0),
    ],
)
def test_growth_may_differ_by_axis(name, wanted_mm):
    found = error_mm(PARTS[name], axes={"wider_x_mm": 0.04})
    assert found == pytest.approx(wanted_mm, abs=1e-9)


def test_what_differs_by_axis_cancels_on_the_diagonals():
    part = feature("A1", "tongue", "x+y", 60.0)
    assert error_mm(part, axes={"wider_x_mm": 0.04}) == pytest.approx(0.0, abs=1e-9)


def test_slots_and_holes_may_shrink_less_than_tongues_and_pins():
    tables = {"axes": {"shrink_x": 0.004, "shrink_y": 0.004, "inner_shrink_less": 0.002}}
    plain = {"axes": {"shrink_x": 0.004, "shrink_y": 0.004}}
    for name, part in PARTS.items():
        more_mm = error_mm(part, **tables) - error_mm(part, **plain)
        held = 10 * 0.002 if name.startswith(("slot", "hole")) else 0.0
        assert more_mm == pytest.approx(held, abs=1e-9), name


def test_waves_are_felt_at_their_crests_across_their_own_axis():
    machine = changed(IDEAL, axes={"wave_x_mm": 0.0, "wave_y_mm": 0.01})
    for name, part in PARTS.items():
        sizes = mean_sizes(machine, shapes_of([part]))
        felt_mm = (sizes.felt_mm - sizes.across_mm)[0]
        sign = -1 if "slot" in name or "hole" in name else 1
        on_y = {"y": [0.02, 0.02], "x": [0.0, 0.0]}
        crests = [0.0, 0.02] if name[:3] in ("pin", "hol") else on_y.get(name.split()[1], [0, 0])
        assert felt_mm == pytest.approx([sign * each for each in crests], abs=1e-12), name


def test_a_pair_across_the_waves_needs_the_height_of_four():
    machine = changed(IDEAL, axes={"wave_x_mm": 0.0, "wave_y_mm": 0.01})
    x, y = (Joint(Form.SLOT, Form.TONGUE, 12.0, axis) for axis in (Direction.X, Direction.Y))
    assert mean_clearance_mm(machine, x, 0.3) == pytest.approx(0.3)
    assert mean_clearance_mm(machine, y, 0.3) == pytest.approx(0.26)


def many_readings(part, jaws, count, along=None):
    line = CouponReading(feature=part.id, jaws=jaws, along=along)
    return small_coupon(features=(part,), trials=(), readings=(line,) * count, hardware=())


def test_jaws_meet_waves_anywhere_between_trough_and_crest():
    """2,000 readings: a face's wave is 0.01 · cos, so two of them have a sd of 0.01."""
    machine = changed(STEADY, axes={"wave_x_mm": 0.0, "wave_y_mm": 0.01})
    for name, sd_mm in (("tongue y 10", 0.01), ("tongue x 10", 0.0), ("step 10", 0.0)):
        work = work_list(many_readings(PARTS[name], Jaws.OUTSIDE, 2000))
        read = try_out(machine, work, np.random.default_rng(2)).readings_mm
        assert read.std() == pytest.approx(sd_mm, rel=0.07, abs=1e-4), name
        assert abs(read - 10.0).max() <= 2 * sd_mm + 1e-4


SEAMED = changed(IDEAL, bead={"seam_mm": 0.03})


@pytest.mark.parametrize(
    ("seam", "lost_mm"), [(Seam.HIDDEN, 0.0), (Seam.SHOWN, 0.03), (None, 0.03)]
)
def test_a_seam_costs_its_height_once_unless_a_groove_hides_it(seam, lost_mm):
    pin = mean_sizes(SEAMED, shapes_of([feature("B1", "pin", "z", 6.0, seam=seam)]))
    hole = mean_sizes(IDEAL, shapes_of([feature("A1", "hole", "z", 6.3)]))
    assert clearance_mm(hole, pin) == pytest.approx([0.3 - lost_mm])


@pytest.mark.parametrize(("seam", "more_mm"), [(Seam.HIDDEN, 0.0), (Seam.SHOWN, 0.03)])
def test_jaws_do_not_meet_a_hidden_seam(seam, more_mm):
    pin = feature("B1", "pin", "z", 6.0, seam=seam)
    machine = changed(STEADY, bead={"seam_mm": 0.03, "seam_along": "y"})
    work = work_list(many_readings(pin, Jaws.OUTSIDE, 1, along="y"))
    found = try_out(machine, work, np.random.default_rng(1)).readings_mm
    assert found == pytest.approx([6.0 + more_mm], abs=1e-4)


@pytest.mark.slow
def test_the_zero_differs_by_session_and_by_jaws():
    """2,000 sessions: a tongue and a step by the outside jaws, a slot by the inside ones."""
    parts = [PARTS["tongue x 10"], PARTS["step 10"], PARTS["slot x 10"]]
    lines = [
        CouponReading(feature=part.id, jaws=jaws)
        for part, jaws in zip(parts, (Jaws.OUTSIDE, Jaws.OUTSIDE, Jaws.INSIDE), strict=True)
    ]
    coupon = small_coupon(features=parts, trials=(), readings=lines, hardware=())
    work, rng = work_list(coupon), np.random.default_rng(4)
    zeros = {"session_mm": 0.01, "session_inside_mm": 0.015, "inside_mm": 0.03}
    machine = changed(STEADY, caliper=zeros)
    found = np.array([try_out(machine, work, rng).readings_mm for _ in range(2000)]) - 10.0
    outside, of_step, inside = found.T
    assert outside == pytest.approx(of_step, abs=1e-9)
    assert outside.std() == pytest.approx(0.01, rel=0.07)
    assert (inside - outside).std() == pytest.approx(0.015, rel=0.07)
    assert outside.mean() == pytest.approx(0.0, abs=0.001)
    assert (inside - outside).mean() == pytest.approx(0.03, abs=0.0015)


def paired(gap_mm, count, thick_mm=6.0):
    """Return a coupon on which one slot is tried over and over by one tongue."""
    slot = feature("A1", "slot", "x", 12.0 + gap_mm)
    tongue = feature("G1", "tongue", "x", 12.0, role="gauge")
    trial = CouponTrial(feature="A1", mate="G1", gap_mm=gap_mm)
    bodies = [
        CouponBody(id=id_, plate=1, origin_mm=(0, 0, 0), extent_mm=(40.0, 30.0, height_mm))
        for id_, height_mm in (("body", thick_mm), ("G1", 200.0))
    ]
    return small_coupon(
        features=(slot, tongue), trials=(trial,) * count, readings=(), hardware=(), bodies=bodies
    )


def grades(machine, coupon):
    found = try_out(machine, work_list(coupon), np.random.default_rng(1))
    return [GRADES[grade] for grade in found.grades]


def test_people_who_take_turns_ask_for_different_clearance():
    slide_mm = STEADY.person.slide_mm
    machine = changed(STEADY, person={"others_mm": (0.03, -0.03)})
    just_above = paired(round(slide_mm + 0.01, 3), 6)
    assert grades(STEADY, just_above) == [Grade.SLIDE] * 6
    assert grades(machine, just_above) == [Grade.SLIDE, Grade.PUSH, Grade.SLIDE] * 2
    just_below = paired(round(slide_mm - 0.01, 3), 3)
    assert grades(machine, just_below) == [Grade.PUSH, Grade.PUSH, Grade.SLIDE]


def test_each_person_signs_for_their_own_trials(tmp_path):
    machine = changed(STEADY, person={"others_mm": (0.03,)})
    coupon = small_coupon()
    start_run(tmp_path, coupon)
    write_coupon(coupon, tmp_path / "coupon.json")
    rehearse(tmp_path, machine)
    by = {fit.by for fit in load_run(tmp_path).fits}
    assert by == {"rehearsal", "rehearsal 2"}
    _, fits = as_entries(
        work_list(coupon), try_out(machine, work_list(coupon), np.random.default_rng(1))
    )
    assert {fit.by for fit in fits} == by


def test_a_longer_contact_asks_for_more_clearance():
    slide_mm = STEADY.person.slide_mm
    machine = changed(STEADY, person={"contact_mm": 0.015})
    gap_mm = round(slide_mm + 0.01, 3)
    # e times as long asks 0.015 mm more, as long as the reference nothing.
    long_mm = CONTACT_MM * float(np.e)
    assert grades(machine, paired(gap_mm, 1, CONTACT_MM)) == [Grade.SLIDE]
    assert grades(machine, paired(gap_mm, 1, long_mm)) == [Grade.PUSH]
    assert grades(STEADY, paired(gap_mm, 1, long_mm)) == [Grade.SLIDE]


def test_the_thinner_body_says_how_long_the_contact_is():
    assert work_list(paired(0.2, 2, 4.2)).contact_mm == pytest.approx([4.2, 4.2])


def test_truth_knows_of_bed_and_contact():
    step = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.Z)
    machine = changed(IDEAL, layers={"squeeze_mm": 0.1}, person={"contact_mm": 0.015})
    free, on_bed = (
        threshold_gap_mm(machine, step, Grade.SLIDE, bed) for bed in (Bed.NONE, Bed.EXTERNAL)
    )
    assert free - on_bed == pytest.approx(0.1)
    longer = threshold_gap_mm(machine, step, Grade.SLIDE, contact_mm=CONTACT_MM * float(np.e))
    assert longer - free == pytest.approx(0.015)
