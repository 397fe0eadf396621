import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.list_columns import COLUMNS
from coupons.answering.next.coupon import (
    USUAL,
    Gain,
    ask_about,
    ask_about_listed,
    gains,
    most_for_its_time,
    shipped_coupons,
    usual_of,
)
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.hardware import hardware
from coupons.cli import main
from coupons.learning.profile import MeasuredRange
from coupons.learning.profile_file import read_profile, write_profile
from coupons.making.plan import plan_coupon, record
from coupons.making.spec.coupon_spec import load_spec
from coupons.terms import Direction, Form, Grade, Joint

ACROSS = {"growth_ext_z": 1.0, "growth_int_z": 1.0, "scale_z": 1.0}
UPRIGHT = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.Z), Grade.SLIDE)
IN_PLANE = Question(Joint(Form.SLOT, Form.TONGUE, 12.0, Direction.X), Grade.SLIDE)


@pytest.fixture(scope="module")
def coupons():
    return {name: record(plan_coupon(load_spec(name))) for name in ("upright", "sliding", "spans")}


def test_what_was_never_measured_is_told_by_the_coupon_that_has_it(coupons):
    # Prints that hardly differ along z: what a coupon can teach is nearly all of the interval.
    profile = known_profile(
        sd_share=ACROSS, scatters={"rho_scale_z": 1e-4, "rho_bed": 0.01, "rho_roof": 0.01}
    )
    asked = ask_about(profile, UPRIGHT)
    assert not asked.measured
    best, *others = gains(profile, [asked], coupons)
    assert best.coupon == "upright"
    assert best.narrower > 0.4
    assert all(gain.narrower < 0.1 for gain in others)
    assert best.known_to_mm[0] < asked.known_to_mm


def test_a_profile_of_an_older_model_is_told_a_coupon_too(coupons):
    kept = read_profile(Path(__file__).parents[1] / "kept_profiles" / "version-1.json")
    best, *_ = gains(kept, [ask_about(kept, IN_PLANE)], coupons)
    assert 0 < best.known_to_mm[0] <= ask_about(kept, IN_PLANE).known_to_mm


def test_a_well_known_printer_gains_little(coupons):
    profile = known_profile(sd_share=0.02)
    assert all(
        gain.narrower < 0.1 for gain in gains(profile, [ask_about(profile, IN_PLANE)], coupons)
    )


@pytest.mark.parametrize("rho_mm", [1e-6, 0.03])
@pytest.mark.parametrize(
    "question",
    [
        IN_PLANE,
        UPRIGHT,
        replace(IN_PLANE, at_least=0.9),
        replace(IN_PLANE, printed_gap_mm=0.2),
        replace(IN_PLANE, fit=Grade.LOOSE),
    ],
)
def test_how_well_an_answer_is_known_is_the_interval_that_the_answer_gives(rho_mm, question):
    profile = known_profile(scatters={"rho": rho_mm}, sd_share=0.3)
    found = answer(profile, question)
    half_mm = (found.high_mm - found.low_mm) / 2
    assert ask_about(profile, question).known_to_mm == pytest.approx(half_mm, rel=0.002)


def test_what_the_next_print_adds_stays_whatever_is_learned():
    profile = known_profile(scatters={"rho": 0.03}, sd_share=0.3)
    asked = ask_about(profile, IN_PLANE)
    sure = asked.known_to_mm_after(np.zeros_like(profile.covariance_matrix))
    # Twice a shift of 0.03 mm, known to a fifth: a little more than 1.645 sds.
    assert 1.645 * 0.06 < sure < 1.2 * 1.645 * 0.06 < asked.known_to_mm
    assert asked.known_to_mm_after(profile.covariance_matrix) == pytest.approx(
        asked.known_to_mm, rel=0.05
    )


def test_joints_of_a_list_are_asked_about_by_name(tmp_path):
    path = tmp_path / "joints.csv"
    rows = (
        "drawer,slot,tongue,12,x,slide,,",
        "screw,,,,z,,,screw M3 medium",
        "stop,slot,tongue,6,x,0.2,,",
    )
    path.write_text("\n".join((",".join(COLUMNS), *rows)))
    profile = known_profile()
    listed = read_joints(path).joints
    asked = [one for joint in listed for one in ask_about_listed(profile, joint)]
    assert [question.name for question in asked] == ["drawer", "screw", "stop"]
    assert asked[0].known_to_mm == ask_about(profile, IN_PLANE).known_to_mm
    assert all(question.measured for question in asked)


def run(tmp_path, *more, **profile):
    write_profile(known_profile(**profile), tmp_path / "profile.json")
    return CliRunner().invoke(main, ["next", str(tmp_path / "profile.json"), *more])


def test_the_command_names_one_coupon_to_print(tmp_path):
    more = ("--joint", "slot/tongue", "--size", "12", "--across", "z")
    result = run(tmp_path, *more, sd_share=ACROSS)
    assert result.exit_code == 0, result.output
    assert "not measured" in result.output
    assert "Print next: coupons make" in result.output
    lines = result.output.splitlines()
    (after,) = [line for line in lines if line.startswith("    --after ")]
    assert after.endswith("profile.json")
    assert max(len(line) for line in lines if line != after) <= 80
    data = json.loads(run(tmp_path, *more, "--json", sd_share=ACROSS).output)
    shares = [coupon["narrower"] for coupon in data["coupons"]]
    assert shares == sorted(shares, reverse=True)
    assert data["asked"][0]["measured"] is False


def test_without_a_question_it_asks_about_the_usual_joints(tmp_path):
    data = json.loads(run(tmp_path, "--json").output)
    assert len(data["asked"]) == len(USUAL) == 6


def tried(*ways, read=()):
    """Return what was measured: forms with their directions, tried by hand or only read."""
    return tuple(
        MeasuredRange(form=form, direction=lies, low_mm=4, high_mm=20, tried_mm=hand)
        for each, hand in ((ways, (4, 20)), (read, None))
        for form, lies in each
    )


STARTER = (
    *((form, lies) for form in (Form.SLOT, Form.TONGUE) for lies in (Direction.X, Direction.Y)),
    (Form.HOLE, Direction.Z),
    (Form.PIN, Direction.Z),
)


@pytest.mark.slow
def test_joints_that_nobody_tried_are_not_asked_about_unless_somebody_says_so(tmp_path):
    spans = ((Form.TONGUE, Direction.Z), (Form.SLOT, Direction.Z))
    measured = {"measured": tried(*STARTER, read=spans), "sd_share": ACROSS}
    names = ["slide slot/tongue 12 mm across x", "slide slot/tongue 12 mm across y"]
    names.append("slide hole/pin 8 mm axis along z")
    data = json.loads(run(tmp_path, "--json", **measured).output)
    assert [one["name"] for one in data["asked"]] == names
    told = " ".join(run(tmp_path, **measured).output.split())
    assert "Not tried, and not asked about: slide slot/tongue 12 mm across z; slide hole" in told
    assert "coupons make upright" not in told
    across = ("--joint", "slot/tongue", "--size", "12", "--across", "z")
    assert "Print next: coupons make upright" in run(tmp_path, *across, **measured).output


@pytest.mark.parametrize("measured", [(), tried(*STARTER[:1]), tried(read=STARTER)])
def test_whoever_tried_no_joint_is_asked_about_all(measured):
    assert usual_of(known_profile(measured=measured)) == USUAL


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (("--joint", "slot/tongue"), 2, "needs --size and --across"),
        (("--joint", "slot", "--size", "12", "--across", "z"), 1, "internal/external"),
        (("--joint", "slot/pin", "--size", "8", "--across", "x"), 1, "along two lines"),
        (("--joint", "slot/tongue", "--size", "-3", "--across", "z"), 1, "not -3"),
        (("--joint", "slot/tongue", "--size", "3", "--across", "z", "--fit", "no-go"), 1, "no-go"),
        (("--joints", "nowhere.csv"), 1, "no such file"),
        (("--joints", "list.csv", "--fit", "push"), 2, "Not together with --joints: --fit"),
        (("--size", "3", "--across", "z"), 2, "Only with --joint: --size, --across"),
    ],
)
def test_questions_that_cannot_be_asked(tmp_path, options, code, says):
    result = run(tmp_path, *options)
    assert result.exit_code == code
    assert says in " ".join(result.output.split())


@pytest.fixture(scope="module")
def shipped():
    return shipped_coupons()[0]


JOINTS = [
    (Form.SLOT, Form.TONGUE, Direction.X),
    (Form.SLOT, Form.TONGUE, Direction.Y),
    (Form.SLOT, Form.TONGUE, Direction.Z),
    (Form.SLOT, Form.TONGUE, Direction.XY_MINUS),
    (Form.HOLE, Form.PIN, Direction.X),
    (Form.HOLE, Form.PIN, Direction.Y),
    (Form.HOLE, Form.PIN, Direction.Z),
]


@pytest.mark.parametrize("known", [{}, ACROSS, dict.fromkeys(("growth_ext", "round_ext"), 0.6)])
@pytest.mark.parametrize(("internal", "external", "direction"), JOINTS)
def test_the_coupon_to_print_has_the_joint_that_was_asked_for(
    shipped, internal, external, direction, known
):
    profile = known_profile(sd_share=known)
    asked = ask_about(profile, Question(Joint(internal, external, 9.0, direction), Grade.SLIDE))
    best = gains(profile, [asked], shipped)[0]
    sizes = {feature.id: feature for feature in shipped[best.coupon].features}
    pairs = [
        {sizes[t.feature], sizes[t.mate]} for t in shipped[best.coupon].trials if t.mate in sizes
    ]
    assert best.tries == (True,)
    assert any(
        {feature.form for feature in pair} == {internal, external}
        and {feature.direction for feature in pair} == {direction}
        for pair in pairs
    )


def test_a_joint_with_a_bought_mate_is_tried_where_its_printed_side_is(shipped):
    piece = hardware("pin 8 m6")
    joint = Joint(Form.HOLE, Form.PIN, 8.0, Direction.Z)
    question = Question(joint, Grade.PUSH, piece.move, hardware=piece)
    profile = known_profile()
    tries = {g.coupon: g.tries[0] for g in gains(profile, [ask_about(profile, question)], shipped)}
    assert {"round", "hardware", "first"} <= {name for name, tried in tries.items() if tried}
    assert not tries["sliding"]
    assert not tries["spans"]


def test_the_coupon_that_has_more_of_a_list_is_not_beaten_by_one_without_it(coupons):
    profile = known_profile(sd_share=0.5)
    asked = [ask_about(profile, question) for question in (UPRIGHT, IN_PLANE)]
    found = {gain.coupon: gain for gain in gains(profile, asked, coupons)}
    assert found["upright"].tries == (True, False)
    assert found["sliding"].tries == (False, True)
    assert found["spans"].narrower == 0


@pytest.mark.slow
def test_where_no_coupon_has_the_joint_it_says_so(tmp_path):
    result = run(tmp_path, "--joint", "hole/pin", "--size", "12", "--across", "x+y")
    assert result.exit_code == 0, result.output
    assert "No shipped coupon tries such a joint" in result.output
    data = json.loads(
        run(tmp_path, "--joint", "hole/pin", "--size", "12", "--across", "x+y", "--json").output
    )
    assert all(coupon["tries"] == [] for coupon in data["coupons"])


def test_a_print_that_is_not_worth_it_is_not_suggested(tmp_path):
    more = ("--joint", "slot/tongue", "--size", "4", "--across", "x")
    told = run(tmp_path, *more, sd_share=0.01).output
    assert "Print next" not in told
    assert "No shipped coupon is worth a print for this" in told
    assert "Print next: coupons make" in run(tmp_path, *more, sd_share=0.5).output


def test_what_is_worth_a_print_comes_before_what_is_cheap():
    dear, cheap = Gain("first", (), (True,), 0.06), Gain("recheck", (), (True,), 0.04)
    assert most_for_its_time([cheap, dear], {"first": 150, "recheck": 30}) is dear
    better = replace(cheap, narrower=0.05)
    assert most_for_its_time([dear, better], {"first": 150, "recheck": 30}) is better
