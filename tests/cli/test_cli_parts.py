import json

import pytest
from click.testing import CliRunner

from coupons.cli import main

HEAD = "name,job,internal,internal_drawn_mm,external,external_drawn_mm,across,result\n"
CONDITIONS = 'machine = "bench-1"\nmaterial = "grey"\nnozzle_mm = 0.4\nlayer_height_mm = 0.2\n'
ROWS = "".join(
    f"d,m,slot,12,tongue,{12 - gap:.2f},x,{grade}\n"
    for gap, grade in (
        (0.0, "no-go"),
        (0.1, "force"),
        (0.2, "push"),
        (0.3, "slide"),
        (0.5, "loose"),
    )
)


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.mark.slow
def test_parts_are_checked_and_fitted_by_themselves(tmp_path):
    path = tmp_path / "parts.csv"
    path.write_text(HEAD + ROWS, encoding="utf-8")
    (tmp_path / "conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    assert run("check", path).output == "Nothing to correct.\n"
    found = run("fit", "--parts", path)
    assert found.exit_code == 0, found.output
    assert "5 trials and 0 readings of 6 sizes in 1 run" in found.output
    profile = json.loads((tmp_path / "profile.json").read_text(encoding="utf-8"))
    assert profile["coupons"] == ["parts"]


def test_a_list_with_errors_is_not_fitted(tmp_path):
    path = tmp_path / "parts.csv"
    path.write_text(HEAD + "a,m,slot,12,tongue,11.7,x,slyde\n", encoding="utf-8")
    (tmp_path / "conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    checked = run("check", path)
    assert checked.exit_code == 1
    assert "1 error to correct" in checked.output
    assert json.loads(run("check", path, "--json").output)["findings"][0]["severity"] == "error"
    fitted = run("fit", "--parts", path)
    assert fitted.exit_code == 1
    assert not (tmp_path / "profile.json").exists()


def test_a_fit_of_nothing_is_wrong_usage():
    assert run("fit").exit_code == 2
