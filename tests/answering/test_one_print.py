"""What one print's answers say of how far prints differ, and what a second print would bring."""

import math

import numpy as np
import pytest
from scipy.special import ndtri
from support.known_profile import known_profile

from coupons.answering.chances.one_print import log_sd_after
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.words.answers import sentences
from coupons.learning.effects import TERMS
from coupons.terms import GRADES, Direction, Form, Grade, Joint

DRAWER = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.LOOSE, drawn_gap_mm=0.60)
QUIET = {"tau": 0.002, "omega": 0.002, "rho_scale": 1e-7}


def plain(runs=1, **more):
    """Return a printer of which next to nothing is unknown but its shift, known as one print can.

    Growth of both faces is known in a sum with the print's own shift: ± 0.02 mm a face in all.
    """
    shares = dict.fromkeys(TERMS, 1e-4) | {"growth_ext": 0.25, "growth_int": 0.25}
    return known_profile(sd_share=shares, scatters=QUIET | more, runs=runs)


def test_the_ends_are_the_chances_for_a_scatter_that_is_known():
    # Of the prior's log-sd 0.2: prints differ by 0.02·exp(∓1.2816·0.2) mm. What the print that
    # taught the profile had of its own goes with the same scatter.
    found = answer(plain(), DRAWER).one_print
    said = answer(plain(), DRAWER).chance
    assert found.if_unlike < said < found.if_alike
    assert found.if_alike - found.if_unlike > 0.005
    assert found.after_if_alike - found.after_if_unlike < found.if_alike - found.if_unlike
    assert found.after > said


def test_a_second_print_tells_of_a_scatter_what_one_difference_does():
    # A print effect that is seen exactly: the log-sd 0.2 has precision 25, and one normal
    # difference adds 2 for each of the two effects that go with rho.
    exact = dict.fromkeys(TERMS, 0.1)
    assert 25 < log_sd_after(known_profile(sd_share=exact), "rho") ** -2 < 25 + 4
    assert log_sd_after(known_profile(sd_share=1.0), "rho") == pytest.approx(0.2, abs=1e-3)


def test_half_of_what_is_seen_being_its_own_tells_half_a_reading():
    # The height of the bed has a prior of 0.1 mm, of which 0.6 is left: of a print's own mean
    # square v the posterior shows v·(1 − 0.36)/0.01, here a half. So f = 1/2, and 2 f² = 1/2.
    median_mm = (0.5 * 0.01 / 0.64 / math.exp(2 * 0.2**2)) ** 0.5  # of a log-sd of 0.2
    profile = known_profile(sd_share=0.6, scatters={"rho_bed": median_mm})
    assert log_sd_after(profile, "rho_bed") == pytest.approx((25 + 0.5) ** -0.5, rel=1e-4)


def test_each_print_effect_of_a_scatter_adds_what_it_tells():
    # Growth of both faces, 0.08 mm each of which 0.6 is left, moves by half a shift each: of its
    # mean square 0.01 mm² a half is seen, of that of the faces apart, a quarter of it, an eighth.
    profile = known_profile(sd_share=0.6, scatters={"rho": 0.1 * math.exp(-0.04)})
    told = 2 * (1 / 2) ** 2 + 2 * (1 / 8) ** 2
    assert log_sd_after(profile, "rho") == pytest.approx((25 + told) ** -0.5, rel=1e-4)


def test_what_is_known_already_stays_known():
    profile = plain()
    known = profile.scatters["rho"].model_copy(update={"log_sd": 0.0})
    scatters = {**profile.scatters, "rho": known}
    assert log_sd_after(profile.model_copy(update={"scatters": scatters}), "rho") == 0


def test_a_second_print_halves_the_variance_of_what_the_prints_had_of_their_own():
    # Two faces of 0.004 mm each in all, and prints that shift the gap by 2 × 0.004 mm: next to
    # nothing is learned of the scatter itself, and the chance follows from the variances alone.
    shares = dict.fromkeys(TERMS, 1e-5) | {"growth_ext": 0.05, "growth_int": 0.05}
    scatters = {"tau": 2e-4, "omega": 2e-4, "rho_scale": 1e-8, "rho": 0.004}
    profile = known_profile(sd_share=shares, scatters=scatters)
    question = Question(DRAWER.joint, Grade.LOOSE, drawn_gap_mm=0.52, contact_mm=20.0)
    found = answer(profile, question)
    mean_square = 0.004**2 * math.exp(2 * 0.2**2)
    faces = 8 * 0.004**2 - 4 * mean_square  # of the two faces without the first print's shift

    def sds_away(square, prints):
        return (faces + 4 * square * (1 + 1 / prints)) ** -0.5

    ends = [0.004**2 * math.exp(2 * sds * 0.2) for sds in (-1.2816, 1.2816)]
    said = found.one_print
    stated = ndtri([said.if_alike, said.if_unlike, said.after_if_alike, said.after_if_unlike])
    expected = [sds_away(square, prints) for prints in (1, 2) for square in ends]
    assert stated / stated[0] == pytest.approx(np.array(expected) / expected[0], rel=2e-3)
    gained = sds_away(mean_square, 2) / sds_away(mean_square, 1)
    assert ndtri(said.after) / ndtri(found.chance) == pytest.approx(gained, abs=0.01)


def test_only_high_chances_of_one_print_say_so():
    one = " ".join(sentences(answer(plain(), DRAWER))).replace("\N{NO-BREAK SPACE}", " ")
    assert "One print cannot show how far prints differ" in one
    assert "a second print, fitted together, would make it about" in one
    assert "One print" not in " ".join(sentences(answer(plain(runs=2), DRAWER)))
    tight = Question(DRAWER.joint, Grade.LOOSE, drawn_gap_mm=0.45)
    assert answer(plain(), tight).chance < 0.8
    assert "One print" not in " ".join(sentences(answer(plain(), tight)))


def test_for_nodes_of_the_scatter_the_mean_is_the_stated_chance():
    from coupons.answering.chances import one_print
    from coupons.answering.offset import clearances

    profile = plain()
    cases = clearances(profile, DRAWER, np.array([0.60]))
    squares, weights = profile.scatters["rho"].variance_rule()
    nodes = np.array([one_print._with_square(profile, "rho", square) for square in squares])
    mean = weights @ one_print._chances(cases, Grade.LOOSE, nodes, 0)
    assert mean == pytest.approx(answer(profile, DRAWER).chance, abs=1e-6)


def test_the_grades_share_out_what_is_at_least_force():
    from coupons.answering.chances import one_print
    from coupons.answering.offset import clearances

    profile = plain()
    cases = clearances(profile, DRAWER, np.array([0.12]))
    squares = one_print._with_square(profile, "rho", 0.02**2)[None]
    every = [one_print._chances(cases, grade, squares, 0)[0] for grade in GRADES[1:]]
    (from_force,) = one_print._chances_from(cases[0], Grade.FORCE, squares, 0)
    assert len(cases) == 1
    assert sum(every) == pytest.approx(from_force)
    assert min(every) >= 0
    assert max(every) < 0.95, "several grades have a part of it"
