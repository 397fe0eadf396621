"""What `joints` says beyond single fits: chances asked for, nothing too tight, what to loosen."""

import math
from dataclasses import replace

import numpy as np
import pytest
from support.drawer_list import DRAWER, part
from support.drawn_part import DrawnPart, drawn_sizes
from support.known_profile import FROM_ONE_PRINT, known_profile, unshifted

from coupons.answering.chances.demand import Demand
from coupons.answering.joints.loosen import Wider, most_gained
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.joints import tightness_sentence, warnings, wish
from coupons.terms import Direction, Form, Grade, Joint

ASKED = "drawer,slot,tongue,12,x,slide,,,0.95\nrail,slot,tongue,20,x,slide,,,\n"
TIGHT = """drawer,slot,tongue,12,x,slide,external,
lid pins,hole,pin,5,z,push,internal,
rail,slot,tongue,20,y,slide,internal,
hinge,,,,z,slide,,pin 8 m6
cover screw,,,,z,,,screw M3 medium
"""


def test_a_chance_asked_for_is_answered_as_offset_answers_it(tmp_path):
    profile = known_profile(sd_share=0.3)
    drawer, rail = part(tmp_path, profile, ASKED).joints
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
    assert drawer.found == answer(profile, Question(joint, Grade.SLIDE, at_least=0.95))
    assert drawer.chance >= 0.95
    assert drawer.chance == pytest.approx(1 - drawer.too_tight)
    assert rail.listed.at_least is None
    assert rail.found.question.at_least is None


def test_the_chance_of_all_takes_a_chance_asked_for_as_no_bound_on_looseness(tmp_path):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    found = part(tmp_path, profile, ASKED)
    drawn = DrawnPart(profile, 17, 100_000)
    holds = np.all([np.all(drawn.holds(j, drawn_sizes(j)), axis=0) for j in found.counted], axis=0)
    error = math.hypot(found.together.error, holds.std() / math.sqrt(drawn.n))
    assert found.together.chance == pytest.approx(holds.mean(), abs=4 * error + 0.002)


def test_a_chance_asked_for_is_told(tmp_path):
    drawer, rail = part(tmp_path, known_profile(sd_share=0.3), ASKED).joints
    assert (wish(drawer), wish(rail)) == ("slide or looser", "slide")
    assert "Chance of exactly this fit: " in " ".join(warnings(drawer))
    assert "Chance of exactly this fit: " not in " ".join(warnings(rail))


def moved(joint, loosening):
    return drawn_sizes(joint) | {move.form: move.drawn_mm for move in loosening.moves}


@pytest.mark.slow
def test_the_joint_to_loosen_gains_what_is_said_and_no_other_gains_more(tmp_path):
    # By plain counting over 200,000 makings of the part, every joint a step wider each time.
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    found = part(tmp_path, profile, TIGHT)
    drawn = DrawnPart(profile, 23, 200_000)
    sizes = [drawn_sizes(joint) for joint in found.counted]
    hold = [
        np.array(drawn.holds(joint, mm)) for joint, mm in zip(found.counted, sizes, strict=True)
    ]

    def chances(at=None, other=None):
        all_of = np.array([other if n == at else each for n, each in enumerate(hold)])
        return all_of[:, 0].all(axis=0).mean(), all_of.all(axis=(0, 1)).mean()

    free, fits = chances()
    told = found.loosen
    named = found.counted[told.at]
    gained = {}
    for at, joint in enumerate(found.counted):
        for wider_mm in (0.02, 0.04, 0.06, 0.08, 0.12):
            form = joint.moves[0].form
            wider = wider_mm if form in (Form.HOLE, Form.SLOT) else -wider_mm
            mm = sizes[at] | {form: sizes[at][form] + wider}
            after = chances(at, np.array(drawn.holds(joint, mm)))
            gained[joint.listed.name, wider_mm] = after[0] - free + after[1] - fits
    said = told.not_too_tight + told.together
    # Of counts that differ in one making of ten; 0.003 are four standard errors.
    assert said == pytest.approx(gained[named.listed.name, told.wider_mm], abs=0.003)
    assert max(gained.values()) < said + 0.003
    again = chances(told.at, np.array(drawn.holds(named, moved(named, told))))
    assert told.not_too_tight == pytest.approx(again[0] - free, abs=0.003)
    assert told.together == pytest.approx(again[1] - fits, abs=0.003)
    assert found.loosened == pytest.approx(again, abs=0.006)


def test_the_sentence_says_which_joint_how_much_and_what_is_gained(tmp_path):
    found = part(tmp_path, known_profile(sd_share=FROM_ONE_PRINT), TIGHT)
    sentence = tightness_sentence(found)
    (move,) = found.loosen.moves
    assert sentence.startswith("Chance that no joint is too tight: ")
    assert f"loosen {found.counted[found.loosen.at].listed.name} first: draw" in sentence
    assert f"draw {move.form} {move.drawn_mm:.2f} mm" in sentence
    assert f"({found.loosen.wider_mm:.2f} mm more gap)" in sentence


def test_nothing_is_loosened_where_nothing_is_gained(tmp_path):
    sure = known_profile(sd_share=0.01, scatters={"tau": 1e-4, "rho": 1e-4, "omega": 1e-4})
    found = part(tmp_path, sure, "a,slot,tongue,12,x,slide,,\nb,slot,tongue,9,y,slide,,\n")
    assert found.loosen is None
    assert tightness_sentence(found) == (
        "Chance that no joint is too tight: over 99\N{NO-BREAK SPACE}%."
    )


def test_one_joint_alone_and_joints_with_a_chance_asked_for_are_left_as_they_are(tmp_path):
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    alone = part(tmp_path, profile, DRAWER.splitlines()[0] + "\n")
    assert alone.loosen is None
    assert alone.not_too_tight.chance == pytest.approx(1 - alone.joints[0].too_tight)
    asked = "".join(
        f"{line}0.6\n" for line in ("a,slot,tongue,12,x,slide,,,", "b,hole,pin,5,z,push,,,")
    )
    assert part(tmp_path, profile, asked).loosen is None


def test_across_layers_a_joint_is_loosened_by_whole_layers(tmp_path):
    profile = known_profile(sd_share=FROM_ONE_PRINT, layer_height_mm=0.05)
    rows = "shelf,slot,tongue,12,z,slide,,\nlatch,slot,tongue,6,z,slide,both,\n"
    found = part(tmp_path, profile, rows)
    if found.loosen is None:
        pytest.fail("loosening across layers should gain here")
    assert round(found.loosen.wider_mm / 0.05, 9).is_integer()
    for move in found.loosen.moves:
        assert move.faces == 1
        assert round(move.offset_mm / 0.05, 9).is_integer()


def test_the_one_joint_that_is_too_tight_is_the_one_to_loosen():
    # Margins in mm over independent spreads of 0.04: the second joint is drawn 0.05 too tight.
    nothing = np.zeros(1)
    demands = [
        Demand((0.10, nothing), (-0.10, nothing), 0.04),
        Demand((0.05, nothing), (-0.15, nothing), 0.04),
    ]
    tried = [
        Wider(
            at,
            wider_mm,
            (),
            replace(
                demands[at],
                lower=(demands[at].lower[0] + wider_mm, nothing),
                upper=(demands[at].upper[0] + wider_mm, nothing),
            ),
        )
        for at in (0, 1)
        for wider_mm in np.arange(0.01, 0.15, 0.01)
    ]
    found = most_gained(demands, tried, unshifted(np.eye(1)))

    def phi(z):
        return 0.5 * math.erfc(-z / math.sqrt(2))

    first = phi(2.5) - phi(-2.5)
    best = max(
        np.arange(0.01, 0.15, 0.01),
        key=lambda w: (
            phi(2.5) * phi((0.05 + w) / 0.04)
            + first * (phi((0.05 + w) / 0.04) - phi((-0.15 + w) / 0.04))
        ),
    )
    assert found.at == 1
    assert found.wider_mm == pytest.approx(best)
    gained = phi(2.5) * (phi((0.05 + best) / 0.04) - phi(0.05 / 0.04))
    assert found.not_too_tight == pytest.approx(gained, abs=1e-4)
