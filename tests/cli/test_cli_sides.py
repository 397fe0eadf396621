"""Questions about unlike sides and joints of several pairs of faces, on the terminal."""

import json

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

from coupons.cli import main
from coupons.learning.profile_file import write_profile

SLOT = ("--joint", "slot/tongue", "--size", "12")
LID = ("--joint", "pocket/plate", "--size", "40x25", "--across", "xy")
COVER = ("--joint", "holes/pins", "--size", "4", "--across", "zx")
CLIP = ("--joint", "legs/bar", "--size", "8", "--across", "x")


@pytest.fixture
def ask(tmp_path):
    write_profile(known_profile(), tmp_path / "profile.json")
    write_profile(known_profile(machine="bench-2"), tmp_path / "bench-2.json")

    def asked(*options):
        named = [str(tmp_path / o) if o.endswith(".json") else o for o in options]
        return CliRunner().invoke(main, ["offset", str(tmp_path / "profile.json"), *named])

    return asked


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((*SLOT, "--across", "z/x"), "the slot across z and the tongue across x"),
        ((*SLOT, "--across", "x", "--two-prints"), "come from two prints"),
        ((*SLOT, "--across", "x", "--other", "bench-2.json"), "The tongue: For bench-2"),
        (
            (*SLOT, "--across", "x", "--other", "bench-2.json", "--other-makes", "internal"),
            "The slot: For bench-2",
        ),
        (
            ("--joint", "slot/tongue", "--limits", "12 H13/d13", "--across", "x/y"),
            "all four limits",
        ),
        ((*SLOT, "--across", "xz", "--slant", "20"), "NEVER TRIED BY HAND: faces that lean"),
        ((*LID, "--drawn-gap", "0.4"), "draw the plate 24.60 mm; the pocket stays 25.00 mm"),
        ((*LID, "--drawn-gap", "0.4", "--corners", "3/0"), "CORNERS MEET FIRST"),
        ((*COVER, "--pitch", "60", "--drawn-gap", "0.5"), "The two pitches of 60 mm"),
        (
            (*CLIP, "--leg", "20x2", "--mouth", "7.2", "--drawn-gap", "0.3"),
            "draw the bar 7.70 mm; the gap between the legs stays 8.00 mm",
        ),
    ],
)
def test_answers(ask, options, says):
    result = ask(*options)
    assert result.exit_code == 0, result.output
    assert says in " ".join(result.output.split())
    assert max(map(len, result.output.splitlines())) <= 80
    assert json.loads(ask(*options, "--json").output)["words"]


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        ((*SLOT, "--across", "q/x"), 1, "Expected a direction"),
        ((*SLOT, "--across", "x", "--other", "gone.json"), 1, "no such file"),
        ((*SLOT, "--across", "x", "--other-makes", "internal"), 1, "which other printer"),
        ((*SLOT, "--across", "x", "--pitch", "60"), 2, "Only with --joint pocket/plate"),
        (("--joint", "slot/tongue", "--size", "4x5", "--across", "x"), 2, "Two sizes belong to"),
        ((*LID, "--printed-gap", "0.2"), 2, "Not together with --joint pocket/plate"),
        ((*COVER, "--pitch", "3"), 1, "larger than the diameter"),
        ((*CLIP, "--leg", "20"), 1, "such as 20x2"),
        (("--hardware", "pin 8 m6", "--across", "z", "--two-prints"), 2, "--two-prints"),
        ((*SLOT, "--across", "xz", "--slant", "90"), 1, "stops it"),
    ],
)
def test_questions_that_make_no_sense(ask, options, code, says):
    result = ask(*options)
    assert result.exit_code == code
    assert says in " ".join(result.output.split())
