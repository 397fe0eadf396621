import json

import pytest
from click.testing import CliRunner
from known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile import write_profile


@pytest.fixture
def ask(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(known_profile(), path)

    def run(*more):
        return CliRunner().invoke(main, ["offset", str(path), *more])

    return run


SCREW = ("--hardware", "screw M3 medium", "--along", "z")
PIN = ("--hardware", "pin 8 m6", "--along", "z")
CODE = ("--joint", "slot/tongue", "--limits", "12 H9/d9", "--along", "x")
JOINT = ("--joint", "slot/tongue", "--size", "12", "--along", "x")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (JOINT, "into the material (material removed): draw the tongue 11."),
        ((*JOINT, "--fit", "force", "--move", "internal"), "It takes force with"),
        ((*JOINT, "--at-least", "0.95"), "begins to be sliding"),
        ((*JOINT, "--drawn-gap", "-0.1"), "The drawn gap is −0.10 mm"),
        (
            (*JOINT, "--printed-gap", "0.2"),
            "Drawn like this, one pair of the next print has a gap of",
        ),
        (("--hardware", "pin 8 m6", "--along", "z"), "Bought: pin 8 m6"),
        (("--hardware", "screw M3", "--along", "z"), "Bought: screw M3"),
        (("--hardware", "screw M3 medium", "--along", "z"), "It lies within 3.4 H13"),
        (("--hardware", "screw M3 medium", "--along", "z", "--fit", "loose"), "It is loose"),
        (("--joint", "slot/tongue", "--limits", "12 H9/d9", "--along", "x"), "IT9: not reached"),
        (("--form", "hole", "--prints", "8", "--along", "z"), "It prints as 8.0"),
        (("--form", "hole", "--limits", "8 H13", "--along", "z"), "It lies within 8 H13"),
        (
            (*SCREW, "--printed-gap", "0.2"),
            "Drawn like this, one pair of the next print has a gap of",
        ),
        ((*SCREW, "--drawn-gap", "0.3"), "The drawn gap is 0.30 mm"),
        ((*SCREW, "--at-least", "0.9"), "begins to be sliding"),
        (
            ("--hardware", "pin 8 m6", "--along", "z", "--fit", "force", "--strain-limit", "0.01"),
            "The ring is strained by",
        ),
    ],
)
def test_answers(ask, options, says):
    result = ask(*options)
    assert result.exit_code == 0, result.output
    assert says in " ".join(result.output.split())
    assert max(map(len, result.output.splitlines())) <= 80
    data = json.loads(ask(*options, "--json").output)
    assert data["words"]


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (("--along", "x"), 2, "Ask about --joint and --size"),
        (("--joint", "slot/tongue", "--along", "x"), 2, "Ask about --joint and --size"),
        (JOINT[:4], 2, "Missing option '--along'"),
        (("--form", "hole", "--along", "z"), 2, "both --form and --prints"),
        (("--prints", "8", "--along", "z"), 2, "both --form and --prints"),
        (("--limits", "12 H13", "--along", "x"), 2, "with --form hole for one"),
        ((*CODE, "--form", "hole"), 2, "with --form hole for one"),
        (("--hardware", "screw M9", "--along", "z"), 1, "screw with one of M1.6"),
        (("--hardware", "pin 8 m6", "--along", "q"), 1, "Expected a direction"),
        ((*JOINT, "--fit", "slid"), 1, "Did you mean slide?"),
        ((*JOINT, "--strain-limit", "0.01"), 1, "no ring"),
        (("--joint", "slot/tongue", "--limits", "12 H15/d9", "--along", "x"), 1, "for 12 mm"),
        (("--form", "hole", "--prints", "0", "--along", "z"), 1, "0.5 to 500 mm, not 0"),
    ],
)
def test_questions_that_cannot_be_answered(ask, options, code, says):
    result = ask(*options)
    assert result.exit_code == code
    assert says in " ".join(result.output.split())


@pytest.mark.parametrize(
    ("options", "odd"),
    [
        ((*CODE, "--size", "24"), "--size"),
        ((*CODE, "--fit", "push", "--move", "both"), "--fit, --move"),
        ((*CODE, "--strain-limit", "0.01"), "--strain-limit"),
        ((*PIN, "--size", "9", "--move", "external"), "--size, --move"),
        ((*SCREW, "--strain-limit", "0.01"), "--strain-limit"),
        ((*JOINT, "--at-least", "0.9", "--drawn-gap", "0.1"), "--at-least, --drawn-gap"),
        ((*JOINT, "--drawn-gap", "0", "--printed-gap", "0"), "--drawn-gap, --printed-gap"),
        (("--form", "pin", "--prints", "8", "--along", "z", "--fit", "slide"), "--fit"),
        (("--prints", "8", *PIN), "--hardware"),
    ],
)
def test_options_that_an_answer_would_pay_no_heed_to_are_refused(ask, options, odd):
    result = ask(*options)
    assert result.exit_code == 2
    assert "Not together" in result.output
    assert f": {odd}. " in result.output


def test_the_chance_that_was_asked_for_is_told_first(ask):
    lines = ask(*JOINT, "--at-least", "0.999").output.splitlines()
    told = [" ".join(line.split()) for line in lines if line.startswith("It slides")]
    assert told[0] == "It slides or goes more easily with over 99 % chance."
    assert told[1].startswith("It slides with")


def test_a_number_and_its_percent_sign_stay_on_one_line(ask):
    # Its third sentence ends a line between the two.
    lines = ask(*JOINT, "--printed-gap", "0.2").output.splitlines()
    assert any(line.endswith("(90\N{NO-BREAK SPACE}%") for line in lines)
