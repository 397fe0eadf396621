"""What a script imports: typed, lazy, true to `dir`, and worded as the terminal is."""

import ast
import re
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.known_profile import known_profile

import coupons
from coupons.answering.ask import Printer
from coupons.cli import main

DEMO = Path(__file__).parents[1] / "results" / "filter-drawer"
PROFILE = DEMO / "profile.json"
JOINT = {"size_mm": 12, "across": "x"}


def loaded_after(code):
    told = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(told.stdout.split())


def test_importing_the_package_loads_nothing():
    loaded = loaded_after("import coupons; dir(coupons); coupons.__version__")
    assert {name for name in loaded if name.split(".")[0] == "coupons"} == {"coupons"}
    assert not loaded & {"numpy", "scipy", "pydantic", "click"}


def test_asking_loads_neither_meshes_nor_learning_libraries():
    loaded = loaded_after(f"from coupons import load_profile; load_profile({str(PROFILE)!r})")
    assert "coupons.answering.ask" in loaded
    assert not loaded & {"sklearn", "manifold3d", "trimesh", "jinja2", "matplotlib"}


def test_every_name_that_dir_tells_is_there_and_every_error_is_public():
    assert dir(coupons) == sorted(coupons.__all__)
    for name in dir(coupons):
        assert getattr(coupons, name) is not None
    errors = {
        name
        for name, value in vars(coupons.errors).items()
        if isinstance(value, type) and issubclass(value, coupons.CouponError)
    }
    assert errors <= set(dir(coupons))
    with pytest.raises(AttributeError, match="no attribute 'load_profiles'"):
        _ = coupons.load_profiles


def test_type_checkers_are_told_of_every_name():
    tree = ast.parse(Path(coupons.__file__).read_text(encoding="utf-8"))
    told = {
        alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("coupons.")
        for alias in node.names
    }
    assert told == set(coupons.__all__) - {"__version__"}
    assert Path(coupons.__file__).with_name("py.typed").is_file()


@pytest.mark.slow
def test_a_script_is_checked_and_nothing_in_it_is_any(tmp_path):
    script = tmp_path / "script.py"
    script.write_text(
        textwrap.dedent(
            """
            from coupons import NotMeasuredError, check, fit, load_profile, load_run, make_coupon

            reveal_type(load_profile("a").offset("slot/tongue", size_mm=12, across="x"))
            reveal_type(load_profile("a").size("hole", prints_mm=8, across="z").drawn_mm)
            reveal_type(fit("a", load_run("b")).profile.machine)
            reveal_type([found.what for found in check("a")])
            reveal_type(make_coupon("first", "a").cost.minutes)
            load_profile("a").offset("slot/tongue", size_mm="12", across="x")
            from coupons import load_profiles
            """
        )
    )
    pytest.importorskip("mypy")
    told = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--no-incremental", str(script)],
        capture_output=True,
        text=True,
        cwd=Path(coupons.__file__).parents[1],
        check=False,
    ).stdout
    revealed = [
        line.split("Revealed type is ")[1] for line in told.splitlines() if "Reveal" in line
    ]
    assert [kind.strip('"') for kind in revealed] == [
        "coupons.answering.offset.Answer",
        "float",
        "str",
        "list[str]",
        "float",
    ]
    assert told.count(" error: ") == 2, told
    assert 'incompatible type "str"; expected "float | None"' in told
    assert 'no attribute "load_profiles"' in told


ASKED = [
    (
        lambda p: p.offset("slot/tongue", fit="push", **JOINT),
        ["--joint", "slot/tongue", "--size", "12", "--across", "x", "--fit", "push"],
    ),
    (
        lambda p: p.size("hole", prints_mm=8, across="z"),
        ["--form", "hole", "--prints", "8", "--across", "z"],
    ),
    (
        lambda p: p.limits("12 H13/d13", joint="slot/tongue", across="x"),
        ["--joint", "slot/tongue", "--limits", "12 H13/d13", "--across", "x"],
    ),
]


@pytest.mark.parametrize(("ask", "options"), ASKED, ids=["offset", "size", "limits"])
def test_an_answer_says_what_the_terminal_says(ask, options):
    answer = ask(coupons.load_profile(PROFILE))
    told = CliRunner().invoke(main, ["offset", str(PROFILE), *options])
    assert told.exit_code == 0, told.output
    assert str(answer).split() == told.output.split()
    assert repr(answer).startswith("<")
    assert "\n" not in repr(answer)
    assert len(repr(answer)) < 160


def test_a_whole_part_says_what_the_terminal_says():
    part = coupons.load_profile(PROFILE).part(DEMO / "joints.csv")
    told = CliRunner().invoke(main, ["joints", str(PROFILE), str(DEMO / "joints.csv")])
    assert str(part).split() == told.output.split()
    assert repr(part).startswith("<PartAnswer to 5 joints: all fit with ")


def test_a_line_tells_what_to_draw():
    printer = Printer(known_profile())
    answer = printer.offset("slot/tongue", fit="slide", **JOINT)
    drawn = f"draw tongue {answer.moves[0].drawn_mm:g} mm"
    assert repr(answer).startswith(f"<Answer to slide slot/tongue 12 mm across x: {drawn}; ")
    hole = printer.size("hole", across="z", limits="8 H13")
    assert f"hole 8.11 mm axis along z within 8 H13: draw {hole.drawn_mm:g} mm" in repr(hole)


WRONG = [
    (lambda p, _: p.offset("slot/tongue", size_mm="12", across="x"), "size_mm: expected a number"),
    (lambda p, _: p.offset("slot/tongue", size_mm=True, across="x"), "size_mm: expected a number"),
    (lambda p, _: p.offset("slot/tongue", size_mm=12, across=0), "across: expected a text, got 0"),
    (lambda p, _: p.offset(12, size_mm=12, across="x"), "joint: expected a text, got 12"),
    (lambda p, _: p.limits(12, joint="slot/tongue", across="x"), "code: expected a text, got 12"),
    (lambda p, _: p.clearance_hole(None, across="z"), "screw: expected a text, got None"),
    (lambda p, _: p.part(3), "path: expected a path, got 3"),
    (lambda p, _: p.save(3), "path: expected a path, got 3"),
    (lambda *_: coupons.load_profile(None), "path: expected a path, got None"),
    (lambda *_: coupons.load_run(b"run"), "folder: expected a path, got b'run'"),
    (lambda p, _: coupons.check(p), "folder: expected a path, got <Printer "),
    (lambda p, _: coupons.fit(p), "runs: expected a run, got <Printer "),
    (lambda *_: coupons.fit(DEMO, without="14"), "without: expected a list of rows, got '14'"),
    (lambda *_: coupons.fit(DEMO, DEMO), "expected another print"),
    (lambda _, to: coupons.make_coupon("recheck", to, bed_mm=220), "bed_mm: expected two numbers"),
    (lambda _, to: coupons.make_coupon("recheck", to, nozzle_mm="0.4"), "nozzle_mm: expected a "),
    (lambda _, to: coupons.make_coupon("recheck", to, machine=None), "machine: expected a text"),
    (lambda _, to: coupons.make_jobs("recheck", to, "3"), "jobs: expected a whole number"),
    (lambda _, to: coupons.make_jobs("recheck", to, 0), "jobs: expected a number from 1 to 9"),
]


@pytest.mark.parametrize(("do", "says"), WRONG, ids=map(str, range(len(WRONG))))
def test_wrong_types_are_told_by_name(do, says, tmp_path):
    with pytest.raises(coupons.CouponError) as caught:
        do(coupons.load_profile(PROFILE), tmp_path / "run")
    assert says in caught.value.message
    assert not (tmp_path / "run").exists()


def test_several_wrong_types_are_told_at_once():
    with pytest.raises(coupons.AnswerError) as caught:
        coupons.load_profile(PROFILE).offset(12, size_mm="12", across="x")
    assert [problem.where for problem in caught.value.problems] == ["joint", "size_mm"]


def test_numbers_of_other_libraries_are_numbers():
    import numpy as np

    printer = coupons.load_profile(PROFILE)
    plain = printer.offset("slot/tongue", **JOINT)
    assert printer.offset("slot/tongue", size_mm=np.int64(12), across="x") == plain
    assert printer.offset("slot/tongue", size_mm=np.float64(12), across="x") == plain


@pytest.mark.slow
def test_the_whole_job_from_a_script(tmp_path):
    made = coupons.make_coupon(
        "recheck", tmp_path / "run", machine="bench-2", material="blue", bed_mm=(180, 180)
    )
    assert made.coupon.assumed.nozzle_mm == 0.4
    assert made.cost.trials == len(made.coupon.trials) > 10
    assert str(made.cost.trials) in repr(made)
    assert CliRunner().invoke(main, ["rehearse", str(made.folder)]).exit_code == 0
    assert not [found for found in coupons.check(made.folder) if found.severity == "error"]
    run = coupons.load_run(str(made.folder))
    assert repr(run).endswith(f": {len(run.fits)} trials, {len(run.sizes)} readings>")
    printer = coupons.fit(run)
    file = printer.save(tmp_path / "profile.json")
    asked = {"size_mm": 8, "across": "x"}
    again = coupons.load_profile(file).offset("slot/tongue", **asked)
    assert again == printer.offset("slot/tongue", **asked)
    told = CliRunner().invoke(main, ["fit", str(made.folder)])
    assert told.exit_code == 0
    assert file.read_bytes() == (made.folder / "profile.json").read_bytes()


def test_the_script_in_the_readme_runs(tmp_path, monkeypatch, capsys):
    readme = (DEMO.parents[1] / "README.md").read_text(encoding="utf-8")
    (script,) = re.findall(r"```python\n(from coupons import .*?)```", readme, re.DOTALL)
    script = script.replace('"first"', '"recheck"')  # which is quicker
    monkeypatch.chdir(tmp_path)
    exec(script, {})
    told = capsys.readouterr().out.splitlines()
    assert "expected at least one result" in told[-1]  # as nobody has filled them in
    assert (tmp_path / "results" / "my-run" / "entry.html").is_file()
    assert CliRunner().invoke(main, ["rehearse", "results/my-run"]).exit_code == 0
    exec(script[: script.index("made =")] + script[script.index("try:") :], {"made": Made})
    assert (tmp_path / "results" / "my-run" / "profile.json").is_file()


class Made:
    folder = Path("results/my-run")


def test_a_row_is_left_out_as_the_command_leaves_it_out(tmp_path):
    run = Path(shutil.copytree(DEMO, tmp_path / "run"))
    row = coupons.load_run(run).sizes[0].row
    fewer = coupons.fit(run, without=[str(row)]).profile
    assert fewer.without == (str(row),)
    assert fewer.counts.readings == len(coupons.load_run(run).sizes) - 1


def test_a_file_of_somebodys_own_is_not_saved_over(tmp_path):
    own = tmp_path / "notes.json"
    own.write_text('{"mine": 1}')
    with pytest.raises(coupons.WriteError, match="a profile to replace"):
        coupons.load_profile(PROFILE).save(own)
    assert own.read_text() == '{"mine": 1}'


def test_findings_are_a_line_each(tmp_path):
    run = Path(shutil.copytree(DEMO, tmp_path / "run"))
    sheet = run / "entries.csv"
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text.replace(",slide,", ",slyde,", 1), encoding="utf-8")
    errors = [str(found) for found in coupons.check(run) if found.severity == "error"]
    assert len(errors) == 1
    assert errors[0].startswith("error: ")
    assert "slyde" in errors[0]
    with pytest.raises(coupons.EntriesError):
        coupons.load_run(run)
