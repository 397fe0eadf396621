"""The designer's answer: its gap, its signs, its chance, its refusals."""

import numpy as np
import pytest
from scipy import stats
from support.known_profile import FROM_ONE_PRINT, drawn_prints, known_profile

from coupons.answering.chances.clearance import Clearance
from coupons.answering.offset import Feel, answer
from coupons.answering.question import Question
from coupons.answering.words.answers import NO_TRIALS, sentences
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import TERMS
from coupons.learning.profile import MeasuredRange
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

SLOT_X = Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X)
HOLE_Z = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
# Known to the micrometre: no doubt about terms, next to no scatter.
EXACT = {"sd_share": 1e-4, "scatters": dict.fromkeys(("tau", "omega", "rho"), 1e-5)}


def exact_profile(**means):
    flat = {"scale_x": 0.0, "growth_ext": 0.05, "growth_int": 0.07, "from_slide": 0.10}
    return known_profile(flat | {"from_loose": 0.30} | means, **EXACT)


def test_the_gap_is_that_of_the_middle_of_the_window_by_hand():
    # Faces close the gap by 2·0.05 + 2·0.07 = 0.24; the middle of 0.10…0.30 is 0.20.
    got = answer(exact_profile(), Question(SLOT_X, Grade.SLIDE))
    assert got.best_gap_mm == pytest.approx(0.44, abs=0.001)
    assert got.gap_mm == pytest.approx(0.44, abs=1e-9)
    assert got.chance > 0.999


def test_offsets_point_into_the_material_where_a_gap_opens():
    profile = exact_profile()
    for move, expected in (
        (MovingBody.EXTERNAL, {Form.TONGUE: (-0.22, 11.56)}),
        (MovingBody.INTERNAL, {Form.SLOT: (-0.22, 12.44)}),
        (MovingBody.BOTH, {Form.SLOT: (-0.11, 12.22), Form.TONGUE: (-0.11, 11.78)}),
    ):
        got = answer(profile, Question(SLOT_X, Grade.SLIDE, move))
        moves = {move.form: (move.offset_mm, move.drawn_mm) for move in got.moves}
        assert moves.keys() == expected.keys()
        for form, (offset, drawn) in expected.items():
            assert moves[form] == pytest.approx((offset, drawn), abs=1e-6)


def test_offsets_point_out_of_the_material_where_a_press_is_wanted():
    # A printer that prints tongues thin and slots wide needs interference for a push fit.
    profile = exact_profile(growth_ext=-0.10, growth_int=-0.10, from_push=0.0)
    got = answer(profile, Question(SLOT_X, Grade.PUSH, MovingBody.BOTH))
    assert got.gap_mm < 0
    assert [move.offset_mm > 0 for move in got.moves] == [True, True]
    slot, tongue = got.moves
    assert slot.drawn_mm < 12.0 < tongue.drawn_mm


def test_drawn_sizes_and_offsets_say_the_same():
    for body in MovingBody:
        for fit in (Grade.FORCE, Grade.PUSH, Grade.SLIDE, Grade.LOOSE):
            got = answer(known_profile(), Question(HOLE_Z, fit, body))
            drawn = {Form.HOLE: 8.0, Form.PIN: 8.0}
            for move in got.moves:
                outward = 1 if move.form is Form.PIN else -1
                assert move.drawn_mm == pytest.approx(8.0 + outward * move.faces * move.offset_mm)
                drawn[move.form] = move.drawn_mm
            assert drawn[Form.HOLE] - drawn[Form.PIN] == pytest.approx(got.gap_mm)


def test_no_other_gap_has_a_better_chance():
    profile = known_profile()
    best = answer(profile, Question(SLOT_X, Grade.SLIDE)).best_gap_mm

    def chance(gap):
        return answer(profile, Question(SLOT_X, Grade.SLIDE, drawn_gap_mm=gap)).chance

    top = chance(best)
    assert all(chance(best + d) <= top + 1e-9 for d in (-0.1, -0.02, -0.004, 0.004, 0.02, 0.1))


@pytest.mark.slow
def test_chances_agree_with_dice():
    """Throw terms, scatters, shifts and judgement; count grades. Error bar: 4 sd of 400,000."""
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    question = Question(HOLE_Z, Grade.SLIDE, drawn_gap_mm=0.30)
    got = answer(profile, question)
    rng = np.random.default_rng(5)
    n = 400_000
    clearance = Clearance(profile, HOLE_Z, MovingBody.EXTERNAL, np.array([0.30]))
    terms, own = drawn_prints(profile, rng, n, strata=1000)
    # What closes holes and grows pins counts twice, what moves both alike cancels, and so does
    # a print's scale but for the gap.
    c = 0.30 + terms @ clearance.rows[0] - 2 * own[:, 0] + 0.30 * own[:, 2]

    def thrown(scatter):
        spread = profile.scatters[scatter]
        return spread.median_mm * np.exp(spread.log_sd * rng.normal(size=n))

    sd = np.sqrt(2 * thrown("tau") ** 2 + thrown("omega") ** 2)
    felt = c + sd * rng.normal(size=n)
    first = TERMS.index("from_force")
    grade = (felt[:, None] >= terms[:, first : first + 4]).sum(axis=1)
    for rank, chance in enumerate(got.grade_chances.values()):
        share = (grade == rank).mean()
        # Thresholds drawn out of order (rare at 0.3 prior sds) count once, hence the floor.
        assert chance == pytest.approx(share, abs=4 * np.sqrt(0.25 / n) + 0.004)


def test_the_interval_holds_what_was_thrown_nine_times_in_ten():
    profile = known_profile(sd_share=FROM_ONE_PRINT)
    got = answer(profile, Question(SLOT_X, Grade.SLIDE))
    rng = np.random.default_rng(6)
    n = 100_000
    terms, own = drawn_prints(profile, rng, n, strata=500)
    row = Clearance(profile, SLOT_X, MovingBody.EXTERNAL, np.array([got.best_gap_mm])).rows[0]
    shift = 2 * own[:, 0] - got.best_gap_mm * own[:, 2]
    slide, loose = (terms[:, TERMS.index(name)] for name in ("from_slide", "from_loose"))
    needed = (slide + loose) / 2 - terms @ row + shift
    share = ((got.low_mm < needed) & (needed < got.high_mm)).mean()
    assert share == pytest.approx(0.90, abs=0.01)


@pytest.mark.parametrize("move", list(MovingBody))
@pytest.mark.parametrize("direction", [Direction.X, Direction.Z])
@pytest.mark.parametrize("at_least", [0.5, 0.8, 0.9, 0.93])
def test_a_gap_that_can_be_drawn_keeps_the_chance_that_was_wanted(move, direction, at_least):
    joint = Joint(Form.SLOT, Form.TONGUE, 12.0, direction)
    got = answer(known_profile(), Question(joint, Grade.SLIDE, move, at_least=at_least))
    assert got.chance + got.too_loose >= at_least


def test_at_least_gives_the_smallest_gap_with_that_chance():
    profile = known_profile()
    got = answer(profile, Question(SLOT_X, Grade.SLIDE, at_least=0.95))

    def goes(gap):
        tried = answer(profile, Question(SLOT_X, Grade.SLIDE, drawn_gap_mm=gap))
        return 1 - tried.too_tight

    assert goes(got.best_gap_mm) >= 0.95
    assert goes(got.best_gap_mm - 0.002) < 0.95


def test_across_layers_only_whole_layers_come_off_one_face():
    joint = Joint(Form.SLOT, Form.TONGUE, 6.0, Direction.Z)
    for move in MovingBody:
        got = answer(known_profile(), Question(joint, Grade.SLIDE, move))
        assert got.gap_mm == pytest.approx(got.layers * 0.2)
        assert all(move.faces == 1 for move in got.moves)
        for move in got.moves:
            layers = move.offset_mm / 0.2
            assert layers == pytest.approx(round(layers))
        assert abs(got.gap_mm - got.best_gap_mm) <= 0.1 + 1e-9


def test_a_profile_that_learned_nothing_is_no_answer():
    with pytest.raises(NotMeasuredError, match=r"Not measured: .* slot/tongue across x"):
        answer(known_profile(sd_share=1.0), Question(SLOT_X, Grade.SLIDE))


def test_outside_the_measured_sizes_is_said():
    near = (
        MeasuredRange(form=Form.SLOT, direction=Direction.X, low_mm=5.0, high_mm=10.0),
        MeasuredRange(form=Form.TONGUE, direction=Direction.X, low_mm=3.0, high_mm=80.0),
    )
    assert answer(known_profile(measured=near), Question(SLOT_X, Grade.SLIDE)).extrapolated
    inside = Joint(Form.SLOT, Form.TONGUE, 8.0, Direction.X)
    assert not answer(known_profile(measured=near), Question(inside, Grade.SLIDE)).extrapolated
    missing = answer(known_profile(measured=near[1:]), Question(inside, Grade.SLIDE))
    assert missing.extrapolated
    (warning,) = [line for line in sentences(missing) if "EXTRAPOLATED" in line]
    assert warning == "EXTRAPOLATED from other features: no slots across x were measured."


REFUSED = [
    (Question(Joint(Form.TONGUE, Form.SLOT, 12.0, Direction.X), Grade.SLIDE), "internal/external"),
    (Question(Joint(Form.HOLE, Form.TONGUE, 8.0, Direction.Z), Grade.SLIDE), "four edges"),
    (Question(Joint(Form.SLOT, Form.TONGUE, 0.0, Direction.X), Grade.SLIDE), "not 0"),
    (Question(Joint(Form.SLOT, Form.TONGUE, -3.0, Direction.X), Grade.SLIDE), "not -3"),
    (Question(Joint(Form.SLOT, Form.TONGUE, 1e6, Direction.X), Grade.SLIDE), "not 1e\\+06"),
    (Question(Joint(Form.SLOT, Form.TONGUE, float("nan"), Direction.X), Grade.SLIDE), "not nan"),
    (Question(Joint(Form.SLOT, Form.PIN, 8.0, Direction.X), Grade.SLIDE), "two lines"),
    (Question(SLOT_X, Grade.NO_GO), "no-go is not a fit"),
    (Question(SLOT_X, Grade.SLIDE, at_least=1.5), "between 0 and 1"),
    (Question(SLOT_X, Grade.SLIDE, at_least=float("nan")), "between 0 and 1"),
    (Question(SLOT_X, Grade.SLIDE, drawn_gap_mm=9.0), "under half"),
]


@pytest.mark.parametrize(("question", "message"), REFUSED)
def test_what_makes_no_sense_is_refused(question, message):
    with pytest.raises(AnswerError, match=message):
        answer(known_profile(), question)


def test_window_chance_against_numerical_integration():
    """P(slide) = ∫ P(clearance in the window) over one normal, where all scatters are exact."""
    scatters = {"rho": 0.02}
    profile = known_profile(sd_share=1e-6, scatters=scatters)
    fixed = {n: s.model_copy(update={"log_sd": 0.0}) for n, s in profile.scatters.items()}
    profile = profile.model_copy(update={"scatters": fixed})
    got = answer(profile, Question(SLOT_X, Grade.SLIDE, drawn_gap_mm=0.4))
    row = Clearance(profile, SLOT_X, MovingBody.EXTERNAL, np.array([0.4])).rows[0]
    mean = 0.4 + row @ profile.mean_vector
    tau, omega = (profile.scatters[n].mean_square for n in ("tau", "omega"))
    low, high = profile.means["from_slide"], profile.means["from_loose"]
    shift = np.linspace(-0.4, 0.4, 20_001)
    inside = stats.norm.cdf((high - mean - shift) / np.sqrt(2 * tau + omega)) - stats.norm.cdf(
        (low - mean - shift) / np.sqrt(2 * tau + omega)
    )
    expected = np.trapezoid(inside * stats.norm.pdf(shift, scale=2 * 0.02), shift)
    assert got.chance == pytest.approx(expected, abs=1e-6)


def felt(**changes):
    profile = known_profile(**changes)
    return [answer(profile, Question(SLOT_X, fit)) for fit in (Grade.PUSH, Grade.SLIDE)]


def test_an_answer_says_that_no_hand_tried_any_fit():
    counts = known_profile().counts.model_copy(update={"trials": 0})
    for got in felt(counts=counts):
        assert got.feel is Feel.UNTRIED
        assert NO_TRIALS in sentences(got)


def test_an_answer_says_where_trials_leave_the_end_of_its_window_open():
    push, slide = felt(sd_share={"from_force": 0.9})
    assert (push.feel, slide.feel) == (Feel.UNCLEAR, Feel.HAND)
    said = "The trials do not show where the push range begins and ends"
    assert said in " ".join(sentences(push))
    assert "The trials do not show" not in " ".join(sentences(slide))


def test_sizes_measured_are_told_to_a_hundredth():
    measured = [
        MeasuredRange(form=form, direction=Direction.X, low_mm=2.927, high_mm=22.2955)
        for form in (Form.SLOT, Form.TONGUE)
    ]
    got = answer(known_profile(measured=tuple(measured)), Question(SLOT_X, Grade.SLIDE))
    assert "Measured: slots across x of 2.93 to 22.3 mm." in sentences(got)
