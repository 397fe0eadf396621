"""More than a person prints: it ends and says how far it is, or is refused before the work."""

import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from coupons.cli import main, output
from coupons.learning import fit
from coupons.learning.profile_file import read_profile
from coupons.making.output import run_files as making
from coupons.making.plan import MOST_FEATURES

DEMO = Path(__file__).parents[1] / "results" / "filter-drawer"


def run(*arguments):
    result = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.mark.slow
def test_a_coupon_of_thousands_is_refused_before_it_is_built(tmp_path, monkeypatch):
    monkeypatch.setattr(making, "build_solids", None)  # which would fail were it called
    gaps = [round(0.002 * step, 3) for step in range(300)]
    row = f'[[row]]\nkind = "fit"\nform = "slot"\ndirection = "x"\nsize_mm = 5\ngaps_mm = {gaps}\n'
    spec = tmp_path / "many.toml"
    spec.write_text('title = "many"\n' + 23 * row)
    result = run("make", spec, "-o", tmp_path / "run")
    assert result.exit_code == 1
    assert f"many: expected at most {MOST_FEATURES:,} features, got more." in result.stderr
    assert not (tmp_path / "run").exists()


def test_more_sizes_than_can_be_fitted_are_refused_with_the_limit(tmp_path, monkeypatch):
    folder = shutil.copytree(DEMO, tmp_path / "run")
    before = (folder / "profile.json").read_bytes()
    monkeypatch.setattr(fit, "MOST_SIZES", 50)
    monkeypatch.setattr(fit, "integrate", None)
    result = run("fit", folder)
    assert result.exit_code == 1
    assert "run: expected at most 50 sizes in one fit, got 69. Fit fewer runs at" in result.stderr
    assert (folder / "profile.json").read_bytes() == before


@pytest.mark.slow
def test_long_work_says_at_a_terminal_how_far_it_is(tmp_path, monkeypatch):
    monkeypatch.setattr(output, "EVERY_S", 0.0)
    monkeypatch.setattr(output, "is_terminal", lambda _: True)
    folder = shutil.copytree(DEMO, tmp_path / "run")
    fitted = run("fit", folder)
    assert re.search(r"\r\d+ of 140 left out and predicted from the rest", fitted.stderr)
    made = run("make", "recheck", "-o", tmp_path / "made")
    assert re.search(r"\r\d+ of \d+ bodies built", made.stderr)
    assert re.search(r"\r\d+ of \d+ files written", made.stderr)
    assert "left out and" not in fitted.stdout


@pytest.mark.slow
def test_short_work_says_nothing_of_its_steps(tmp_path, monkeypatch):
    monkeypatch.setattr(output, "EVERY_S", 1e6)
    assert run("make", "recheck", "-o", tmp_path / "made").stderr == ""


@pytest.mark.slow
def test_twelve_thousand_readings_end_in_a_profile(tmp_path):
    folder = shutil.copytree(DEMO, tmp_path / "run")
    sheet = folder / "entries.csv"
    lines = sheet.read_text(encoding="utf-8-sig").splitlines()
    sizes = [line.split(",") for line in lines if line.startswith("size,")]
    rng = np.random.default_rng(1)
    more = []
    for n in range(12_000):
        row = list(sizes[n % len(sizes)])
        row[3] = f"{float(row[3]) + rng.normal(0, 0.02):.4f}"
        more.append(",".join(row))
    sheet.write_text("\n".join([*lines, *more]) + "\n", encoding="utf-8")
    result = run("fit", folder)
    assert result.exit_code == 0
    assert read_profile(folder / "profile.json").counts.readings == 12_066
