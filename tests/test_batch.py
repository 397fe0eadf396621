"""A whole tree of runs at once: nothing lost, nothing done twice, one bad run stops no other."""

import json
import os
import shutil
import subprocess
import sys
import time

import joblib
import pytest
from click.testing import CliRunner

from coupons import RunError, fit_each
from coupons.batch import BatchOutcome, find_runs
from coupons.cli import main
from coupons.learning.profile_file import read_profile
from coupons.measuring.run.conditions import set_value
from coupons.neutral import natural_key

pytestmark = pytest.mark.slow

NAMES = ("bench-1", "bench-2", "bench-10")
PERSON, NOTE = "Ottokar", "beside the window"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Three filled runs, one that is blank and one that is spoiled."""
    root = tmp_path_factory.mktemp("kept") / "tree"
    for name in (*NAMES, "blank"):
        run("make", "recheck", "-o", str(root / name), "--machine", name, "--material", "grey")
    for seed, name in enumerate(NAMES):
        run("rehearse", str(root / name), "--seed", str(seed))
    shutil.copytree(root / "bench-1", root / "spoiled")
    (root / "spoiled" / "entries.csv").write_text("kind;\n")
    return root


@pytest.fixture
def tree(kept, tmp_path):
    return shutil.copytree(kept, tmp_path / "tree")


def run(*arguments, code=0):
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == code, result.output
    return result


def bytes_below(tree):
    return {
        path.relative_to(tree): path.read_bytes()
        for path in sorted(tree.rglob("*"))
        if path.name in ("profile.json", "report.html", "wall-card.html")
    }


def outcomes(done):
    return {one.task.folders[0].name: one.outcome for one in done}


def test_names_sort_as_people_sort_them():
    assert sorted(["b10", "b9", "a", "b", "9", "10"], key=natural_key) == "9 10 a b b9 b10".split()


def test_every_run_has_its_outcome_and_a_bad_one_stops_no_other(tree):
    done = fit_each([tree])
    assert [one.task.folders[0].name for one in done] == [*NAMES, "blank", "spoiled"]
    assert outcomes(done) == dict.fromkeys(NAMES, BatchOutcome.FITTED) | {
        "blank": BatchOutcome.EMPTY,
        "spoiled": BatchOutcome.FAILED,
    }
    assert any("entries.csv" in text for text in done[-1].said)
    assert len(bytes_below(tree)) == 9

    # Started again, it does what is left and nothing else.
    stood = {path: path.stat().st_mtime_ns for path in tree.rglob("profile.json")}
    (tree / "bench-2" / "profile.json").unlink()
    again = outcomes(fit_each([tree]))
    assert again["bench-2"] is BatchOutcome.FITTED
    assert again["bench-1"] is again["bench-10"] is BatchOutcome.CURRENT
    kept = [path for path in stood if path.parent.name != "bench-2"]
    assert [path.stat().st_mtime_ns for path in kept] == [stood[path] for path in kept]


def test_a_run_that_changed_is_fitted_again(tree):
    fit_each([tree / "bench-1"])
    conditions = tree / "bench-1" / "conditions.toml"
    conditions.write_text(conditions.read_text().replace("# nozzle_temp_c", "nozzle_temp_c"))
    later_ns = (tree / "bench-1" / "profile.json").stat().st_mtime_ns + 10**9
    os.utime(conditions, ns=(later_ns, later_ns))
    assert outcomes(fit_each([tree / "bench-1"])) == {"bench-1": BatchOutcome.FITTED}


def test_what_a_person_left_out_is_not_taken_in_again_in_silence(tree):
    entries = (tree / "bench-1" / "entries.csv").read_text().splitlines()
    row = next(
        n for n, line in enumerate(entries, 1) if line.startswith("fit") and ",push," in line
    )
    run("fit", str(tree / "bench-1"), "--without", str(row))
    assert outcomes(fit_each([tree / "bench-1"])) == {"bench-1": BatchOutcome.CURRENT}
    (tree / "bench-1" / "entries.csv").write_text("\n".join(entries[:-1]) + "\n")
    (done,) = fit_each([tree / "bench-1"])
    assert done.outcome is BatchOutcome.FAILED
    assert "--without" in done.said[0]
    assert read_profile(tree / "bench-1").without == (str(row),)


def test_machines_that_are_spelt_alike_keep_profiles_of_their_own(kept, tmp_path):
    names = (("bench 1", "grey"), ("bench-1", "grey"), ("Bench", "1-grey"), ("bench", "1-grey"))
    for number, (machine, material) in enumerate(names):
        made = shutil.copytree(kept / "blank", tmp_path / f"run-{number}")
        text = (made / "conditions.toml").read_text()
        text = text.replace('"blank"', f'"{machine}"').replace('"grey"', f'"{material}"')
        (made / "conditions.toml").write_text(text)
    outputs = [one.task.output.name.casefold() for one in fit_each([tmp_path], by_machine=True)]
    assert len(set(outputs)) == len(outputs) == 4


def test_machines_have_one_profile_of_all_their_runs(tree):
    for number in (1, 2):
        name = str(tree / f"more-{number}")
        run("make", "recheck", "-o", name, "--machine", "bench-1", "--material", "grey")
        run("rehearse", name, "--seed", str(number + 7))
    shutil.rmtree(tree / "spoiled")
    fit_each([tree], by_machine=True)
    assert read_profile(tree / "bench-1-grey.json").counts.runs == 3
    assert read_profile(tree / "bench-10-grey.json").counts.runs == 1
    assert not (tree / "bench-1" / "profile.json").exists()


def test_a_recheck_keeps_out_of_the_profile_that_it_judges(tree):
    full, june = tree / "bench-1", shutil.copytree(tree / "bench-2", tree / "june")
    entries = (june / "entries.csv").read_text(encoding="utf-8").splitlines()
    (june / "entries.csv").write_text("\n".join(entries[:12]) + "\n", encoding="utf-8")
    for folder, day in ((full, "2026-05-05"), (june, "2026-06-05")):
        text = (full / "conditions.toml").read_text(encoding="utf-8")
        text = set_value(text, "", "printed_on", day)
        (folder / "conditions.toml").write_text(text, encoding="utf-8")
    for outcome in (BatchOutcome.FITTED, BatchOutcome.CURRENT):
        done = fit_each([full, june], by_machine=True)
        assert [one.outcome for one in done] == [outcome] * 2
        assert done[0].said[-1].endswith(": june")
    profile, check = read_profile(tree / "bench-1-grey.json"), read_profile(june)
    assert (profile.counts.runs, check.counts.runs) == (1, 1)
    assert check.counts.trials + check.counts.readings <= 11
    assert profile.entries_sha256 != check.entries_sha256


def of_bench_1(tree, *names):
    """Make these runs of the tree runs of bench-1, and take the spoiled one away."""
    text = (tree / "bench-1" / "conditions.toml").read_text(encoding="utf-8")
    for name in names:
        (tree / name / "conditions.toml").write_text(text, encoding="utf-8")
    shutil.rmtree(tree / "spoiled")


def test_every_bad_run_of_a_machine_is_named_and_left_out(tree):
    of_bench_1(tree, "bench-2", "bench-10")
    for name in ("bench-2", "bench-10"):
        (tree / name / "entries.csv").unlink()
        os.mkfifo(tree / name / "entries.csv")
    done = next(one for one in fit_each([tree], by_machine=True) if one.said)
    assert done.outcome is BatchOutcome.IN_PART
    assert done.left_out == (tree / "bench-2", tree / "bench-10")
    first, second = done.said
    assert first.startswith("1 of 3 runs; bench-2 left out: ")
    assert second.startswith("bench-10 left out: ")
    assert all("a pipe" in line for line in done.said)
    assert read_profile(tree / "bench-1-grey.json").counts.runs == 1


def test_a_machine_is_fitted_from_its_good_runs(tree):
    of_bench_1(tree, "bench-2")
    shutil.rmtree(tree / "bench-10")
    good = (tree / "bench-2" / "entries.csv").read_text()
    (tree / "bench-2" / "entries.csv").write_text("kind;\n")
    told = run("fit", "--each-machine", str(tree), code=1).stdout
    flat = " ".join(told.split())
    assert "1 of 2 runs; bench-2 left out: " in flat
    assert "entries.csv" in flat
    assert "1 fitted in part" in flat
    profile = tree / "bench-1-grey.json"
    assert read_profile(profile).counts.runs == 1

    # Nothing is done twice, and the bad run is still told.
    stood = profile.stat().st_mtime_ns
    assert "1 of 2 runs; bench-2 left out: " in " ".join(
        run("fit", "--each-machine", str(tree), code=1).stdout.split()
    )
    assert profile.stat().st_mtime_ns == stood

    # Mended, it counts.
    (tree / "bench-2" / "entries.csv").write_text(good)
    run("fit", "--each-machine", str(tree))
    assert read_profile(profile).counts.runs == 2


def test_a_print_that_is_there_twice_counts_once(tree):
    of_bench_1(tree)
    for name in ("bench-2", "bench-10"):
        shutil.rmtree(tree / name)
    shutil.copytree(tree / "bench-1", tree / "copy")
    done = next(one for one in fit_each([tree], by_machine=True) if one.said)
    assert done.outcome is BatchOutcome.IN_PART
    assert done.left_out == (tree / "copy",)
    assert "the same entries as" in done.said[0]
    assert read_profile(tree / "bench-1-grey.json").counts.runs == 1


def test_a_machine_without_a_good_run_has_no_profile(tree):
    of_bench_1(tree)
    for name in ("bench-1", "bench-2", "bench-10"):
        (tree / name / "entries.csv").write_text("kind;\n")
    done = fit_each([tree], by_machine=True)
    assert [one.outcome for one in done if one.said] == 3 * [BatchOutcome.FAILED]
    assert not list(tree.glob("*.json"))


def test_the_command_shows_a_table_and_ends_with_one(tree):
    told = run("fit", "--each", str(tree), code=1)
    assert "5 profiles: 3 fitted, 1 nothing entered, 1 failed" in told.stdout
    assert max(map(len, told.stdout.splitlines())) <= 80 + len(str(tree))
    data = json.loads(run("fit", "--each", str(tree), "--json", code=1).stdout)
    assert [one["outcome"] for one in data][:2] == ["up to date", "up to date"]
    assert "cannot go with" in run("fit", "--each", str(tree), "-o", "x.json", code=2).output
    assert "goes with" in run("fit", str(tree), "--jobs", "2", code=2).output


def test_a_folder_without_runs_is_refused(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(RunError, match="none below it"):
        fit_each([tmp_path / "empty"])
    with pytest.raises(RunError, match="no such folder"):
        fit_each([tmp_path / "none"])


def test_links_lead_nowhere(tree):
    (tree / "loop").symlink_to(tree)
    assert len(find_runs([tree])) == 5


def test_public_files_name_nobody(tree):
    entries = tree / "bench-1" / "entries.csv"
    lines = entries.read_text().splitlines()
    where = {name: n for n, name in enumerate(lines[0].split(","))}
    for n, line in enumerate(lines[1:], start=1):
        cells = line.split(",")
        if cells[where["result"]]:
            cells[where["by"]], cells[where["note"]] = PERSON, NOTE
            lines[n] = ",".join(cells)
    entries.write_text("\n".join(lines) + "\n")
    secrets = [PERSON, NOTE, str(tree), tree.parent.name]

    run("fit", str(tree / "bench-1"))
    assert PERSON in (tree / "bench-1" / "report.html").read_text()
    told = bytes_below(tree)

    run("fit", str(tree / "bench-1"), "--public")
    for data in bytes_below(tree).values():
        assert [secret for secret in secrets if secret in data.decode()] == []
    assert bytes_below(tree).keys() == told.keys()
    same = ("means", "covariance", "entries_sha256")
    before = json.loads(told[next(path for path in told if path.name == "profile.json")])
    after = json.loads((tree / "bench-1" / "profile.json").read_text())
    assert {key: after[key] for key in same} == {key: before[key] for key in same}


def test_the_bytes_are_the_same_on_any_number_of_workers(tree, tmp_path):
    other = shutil.copytree(tree, tmp_path / "other" / "tree")
    fit_each([tree], jobs=1)
    fit_each([other], jobs=2)
    assert bytes_below(tree) == bytes_below(other)


def test_a_batch_that_was_killed_goes_on_where_it_was(tree, tmp_path):
    other = shutil.copytree(tree, tmp_path / "other" / "tree")
    fit_each([other])
    command = [sys.executable, "-m", "coupons", "fit", "--each", str(tree)]
    batch = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while not (tree / "bench-2" / "wall-card.html").exists():
        assert batch.poll() is None
        time.sleep(0.05)
    batch.kill()
    batch.wait()
    stood = {path: path.stat().st_mtime_ns for path in tree.rglob("profile.json")}
    assert {path.parent.name for path in stood} >= {"bench-1", "bench-2"}
    fit_each([tree])
    assert {path: path.stat().st_mtime_ns for path in stood} == stood
    assert bytes_below(tree) == bytes_below(other)


def test_the_callers_cluster_carries_it(tree):
    """An existing cluster does the work: here two workers of the distributed engine."""
    from distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster),
        joblib.parallel_config("dask"),
    ):
        done = fit_each([tree], jobs=-1)
    assert list(outcomes(done).values()).count(BatchOutcome.FITTED) == 3
