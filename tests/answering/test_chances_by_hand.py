"""Intervals, shares, spreads and lattices of chances, against plain formulas."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr
from support.known_profile import EVERYTHING, known_profile, unshifted

from coupons.answering.chances.bed import bed_cases, crosses_layers, unsaid_sentence
from coupons.answering.chances.clearance import Clearance, drawn_sizes
from coupons.answering.chances.contact_length import (
    ContactLength,
    contact_in,
    contact_sentence,
    odd_contact,
    unsaid_variance,
)
from coupons.answering.chances.costs import odd_costs
from coupons.answering.chances.demand import Demand, OneOf, not_too_tight
from coupons.answering.chances.extrapolation import feel_variance, lies_near, size_variance
from coupons.answering.chances.next_print import (
    half_width,
    interval,
    learned_share,
    scatters_that_count,
    variance_parts,
    variances,
)
from coupons.answering.chances.own_spread import OwnSpread, with_own
from coupons.answering.chances.pairs import odd_pair
from coupons.answering.chances.pieces import odd_choices
from coupons.answering.chances.prints import Prints, made_by
from coupons.answering.chances.slants import odd_slant, pull_gap_mm
from coupons.answering.chances.together import (
    DemandChange,
    Together,
    chance_together,
    chances_if_changed,
    chances_of_each,
    piece_chances,
)
from coupons.learning.effects import CONTACT_REFERENCE_MM, TERMS
from coupons.learning.profile import LogSpread
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody, Slant

X, Y, Z = Direction.X, Direction.Y, Direction.Z
SLOT, TONGUE, HOLE, PIN = Form.SLOT, Form.TONGUE, Form.HOLE, Form.PIN
SLOT_X = Joint(SLOT, TONGUE, 12.0, X)


# Intervals of mixtures.


def inside(half, sds, weights):
    return float(np.dot(weights, 2 * ndtr(half / np.array(sds)) - 1))


@pytest.mark.parametrize("share", [0.5, 0.9, 0.99])
@pytest.mark.parametrize(
    ("sds", "weights"), [([1.0], [1.0]), ([0.5, 3.0], [0.7, 0.3]), ([0.01, 0.02, 5.0], [0.3] * 3)]
)
def test_a_half_width_holds_its_share_of_a_mixture(share, sds, weights):
    weights = np.array(weights) / np.sum(weights)
    found = half_width(np.array(sds) ** 2, weights, share)
    exact = brentq(lambda half: inside(half, sds, weights) - share, 0, 100, xtol=1e-12)
    assert found == pytest.approx(exact, rel=1e-8)
    low, high = interval(np.full(len(sds), 2.0), np.array(sds) ** 2, weights, share)
    assert (low, high) == (pytest.approx(2.0 - exact), pytest.approx(2.0 + exact))


def test_unless_it_is_said_an_interval_is_of_90_percent():
    one = np.ones(1)
    assert half_width(one, one) == pytest.approx(1.6448536)
    assert interval(0 * one, one, one)[1] == pytest.approx(1.6448536)
    assert interval(np.array([0.0, 1e-9]), np.ones(2), np.ones(2) / 2)[1] == pytest.approx(
        1.6448536
    )


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_the_ends_of_an_interval_leave_as_much_on_either_side(share):
    means, sds, weights = np.array([-1.0, 2.0, 2.5]), np.array([0.5, 1.0, 3.0]), np.full(3, 1 / 3)
    low, high = interval(means, sds**2, weights, share)
    below, above = (float(weights @ ndtr((end - means) / sds)) for end in (low, high))
    assert below == pytest.approx((1 - share) / 2, abs=1e-9)
    assert above == pytest.approx((1 + share) / 2, abs=1e-9)


def row_of(**weights):
    row = np.zeros((1, len(TERMS)))
    for name, weight in weights.items():
        row[0, TERMS.index(name)] = weight
    return row


def test_what_is_left_of_a_sum_of_terms_is_by_its_variances():
    # Growths of 0.08 mm each, of which 0.3 and 0.5 of the sd are left: a mean of the squares.
    profile = known_profile(sd_share={"growth_ext": 0.3, "growth_int": 0.5})
    share = learned_share(profile, row_of(growth_ext=2, growth_int=2))
    assert share == pytest.approx([(0.3**2 + 0.5**2) / 2])
    assert learned_share(profile, row_of(growth_ext=2)) == pytest.approx([0.09])
    assert learned_share(profile, row_of()) == pytest.approx([1.0])


def test_of_two_printers_the_one_counts_that_is_known_less():
    first, second = known_profile(sd_share=0.3), known_profile(sd_share=0.6, machine="bench-2")
    both = Prints((first, second), (0, 1))
    row = np.concatenate([row_of(growth_int=-2)[0], row_of(growth_ext=-2)[0]])[None]
    assert learned_share(both, row) == pytest.approx([0.36])
    only_first = np.concatenate([row_of(growth_int=-2)[0], row_of()[0]])[None]
    assert learned_share(both, only_first) == pytest.approx([0.09])


def exactly(profile, **scatters):
    """Return a profile whose scatters are known outright."""
    told = {name: spread.median_mm for name, spread in profile.scatters.items()} | scatters
    exact = {name: LogSpread(median_mm=mm, log_sd=0.0) for name, mm in told.items()}
    return profile.model_copy(update={"scatters": exact})


def test_the_next_print_differs_by_the_printer_and_by_its_own_part():
    profile = exactly(known_profile(sd_share=0.3), rho=0.02)
    of_machine, of_print, weights = variance_parts(profile, row_of(growth_ext=2))
    # Two faces known to 0.3 of 0.08 mm; a print moves each by half of rho, and by half of its half.
    assert weights.sum() == pytest.approx(1)
    assert weights @ of_machine == pytest.approx([4 * 0.024**2], rel=1e-6)
    assert weights @ of_print == pytest.approx([1.25 * 0.02**2])
    spread, same = variances(profile, row_of(growth_ext=2))
    assert same @ spread == pytest.approx([4 * 0.024**2 + 1.25 * 0.02**2], rel=1e-6)


def test_two_prints_of_one_printer_differ_each_by_their_own_and_two_printers_by_all():
    profile = exactly(known_profile(sd_share=0.3), rho=0.02)
    row = np.concatenate([row_of(growth_int=-2)[0], row_of(growth_ext=-2)[0]])[None]
    machine, prints, weights = variance_parts(Prints((profile,), (0, 0)), row)
    assert weights @ machine == pytest.approx([8 * 0.024**2], rel=1e-6)
    # In one print half of rho on four faces adds up to 2; in two each has 1.25 of its own.
    assert weights @ prints == pytest.approx([2.5 * 0.02**2])
    one = row_of(growth_int=-2, growth_ext=-2)
    assert variance_parts(profile, one)[1][0] == pytest.approx([4 * 0.02**2])
    other = exactly(known_profile(sd_share=0.5, machine="bench-2"), rho=0.03)
    machine, prints, weights = variance_parts(Prints((profile, other), (0, 1)), row)
    assert weights @ machine == pytest.approx([4 * 0.024**2 + 4 * 0.04**2], rel=1e-6)
    assert weights @ prints == pytest.approx([1.25 * (0.02**2 + 0.03**2)])


def test_of_scatters_roughly_known_the_two_that_move_most_are_averaged_over():
    profile = known_profile(scatters={"rho": 0.02, "rho_scale": 2e-4, "rho_bed": 0.05})
    squares = {
        # By what they move: 4·0.0004 of rho, 144·4e-8 of the scale, 0.0025 of the bed.
        "all": row_of(growth_ext=2, growth_int=2, scale_x=12, bed_height=1),
        "rho": row_of(growth_ext=2, growth_int=2, scale_x=12),
        "tenth": row_of(growth_ext=2, growth_int=2, scale_x=18.9),
        "less": row_of(growth_ext=2, growth_int=2, scale_x=21),
    }
    found = {
        name: scatters_that_count(profile, (row @ profile.print_moves) ** 2)
        for name, row in squares.items()
    }
    assert found["all"] == ("rho_bed", "rho")
    assert found["rho"] == ("rho",)
    # One in a hundred of all counts: 0.0016 of rho and 1.43e-5, or 1.76e-5, of the scale.
    assert found["tenth"] == ("rho",)
    assert found["less"] == ("rho", "rho_scale")
    # The median's nodes have the mean square of a log-normal: exp(2·0.2²) more.
    _, of_print, weights = variance_parts(profile, squares["rho"])
    expected = math.exp(2 * 0.2**2) * (4 * 0.02**2 + 144 * 2e-4**2)
    assert weights @ of_print == pytest.approx([expected], rel=1e-4)
    assert len(weights) > 1


# What one pair has of its own.


def test_own_variances_add_up_by_how_often_they_count():
    profile = exactly(known_profile(), tau=0.03, tau_z=0.05, omega=0.04)
    own = OwnSpread(1.5, 0.5, 1.0, known_mm2=1e-4)
    expected = 1.5 * 0.03**2 + 0.5 * 0.05**2 + 0.04**2 + 1e-4
    assert own.counts == (1.5, 0.5, 1.0)
    assert own.mean_square(profile) == pytest.approx(expected)
    squares, weights = own.variance_rule(profile)
    assert (squares, weights) == (pytest.approx([expected]), pytest.approx([1.0]))
    assert OwnSpread(1.0, 0.0).counts == (1.0, 0.0, 0.0)


def test_two_printers_have_scatters_of_their_own():
    first = exactly(known_profile(), tau=0.03, omega=0.04)
    second = exactly(known_profile(machine="bench-2"), tau=0.05, omega=0.5)
    own = OwnSpread(1.0, 0.0, 1.0, others=((1.0, 0.0, 0.0),))
    both = Prints((first, second), (0, 1))
    assert own.mean_square(both) == pytest.approx(0.03**2 + 0.04**2 + 0.05**2)
    assert own.variance_rule(both)[0] == pytest.approx([0.03**2 + 0.04**2 + 0.05**2])


def test_variances_known_roughly_keep_their_mean():
    # A log-normal's mean square is exp(2·0.2²) of its median's; five nodes are left of all.
    profile = known_profile(scatters={"tau": 0.03, "tau_z": 0.05, "omega": 0.04})
    own = OwnSpread(1.0, 1.0, 1.0)
    squares, weights = own.variance_rule(profile)
    assert len(squares) == 5
    assert weights.sum() == pytest.approx(1)
    expected = math.exp(0.08) * (0.03**2 + 0.05**2 + 0.04**2)
    assert weights @ squares == pytest.approx(expected, rel=1e-4)
    assert own.mean_square(profile) == pytest.approx(expected)
    alone = OwnSpread(0.0, 0.0, 1.0).variance_rule(profile)
    assert np.log(alone[0]) @ alone[1] == pytest.approx(2 * math.log(0.04))


def test_spreads_are_paired_each_with_each():
    both, weights = with_own(
        np.array([[1.0, 2.0], [3.0, 4.0]]),
        np.array([0.25, 0.75]),
        (np.array([0.1, 0.2, 0.3]), np.array([0.2, 0.3, 0.5])),
    )
    assert both.tolist() == [[1.1, 2.1], [1.2, 2.2], [1.3, 2.3], [3.1, 4.1], [3.2, 4.2], [3.3, 4.3]]
    assert weights == pytest.approx([0.05, 0.075, 0.125, 0.15, 0.225, 0.375])


# Clearances.


@pytest.mark.parametrize(
    ("move", "internal_mm", "external_mm"),
    [
        (MovingBody.INTERNAL, 12.4, 12.0),
        (MovingBody.EXTERNAL, 12.0, 11.6),
        (MovingBody.BOTH, 12.2, 11.8),
    ],
)
def test_a_gap_is_taken_from_what_moves(move, internal_mm, external_mm):
    internal, external = drawn_sizes(SLOT_X, move, np.array([0.4]))
    assert (internal, external) == (pytest.approx([internal_mm]), pytest.approx([external_mm]))
    leaning = Joint(SLOT, TONGUE, 12.0, X, slant=Slant(60.0, Y))
    internal, external = drawn_sizes(leaning, move, np.array([0.2]))  # 0.4 mm across
    assert (internal, external) == (pytest.approx([internal_mm]), pytest.approx([external_mm]))


def clearance(joint, **more):
    return Clearance(known_profile(), joint, MovingBody.EXTERNAL, np.array([0.3]), **more)


def losses_of(joint, **more):
    row = dict(zip(TERMS, clearance(joint, **more).rows[0], strict=True))
    names = ("round_loss", "lying_loss", "seam_loss", "contact_loss")
    return tuple(round(row[name], 6) + 0.0 for name in names)


def test_pairs_lose_by_what_is_round_and_how_it_lies():
    assert losses_of(SLOT_X) == (0, 0, 0, 0)
    standing = losses_of(Joint(HOLE, PIN, 8.0, Z))
    assert standing == (-1, 0, -1, 0)
    lying = losses_of(Joint(HOLE, PIN, 8.0, X))
    assert (lying[0], lying[1]) == (0, -1)
    # One stands and one lies: what lies decides, the seam is the pin's own.
    assert losses_of(Joint(HOLE, PIN, 8.0, X, Z))[:3] == (0, -1, -1)
    assert losses_of(Joint(HOLE, PIN, 8.0, Z, X))[:2] == (0, -1)
    # A contact e times as long as the usual one counts once.
    longer = losses_of(SLOT_X, contact_mm=CONTACT_REFERENCE_MM * math.e)
    assert longer == pytest.approx((0, 0, 0, -1))


def test_standing_and_lying_rounds_together_are_less_sure():
    def doubt(*lies):
        return clearance(Joint(HOLE, PIN, 8.0, *lies), contact_mm=10.0).feel_doubt

    assert doubt(Z) == doubt(X) == 0
    assert doubt(Z, X) == doubt(X, Z) == pytest.approx(0.065**2)
    assert doubt(X, Y) == 0
    unlike = clearance(Joint(SLOT, TONGUE, 12.0, Z, X), contact_mm=10.0)
    assert unlike.feel_doubt == 0
    assert clearance(SLOT_X).feel_doubt == pytest.approx(unsaid_variance(known_profile()))


# Outside of what was measured.


def measured(low_mm, high_mm, tried=None):
    return tuple(
        one.model_copy(update={"low_mm": low_mm, "high_mm": high_mm, "tried_mm": tried})
        for one in EVERYTHING
    )


def test_what_is_added_outside_grows_from_zero_at_the_ends():
    profile = known_profile(measured=measured(4.0, 50.0))
    sds = [size_variance(profile, SLOT, X, mm) ** 0.5 for mm in (4, 20, 50, 60, 150, 2.5, 1)]
    # 0.2 % of 10 and of 100 mm beyond; 0.06 mm times 5/2.5 − 5/4, and 5 − 5/4.
    assert sds == pytest.approx([0, 0, 0, 0.02, 0.2, 0.06 * 0.75, 0.06 * 3.75])
    assert size_variance(known_profile(measured=()), SLOT, X, 500.0) == 0


def test_the_feel_is_less_sure_by_the_logarithm_beyond_what_was_tried():
    profile = known_profile(measured=measured(3.0, 80.0, tried=(4.0, 20.0)))
    ways = [(SLOT, X), (TONGUE, X)]
    sizes = (4.0, 10.0, 20.0, 20 * math.e, 4 / math.e**2)
    sds = [feel_variance(profile, ways, mm) ** 0.5 for mm in sizes]
    assert sds == pytest.approx([0, 0, 0, 0.015, 0.03])
    assert feel_variance(known_profile(), ways, 500.0) == 0


def test_a_joint_is_measured_half_a_millimetre_beyond_the_sizes_of_one_body():
    (one,) = measured(4.0, 20.0)[:1]
    assert [lies_near(mm, one) for mm in (3.49, 3.5, 20.5, 20.51)] == [False, True, True, False]


# Contact, bed, and what cannot be asked.


@pytest.mark.parametrize(
    ("length_mm", "is_far"), [(0.99, True), (1.0, False), (40.0, False), (40.1, True)]
)
def test_a_contact_is_far_beyond_twice_or_half_of_those_tried(length_mm, is_far):
    assert ContactLength(length_mm, True, (2.0, 20.0), 0.01).is_far is is_far
    assert not ContactLength(length_mm, False, (2.0, 20.0), 0.01).is_far
    twice = CONTACT_REFERENCE_MM * 2
    assert not ContactLength(twice, True, None, 0.01).is_far
    assert ContactLength(twice * 1.01, True, None, 0.01).is_far
    assert ContactLength(twice / 4.1, True, None, 0.01).is_far


def test_an_unsaid_contact_varies_by_a_factor_e():
    # The loss for each factor: 0.004 mm give or take 0.5 of 0.015 mm.
    profile = known_profile({"contact_loss": 0.004}, {"contact_loss": 0.5})
    assert unsaid_variance(profile) == pytest.approx(0.004**2 + 0.0075**2)
    unsaid = contact_in(profile, None)
    assert (unsaid.length_mm, unsaid.said, unsaid.tried_mm) == (CONTACT_REFERENCE_MM, False, None)
    assert unsaid.unsure_mm == pytest.approx((0.004**2 + 0.0075**2) ** 0.5)
    said = contact_in(profile, CONTACT_REFERENCE_MM / math.e**2)
    assert (said.said, said.unsure_mm) == (True, pytest.approx(2 * 0.0075))
    told = contact_in(known_profile(contact_mm=(3.0, 6.0, 20.0)), None)
    assert (told.length_mm, told.tried_mm) == (6.0, (3.0, 20.0))


def test_a_contact_is_said_with_the_length_it_is_for():
    assert contact_sentence(None) == ""
    assert (
        contact_sentence(ContactLength(30.0, True, (2.8, 20.2), 0.01))
        == "For a contact 30 mm long."
    )
    far = f"EXTRAPOLATED: a contact of 100 mm is far from those tried, {CONTACT_REFERENCE_MM:g} mm;"
    assert contact_sentence(ContactLength(100.0, True, None, 0.0412)) == (
        f"{far} the added uncertainty, ±0.041 mm (1 sd), is included."
    )


@pytest.mark.parametrize("mm", [None, 0.5, 2000.0])
def test_contacts_from_half_a_millimetre_to_two_metres(mm):
    assert odd_contact(mm) == ""


@pytest.mark.parametrize("mm", [0.49, 2000.1])
def test_contacts_beyond_are_refused(mm):
    assert odd_contact(mm) == f"A contact must be 0.5 to 2000 mm long, not {mm:g}."


def test_what_may_stand_on_the_bed():
    profile = known_profile()
    both = (Bed.NONE, Bed.EXTERNAL)
    assert bed_cases(profile, [(SLOT, Z), (TONGUE, Z)], None) == both
    assert bed_cases(profile, [(SLOT, Z), (TONGUE, X)], None) == (Bed.NONE,)
    assert bed_cases(profile, [(HOLE, X), (PIN, X)], None) == both
    assert bed_cases(profile, [(HOLE, Z), (PIN, Z)], None) == (Bed.NONE,)
    assert bed_cases(profile, [(SLOT, Z)], None) == (Bed.NONE,)
    assert bed_cases(profile, [(SLOT, Z), (TONGUE, Z)], Bed.BOTH) == (Bed.BOTH,)
    crossing = [(form, lies) for form in Form for lies in (X, Y, Z) if crosses_layers(form, lies)]
    assert crossing == [(PIN, X), (PIN, Y), (TONGUE, Z), (HOLE, X), (HOLE, Y), (SLOT, Z)]


def test_what_saying_the_bed_would_bring_is_told_of_each_case():
    said = unsaid_sentence(0.4, [(Bed.NONE, 0.3), (Bed.EXTERNAL, 0.42)])
    assert said.endswith(
        "this covers both cases; with --bed none the interval would narrow from 0.40 to 0.30 mm, "
        "with --bed external the interval would widen from 0.40 to 0.42 mm."
    )
    assert unsaid_sentence(0.4, []) == unsaid_sentence(0.4, [(Bed.NONE, 0.3)]) == ""


@pytest.mark.parametrize(
    ("costs", "fit", "gap_is_set", "says"),
    [
        (0.01, Grade.SLIDE, False, ""),
        (100.0, Grade.SLIDE, False, ""),
        (1.0, None, True, ""),
        (0.0099, Grade.SLIDE, False, "The cost of too loose must be 0.01 to 100 times"),
        (100.1, Grade.SLIDE, False, "The cost of too loose must be 0.01 to 100 times"),
        (math.nan, Grade.SLIDE, False, "The cost of too loose must be 0.01 to 100 times"),
        (2.0, None, False, "Costs choose the gap of a fit"),
        (2.0, Grade.SLIDE, True, "Costs choose the gap of a fit"),
        (2.0, Grade.LOOSE, False, "Nothing is too loose for a loose fit"),
    ],
)
def test_costs_that_can_be_asked(costs, fit, gap_is_set, says):
    said = odd_costs(costs, fit, gap_is_set=gap_is_set)
    assert said.startswith(says)
    assert bool(said) is bool(says)


@pytest.mark.parametrize(
    ("choices", "move", "fit", "gap_is_set", "says"),
    [
        (1, MovingBody.BOTH, None, True, ""),
        (2, MovingBody.INTERNAL, Grade.SLIDE, False, ""),
        (6, MovingBody.EXTERNAL, Grade.FORCE, False, ""),
        (7, MovingBody.EXTERNAL, Grade.SLIDE, False, "Draw 1 to 6 pieces to choose from, not 7."),
        (0, MovingBody.EXTERNAL, Grade.SLIDE, False, "Draw 1 to 6 pieces to choose from, not 0."),
        (2, MovingBody.EXTERNAL, None, False, "Pieces to choose from are drawn for the best"),
        (2, MovingBody.EXTERNAL, Grade.SLIDE, True, "Pieces to choose from are drawn for the best"),
        (2, MovingBody.EXTERNAL, Grade.LOOSE, False, "A loose fit needs no pieces"),
        (2, MovingBody.BOTH, Grade.SLIDE, False, "Pieces to choose from are of one body"),
    ],
)
def test_choices_that_can_be_asked(choices, move, fit, gap_is_set, says):
    said = odd_choices(choices, move, fit, gap_is_set=gap_is_set)
    assert said.startswith(says)
    assert bool(said) is bool(says)


@pytest.mark.parametrize(
    ("internal", "external", "says"),
    [
        (SLOT, TONGUE, ""),
        (HOLE, PIN, ""),
        (HOLE, TONGUE, "A tongue in a hole touches only along four edges: use hole/pin or"),
        (SLOT, PIN, "A pin in a slot touches only along two lines: use hole/pin or"),
        (TONGUE, SLOT, "A joint is internal/external, such as slot/tongue or hole/pin, not"),
        (SLOT, HOLE, "A joint is internal/external"),
        (PIN, TONGUE, "A joint is internal/external"),
    ],
)
def test_forms_that_mate(internal, external, says):
    said = odd_pair(internal, external)
    assert said.startswith(says)
    assert bool(said) is bool(says)


@pytest.mark.parametrize(
    ("joint", "says"),
    [
        (SLOT_X, ""),
        (Joint(SLOT, TONGUE, 12.0, X, slant=Slant(0.1, Z)), ""),
        (Joint(SLOT, TONGUE, 12.0, X, slant=Slant(89.9, Z)), ""),
        (Joint(HOLE, PIN, 8.0, Z, slant=Slant(5.0, Z)), ""),
        (Joint(SLOT, TONGUE, 12.0, X, slant=Slant(0.0, Z)), "A slant must be over 0 and under 90"),
        (Joint(SLOT, TONGUE, 12.0, X, slant=Slant(90.0, Z)), "A slant must be over 0 and under 90"),
        (Joint(HOLE, PIN, 8.0, Z, slant=Slant(5.0, X)), "A hole z is pulled along its axis, not"),
        (Joint(SLOT, TONGUE, 12.0, X, slant=Slant(5.0, X)), "A slot x is pulled square to the"),
    ],
)
def test_faces_that_can_lean(joint, says):
    said = odd_slant(joint)
    assert said.startswith(says)
    assert bool(said) is bool(says)


def test_faces_that_do_not_lean_have_no_way_along_the_pull():
    with pytest.raises(ValueError, match="faces lean"):
        pull_gap_mm(SLOT_X, 0.2)


def test_bodies_come_from_the_prints_of_their_makers():
    one, other = known_profile(), known_profile(machine="bench-2")
    same = made_by(one)
    assert (same.prints.of, same.internal, same.external) == ((0,), 0, 0)
    two = made_by(one, two_prints=True)
    assert (two.prints.of, two.internal, two.external) == ((0, 0), 0, 1)
    theirs = made_by(one, external=other)
    assert (theirs.prints.of, theirs.internal, theirs.external) == ((0, 1), 0, 1)
    assert theirs.profile_of(internal=False) is other
    both = made_by(one, other, other)
    assert (both.prints.of, both.internal, both.external) == ((0, 1), 1, 1)
    apart = made_by(one, other, other, two_prints=True)
    assert (apart.prints.of, apart.internal, apart.external) == ((0, 1, 1), 1, 2)
    again = made_by(one, known_profile())
    assert again.prints.profiles == (one,)


# Several demands at once, whose chances are known outright.

NONE = np.zeros(1)
ONE = np.ones(1)


def within(low, high, sd, row=NONE, **more):
    """Return a demand that a normal of mean 0 lies between two ends."""
    return Demand((-low, row), (-high, row), sd, **more)


def test_each_demand_has_its_own_chance():
    shared = unshifted(0.04 * np.eye(1))  # 0.2 mm along the one shared term
    demands = [
        within(-0.1, 0.3, 0.1, ONE),
        within(0.0, np.inf, 0.1, 2 * ONE),
        within(-0.1, 0.1, 0.1),
    ]
    found = chances_of_each(demands, shared)
    sds = np.sqrt([0.05, 0.17, 0.01])
    expected = [
        ndtr(0.3 / sds[0]) - ndtr(-0.1 / sds[0]),
        0.5,
        ndtr(1) - ndtr(-1),
    ]
    assert found == pytest.approx(expected, abs=1e-3)


def test_cases_as_likely_as_one_another_are_averaged():
    either = within(-0.1, 0.1, 0.1, or_else=(within(-0.2, 0.2, 0.1), within(0.0, 0.1, 0.1)))
    found = chance_together([either, within(-0.3, 0.3, 0.1)], unshifted(np.eye(1)))
    mean = np.mean([ndtr(1) - ndtr(-1), ndtr(2) - ndtr(-2), ndtr(1) - 0.5])
    assert found.chance == pytest.approx(mean * (ndtr(3) - ndtr(-3)))
    assert found.error == pytest.approx(0, abs=1e-12)
    assert Together(0.5, 0.01).sampling_error == pytest.approx(0.02365)


def test_what_is_not_too_tight_is_open_above_in_every_case():
    either = within(-0.1, 0.1, 0.1, or_else=(within(-0.2, 0.2, 0.1),))
    opened = not_too_tight(either)
    assert opened.upper is None
    assert opened.or_else[0].upper is None
    chance = chance_together([opened], unshifted(np.eye(1))).chance
    assert chance == pytest.approx((ndtr(1) + ndtr(2)) / 2)


def test_one_demand_changed_at_a_time():
    demands = [within(-0.1, 0.1, 0.1), within(-0.2, 0.2, 0.1), within(-0.3, 0.3, 0.1)]
    changes = [DemandChange(1, within(-0.1, 0.2, 0.1)), DemandChange(0, within(-0.4, 0.4, 0.1))]
    chance, changed = chances_if_changed(demands, changes, unshifted(np.eye(1)))
    one, two, three, four = (2 * ndtr(k) - 1 for k in (1, 2, 3, 4))
    assert chance == pytest.approx(one * two * three)
    half = ndtr(2) - ndtr(-1)
    assert changed == pytest.approx([one * half * three, four * two * three])


def test_scatters_that_are_shared_count_as_often_as_they_act():
    own = (LogSpread(median_mm=0.1, log_sd=0.0), LogSpread(median_mm=0.2, log_sd=0.0))
    shared = unshifted(np.eye(1))
    shared = type(shared)(shared.terms, own=own)
    demand = within(-0.2, 0.3, 0.05, counts=(2.0, 0.5))
    sd = (0.05**2 + 2 * 0.1**2 + 0.5 * 0.2**2) ** 0.5
    expected = ndtr(0.3 / sd) - ndtr(-0.2 / sd)
    assert chance_together([demand], shared).chance == pytest.approx(expected)


def pieces_of(*gaps_mm, common_mm2=0.0025, cases=1, **more):
    """Return pieces that fit a clearance of 0 to 0.2 mm; each varies by 0.1 mm of its own."""
    pieces = tuple(Demand((gap, NONE), (gap - 0.2, NONE), 0.1) for gap in gaps_mm)
    return OneOf((pieces,) * cases, common_mm2, more.get("common_counts", ()))


@pytest.mark.parametrize("cases", [1, 2])
def test_at_least_one_piece_fits_unless_all_miss(cases):
    # What the one body has, 0.05 mm, is common to all: by numerical integration over it.
    z, step = np.linspace(-6, 6, 2001, retstep=True)
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi) * step
    gaps = np.array([0.0, 0.15])
    at = gaps[:, None] + 0.05 * z
    miss = ndtr(-at / 0.1) + ndtr((at - 0.2) / 0.1)
    expected = 1 - (miss.prod(axis=0) * density).sum()
    found = chance_together([pieces_of(*gaps, cases=cases)], unshifted(np.eye(1)))
    assert found.chance == pytest.approx(expected, abs=2e-3)
    each = piece_chances(pieces_of(*gaps, cases=cases), unshifted(np.eye(1)))
    assert each.weights.sum() == pytest.approx(1)
    tight, loose = (each.weights @ side for side in (each.too_tight, each.too_loose))
    sd = (0.05**2 + 0.1**2) ** 0.5
    assert tight == pytest.approx(ndtr(-gaps / sd), abs=2e-3)
    assert loose == pytest.approx(ndtr((gaps - 0.2) / sd), abs=2e-3)


def test_pieces_stand_beside_other_joints():
    alone = chance_together([pieces_of(0.0, 0.15)], unshifted(np.eye(1))).chance
    before, after = within(-0.1, 0.1, 0.1), within(-0.2, 0.2, 0.1)
    demands = [before, pieces_of(0.0, 0.15), pieces_of(0.1), after]
    found = chance_together(demands, unshifted(np.eye(1))).chance
    only = chance_together([pieces_of(0.1)], unshifted(np.eye(1))).chance
    assert found == pytest.approx(alone * only * (2 * ndtr(1) - 1) * (2 * ndtr(2) - 1))
    opened = not_too_tight(pieces_of(0.1))
    sd = (0.05**2 + 0.1**2) ** 0.5
    loose = chance_together([opened], unshifted(np.eye(1))).chance
    assert loose == pytest.approx(ndtr(0.1 / sd), abs=2e-3)


def test_what_one_body_has_counts_by_its_scatters_too():
    own = (LogSpread(median_mm=0.05, log_sd=0.0),)
    shared = type(unshifted(np.eye(1)))(unshifted(np.eye(1)).terms, own=own)
    counted = pieces_of(0.0, 0.15, common_mm2=0.0, common_counts=(1.0,))
    plain = chance_together([pieces_of(0.0, 0.15)], unshifted(np.eye(1))).chance
    assert chance_together([counted], shared).chance == pytest.approx(plain)


def test_a_scale_widens_a_leaning_pair_by_its_normal():
    # A slot of 12 mm across whose faces lean by 60 degrees is 6 mm along their normals, and as
    # much a scale acts on; of its deviation a quarter is across, three quarters along the pull.
    leaning = Joint(SLOT, TONGUE, 12.0, X, slant=Slant(60.0, Z))
    found = Clearance(known_profile(), leaning, MovingBody.EXTERNAL, np.zeros(1))
    row = dict(zip(TERMS, found.printed_rows[0], strict=True))
    assert row["scale_int"] == pytest.approx(6.0)
    assert row["growth_int"] == pytest.approx(-2 * 0.25)
    assert row["growth_int_z"] == pytest.approx(-2 * 0.75)
    assert found.own.counts == pytest.approx((0.5, 1.5, 0.0))
