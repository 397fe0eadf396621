"""Faces that lean: wedges and tapers, against geometry of polygons and limits of the angle."""

import math

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons.answering.ask import Printer
from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.slants import pull_gap_mm
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.answer_data import as_data
from coupons.answering.words.answers import sentences
from coupons.errors import AnswerError
from coupons.learning.effects import LOSSES, TERMS
from coupons.terms import Direction, Form, Grade, Joint, MovingBody, Slant

X, Y, Z = Direction.X, Direction.Y, Direction.Z


def wedge(angle_deg, pull=Y, direction=X):
    return Joint(Form.SLOT, Form.TONGUE, 12.0, direction, slant=Slant(angle_deg, pull))


@pytest.mark.parametrize("angle_deg", [5.0, 30.0, 60.0])
@pytest.mark.parametrize("move", list(MovingBody))
def test_offsets_are_along_normals_and_the_gap_closes_along_the_pull(angle_deg, move):
    found = answer(known_profile(), Question(wedge(angle_deg), Grade.SLIDE, move))
    # Flanks of both bodies as lines |x| = w/2 + y·tan α, at the middle of the contact, y = 0.
    tan = math.tan(math.radians(angle_deg))
    width = {Form.SLOT: 12.0, Form.TONGUE: 12.0} | {m.form: m.drawn_mm for m in found.moves}
    apart = (width[Form.SLOT] - width[Form.TONGUE]) / 2  # of two flanks, across
    normal = apart / math.hypot(1.0, tan)  # distance of two parallel lines
    assert found.gap_mm == pytest.approx(2 * normal, abs=1e-6)
    assert pull_gap_mm(found.question.joint, found.gap_mm) == pytest.approx(apart / tan, abs=1e-6)
    off = sum(abs(each.offset_mm) for each in found.moves)
    assert off == pytest.approx(normal, abs=1e-6)
    assert all(each.from_mm == pytest.approx(12.0, abs=1e-5) for each in found.moves)


def test_a_slight_slant_is_almost_an_ordinary_pair_and_a_steep_one_almost_the_other_way():
    profile = known_profile()
    gap = np.array([0.3])

    def clearance(joint):
        return Clearance(profile, joint, MovingBody.EXTERNAL, gap)

    plain = clearance(Joint(Form.SLOT, Form.TONGUE, 12.0, X))
    slight = clearance(wedge(0.01, pull=Z))
    assert slight.rows[0] == pytest.approx(plain.rows[0], abs=0.002)
    assert slight.own.counts == pytest.approx(plain.own.counts, abs=1e-6)
    assert slight.size_doubt == pytest.approx(plain.size_doubt, abs=1e-6)
    steep = clearance(wedge(89.99, pull=Z))
    assert steep.own.counts == pytest.approx((0, 2, 0), abs=1e-6)
    growths = [TERMS.index(f"growth_{side}_z") for side in ("ext", "int")]
    assert steep.rows[0][growths] == pytest.approx([-2, -2], abs=1e-5)


def test_a_slant_between_has_shares_of_both_and_the_stair_of_the_layers():
    leaning = Clearance(known_profile(), wedge(30.0, pull=Z), MovingBody.EXTERNAL, np.zeros(1))
    rows = dict(zip(TERMS, leaning.rows[0], strict=True))
    assert rows["growth_ext"] == pytest.approx(-2 * 0.75)
    assert rows["growth_ext_z"] == pytest.approx(-2 * 0.25)
    assert leaning.own.counts == pytest.approx((1.5, 0.5, 0))
    assert rows["lying_loss"] == pytest.approx(-math.sin(math.radians(60)))
    flat = Clearance(known_profile(), wedge(30.0, pull=Y), MovingBody.EXTERNAL, np.zeros(1))
    assert not flat.rows[0][-len(LOSSES) :].any()  # flanks stand upright in the layer plane
    assert leaning.size_doubt == pytest.approx(2 * (2 * 0.03 * math.sin(math.radians(60))) ** 2)


def test_a_slanted_answer_is_marked_as_never_tried():
    found = answer(known_profile(), Question(wedge(30.0), Grade.SLIDE))
    told = " ".join(sentences(found))
    assert "NEVER TRIED BY HAND: faces that lean" in told
    assert "along the pull" in told
    data = as_data(found)
    assert data["question"]["slant_deg"] == 30
    assert data["question"]["across"] == "xy"
    assert data["pull_gap_mm"] == pytest.approx(found.gap_mm)  # 1 / (2 sin 30°) = 1
    plain = answer(known_profile(), Question(wedge(0.5), Grade.SLIDE))
    assert found.chance < plain.chance


def test_a_taper_is_pulled_along_its_axis():
    found = Printer(known_profile()).offset("hole/pin", size_mm=8, across="z", slant_deg=3)
    assert found.question.joint.slant.pull is Z
    assert found.moves[0].form is Form.PIN


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"across": "xy", "slant_deg": 0}, "0 is an ordinary pair"),
        ({"across": "xy", "slant_deg": 90}, "stops it"),
        ({"across": "xy", "slant_deg": -10}, "not -10"),
        ({"across": "x", "slant_deg": 10}, "2 directions for each body"),
        ({"across": "xx", "slant_deg": 10}, "must differ"),
        ({"joint": "hole/pin", "across": "zx", "slant_deg": 10}, "Expected a direction"),
        (
            {"joint": None, "size_mm": None, "hardware": "pin 8 m6", "across": "z", "slant_deg": 5},
            "no faces that lean",
        ),
    ],
)
def test_slants_that_make_no_sense_are_refused(asked, said):
    with pytest.raises(AnswerError, match=said):
        Printer(known_profile()).offset(**({"joint": "slot/tongue", "size_mm": 12.0} | asked))
