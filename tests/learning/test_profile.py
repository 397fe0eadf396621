"""The profile file: small, whole, readable for ever, never trusted blindly."""

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from support.known_profile import EVERYTHING, known_profile
from support.page_coupon import fill_run, write_run
from support.rehearsed import rehearsed_run

from coupons.answering.chances.own_spread import OWN_SCATTERS
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.errors import ProfileError
from coupons.learning.effects import TERMS
from coupons.learning.fit import fit_runs
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import LogSpread, Profile
from coupons.learning.profile_file import (
    MAX_BYTES,
    json_schema,
    profile_text,
    read_profile,
    write_profile,
)
from coupons.learning.profile_of_fit import profile_of
from coupons.terms import Direction, Form, Grade, Joint

KEPT_PROFILES = Path(__file__).parents[1] / "kept_profiles"
KEPT = sorted(KEPT_PROFILES.glob("version-*.json"))
SCHEMA = Path(__file__).parents[2] / "coupons" / "learning" / "profile.schema.json"


def dense_profile():
    """Return the largest there is: no zero in the matrix, long names, every form and direction."""
    diagonals = (Direction.XY_PLUS, Direction.XY_MINUS)
    ends = {"tried_mm": (10.125, 62.875), "read_mm": (10.125, 62.875)}
    measured = [
        m.model_copy(update=ends)
        for m in EVERYTHING
        if m.form is Form.TONGUE or m.direction not in diagonals
    ]
    rng = np.random.default_rng(1)
    root = rng.normal(size=(len(TERMS), len(TERMS))) * 0.0123456
    matrix = root @ root.T
    digits = [float(f"{v:.4g}") for v in matrix[np.tril_indices(len(TERMS))]]
    return known_profile(
        covariance=tuple(digits), machine="m" * 60, material="n" * 60, measured=tuple(measured)
    )


def test_the_largest_profile_of_one_run_is_small():
    assert len(profile_text(dense_profile()).encode()) <= MAX_BYTES


def test_what_is_read_is_what_was_written(tmp_path):
    profile = dense_profile()
    write_profile(profile, tmp_path / "profile.json")
    assert read_profile(tmp_path / "profile.json").model_dump() == profile.model_dump()


def test_the_matrix_is_the_triangle_mirrored():
    profile = dense_profile()
    matrix = profile.covariance_matrix
    assert (matrix == matrix.T).all()
    assert matrix[2, 1] == profile.covariance[4]


def test_the_shipped_schema_is_the_models_own():
    assert json.loads(SCHEMA.read_text(encoding="utf-8")) == json_schema()


@pytest.mark.parametrize("path", KEPT, ids=lambda path: path.stem)
def test_every_version_ever_released_is_read(path):
    profile = read_profile(path)
    jsonschema.validate(json.loads(path.read_text(encoding="utf-8")), json_schema())
    assert profile.machine == "attic-1"


def test_version_1_did_not_say_what_its_runs_held():
    read = {path.stem: read_profile(path).counts.informing for path in KEPT}
    assert read["version-1"] == (1, 1)
    assert read["version-2"] == (1, 0)
    assert len(read["version-3"]) == len(EXTRUSION.prints)


# Answered by the versions that wrote them: gap in mm, chance of the fit, ends of the interval.
AS_ANSWERED = json.loads((KEPT_PROFILES / "answered.json").read_text())


@pytest.mark.parametrize("case", AS_ANSWERED, ids=lambda case: f"{case['file']} {case['ask']}")
def test_a_profile_of_an_older_model_answers_as_it_did(case):
    profile = read_profile(KEPT[0].parent / case["file"])
    internal, external, size_mm, direction, fit = case["ask"]
    joint = Joint(Form(internal), Form(external), size_mm, Direction(direction))
    found = answer(profile, Question(joint, Grade(fit)))
    got = [found.gap_mm, found.chance, found.low_mm, found.high_mm]
    # Chances are averaged over own scatters by now, which moved this one by up to 0.004.
    assert got == pytest.approx(case["answer"], abs=5e-3)
    # Taken at their mean squares, as those versions took them, everything is as it was.
    own = {
        name: LogSpread(median_mm=spread.mean_square**0.5, log_sd=0.0)
        for name, spread in profile.scatters.items()
        if name in OWN_SCATTERS
    }
    settled = profile.model_copy(update={"scatters": profile.scatters | own})
    found = answer(settled, Question(joint, Grade(fit)))
    got = [found.gap_mm, found.chance, found.low_mm, found.high_mm]
    assert got == pytest.approx(case["answer"], abs=1e-3)


def test_versions_before_3_did_not_say_which_sizes_were_tried():
    tried = {path.stem: read_profile(path).measured[0].tried_mm for path in KEPT}
    assert (tried["version-1"], tried["version-2"]) == (None, None)
    assert tried["version-3"] is not None


@pytest.mark.slow
def test_with_several_people_one_more_hand_is_counted_once_for_all_thresholds(tmp_path):
    (tmp_path / "entries.csv").touch()
    run = replace(rehearsed_run(3, "bench-1"), folder=tmp_path)
    both = tuple(replace(fit, by="ann" if n % 2 else "ben") for n, fit in enumerate(run.fits))
    first = TERMS.index("from_force")
    at = slice(first, first + 4)
    for fits, more in ((run.fits, 0.0), (both, 0.03**2)):
        shared = replace(run, fits=fits)
        fitted = fit_runs([shared])
        added = profile_of(fitted, [shared]).covariance_matrix - fitted.covariance
        assert added[at, at] == pytest.approx(np.full((4, 4), more), abs=3e-6)
        assert added[: at.start, :] == pytest.approx(0, abs=3e-6)


def test_a_sample_of_the_present_version_is_kept():
    assert KEPT
    assert f"version-{Profile.model_fields['version'].default}" in [path.stem for path in KEPT]


WHOLE = json.loads(profile_text(known_profile()))
TRIANGLE = WHOLE["covariance"]


def broken(**changes):
    return json.dumps(WHOLE | changes)


def with_mean(name, value):
    return broken(means=WHOLE["means"] | {name: value})


def with_range(low_mm, high_mm, **more):
    ends = {"low_mm": low_mm, "high_mm": high_mm, **more}
    return broken(measured=[WHOLE["measured"][0] | ends])


BROKEN = [
    ("", "expected whole JSON text"),
    (profile_text(known_profile())[:700], "expected whole JSON text"),
    ("1" * 6000, "expected whole JSON text, got a number of thousands of digits"),
    ("[" * 65_000, "expected whole JSON text"),
    (" " * 70_000, "expected at most 65536 bytes, got more"),
    ("[1, 2]", "expected an offset profile"),
    ('{"format": "something-else"}', "expected an offset profile"),
    (broken(version=4), "expected version 3 or older, got version 4. Update this tool"),
    (broken(version="one"), " at version: expected 1, 2 or 3, got 'one'"),
    (broken(machine=""), " at machine: expected the name of the machine, got nothing"),
    (broken(machine="a\n\x1b[31m"), " at machine: expected words on one line"),
    (broken(material="x" * 61), " at material: expected at most 60 characters, got 61"),
    (broken(nozzle_mm=-0.4), " at nozzle_mm: expected a number greater than 0.01, got -0.4"),
    (broken(nozzle_mm=1e9), " at nozzle_mm: expected a number less than or equal to 10"),
    (broken(layer_height_mm="thin"), " at layer_height_mm: expected a number, got 'thin'. Run"),
    (broken(layer_height_mm=6), " at layer_height_mm: expected a number less than or equal to 5"),
    (broken(printed_on="1 May"), " at printed_on: expected a date such as 2026-01-31, got '1 May'"),
    (broken(surprise="!" * 99), " at surprise: expected one of format, version"),
    (broken(**{"\x1b[31m": 1}), r" at \u001b[31m: expected one of format"),
    (broken(counts=7), " at counts: expected a table of names and values, got 7"),
    (
        broken(counts=WHOLE["counts"] | {"runs": 10**400}),
        " at counts.runs: expected a number less than or equal to 1000000",
    ),
    (broken(counts=WHOLE["counts"] | {"runs": 1.5}), " at counts.runs: expected a whole number"),
    (with_range(8, 3), " at measured.0: expected low_mm up to high_mm, got 8 and 3"),
    (with_range(1, 1e9), " at measured.0.high_mm: expected a number less than or equal to 2000"),
    (
        with_range(3, 8, tried_mm=[4, 9]),
        " at measured.0: expected tried_mm and read_mm within low_mm to high_mm, got 4 and 9",
    ),
    (with_range(3, 8, read_mm=[7, 5]), "within low_mm to high_mm, got 7 and 5"),
    (with_range(3, 8, read_mm=[7]), " at measured.0.read_mm.1: expected "),
    (broken(measured=[{"worn": 1}]), " at measured.0.worn: expected one of form, direction"),
    (broken(means={"scale_x": 0.0}), "expected means of the 27 terms scale_x"),
    (with_mean("growth_ext", "x" * 99), f"growth_ext: expected a number, got '{'x' * 58}…. Run"),
    (with_mean("growth_ext", 1e300), "growth_ext: expected a number less than 10, got 1e+300"),
    (with_mean("growth_ext", -(10**400)), "growth_ext: expected a finite number, got -1000"),
    (broken(measured=[0] * 9000), "expected a profile, got 9000 errors in all"),
    (broken(printed_on=7), " at printed_on: expected a date such as 2026-01-31, got 7"),
    (broken(machine="\ud800"), "expected valid JSON text, not nested too deep"),
    (with_mean("from_push", 0.9), "expected thresholds that rise from force to push to slide"),
    (broken(covariance=TRIANGLE[:-1]), "expected covariance of 378 numbers, got 377"),
    (broken(covariance=[1e308, *TRIANGLE[1:]]), "covariance.0: expected a number less than 100"),
    (
        broken(covariance=[-1.0, *TRIANGLE[1:]]),
        "expected a covariance matrix without negative eigenvalues",
    ),
    (broken(scatters={}), "expected scatters tau, tau_z"),
    (broken(rehearsed="no"), " at rehearsed: expected true or false, got 'no'"),
    (broken().replace('"nozzle_mm": 0.4', '"nozzle_mm": NaN'), "expected a finite number, got nan"),
]


@pytest.mark.parametrize(("text", "message"), BROKEN)
def test_a_broken_file_is_refused_in_words(tmp_path, text, message):
    path = tmp_path / "profile.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProfileError) as refused:
        read_profile(path)
    assert message in str(refused.value)
    assert str(refused.value).startswith(str(path))
    assert path.read_text(encoding="utf-8") == text


def test_a_missing_file_is_refused_in_words(tmp_path):
    with pytest.raises(ProfileError, match=r"no such file\. Run `coupons fit`"):
        read_profile(tmp_path / "profile.json")


def test_all_problems_come_at_once(tmp_path):
    path = tmp_path / "profile.json"
    path.write_text(broken(machine="", nozzle_mm=0, counts={}), encoding="utf-8")
    with pytest.raises(ProfileError) as refused:
        read_profile(path)
    assert len(refused.value.problems) >= 6


def test_real_prints_and_rehearsals_make_no_profile_together(tmp_path):
    real = [fill_run(write_run(tmp_path, name=name)) for name in ("one", "two")]
    made_up = fill_run(write_run(tmp_path, name="three"), rehearsed=True)
    fitted = fit_runs(real)
    with pytest.raises(ProfileError, match=r"two: expected a rehearsal as .*three is, got a real"):
        profile_of(fitted, [made_up, real[1]])
    with pytest.raises(ProfileError, match=r"three: expected a real print .* rehearsed runs apart"):
        profile_of(fitted, [*real, made_up])
    of_own_parts = replace(real[1], parts=real[1].sheet_path)
    assert profile_of(fitted, [made_up, of_own_parts]).rehearsed
