"""Rules hold still between the jaws: by beam theory, by finite elements, and read off the mesh."""

import io
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from support.directions import VECTORS
from support.plane_stress import FlatBar

from coupons.making.bodies.proportions import Measures
from coupons.making.bodies.ruler import label_places
from coupons.making.bodies.ruler_bar import Ladder, ladder_for, reads_off_mm, slope
from coupons.making.bodies.series import Item
from coupons.making.bodies.stiffness import pressed_mm, section_of
from coupons.making.output.solids import build_solids
from coupons.making.output.stl import stl_bytes
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec, shipped_specs
from coupons.making.spec.row_kinds import SpansRow

FORCE_N, MODULUS_MPA = 5.0, 2000.0  # what the tool promises its rules for
RULES = {
    (name, tuple(row.tongues_mm), tuple(row.slots_mm))
    for name in shipped_specs()
    for row in load_spec(name).rows
    if isinstance(row, SpansRow)
}
SIZES = sorted({(tongues, slots) for _, tongues, slots in RULES})


def box(low, high):
    return (low, (high[0], low[1]), high, (low[0], high[1]))


def items_of(tongues, slots):
    sizes = [size for pair in zip(tongues, slots, strict=False) for size in pair] + [tongues[-1]]
    return tuple(Item(f"A{k}", size) for k, size in enumerate(sizes, start=1))


def ladder_of(tongues, slots, layer_mm=0.2):
    return ladder_for(items_of(tongues, slots), 3.0, 3.6, Measures(0.4, layer_mm))


def test_a_bar_pressed_on_its_axis_gives_as_hooke_says():
    bar = section_of((box((0.0, 0.0), (5.0, 4.0)),))
    assert pressed_mm(100.0, bar, (2.5, 2.0)) == pytest.approx(5 * 100 / (2000 * 20))


def test_a_bar_pressed_at_its_corner_gives_seven_times_as_much():
    """σ = P/A ± P·e_x·x/I_x ± P·e_y·y/I_y; at a rectangle's corner 1 + 3 + 3 times P/A.

    Source: load eccentric to both axes,
    https://expertsmind.com/topic/eccentrically-loaded-sections/load-acting-eccentric-to-both-axis-915306.aspx
    (the strain where the load acts, times the length, is what its points come nearer by).
    """
    bar = section_of((box((0.0, 0.0), (5.0, 4.0)),))
    centric = pressed_mm(100.0, bar, (2.5, 2.0))
    assert pressed_mm(100.0, bar, (5.0, 4.0)) == pytest.approx(7 * centric)
    assert pressed_mm(100.0, bar, (2.5, 4.0)) == pytest.approx(4 * centric)


def test_a_bar_of_any_section_agrees_with_bending_about_its_principal_axes():
    """An angle, cut into 40,000 squares, bent about the axes in which nothing is mixed."""
    step = 0.02
    y, z = np.meshgrid(*[np.arange(step / 2, 6, step)] * 2, indexing="ij")
    inside = (z < 2) | (y < 1.5)
    points = np.stack([y[inside], z[inside]])
    middle = points.mean(axis=1)
    second = (points - middle[:, None]) @ (points - middle[:, None]).T * step**2
    moments, axes = np.linalg.eigh(second)
    jaw = np.array([5.0, 4.5])
    arms = axes.T @ (jaw - middle)
    strain = FORCE_N / MODULUS_MPA * (1 / (inside.sum() * step**2) + (arms**2 / moments).sum())
    angle = section_of((box((0.0, 0.0), (6.0, 2.0)), box((0.0, 2.0), (1.5, 6.0))))
    assert pressed_mm(60.0, angle, tuple(jaw)) == pytest.approx(60 * strain, rel=1e-3)


def test_blocks_on_a_thin_strip_bend_as_finite_elements_say():
    """Seen from the side: a strip of 1.4 mm, blocks 4 mm high, jaws 2.7 mm above its middle."""
    cell, deep, strip, high = 0.2, 10.0, 1.4, 5.4
    blocks, notches = (4.0, 10.0, 8.0), (24.0, 36.0)
    ends = np.cumsum([0, 4, 24, 10, 36, 8])
    solid = np.ones((round(ends[-1] / cell), round(high / cell)), dtype=bool)
    for start, stop in (ends[1:3], ends[3:5]):
        solid[round(start / cell) : round(stop / cell), round(strip / cell) :] = False
    bar = FlatBar(solid, cell, deep)
    found = bar.closing_mm(bar.face(0, 1.4, 5.4), bar.face(ends[-1], 1.4, 5.4), FORCE_N)
    thin = section_of((box((0.0, 0.0), (deep, strip)),))
    thick = section_of((box((0.0, 0.0), (deep, high)),))
    jaw = (deep / 2, (strip + high) / 2)
    wanted = pressed_mm(sum(notches), thin, jaw) + pressed_mm(sum(blocks), thick, jaw)
    assert found > 0.4
    assert wanted == pytest.approx(found, rel=0.06)


@pytest.mark.parametrize(("tongues", "slots"), SIZES)
def test_shipped_rules_give_as_finite_elements_say(tongues, slots):
    """Every block, every notch and the whole, seen from above, to 0.0007 mm."""
    ladder, cell = ladder_of(tongues, slots), 0.5
    ends = np.cumsum([0, *(item.size_mm for item in ladder.items)])
    low, high = ladder.rail_mm, ladder.wide_mm - ladder.rail_mm
    solid = np.ones((round(ends[-1] / cell), round(ladder.wide_mm / cell)), dtype=bool)
    for start, stop in zip(ends[1::2], ends[2::2], strict=False):
        solid[round(start / cell) : round(stop / cell), round(low / cell) : round(high / cell)] = 0
    bar = FlatBar(solid, cell, ladder.high_mm)
    pairs = [*pairwise(ends), (0, ends[-1])]
    closing = [
        bar.closing_mm(bar.face(a, low, high), bar.face(b, low, high), FORCE_N) for a, b in pairs
    ]
    found = [near if k % 2 else -near for k, near in enumerate(closing)]
    found[-1] = -closing[-1]
    assert reads_off_mm(ladder) == pytest.approx(found, abs=0.0007)


@pytest.mark.parametrize("layer_mm", [0.1, 0.2, 0.3])
@pytest.mark.parametrize(("tongues", "slots"), SIZES)
def test_shipped_rules_keep_both_limits(tongues, slots, layer_mm):
    ladder = ladder_of(tongues, slots, layer_mm)
    off = np.array(reads_off_mm(ladder))
    sizes = [*(item.size_mm for item in ladder.items), ladder.whole_mm]
    assert np.abs(off).max() <= 0.01
    assert abs(np.polyfit(sizes, off, 1)[0]) <= 5e-5
    assert slope(ladder, tuple(off)) == pytest.approx(np.polyfit(sizes, off, 1)[0])
    assert ladder.high_mm / layer_mm == pytest.approx(round(ladder.high_mm / layer_mm))


def section_in_mesh(mesh, place, along, across):
    """Area, middle and second moments of a cut through the mesh, from its polygons."""
    cut = mesh.section(plane_origin=place, plane_normal=along)
    area, first, second = 0.0, np.zeros(2), np.zeros((2, 2))
    for loop in cut.discrete:
        flat = np.stack([(loop - place) @ across, loop[:, 2] - place[2]], axis=1)
        a, b = flat[:-1], flat[1:]
        cross = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        sign = np.sign(cross.sum())  # the cuts below have no hollow loops
        area += sign * cross.sum() / 2
        first += sign * (cross[:, None] * (a + b)).sum(axis=0) / 6
        mid = (a[:, :, None] * a[:, None, :] + b[:, :, None] * b[:, None, :]) / 12
        mixed = (a[:, :, None] * b[:, None, :] + b[:, :, None] * a[:, None, :]) / 24
        second += sign * (cross[:, None, None] * (mid + mixed)).sum(axis=0)
    middle = first / area
    return area, middle, second - area * np.outer(middle, middle)


def rules_with_meshes():
    for name in ("first", "spans", "recheck"):
        plan = plan_coupon(load_spec(name))
        coupon = record(plan)
        solids = {solid.body: solid for solid in build_solids(plan)}
        for bar in coupon.bars:
            features = [f for f in coupon.features if f.body == bar.body]
            data = stl_bytes((solids[bar.body],), "one", placed=True)
            yield name, bar, features, trimesh.load(io.BytesIO(data), file_type="stl")


@pytest.fixture(scope="module")
def meshes():
    return list(rules_with_meshes())


def test_a_rail_has_its_foot_chamfered_outside_alone():
    ladder = Ladder(items_of((8.0, 8.0), (8.0,)), 5.0, 4.0, 0.4)
    # Two rails of 5 by 4 mm, 5 mm apart; of each the outer foot lacks a corner of 0.4 mm.
    corner = 0.4**2 / 2
    rails, block = ladder.at_notch, ladder.at_block
    assert rails.area_mm2 == pytest.approx(2 * (20 - corner))
    assert block.area_mm2 == pytest.approx(60 - 2 * corner)
    for section, whole in ((rails, 40), (block, 60)):
        up = (whole * 2 - 2 * corner * 0.4 / 3) / (whole - 2 * corner)
        assert section.middle_mm == pytest.approx((7.5, up))
    # ∫ across² of two rails whose middles are 5 mm out, less the corners, 7.5 − 0.4/3 mm out.
    across = 2 * (4 * 5**3 / 12 + 20 * 5**2)
    corners = 2 * (0.4**4 / 36 + corner * (7.5 - 0.4 / 3) ** 2)
    assert rails.second_mm4[0] == pytest.approx(across - corners)


def test_the_sections_in_the_record_are_those_of_the_mesh(meshes):
    assert len(meshes) == 7
    for name, bar, features, mesh in meshes:
        along = np.array(VECTORS[bar.direction])
        across = np.array([-along[1], along[0], 0.0])
        notch = next(f for f in features if f.form == "slot")
        block = features[-2]  # the last block is long, and its label stands clear of its first end
        for feature, section, off in (
            (notch, bar.at_notch, 0.31 * notch.size_mm),
            (block, bar.at_block, -0.5 * block.size_mm + 0.8),
        ):
            place = np.array(feature.place_mm) + off * along
            area, middle, second = section_in_mesh(mesh, place, along, across)
            recorded = np.array(section.middle_mm) - place
            assert area == pytest.approx(section.area_mm2, rel=2e-3), (name, feature.id)
            assert middle == pytest.approx([recorded @ across, recorded[2]], abs=0.01)
            yy, zz, yz = section.second_mm4
            assert second == pytest.approx(np.array([[yy, yz], [yz, zz]]), rel=5e-3, abs=0.2)


def test_rules_read_off_the_mesh_keep_both_limits(meshes):
    """Bending and compression of the section that is cut, where the record says the jaws are."""
    for name, bar, features, mesh in meshes:
        along = np.array(VECTORS[bar.direction])
        across = np.array([-along[1], along[0], 0.0])
        per_mm = {}
        notch, block = next(f for f in features if f.form == "slot"), features[-2]
        for kind, f, off in (("notch", notch, 0.31), ("block", block, -0.45)):
            place = np.array(f.place_mm) + off * f.size_mm * along
            area, middle, second = section_in_mesh(mesh, place, along, across)
            give = 1 / area + middle @ np.linalg.solve(second, middle)
            per_mm[kind] = FORCE_N / MODULUS_MPA * give
        notches = [f.size_mm for f in features if f.form == "slot"]
        blocks = [f.size_mm for f in features if f.form == "tongue"][:-1]
        whole = sum(notches) * per_mm["notch"] + sum(blocks) * per_mm["block"]
        sizes = [*blocks, *notches, features[-1].size_mm]
        off = [-b * per_mm["block"] for b in blocks] + [n * per_mm["notch"] for n in notches]
        off.append(-whole)
        assert sizes[-1] == pytest.approx(sum(sizes[:-1])), name
        assert np.abs(off).max() < 0.006, name
        assert abs(np.polyfit(sizes, off, 1)[0]) <= 5e-5, name


def test_jaws_reach_every_block_and_notch(meshes):
    """A jaw of 3.5 × 3 mm comes down to the bed beside each face without meeting the rule."""
    for name, bar, features, mesh in meshes:
        along = np.array(VECTORS[bar.direction])
        across = np.array([-along[1], along[0], 0.0])
        for feature in features:
            side = -1 if feature.form == "slot" else 1
            for end in (-1, 1):
                face = np.array(feature.place_mm) + end * feature.size_mm / 2 * along
                for away in (0.45, 3.0):
                    for aside in (-1.75, 0.0, 1.75):
                        spot = face + end * side * away * along + aside * across
                        hits, _, _ = mesh.ray.intersects_location(
                            [[*spot[:2], 60.0]], [[0.0, 0.0, -1.0]]
                        )
                        assert len(hits) == 0, (name, feature.id)


def test_labels_stand_beside_what_they_name():
    for tongues, slots in SIZES:
        items = items_of(tongues, slots)
        places = label_places(items, [item.id for item in items], Measures(0.4, 0.2))
        ends = np.cumsum([0, *(item.size_mm for item in items)])
        for place, low, high in zip(places, ends, ends[1:], strict=False):
            assert low - 3 < place < high + 3


def test_a_taller_rule_is_made_before_one_is_refused():
    assert ladder_of((3.0, 30.0), (12.0,)).high_mm > ladder_of((12.0, 30.0), (30.0,)).high_mm


def test_wider_rails_are_stiffer():
    items = items_of((20.0, 20.0), (260.0,))
    thin, wide = (ladder_for(items, wall, 3.6, Measures(0.4, 0.2)) for wall in (3.0, 9.0))
    assert isinstance(thin, Ladder)
    assert max(map(abs, reads_off_mm(thin))) > max(map(abs, reads_off_mm(wide)))
