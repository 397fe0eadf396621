"""Joints of several pairs of faces against geometry and makings that are drawn one by one."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.ask import Printer
from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together, chances_of_each
from coupons.answering.chances.whole import corner_room
from coupons.answering.several.drawn_pairs import answer_several
from coupons.answering.several.faces import pitch_difference, whole_demand
from coupons.answering.several.kinds import Corners, JointKind, Legs, Several
from coupons.answering.words.several import several_data, several_sentences
from coupons.errors import AnswerError
from coupons.learning.effects import EFFECTS, LOSSES, TERMS, effect_row, loss_row
from coupons.terms import Bed, Direction, Feature, Form, Grade

X, Y, Z, DIAGONAL = Direction.X, Direction.Y, Direction.Z, Direction.XY_PLUS
ALIKE = ((X, Y), (X, Y))
LID = Several(JointKind.POCKET, (40.0, 25.0), ALIKE)
COVER = Several(JointKind.HOLES, (5.0,), ((Z, X), (Z, X)), pitch_mm=60.0)
CLIP = Several(JointKind.LEGS, (8.0,), ((X,), (X,)), legs=Legs(20.0, 2.0, 7.6, 0.0025))
N = 40_000


class Drawn:
    """Makings of one print each, terms and deviations drawn one by one."""

    def __init__(self, profile, seed):
        self.rng = np.random.default_rng(seed)
        self.terms, self.shifts = drawn_prints(profile, self.rng, N)
        self.moves = profile.print_moves[: len(EFFECTS)]
        self.own = {k: math.sqrt(s.mean_square) for k, s in profile.scatters.items()}

    def shared(self, row):
        return self.terms[:, : len(EFFECTS)] @ row + self.shifts @ (row @ self.moves)

    def size(self, form, drawn_mm, lies):
        tau = self.own["tau_z" if lies is Z and form in (Form.SLOT, Form.TONGUE) else "tau"]
        row = effect_row(Feature(form, drawn_mm, lies))
        return drawn_mm + self.shared(row) + tau * self.rng.normal(size=N)

    def threshold(self, grade):
        return self.terms[:, TERMS.index(f"from_{grade}")]

    def judged(self):
        return self.own["omega"] * self.rng.normal(size=N)


def agrees(stated, share):
    # Three errors of the drawn share; drawn scatters stand at their mean squares.
    assert stated == pytest.approx(share, abs=3 * 0.5 / math.sqrt(N) + 0.012)


def test_a_plate_slides_in_a_pocket_as_often_as_drawn_ones_do():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    asked = replace(LID, corners=Corners(1.0, 0.6), drawn_gap_mm=0.4)
    stated = answer_several(profile, asked)
    drawn, rooms, grown = Drawn(profile, 1), [], []
    for size_mm, lies in zip(LID.sizes_mm, (X, Y), strict=True):
        inner = drawn.size(Form.SLOT, size_mm, lies)
        outer = drawn.size(Form.TONGUE, size_mm - 0.4, lies)
        rooms.append(inner - outer)
        grown.append((size_mm - inner + outer - (size_mm - 0.4)) / 2)
    # Corner against corner, whose radii change as faces grow; centres of the two arcs, seen from
    # the pocket's corner.
    excess = 1.0 - 0.6 - np.mean(grown, axis=0)
    apart = [np.maximum(excess - room / 2, 0.0) for room in rooms]
    corner = 2 * (excess - np.sqrt(apart[0] ** 2 + apart[1] ** 2))
    felt = drawn.judged()
    tight = np.min([*rooms, corner], axis=0) + felt
    play = np.max(rooms, axis=0) + felt
    enters = tight > drawn.threshold("slide")
    agrees(stated.chance, np.mean(enters & (play < drawn.threshold("loose"))))
    agrees(stated.too_tight, np.mean(~enters))


@pytest.mark.slow
def test_two_pins_go_into_two_holes_as_often_as_drawn_ones_do():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    asked = replace(COVER, sides=((Z, X), (Z, Y)), drawn_gap_mm=0.5)
    stated = answer_several(profile, asked)
    drawn = Drawn(profile, 2)
    lost = drawn.terms[:, -len(LOSSES) :] @ loss_row(True, Z, seam=True)
    rooms = [drawn.size(Form.HOLE, 5.0, Z) - drawn.size(Form.PIN, 4.5, Z) - lost for _ in range(2)]
    places = []
    for axis in ("x", "y"):
        row = np.zeros(len(EFFECTS))
        row[EFFECTS.index(f"scale_{axis}")] = 60.0
        # A centre is the mean of two faces, each of which has half of a size's variance.
        face = drawn.own["tau"] / math.sqrt(2)
        centres = face * drawn.rng.normal(size=(2, 2, N)).mean(axis=1)
        drift = 0.0002 * 60 * drawn.rng.normal(size=N)
        places.append(drawn.shared(row) + centres[1] - centres[0] + drift)
    # One pin at 0, the other off by e: a shift t of the body puts both in if the intervals meet.
    felt = drawn.judged()
    halves = [(room + felt - drawn.threshold("slide")) / 2 for room in rooms]
    off = places[0] - places[1]
    low = np.maximum(-halves[0], off - halves[1])
    high = np.minimum(halves[0], off + halves[1])
    goes = (low <= high) & (halves[0] > 0) & (halves[1] > 0)
    # Once in, it plays across as far as the narrower hole lets it, along as far as both do.
    play = np.maximum(np.min(rooms, axis=0), np.mean(rooms, axis=0) - abs(off)) + felt
    agrees(1 - stated.too_tight, np.mean(goes))
    agrees(stated.chance, np.mean(goes & (play < drawn.threshold("loose"))))


@pytest.mark.slow
def test_legs_clasp_a_bar_as_often_as_drawn_ones_do():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    asked = replace(CLIP, fit=Grade.PUSH, drawn_gap_mm=0.25)
    stated = answer_several(profile, asked)
    drawn = Drawn(profile, 3)
    gap, bar = drawn.size(Form.SLOT, 8.0, X), drawn.size(Form.TONGUE, 7.75, X)
    mouth = drawn.size(Form.SLOT, 7.6, X)
    felt = gap - bar + drawn.judged()
    fits = (felt > drawn.threshold("push")) & (felt < drawn.threshold("slide"))
    strain = 1.5 * 2.0 * (bar - mouth) / 2 / 20.0**2
    agrees(stated.chance, np.mean(fits & (bar > mouth) & (strain < 0.0025)))
    assert stated.legs.expected == pytest.approx(np.mean(strain), abs=1e-4)
    assert stated.legs.tight == pytest.approx(np.quantile(strain, 0.95), rel=0.05)


@pytest.mark.slow
def test_a_sleeve_across_layers_covers_both_cases_of_what_stands_on_the_bed():
    profile = known_profile()
    asked = Several(JointKind.SLEEVE, (12.0, 8.0), ((X, Z), (X, Z)), drawn_gap_mm=0.4)
    chances = []
    for bed in (None, Bed.NONE, Bed.EXTERNAL):
        sleeve = replace(asked, bed=bed)
        chances.append(answer_several(profile, sleeve).chance)
    assert chances[0] == pytest.approx((chances[1] + chances[2]) / 2, abs=0.005)


def test_one_pair_as_a_whole_has_the_chance_of_the_pair():
    # A bar in legs without lips is one slot and one tongue.
    profile = known_profile(sd_share=0.3)
    legs = replace(CLIP, legs=Legs(20.0, 2.0))
    stated = answer_several(profile, legs)
    alone = stated.pairs[0].alone
    at_own_gap = answer_several(profile, replace(legs, drawn_gap_mm=alone.gap_mm))
    assert at_own_gap.chance == pytest.approx(alone.chance, abs=0.004)
    assert stated.chance >= at_own_gap.chance - 0.004


def test_a_pitch_errs_by_scale_and_skew_where_the_bodies_lie_unlike():
    shares = dict.fromkeys(TERMS, 1e-4) | {"scale_x": 1.0, "scale_y": 1.0, "skew": 1.0}
    means = {"scale_x": -0.004, "scale_y": -0.001, "skew": 0.002}
    profile = known_profile(means, sd_share=shares)
    alike, known = pitch_difference(profile, COVER)
    assert alike == pytest.approx(0.0, abs=1e-12)
    tau = profile.scatters["tau"].mean_square
    assert known**2 == pytest.approx(tau + 2 * (0.0002 * 60) ** 2, rel=1e-6)
    turned = replace(COVER, sides=((Z, X), (Z, Y)))
    mean, sd = pitch_difference(profile, turned)
    assert mean == pytest.approx(60 * (-0.004 + 0.001))
    assert sd**2 - known**2 == pytest.approx(2 * (60 * 0.005) ** 2, rel=0.01)
    slanting = pitch_difference(profile, replace(COVER, sides=((Z, DIAGONAL), (Z, X))))[0]
    assert slanting == pytest.approx(60 * (-0.0025 + 0.001 + 0.004))


def test_two_prints_have_scales_of_their_own_over_a_pitch():
    profile = known_profile(sd_share=1e-4)
    one, two = (
        pitch_difference(profile, replace(COVER, two_prints=apart))[1] for apart in (False, True)
    )
    scale = profile.scatters["rho_scale"].mean_square
    assert two**2 - one**2 == pytest.approx(2 * 60**2 * scale, rel=0.01)


def test_corners_touch_where_arcs_do():
    # Points of both arcs, nearest to one another, along a fine grid.
    def nearest(inner, outer, a, b):
        angles = np.radians(np.linspace(0, 90, 1801))
        arc = np.stack([np.cos(angles), np.sin(angles)], axis=1)
        pocket = -inner + inner * arc  # the corner of the pocket is at 0, its inside below
        plate = np.array([-a, -b]) - outer + outer * arc
        from_centre = np.linalg.norm(plate + inner, axis=1)
        assert np.linalg.norm(pocket + inner, axis=1) == pytest.approx(inner)
        return inner - from_centre.max()

    for inner, outer, a, b in ((2.0, 0.5, 0.8, 0.8), (2.0, 1.8, 0.1, 0.15), (3.0, 0.0, 1.0, 1.4)):
        room, half = np.array([[2 * a, 2 * b]]), (a + b) / 2
        assert corner_room(room, inner - outer - half)[0] == pytest.approx(
            2 * nearest(inner, outer, a, b), abs=1e-4
        )
    assert corner_room(np.array([[0.2, 0.2]]), -0.5)[0] == math.inf
    assert corner_room(np.array([[0.2, 0.2]]), -math.inf)[0] == math.inf


@pytest.mark.slow
def test_corners_that_meet_first_are_told_with_the_radius_that_cures_them():
    found = answer_several(known_profile(), replace(LID, corners=Corners(2.0, 0.5)))
    assert found.chance < 0.01
    half = min(found.gaps_mm) / 2
    assert found.corner_mm == pytest.approx(2.0 - half)
    corners = Corners(2.0, 2.0 - half)
    rounded = answer_several(
        known_profile(), replace(LID, corners=corners, drawn_gap_mm=found.gaps_mm[0])
    )
    # With equally rounded corners the diagonal has as much room as the narrower face.
    assert rounded.chance == pytest.approx(found.rounded_chance, abs=0.02)
    assert "CORNERS MEET FIRST" in " ".join(several_sentences(found))
    relieved = replace(LID, corners=Corners(None, 0.5), drawn_gap_mm=found.gaps_mm[0])
    assert answer_several(known_profile(), relieved).chance == pytest.approx(
        found.rounded_chance, abs=0.01
    )


@pytest.mark.slow
def test_gaps_of_two_pins_are_wider_than_one_wants_alone():
    profile = known_profile(sd_share=0.3)
    turned = replace(COVER, sides=((Z, X), (Z, Y)))
    found = answer_several(profile, turned)
    assert found.gaps_mm[0] > found.pairs[0].alone.gap_mm
    tried = [whole_demand(profile, turned, (gap,)) for gap in (*found.gaps_mm, 0.3, 1.0)]
    chances = chances_of_each(tried, shared_of(profile))
    assert chances[0] == max(chances)


def test_a_whole_beside_other_joints_shares_their_printer():
    profile = known_profile(sd_share=0.5)
    demand = whole_demand(profile, LID, (0.4, 0.4))
    shared = shared_of(profile)
    alone = chance_together([demand], shared).chance
    twice = chance_together([demand, demand], shared).chance
    assert alone**2 + 0.01 < twice < alone


def test_hardware_is_held_by_the_other_body():
    printer = Printer(known_profile())
    common = {"across": "zx", "pitch_mm": 60, "drawn_gap_mm": 0.5}
    dowels = printer.several("holes/pins", hardware="pin 5 m6", **common)
    assert [move.form for pair in dowels.pairs for move in pair.moves] == [Form.HOLE]
    apart = printer.several("holes/pins", hardware="pin 5 m6", two_prints=True, **common)
    assert apart.pitch.sd_mm > dowels.pitch.sd_mm
    assert "pin 5 m6 stays as it is" in str(dowels)
    assert "Both holes alike: " in str(dowels), "only the holes are drawn"
    two = "The two bodies come from two prints: how prints differ counts for each."
    assert two in str(apart)
    assert two not in str(dowels)


def test_words_and_data_say_that_nobody_tried_it_by_hand():
    told = {}
    for asked in (LID, COVER, CLIP):
        found = answer_several(known_profile(), replace(asked, drawn_gap_mm=0.4))
        told[asked.kind] = " ".join(several_sentences(found))
        assert "NEVER TRIED BY HAND" in " ".join(several_sentences(found))
        data = several_data(found)
        assert data["tried_by_hand"] is False
        assert data["question"]["joint"] == str(asked.kind)
    assert "draw the plate" in told[JointKind.POCKET]
    assert "Across x: move each face" in told[JointKind.POCKET]
    assert "The mouth bends each leg" in told[JointKind.LEGS]
    assert "print 0.00 ±0.0" in told[JointKind.HOLES]
    assert "Both holes and pins alike: " in told[JointKind.HOLES]
    assert "Across x: move each face of the 40 mm plate −0.20 mm" in told[JointKind.POCKET]
    assert "Across y: move each face of the 25 mm plate −0.20 mm" in told[JointKind.POCKET]


WRONG = [
    (CLIP, {"legs": Legs(20.0, 2.0, 4.0)}, "wider than half of it, not 4. Without lips"),
    (LID, {"sizes_mm": (40.0,)}, "two sizes, such as 40x25"),
    (LID, {"corners": Corners(13.0, 0.0)}, "under half of the smaller size, 12.5 mm, not 13"),
    (LID, {"pitch_mm": 30.0}, "A pitch belongs to holes/pins"),
    (LID, {"legs": Legs(20, 2)}, "Leg, mouth and strain limit belong to legs/bar"),
    (LID, {"bed": Bed.NONE}, "What stands on the bed matters"),
    (COVER, {"pitch_mm": None}, "Give the pitch"),
    (COVER, {"pitch_mm": 5.0}, "larger than the diameter, 5 mm"),
    (COVER, {"corners": Corners(1.0, 0.5)}, "Corner radii belong"),
    (CLIP, {"legs": None}, "free length and thickness"),
    (CLIP, {"legs": Legs(3.0, 2.0)}, "longer than twice its thickness"),
    (CLIP, {"legs": Legs(20.0, 2.0, 8.5)}, "narrower than the bar"),
    (CLIP, {"legs": Legs(20.0, 2.0, 7.0, 2.0)}, "such as 0.02 or 2 %"),
    (CLIP, {"legs": Legs(20.0, 2.0, None, 0.02)}, "needs the mouth"),
    (CLIP, {"at_least": 1.5}, "between 0 and 1"),
]


@pytest.mark.parametrize(("asked", "change", "said"), WRONG)
def test_what_makes_no_sense_is_refused(asked, change, said):
    with pytest.raises(AnswerError, match=said):
        answer_several(known_profile(), replace(asked, **change))


def test_all_faults_are_told_at_once():
    with pytest.raises(AnswerError) as caught:
        Printer(known_profile()).several(
            "pocket/plate", across="xx", size_mm=40, corners="big", leg="20", pitch_mm=3
        )
    told = caught.value.message
    for said in ("must differ", "2/0.5", "20x2", "A pitch belongs", "two sizes"):
        assert said in told


def test_profiles_of_another_material_are_refused():
    other = Printer(known_profile(machine="bench-2", material="white"))
    with pytest.raises(AnswerError, match="of white"):
        Printer(known_profile()).several("pocket/plate", size_mm=(40, 25), across="xy", other=other)
