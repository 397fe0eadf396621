import pytest

from coupons.errors import PlanError
from coupons.making.bodies.shapes import Text
from coupons.making.estimate import body_volume_mm3, estimate
from coupons.making.output.solids import build_solids
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, parse_spec, shipped_specs
from coupons.terms import Form

ROW = '[[row]]\nkind = "fit"\nform = "{}"\ndirection = "{}"\nsize_mm = 5\ngaps_mm = {}\n'


def plan_of(*rows: str, **machine):
    return plan_coupon(parse_spec(('title = "t"\n' + "".join(rows)).encode(), "t", "t"), **machine)


def test_first_is_small_and_rich_enough_to_learn_from():
    coupon = record(plan_coupon(load_spec("first")))
    fixed = [f for f in coupon.features if f.role == "fit"]
    assert 28 <= len(fixed) <= 34
    assert 56 <= len(coupon.trials) <= 76
    assert len({r.feature for r in coupon.readings}) >= 35
    for axis in "xy":
        spans = [f.size_mm for f in coupon.features if f.role == "span" and f.direction == axis]
        assert min(spans) <= 3
        assert max(spans) >= 80
    gaps = {t.gap_mm for t in coupon.trials}
    assert min(gaps) == -0.12
    assert max(gaps) == 0.6


@pytest.mark.parametrize("name", shipped_specs())
def test_a_record_names_each_thing_once_and_only_things_that_exist(name):
    coupon = record(plan_coupon(load_spec(name)))
    ids = [f.id for f in coupon.features]
    assert len(set(ids)) == len(ids)
    mates = set(ids) | {ware.id for ware in coupon.hardware}
    bodies = {body.id for body in coupon.bodies}
    size = {f.id: f.size_mm for f in coupon.features} | {w.id: w.size_mm for w in coupon.hardware}
    form = {f.id: f.form for f in coupon.features}
    for trial in coupon.trials:
        assert trial.feature in ids
        assert trial.mate in mates
        sign = 1 if form[trial.feature] in ("hole", "slot") else -1
        gap = sign * (size[trial.feature] - size[trial.mate])
        assert gap == pytest.approx(trial.gap_mm, abs=1e-6)
    assert {r.feature for r in coupon.readings} <= set(ids)
    assert {f.body for f in coupon.features} <= bodies
    for ware in coupon.hardware:
        assert any(pair.mate == ware.id for pair in (*coupon.trials, *coupon.holds))


def test_a_gauge_has_the_direction_of_the_features_that_it_is_tried_in():
    coupon = record(plan_of(*(ROW.format("slot", d, "[0, 0.2]") for d in ("x", "y", "x+y"))))
    by_id = {f.id: f for f in coupon.features}
    for trial in coupon.trials:
        assert by_id[trial.mate].direction == by_id[trial.feature].direction
        assert by_id[trial.mate].form == "tongue"


def test_trials_go_from_loose_to_tight_one_gauge_after_the_other():
    coupon = record(plan_of(ROW.format("hole", "z", "[0.0, 0.1, 0.2]")))
    assert [(t.feature, t.mate) for t in coupon.trials] == [
        ("A3", "AG"),
        ("A2", "AG"),
        ("A1", "AG"),
        ("A3", "AH"),
        ("A2", "AH"),
        ("A1", "AH"),
    ]


def test_hardware_is_recorded_with_the_middle_and_spread_of_its_band():
    coupon = record(plan_coupon(load_spec("hardware")))
    dowel = coupon.hardware[0]
    assert (dowel.name, dowel.form) == ("dowel pin 8 m6", "pin")
    assert dowel.size_mm == pytest.approx(8.0105)
    # A uniform band of width w has the standard deviation w/√12 (textbook).
    assert dowel.sd_mm == pytest.approx(0.009 / 12**0.5, abs=1e-6)


def test_swell_witnesses_say_that_they_are_met_at_the_bed():
    coupon = record(plan_coupon(load_spec("upright")))
    swell = [f for f in coupon.features if f.role == "swell"]
    assert {(f.form, f.direction) for f in swell} == {
        (form, axis) for form in ("tongue", "slot") for axis in "xy"
    }
    assert all(f.at_bed and f.place_mm[2] == 0 for f in swell)
    assert not any(f.at_bed for f in coupon.features if f.role != "swell")


def test_a_row_longer_than_the_bed_is_split_over_bodies():
    gaps = "{ start = 0.0, stop = 0.6, step = 0.02 }"
    coupon = record(plan_of(ROW.format("slot", "x", gaps), bed_mm=(120, 120)))
    bodies = {f.body for f in coupon.features if f.role == "fit"}
    assert bodies == {"A.1", "A.2", "A.3", "A.4"}
    assert len([f for f in coupon.features if f.role == "fit"]) == 31
    assert len([f for f in coupon.features if f.role == "span"]) == 2


def test_what_no_bed_can_hold_is_refused_with_how_much_is_missing():
    rule = '[[row]]\nkind = "spans"\ndirection = "x"\ntongues_mm = [90, 90]\nslots_mm = [20]\n'
    with pytest.raises(PlanError, match=r"body A.*20\.0 mm too long along x"):
        plan_of(rule, bed_mm=(190, 190))


def test_a_feature_too_big_for_the_bed_by_itself_is_refused():
    row = ROW.format("hole", "z", "[0, 0.2]").replace("size_mm = 5", "size_mm = 50")
    with pytest.raises(PlanError, match="too long along x"):
        plan_of(row + "wall_mm = 15\ndepth_mm = 15\n", bed_mm=(60, 200))


@pytest.mark.parametrize("machine", [{"nozzle_mm": -1}, {"layer_height_mm": float("nan")}])
def test_a_machine_that_cannot_be_is_refused(machine):
    with pytest.raises(PlanError, match="machine"):
        plan_of(ROW.format("hole", "z", "[0]"), **machine)


def test_a_large_bed_is_used_whole():
    plan = plan_coupon(load_spec("first"), bed_mm=(500, 500))
    assert plan.plates == 1


def test_plates_are_centred_on_the_bed():
    plan = plan_of(ROW.format("hole", "z", "[0, 0.2]"), bed_mm=(200, 100))
    covers = [item.cover() for item in plan.placed]
    for k, side in ((0, 200), (1, 100)):
        low = min(cover[0][k] for cover in covers)
        high = max(cover[1][k] for cover in covers)
        assert low == pytest.approx(side - high, abs=0.01)


@pytest.mark.parametrize("name", shipped_specs())
@pytest.mark.slow
def test_the_estimate_without_a_mesh_agrees_with_the_mesh(name):
    plan = plan_coupon(load_spec(name))
    for item, solid in zip(plan.placed, build_solids(plan), strict=True):
        assert body_volume_mm3(item.body.parts) == pytest.approx(solid.volume_mm3, rel=0.04)


def test_bodies_are_recorded_where_their_solids_stand_and_as_large():
    plan = plan_coupon(load_spec("recheck"))
    solids = {solid.body: solid for solid in build_solids(plan)}
    bodies = record(plan).bodies
    assert {body.id for body in bodies} == solids.keys()
    for body in bodies:
        corners = solids[body.id].vertices_mm
        assert body.origin_mm == pytest.approx(solids[body.id].origin_mm, abs=1e-3)
        assert body.extent_mm == pytest.approx(corners.max(axis=0) - corners.min(axis=0), abs=1e-3)


def test_the_time_model_is_what_its_words_say():
    plan = plan_of(ROW.format("hole", "z", "[0, 0.2]"))
    cost = estimate(plan)
    # 0.45 mm lines of 0.2 mm at 60 mm/s for four fifths of the time; 39 layers; two minutes.
    layers = max(item.body.box[1][2] for item in plan.placed) / 0.2
    plastic_mm3 = sum(body_volume_mm3(item.body.parts) for item in plan.placed)
    seconds = plastic_mm3 / (0.45 * 0.2 * 60 * 0.8) + 1.5 * layers + 120
    assert cost.minutes == pytest.approx(seconds / 60, abs=0.15)
    assert cost.plastic_cm3 == pytest.approx(plastic_mm3 / 1000, abs=0.051)
    assert cost.grams == pytest.approx(cost.plastic_cm3 * 1.24, abs=0.1)


def test_each_plate_takes_its_two_minutes_and_its_own_layers():
    plan = plan_of(*[ROW.format("hole", "z", "[0, 0.2]")] * 9, bed_mm=(40, 40))
    assert plan.plates >= 9, "so many that a second a plate would show"
    plastic_mm3 = sum(body_volume_mm3(item.body.parts) for item in plan.placed)
    layers = sum(
        round(max(item.body.box[1][2] for item in plan.on(plate)) / 0.2)
        for plate in range(1, plan.plates + 1)
    )
    seconds = plastic_mm3 / (0.45 * 0.2 * 1e9 * 0.8) + 1.5 * layers + 120 * plan.plates
    assert estimate(plan, speed_mm_s=1e9).minutes == pytest.approx(seconds / 60, abs=0.051)


def test_a_flat_loose_piece_shows_where_its_thickness_lies_and_a_round_one_has_nothing_to_show():
    marks = {}
    for name in shipped_specs():
        for item in plan_coupon(load_spec(name)).placed:
            texts = [part.shape.text for part in item.body.parts if isinstance(part.shape, Text)]
            for feature in item.body.features if item.body.loose else ():
                flat = feature.form in (Form.TONGUE, Form.SLOT)
                kind = ("across" if feature.axis == "z" else "level") if flat else "round"
                marks.setdefault(kind, set()).add(
                    next((mark for mark in "≡↔" if any(mark in text for text in texts)), "")
                )
    assert marks == {"across": {"≡"}, "level": {"↔"}, "round": {""}}
