"""The whole job with a part that exists already: make, fill in by hand, check, fit, ask."""

import json
import shutil

import pytest
from click.testing import CliRunner
from support.gauge_plate import fill_in, part_text

from coupons import fit, load_profile, load_run
from coupons.cli import main

pytestmark = pytest.mark.slow


def run(*words):
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("part")
    (place / "plate.toml").write_text(part_text())
    told = run(
        "make", place / "plate.toml", "-o", place / "run", "--machine", "bench-1",
        "--material", "grey",
    )  # fmt: skip
    assert "6 sizes of a part that exists already" in told
    assert "standard uncertainty 0.004 mm" in " ".join(told.split())
    assert "H10: not whole layers, kept as drawn" in told
    fill_in(place / "run")
    run("fit", place / "run")
    return place / "run"


def test_the_checks_tell_what_is_odd_of_a_part(folder):
    told = " ".join(run("check", folder).split())
    assert "0 errors to correct" in told
    assert "H10 is not a whole number of layers of 0.2 mm; what the slicer rounds" in told
    assert "make the coupon again" not in told


def test_a_wrong_id_is_told(folder, tmp_path):
    other = shutil.copytree(folder, tmp_path / "other")
    sheet = other / "entries.csv"
    sheet.write_text(sheet.read_text().replace("L94", "L95"))
    result = CliRunner().invoke(main, ["check", str(other)])
    assert result.exit_code == 1
    assert "L95" in result.stdout


def test_the_instrument_comes_into_the_conditions(folder):
    caliper = load_run(folder).conditions.caliper
    assert (caliper.resolution_mm, caliper.uncertainty_mm) == (0.001, 0.004)
    assert caliper.jaw_land_mm == 0.0


def test_what_comes_out_is_told_as_drawn(folder):
    told = run("offset", folder, "--form", "tongue", "--across", "x", "--drawn", "94")
    assert told.startswith("Drawn 94 mm, a tongue across x prints at 94.")
    found = load_profile(folder).size("tongue", drawn_mm=94, across="x")
    # All three lengths came out 0.11 mm too large; the prior pulls by a part of its own 0.08.
    assert found.error_mm == pytest.approx(0.11, abs=0.03)
    assert found.low_mm < 94.11 < found.high_mm
    asked = ("--form", "tongue", "--across", "x", "--drawn", "94", "--json")
    data = json.loads(run("offset", folder, *asked))
    assert data["question"]["drawn_mm"] == 94
    assert data["question"]["prints_mm"] is None
    assert data["error_mm"] == pytest.approx(data["printed_mm"] - 94)


def test_a_drawn_height_stays_as_drawn(folder):
    asked = ("--form", "tongue", "--across", "z", "--drawn", "10.13", "--bed", "external")
    assert run("offset", folder, *asked).startswith("Drawn 10.13 mm, a tongue across z prints at")


def test_pages_and_report_speak_of_the_part(folder):
    entry, sheet = ((folder / f"{name}.html").read_text() for name in ("entry", "sheet"))
    assert "its drawing shows where each size is. Read with: <bdi>height gauge</bdi>" in entry
    assert "Tongue of 10.13 mm across z, from the first layer." in entry
    assert '"guide": null' in entry, "all sizes are read, as listed"
    assert "Begin with these" not in sheet
    for page in (entry, sheet):
        assert "100 % infill" not in page
    assert "hole of 8 mm, axis along z: inside along y" in sheet
    for absent in (">Map<", ">Try<", "The hand test", "caliper step"):
        assert absent not in sheet
    report = (folder / "report.html").read_text()
    assert "0.004 mm" in report
    assert "Residuals by place" not in report, "nobody knows the places"


def test_a_part_is_learned_from_beside_a_coupon(folder, tmp_path):
    coupon = tmp_path / "coupon"
    run("make", "recheck", "-o", coupon, "--machine", "bench-1", "--material", "grey")
    run("rehearse", coupon)
    both = fit(coupon, folder)
    assert both.profile.counts.runs == 2
    assert both.size("tongue", drawn_mm=94, across="x").measured.high_mm == 94, "of the part"
    trials = len(load_run(coupon).fits)
    assert both.profile.counts.trials == trials > 0, "of the coupon"


def test_a_part_is_not_rehearsed(folder):
    result = CliRunner().invoke(main, ["rehearse", str(folder)])
    assert result.exit_code == 1
    assert "expected a coupon to print, got a part that exists already" in result.output


def test_one_of_the_two_sizes_is_asked(folder):
    asked = ["offset", str(folder), "--form", "slot", "--across", "x"]
    for sizes in ([], ["--prints", "12", "--drawn", "12"]):
        result = CliRunner().invoke(main, [*asked, *sizes])
        assert result.exit_code == 2
        assert "--prints or --drawn, not both" in result.output
