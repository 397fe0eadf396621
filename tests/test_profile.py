"""The profile file: small, whole, readable for ever, never trusted blindly."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from known_profile import EVERYTHING, known_profile

from coupons.errors import ProfileError
from coupons.learning.effects import TERMS
from coupons.learning.profile import (
    MAX_BYTES,
    Profile,
    json_schema,
    profile_text,
    read_profile,
    write_profile,
)
from coupons.terms import Direction, Form

KEPT = sorted((Path(__file__).parent / "kept_profiles").glob("version-*.json"))
SCHEMA = Path(__file__).parents[1] / "coupons" / "learning" / "profile.schema.json"


def dense_profile():
    """Return the largest there is: no zero in the matrix, long names, every form and direction."""
    diagonals = (Direction.XY_PLUS, Direction.XY_MINUS)
    measured = [m for m in EVERYTHING if m.form is Form.TONGUE or m.direction not in diagonals]
    rng = np.random.default_rng(1)
    root = rng.normal(size=(len(TERMS), len(TERMS))) * 0.0123456
    matrix = root @ root.T
    digits = [float(f"{v:.6g}") for v in matrix[np.tril_indices(len(TERMS))]]
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
    read = {path.stem: read_profile(path).counts.runs_along for path in KEPT}
    assert read["version-1"] == (1, 1)
    assert read["version-2"] == (1, 0)


def test_a_sample_of_the_present_version_is_kept():
    assert KEPT
    assert f"version-{Profile.model_fields['version'].default}" in [path.stem for path in KEPT]


def broken(**changes):
    data = json.loads(profile_text(known_profile()))
    return json.dumps(data | changes)


TRIANGLE = list(known_profile().covariance)
BROKEN = [
    ("", "whole JSON text"),
    (profile_text(known_profile())[:700], "whole JSON text"),
    ("[1, 2]", "an offset profile"),
    ('{"format": "something-else"}', "an offset profile"),
    (broken(version=3), "version 2 or older, got version 3. Update this tool"),
    (broken(version="one"), "profile.json at version"),
    (broken(machine=""), "profile.json at machine"),
    (broken(nozzle_mm=-0.4), "profile.json at nozzle_mm"),
    (broken(surprise=1), "profile.json at surprise"),
    (broken(means={"scale_x": 0.0}), "means must name the 18 terms"),
    (broken(covariance=TRIANGLE[:-1]), "covariance must hold 171 numbers"),
    (broken(covariance=[-1.0, *TRIANGLE[1:]]), "negative eigenvalue"),
    (broken(scatters={}), "scatters must name tau"),
    (broken(rehearsed="no"), "profile.json at rehearsed"),
    (broken().replace('"nozzle_mm": 0.4', '"nozzle_mm": NaN'), "profile.json at nozzle_mm"),
]


@pytest.mark.parametrize(("text", "message"), BROKEN)
def test_a_broken_file_is_refused_in_words(tmp_path, text, message):
    path = tmp_path / "profile.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProfileError) as refused:
        read_profile(path)
    assert message in str(refused.value)
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
