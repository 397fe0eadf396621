import json

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile_file import write_profile


@pytest.fixture
def ask(tmp_path):
    path = tmp_path / "profile.json"
    write_profile(known_profile(), path)

    def run(*more):
        return CliRunner().invoke(main, ["offset", str(path), *more])

    return run


SHANK = ("--hardware", "screw M3", "--across", "z")
SCREW = ("--hardware", "screw M3 medium", "--across", "z")
PIN = ("--hardware", "pin 8 m6", "--across", "z")
CODE = ("--joint", "slot/tongue", "--limits", "12 H9/d9", "--across", "x")
JOINT = ("--joint", "slot/tongue", "--size", "12", "--across", "x")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (JOINT, "into the material (material removed): draw the tongue 11."),
        ((*JOINT, "--fit", "force", "--move", "internal"), "It needs force with "),
        ((*JOINT, "--at-least", "0.95"), "the slide range begins at"),
        ((*JOINT, "--drawn-gap", "-0.1"), "The drawn gap is −0.10 mm"),
        (
            (*JOINT, "--printed-gap", "0.2"),
            "a pair on the next print has a gap of",
        ),
        (("--hardware", "pin 8 m6", "--across", "z"), "Hardware: pin 8 m6"),
        (("--hardware", "screw M3", "--across", "z"), "Hardware: screw M3"),
        (("--hardware", "screw M3 medium", "--across", "z"), "Chance that it is within 3.4 H13"),
        (
            ("--hardware", "screw M3", "--across", "z", "--fit", "loose"),
            "It is loose with ",
        ),
        (("--joint", "slot/tongue", "--limits", "12 H9/d9", "--across", "x"), "IT9: not reached"),
        # It closes by 0.12 + 0.04 + 0.075 − 0.009 (bend) + 0.024 (scale): 0.250, drawn in 0.02.
        (("--form", "hole", "--prints", "8", "--across", "z"), "It prints at 7.99 mm"),
        (
            ("--form", "hole", "--limits", "8 H13", "--across", "z"),
            "Chance that it is within 8 H13",
        ),
        (
            ("--form", "hole", "--limits", "8 ±0.1", "--across", "z"),
            "Chance that it is within 8 ±0.1",
        ),
        (
            ("--form", "pin", "--limits", "8 +0,1/0", "--across", "z"),
            "Chance that it is within 8 +0.1/0",
        ),
        ((*JOINT[:2], "--limits", "11.9..12.1", "--across", "x"), "is within all four limits: "),
        ((*JOINT[:2], "--size", "20,5", "--across", "x"), "draw the tongue 20."),
        ((*JOINT[:2], "--size", "20mm", "--across", "x"), "draw the tongue 19."),
        ((*JOINT, "--drawn-gap", "−0,1 mm"), "The drawn gap is −0.10 mm"),
        (("--form", "hole", "--prints", "8 mm", "--across", "z"), "It prints at 7.99 mm"),
        (
            (*SHANK, "--printed-gap", "0.2"),
            "a pair on the next print has a gap of",
        ),
        ((*SHANK, "--drawn-gap", "0.3"), "The drawn gap is 0.30 mm"),
        ((*SHANK, "--at-least", "0.9"), "the slide range begins at"),
        (
            ("--hardware", "pin 8 m6", "--across", "z", "--fit", "force", "--strain-limit", "0.01"),
            "Strain of the printed ring around the pin: ",
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
        (("--across", "x"), 2, "Use --joint with --size"),
        (("--joint", "slot/tongue", "--across", "x"), 2, "Use --joint with --size"),
        (JOINT[:4], 2, "Missing option '--across'"),
        (("--form", "hole", "--across", "z"), 2, "needs --form with --prints"),
        ((*JOINT[:2], "--size", "1in", "--across", "x"), 2, "'--size': expected a length in mm"),
        (("--prints", "8", "--across", "z"), 2, "needs --form with --prints"),
        (("--limits", "12 H13", "--across", "x"), 2, "with --form hole for one"),
        ((*CODE, "--form", "hole"), 2, "Not together with --limits: --joint"),
        (("--hardware", "screw M9", "--across", "z"), 1, "screw with one of M1.6"),
        (("--hardware", "pin 8 m6", "--across", "q"), 1, "Expected a direction"),
        ((*JOINT, "--fit", "slid"), 1, "Did you mean slide?"),
        ((*JOINT, "--strain-limit", "0.01"), 1, "a pin in a hole, not a flat joint"),
        (("--joint", "slot/tongue", "--limits", "12 H15/d9", "--across", "x"), 1, "for 12 mm"),
        (("--form", "hole", "--prints", "0", "--across", "z"), 1, "0.5 to 500 mm, not 0"),
    ],
)
def test_questions_that_cannot_be_answered(ask, options, code, says):
    result = ask(*options)
    assert result.exit_code == code
    assert says in " ".join(result.output.split())


def test_a_folder_stands_for_the_profile_in_it(ask, tmp_path):
    asked = ["--joint", "slot/tongue", "--size", "12", "--across", "x"]
    result = CliRunner().invoke(main, ["offset", str(tmp_path), *asked])
    assert result.exit_code == 0, result.output
    assert result.output == ask(*asked).output
    (tmp_path / "empty").mkdir()
    result = CliRunner().invoke(main, ["offset", str(tmp_path / "empty"), *asked])
    assert result.exit_code == 1
    assert "empty/profile.json: expected a profile, got no such file" in result.output


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
        (("--form", "pin", "--prints", "8", "--across", "z", "--fit", "slide"), "--fit"),
        (("--prints", "8", *PIN), "--hardware"),
    ],
)
def test_options_that_an_answer_would_pay_no_heed_to_are_refused(ask, options, odd):
    result = ask(*options)
    assert result.exit_code == 2
    assert "Not together" in result.output
    assert f": {odd}. " in result.output


@pytest.mark.parametrize(
    ("wish", "told"),
    [
        (("--fit", "slide"), "fit slide"),
        (("--at-least", "0.9"), "fit slide"),
        (("--drawn-gap", "0.3"), "drawn gap 0.3"),
        (("--printed-gap", "0.2"), "printed gap 0.2"),
    ],
)
def test_a_series_and_a_fit_each_say_how_wide_the_hole_is(ask, wish, told):
    # A hole by the standard's medium series is 3.4 to 3.58 mm; a sliding one is near 3.2.
    result = ask(*SCREW, *wish)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert f"Leave out {told} for the hole of the standard, or leave out medium" in said


@pytest.mark.parametrize(
    ("joint", "says"),
    [
        ("slot/pin", "touches only along two lines"),
        ("hole/tongue", "touches only along four edges"),
    ],
)
@pytest.mark.parametrize("wish", [("--size", "8"), ("--limits", "8 H13/h13")])
def test_unlike_forms_are_refused(ask, joint, says, wish):
    result = ask("--joint", joint, *wish, "--across", "x")
    assert result.exit_code == 1
    assert says in " ".join(result.output.split())


def test_the_chance_that_was_asked_for_is_told_first(ask):
    lines = ask(*JOINT, "--at-least", "0.999").output.splitlines()
    told = [" ".join(line.split()) for line in lines if line.startswith("It slides")]
    assert told[0] == "It slides or is looser with over 99 % chance."
    assert told[1].startswith("It slides with ")


def test_a_number_and_its_percent_sign_stay_on_one_line(ask):
    # Its third sentence ends a line between the two.
    lines = ask(*JOINT, "--printed-gap", "0.2").output.splitlines()
    assert any(line.endswith("(90\N{NO-BREAK SPACE}%") for line in lines)
