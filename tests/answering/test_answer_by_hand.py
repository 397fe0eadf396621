"""Whole answers of a printer that is known outright, worked out by hand.

Scales are right, outer faces grow by 0.04 mm and inner ones by 0.06 mm: a pair closes by 0.20 mm.
It slides from 0.10 mm of clearance on and is loose from 0.30 mm on. What is left open are own
deviations of 0.03 mm a size, a judgement of 0.04 mm, and 0.02 mm by which prints differ, which act
on each of four faces with a half: two times 0.02 mm in all.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri
from support.known_profile import EVERYTHING, known_profile

from coupons.answering.offset import Feel, answer, chances_in, clearances, moves_at, printed_gap_mm
from coupons.answering.question import Question, check_question
from coupons.answering.standards.hardware import hardware
from coupons.answering.wanted_window import interval_mixture
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS
from coupons.learning.profile import LogSpread
from coupons.terms import GRADES, Direction, Form, Grade, Joint, MovingBody

JOINT = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
TRIED = tuple(one.model_copy(update={"tried_mm": (3.0, 80.0)}) for one in EVERYTHING)
MEANS = dict.fromkeys(("scale_x", "scale_y", "scale_z", "scale_int"), 0.0)
SCATTERS = {"tau": 0.03, "tau_z": 0.05, "omega": 0.04, "rho": 0.02, "rho_roof": 0.06}
QUIET = {"rho_scale": 1e-9, "rho_scale_z": 1e-9, "rho_bed": 1e-9, "sigma": 0.01}
SD = (2 * 0.03**2 + 0.04**2 + (2 * 0.02) ** 2) ** 0.5


def known_outright(means=None, **changes):
    profile = known_profile(MEANS | (means or {}), 1e-6, measured=TRIED, **changes)
    exact = {name: LogSpread(median_mm=mm, log_sd=0.0) for name, mm in (SCATTERS | QUIET).items()}
    return profile.model_copy(update={"scatters": exact})


PROFILE = known_outright()


def asked(fit=Grade.SLIDE, joint=JOINT, **wish):
    return Question(joint, fit, **({"contact_mm": 20.0} | wish))


def chances_at(clearance_mm, sd=SD):
    """Return the chances of the five grades at a clearance, by the normal's own table."""
    beyond = ndtr((clearance_mm - np.array([-0.08, 0.0, 0.10, 0.30])) / sd)
    return -np.diff([1.0, *beyond, 0.0])


def test_the_best_gap_lies_in_the_middle_of_the_window():
    found = answer(PROFILE, asked())
    # 0.20 mm to make up for, and 0.20 mm of clearance, in the middle of 0.10 and 0.30.
    assert found.best_gap_mm == pytest.approx(0.40, abs=6e-4)
    assert found.gap_mm == pytest.approx(0.40)
    expected = chances_at(0.20)
    assert list(found.grade_chances.values()) == pytest.approx(expected, abs=1e-6)
    assert found.chance == pytest.approx(expected[3], abs=1e-6)
    assert found.too_tight == pytest.approx(expected[:3].sum(), abs=1e-6)
    assert found.too_loose == pytest.approx(expected[4], abs=1e-6)
    # Own deviations and the judgement move one joint, not the gap that is right for a print.
    half_mm = 1.6448536 * 2 * 0.02
    assert (found.high_mm - found.low_mm) / 2 == pytest.approx(half_mm, rel=1e-4)
    assert (found.high_mm + found.low_mm) / 2 == pytest.approx(0.40, abs=1e-6)
    assert not found.at_edge
    assert found.expected_cost == pytest.approx(1 - expected[3], abs=1e-6)
    (move,) = found.moves
    assert (move.form, move.drawn_mm, move.offset_mm) == (Form.TONGUE, 11.6, -0.2)
    assert (found.layer_mm, found.layers, found.prints_as) == (None, None, ())
    assert (found.feel, found.extrapolated, found.unmeasured) == (Feel.HAND, False, ())
    assert repr(found) == (
        f"<Answer to slide slot/tongue 12 mm across x: draw tongue 11.6 mm; "
        f"{round(100 * expected[3])} % chance>"
    )


@pytest.mark.parametrize(
    ("fit", "clearance_mm"), [(Grade.FORCE, -0.04), (Grade.PUSH, 0.05), (Grade.SLIDE, 0.20)]
)
def test_each_fit_has_the_middle_of_its_own_window(fit, clearance_mm):
    found = answer(PROFILE, asked(fit))
    assert found.best_gap_mm == pytest.approx(0.20 + clearance_mm, abs=6e-4)
    rank = GRADES.index(fit)
    expected = chances_at(clearance_mm)
    # Of a gap that is rounded to 0.02 mm the chance is that of the rounded one.
    expected = chances_at(found.gap_mm - 0.20)
    assert found.chance == pytest.approx(expected[rank], abs=1e-6)
    assert found.too_tight == pytest.approx(expected[:rank].sum(), abs=1e-6)
    assert found.too_loose == pytest.approx(expected[rank + 1 :].sum(), abs=1e-6)


def test_loose_is_drawn_so_that_19_of_20_are():
    found = answer(PROFILE, asked(Grade.LOOSE))
    best = 0.20 + 0.30 + 1.6448536 * SD
    assert best < found.best_gap_mm < best + 6e-4
    assert found.at_edge
    assert (found.high_mm + found.low_mm) / 2 == pytest.approx(0.50, abs=1e-6)
    assert found.too_loose == 0.0
    assert found.chance == pytest.approx(chances_at(found.gap_mm - 0.20)[4], abs=1e-6)


@pytest.mark.parametrize("share", [0.6, 0.9, 0.99])
def test_at_least_asks_for_the_smallest_gap_rounded_up(share):
    found = answer(PROFILE, asked(at_least=share))
    best = 0.20 + 0.10 + ndtri(share) * SD
    assert best < found.best_gap_mm < best + 6e-4
    assert found.gap_mm == pytest.approx(np.ceil(best / 0.02) * 0.02)
    assert found.at_edge
    assert found.chance + found.too_loose >= share


def test_a_chance_that_no_gap_has_is_refused():
    # Of a tongue of 3 mm gaps go up to a half of it.
    small = Joint(Form.SLOT, Form.TONGUE, 3.0, Direction.X)
    far = known_outright({"from_slide": 1.25, "from_loose": 1.5})
    with pytest.raises(AnswerError) as refused:
        answer(far, asked(joint=small, at_least=0.9))
    said = str(refused.value).replace("\N{NO-BREAK SPACE}", " ")
    assert said.startswith("No gap up to 1.48 mm is slide or looser with a chance of 90 %.")


def test_a_printed_gap_is_what_closes_and_one_pair_varies_by_itself():
    found = answer(PROFILE, asked(printed_gap_mm=0.15))
    assert found.best_gap_mm == pytest.approx(0.35, abs=6e-4)
    half_mm = 1.6448536 * (2 * 0.03**2 + (2 * 0.02) ** 2) ** 0.5
    assert (found.high_mm - found.low_mm) / 2 == pytest.approx(half_mm, rel=1e-4)
    assert not found.at_edge
    mean_mm, sd_mm = printed_gap_mm(PROFILE, asked(), 0.35)
    assert mean_mm == pytest.approx(0.15, abs=1e-6)
    assert sd_mm == pytest.approx(half_mm / 1.6448536, rel=1e-6)


def test_the_mixture_of_an_interval_is_of_one_normal_here():
    cases = clearances(PROFILE, asked(), np.array([0.30]))
    means, variances, weights = interval_mixture(cases, asked())
    assert weights.sum() == pytest.approx(1)
    assert means == pytest.approx(0.40, abs=1e-6)
    assert variances == pytest.approx((2 * 0.02) ** 2, rel=1e-5)
    # Of growths known to 0.01 mm a face: two faces of each body, four squares of it twice.
    covariance = np.zeros((len(TERMS),) * 2)
    for name in ("growth_ext", "growth_int"):
        covariance[TERMS.index(name), TERMS.index(name)] = 0.01**2
    _, variances, _ = interval_mixture(cases, asked(), covariance)
    assert variances == pytest.approx((2 * 0.02) ** 2 + 2 * (2 * 0.01) ** 2, rel=1e-5)


@pytest.mark.parametrize("costs", [0.25, 1.0, 3.0])
def test_where_too_loose_costs_more_the_gap_is_smaller_by_a_logarithm(costs):
    # Where the slopes at both ends are as their costs: log(costs)·σ² over the window of 0.20 mm.
    found = answer(PROFILE, asked(loose_costs=costs))
    shift_mm = np.log(costs) * SD**2 / 0.20
    assert found.best_gap_mm == pytest.approx(0.40 - shift_mm, abs=6e-4)
    assert found.expected_cost == pytest.approx(found.too_tight + costs * found.too_loose)
    assert (found.at_equal_costs is None) is (costs == 1.0)
    if costs != 1.0:
        assert found.at_equal_costs.gap_mm == pytest.approx(0.40)


def test_the_interval_of_a_gap_is_centred_where_costs_are_alike():
    # A cost moves the gap to draw, not the one that is in the middle of the window.
    found = answer(PROFILE, asked(loose_costs=3.0))
    assert (found.high_mm + found.low_mm) / 2 == pytest.approx(0.40, abs=1e-6)


def test_a_drawn_gap_is_answered_as_it_is():
    found = answer(PROFILE, asked(drawn_gap_mm=0.333))
    assert (found.gap_mm, found.best_gap_mm) == (0.333, 0.333)
    assert found.chance == pytest.approx(chances_at(0.133)[3], abs=1e-6)
    cases = clearances(PROFILE, asked(), np.array([0.333, 0.5]))
    assert chances_in(cases)[:, 1] == pytest.approx(chances_at(0.30), abs=1e-6)
    assert [move.drawn_mm for move in moves_at(PROFILE, asked(), 0.333)] == [11.66]


def test_both_bodies_share_a_gap():
    found = answer(PROFILE, asked(move=MovingBody.BOTH))
    assert {m.form: m.offset_mm for m in found.moves} == {Form.SLOT: -0.1, Form.TONGUE: -0.1}
    assert found.question.staying is None


def test_hardware_has_one_printed_body_and_its_own_tolerance():
    # A dowel 8 m6: 8.006 to 8.015 mm, its middle 0.0105 mm over the nominal size. The hole closes
    # by twice 0.06 mm and its form; what is felt are one printed size and one print's half.
    piece = hardware("pin 8 m6")
    joint = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    rounds = {"round_int": 0.0, "curl_int": 0.0, "curl_bend": 0.0, "round_loss": 0.0}
    profile = known_outright(rounds | {"seam_loss": 0.0})
    question = asked(Grade.PUSH, joint, hardware=piece, move=piece.move)
    found = answer(profile, question)
    assert found.best_gap_mm == pytest.approx(0.12 + 0.0105 + 0.05, abs=2e-3)
    half_mm = 1.6448536 * (1.25 * 0.02**2) ** 0.5
    assert (found.high_mm - found.low_mm) / 2 == pytest.approx(half_mm, rel=1e-3)
    assert found.question.printed_forms == (Form.HOLE,)
    assert [move.form for move in found.moves] == [Form.HOLE]


def test_what_was_not_measured_is_outside():
    small = tuple(
        one.model_copy(update={"high_mm": 5.0, "tried_mm": (3.0, 5.0)})
        for one in TRIED
        if one.form in (Form.SLOT, Form.TONGUE) and one.direction is Direction.X
    )
    profile = PROFILE.model_copy(update={"measured": small})
    found = answer(profile, asked())
    assert found.extrapolated
    assert [one.form for one in found.measured] == [Form.SLOT, Form.TONGUE]
    within = answer(profile, asked(joint=replace(JOINT, size_mm=4.0)))
    assert not within.extrapolated
    half = PROFILE.model_copy(update={"measured": small[:1]})
    found = answer(half, asked(joint=replace(JOINT, size_mm=4.0)))
    assert found.extrapolated
    assert found.unmeasured == tuple({Form.SLOT, Form.TONGUE} - {small[0].form})


def test_a_fit_that_nobody_tried_is_of_common_practice():
    none = PROFILE.counts.model_copy(update={"trials": 0})
    assert answer(PROFILE.model_copy(update={"counts": none}), asked()).feel is Feel.UNTRIED
    # An end threshold that is as vague as before leaves the window beside it unclear: that of its
    # own fit and of the next ones, which begin or end there.
    force, push, slide, loose = GRADES[1:]
    for name, fits in (("from_loose", {push, slide, loose}), ("from_force", {force, push})):
        vague = known_profile(sd_share={name: 1.0}, measured=TRIED)
        unclear = {fit for fit in GRADES[1:] if answer(vague, asked(fit)).feel is Feel.UNCLEAR}
        assert unclear == fits


def test_without_data_an_answer_is_refused_with_what_to_print():
    with pytest.raises(NotMeasuredError) as refused:
        answer(known_profile(sd_share=1.0), asked())
    said = str(refused.value)
    assert said.startswith(
        "Not measured: this profile has almost no data on slide fits of slot/tongue across x."
    )
    assert said.endswith("For a flat joint, across x means from face to face.")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"at_least": 0.0}, "A chance must be between 0 and 1, not 0."),
        ({"at_least": -0.5}, "A chance must be between 0 and 1, not -0.5."),
        ({"at_least": 1.0}, "A chance must be between 0 and 1, not 1."),
        ({"at_least": 1.5}, "A chance must be between 0 and 1, not 1.5."),
        ({"drawn_gap_mm": 6.0}, "A gap must be under half of the joint's size, not 6 mm."),
        ({"drawn_gap_mm": -6.0}, "A gap must be under half of the joint's size, not -6 mm."),
        ({"printed_gap_mm": 6.5}, "A gap must be under half of the joint's size, not 6.5 mm."),
        ({"fit": Grade.NO_GO}, "Ask for force, push, slide or loose: no-go is not a fit."),
        (
            {"at_least": 0.5, "drawn_gap_mm": 0.1},
            "Use only one of: a chance at least, a drawn gap, a printed gap.",
        ),
        (
            {"printed_gap_mm": 0.1, "drawn_gap_mm": 0.1},
            "Use only one of: a chance at least, a drawn gap, a printed gap.",
        ),
        (
            {"joint": replace(JOINT, size_mm=0.49)},
            "A joint's size must be 0.5 to 500 mm, not 0.49.",
        ),
        (
            {"joint": replace(JOINT, size_mm=500.1)},
            "A joint's size must be 0.5 to 500 mm, not 500.1.",
        ),
    ],
)
def test_a_question_that_makes_no_sense_is_refused(changes, says):
    with pytest.raises(AnswerError) as refused:
        check_question(replace(asked(), **changes))
    assert says in str(refused.value).splitlines()


@pytest.mark.parametrize(
    "changes",
    [
        {"at_least": 1e-6},
        {"at_least": 0.999},
        {"drawn_gap_mm": 5.99},
        {"drawn_gap_mm": -5.99},
        {"printed_gap_mm": 0.0},
        {"joint": replace(JOINT, size_mm=0.5)},
        {"joint": replace(JOINT, size_mm=500.0)},
    ],
)
def test_a_question_at_the_edge_of_sense_is_asked(changes):
    check_question(replace(asked(), **changes))


def test_a_question_is_named_by_what_is_asked():
    assert asked().name == "slide slot/tongue 12 mm across x"
    assert asked().wish == "fit slide"
    assert asked(drawn_gap_mm=0.25).wish == "drawn gap 0.25"
    assert asked(printed_gap_mm=0.25).wish == "printed gap 0.25"
    assert asked(move=MovingBody.INTERNAL).staying is Form.TONGUE
    assert asked(move=MovingBody.EXTERNAL).staying is Form.SLOT
    assert asked().ways == ((Form.SLOT, Direction.X), (Form.TONGUE, Direction.X))
    assert asked().makers == ()
    other = PROFILE.model_copy(update={"machine": "bench-2"})
    (maker,) = asked(external_profile=other).makers
    assert (maker[0], maker[1].machine) == (Form.TONGUE, "bench-2")
    assert (asked().choices, asked().loose_costs, asked().two_prints) == (1, 1.0, False)


def test_gaps_are_looked_for_from_minus_1_2_to_2_5_mm():
    # Windows whose middles lie at −1.1 and at 2.4 mm of drawn gap are found, farther ones are not.
    tight = known_outright({"from_force": -1.5, "from_push": -1.1})
    assert answer(tight, asked(Grade.FORCE)).best_gap_mm == pytest.approx(-1.1, abs=6e-4)
    wide = known_outright({"from_slide": 2.1, "from_loose": 2.3})
    assert answer(wide, asked()).best_gap_mm == pytest.approx(2.4, abs=6e-4)
    beyond = known_outright({"from_slide": 2.5, "from_loose": 3.5})
    with pytest.raises(AnswerError, match=r"No gap up to 2\.48 mm is slide or looser"):
        answer(beyond, asked(at_least=0.9))
    farther = known_outright({"from_force": -2.5, "from_push": -2.1})
    assert answer(farther, asked(Grade.FORCE)).best_gap_mm > -1.25


@pytest.mark.parametrize("printed_mm", [-2.0, 3.0])
def test_a_printed_gap_is_looked_for_about_itself(printed_mm):
    found = answer(PROFILE, asked(printed_gap_mm=printed_mm))
    assert found.best_gap_mm == pytest.approx(0.20 + printed_mm, abs=6e-4)


def test_the_middle_is_taken_where_many_gaps_are_as_good_as_certain():
    # Of a printer without any scatter every gap from 0.30 to 0.50 mm slides.
    exact = LogSpread(median_mm=1e-6, log_sd=0.0)
    fresh = known_profile(MEANS, 1e-6, measured=TRIED)
    sure = fresh.model_copy(update={"scatters": dict.fromkeys(fresh.scatters, exact)})
    found = answer(sure, asked())
    assert found.best_gap_mm == pytest.approx(0.40, abs=0.011)
    assert found.chance == pytest.approx(1.0)
