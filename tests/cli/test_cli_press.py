"""Press and clip checks from the command line: figures with units in, verdict and cautions out."""

import json

import pytest
from click.testing import CliRunner

from coupons.answering.strength.press_and_clip import PRESS_CAUTIONS, SNAP_CAUTIONS
from coupons.cli import main

PRESS = {
    "--size": "10",
    "--interference": "0.1",
    "--ring-outside": "16",
    "--ring-modulus": "3500",
    "--strain-limit": "0.02",
}
CLIP = {
    "--deflection": "2.4",
    "--length": "19",
    "--thickness": "3.28",
    "--taper": "half",
    "--strain-limit": "0.021",
}
# Worked example of the design guide "Snap-Fit Joints for Plastics", its numbers from memory:
# l 19, b 9.5, y 2.4 mm, 2 % strain, Es 1,815 MPa, friction 0.6, 30 degrees: P 32.5 N, W 58.5 N.
GUIDE = CLIP | {
    "--thickness": "3.2791",
    "--width": "9.5",
    "--modulus": "1815",
    "--friction": "0.6",
    "--angle": "30",
}


def run(command, options, *more):
    words = [word for pair in options.items() for word in pair]
    return CliRunner().invoke(main, [command, *words, *more])


def plain(text):
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def test_a_press_says_verdict_pressure_and_every_caution():
    result = run("press", PRESS)
    assert result.exit_code == 0, result.output
    text = plain(result.output)
    assert "Strain of the ring if the pin is rigid: 1.00 %; limit 2.00 %: within" in text
    assert "interference within the limit: 0.20 mm" in text
    assert all(f"Caution: {line}" in text for line in PRESS_CAUTIONS)
    assert max(map(len, result.output.splitlines())) <= 80


def test_a_plastic_pin_in_a_plastic_ring_has_the_pressure_worked_out_by_hand():
    # 0.01 / ((356/156 + 0.36)/3500 + (1 - 0.36)/3500) = 10.664 MPa; Poisson's ratios cancel.
    data = json.loads(run("press", PRESS | {"--pin-modulus": "3.5 GPa"}, "--json").output)
    assert data["pressure_mpa"] == pytest.approx(10.6640625)
    assert data["ring_stress_mpa"] == pytest.approx(10.6640625 * 356 / 156)


def test_the_compound_cylinder_of_the_textbooks():
    # 300, 400, 500 mm, 200 GPa, 0.2 mm over the diameter: 12.3 MPa (Ugural & Fenster, Advanced
    # Strength and Applied Elasticity; its answer from memory).
    options = {
        "--size": "400 mm",
        "--interference": "0,2",
        "--ring-outside": "500 mm",
        "--ring-modulus": "200 GPa",
        "--ring-poisson": "0.28",
        "--pin-bore": "300",
        "--pin-modulus": "200 GPa",
        "--pin-poisson": "0.28",
        "--strain-limit": "1 %",
    }
    data = json.loads(run("press", options, "--json").output)
    assert data["pressure_mpa"] == pytest.approx(12.3, abs=0.05)


def test_a_clip_says_verdict_reach_and_every_caution():
    result = run("clip", CLIP)
    assert result.exit_code == 0, result.output
    text = plain(result.output)
    assert "Strain of the clip at its root: 2.00 %; limit 2.10 %: within the limit" in text
    assert all(f"Caution: {line}" in text for line in SNAP_CAUTIONS)
    assert "takes" not in text


def test_the_forces_of_the_design_guide_s_clip():
    data = json.loads(run("clip", GUIDE, "--json").output)
    assert data["strain"] == pytest.approx(0.02, abs=1e-5)
    assert data["bending_force_n"] == pytest.approx(32.5, abs=0.1)
    assert data["push_force_n"] == pytest.approx(58.5, abs=0.2)
    assert "Force to bend the tip: 32.5 N; force to push it in: 58.6 N" in " ".join(data["words"])


@pytest.mark.parametrize(
    ("command", "options", "todo"),
    [
        ("press", PRESS | {"--interference": "0.3"}, "use less interference"),
        ("clip", CLIP | {"--taper": "none"}, "make it longer or thinner, or bend it less"),
    ],
)
def test_beyond_the_limit_ends_with_1_and_says_what_to_do(command, options, todo):
    result = run(command, options)
    assert result.exit_code == 1
    assert f"BEYOND THE LIMIT: {todo}" in plain(result.output)


def test_what_may_be_bent_is_not_rounded_beyond_the_limit():
    # Even taper: y = ε·l²/(1.5·h) = 0.01·100/3 = 0.3333…; at 0.005 and h 1.9, 0.17543….
    for limit, thickness, says in (("1 %", "2", "0.33"), ("0.5 %", "1.9", "0.17")):
        options = {
            "--deflection": "0.1",
            "--length": "10",
            "--thickness": thickness,
            "--strain-limit": limit,
        }
        assert f"within the limit: {says} mm" in plain(run("clip", options).output)


@pytest.mark.parametrize(
    ("command", "typed", "says"),
    [
        (
            "clip",
            {"--length": "ten"},
            "--length: expected a length over 0, up to 2000 mm, got 'ten'",
        ),
        ("clip", {"--length": "-19"}, "got '-19'. Write it as 19 or 19 mm."),
        ("clip", {"--length": "0"}, "got '0'"),
        ("clip", {"--length": "nan"}, "got 'nan'"),
        ("clip", {"--length": "1e9"}, "got '1e9'"),
        ("clip", {"--length": ""}, "got nothing"),
        ("clip", {"--length": "19 m"}, "got '19 m'"),
        ("clip", {"--length": "2 in"}, "got '2 in'"),
        ("clip", {"--strain-limit": "2"}, "--strain-limit: expected a strain over 0, up to 0.5"),
        ("clip", {"--taper": "third"}, "taper: expected none or half, got 'third'"),
        ("clip", {"--width": "9"}, "Use --width and --modulus together"),
        ("clip", {"--angle": "30"}, "Use --friction and --angle together"),
        ("clip", {"--angle": "30", "--friction": "0.4"}, "need --width and --modulus"),
        ("clip", {**GUIDE, "--angle": "70"}, "The hook jams"),
        ("clip", {**GUIDE, "--angle": "90"}, "--angle: expected an angle over 0"),
        ("press", {"--ring-modulus": "3.5 kN"}, "Write it as 3500 MPa or 3.5 GPa."),
        ("press", {"--ring-outside": "9"}, "pin bore < size < ring outside diameter"),
        ("press", {"--pin-bore": "10"}, "Check the three diameters."),
        ("press", {"--pin-poisson": "0.6"}, "--pin-poisson: expected a ratio from 0 to 0.5"),
        ("press", {"--interference": "-0.1"}, "--interference: expected a length over 0"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(command, typed, says):
    result = run(command, (CLIP if command == "clip" else PRESS) | typed)
    assert result.exit_code == 1
    assert says in plain(result.output)


def test_all_that_cannot_be_used_is_told_at_once():
    result = run("clip", CLIP | {"--length": "ten", "--thickness": "-3", "--strain-limit": "x"})
    places = [line.split(":")[0] for line in result.output.splitlines()]
    assert sorted(places) == ["--length", "--strain-limit", "--thickness"]


@pytest.mark.parametrize("length", ["19", "19 mm", "19mm", "19,0 MM", "+19.0"])
def test_lengths_are_read_as_people_type_them(length):
    data = json.loads(run("clip", CLIP | {"--length": length}, "--json").output)
    assert data["strain"] == pytest.approx(0.02, abs=1e-4)
