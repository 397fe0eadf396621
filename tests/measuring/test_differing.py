"""Runs that were not printed alike are fitted together only with a plain word about it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.page_coupon import fill_run, make_record, write_run

from coupons.cli import main
from coupons.learning.profile_file import read_profile
from coupons.measuring.run.differing import differences
from coupons.measuring.run.folder import load_run
from coupons.showing.words.differing import profile_differs


def say(folder, *lines):
    """Add lines to the slicing table of a run's conditions, which stands at their end."""
    path = folder / "conditions.toml"
    path.write_text(path.read_text() + "\n".join(lines) + "\n")


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    parent = tmp_path_factory.mktemp("runs")
    made = []
    for seed, name in enumerate(("march", "april")):
        folder = write_run(parent, make_record(rows=2, features=4), name=name)
        fill_run(folder, seed=seed)
        made.append(folder)
    say(made[0], "flow_percent = 100", "holes_mm = 0", 'wall_order = "inner first"')
    say(made[1], "flow_percent = 96", "holes_mm = 0")
    for folder, height, month in zip(made, ("0.2", "0.3"), ("03", "04"), strict=True):
        path = folder / "conditions.toml"
        text = path.read_text().replace("layer_height_mm = 0.2", f"layer_height_mm = {height}")
        path.write_text(text.replace("# printed_on = 2026-01-31", f"printed_on = 2026-{month}-30"))
    return made


def run(*words):
    result = CliRunner().invoke(main, [*map(str, words)])
    assert result.exit_code == 0, result.output
    return result.stdout


WORDS = (
    "PRINTED DIFFERENTLY: layer height 0.2 mm in march, 0.3 mm in april; flow 100 % in march, "
    "96 % in april."
)


def test_only_what_two_runs_say_differently_differs(folders):
    found = differences([load_run(folder) for folder in folders])
    assert [(one.key, one.values) for one in found] == [
        ("layer_height_mm", (0.2, 0.3)),
        ("flow_percent", (100.0, 96.0)),
    ]


@pytest.mark.slow
def test_a_fit_says_so_at_its_top_and_keeps_it(folders, tmp_path):
    out = tmp_path / "profile.json"
    said = " ".join(run("fit", *folders, "-o", out).split())
    assert said.startswith(WORDS)
    profile = read_profile(out)
    assert profile.differs_in == ("layer_height_mm", "flow_percent")
    assert profile.slicing.flow_percent == 96.0
    assert WORDS in Path(tmp_path / "report.html").read_text(encoding="utf-8").split("<section")[0]
    card = Path(tmp_path / "wall-card.html").read_text(encoding="utf-8")
    assert profile_differs(profile.differs_in) in card
    assert profile_differs(profile.differs_in).endswith("differ in layer height, flow.")


@pytest.mark.slow
def test_the_same_as_data(folders, tmp_path):
    data = json.loads(run("fit", *folders, "-o", tmp_path / "p.json", "--json"))
    assert data["differs_in"] == [
        {"key": "layer_height_mm", "values": [0.2, 0.3]},
        {"key": "flow_percent", "values": [100.0, 96.0]},
    ]


@pytest.mark.slow
def test_a_profile_of_prints_that_nobody_described_has_nothing_new_in_it(tmp_path):
    folder = write_run(tmp_path, make_record(rows=2, features=4), name="bare")
    fill_run(folder)
    said = run("fit", folder)
    assert "ALIKE" not in said
    text = (folder / "profile.json").read_text()
    assert not {"first_layer_height_mm", "slicing", "differs_in"} & set(json.loads(text))


@pytest.mark.slow
def test_a_report_shows_what_the_slicing_program_did(folders):
    run("fit", folders[0])
    html = (folders[0] / "report.html").read_text(encoding="utf-8")
    table = html.split('class="conditions"')[1].split("</table>")[0]
    assert '<th scope="row">flow</th><td dir="auto">100.0 %</td>' in table
    assert '<th scope="row">wall order</th><td dir="auto">inner first</td>' in table
