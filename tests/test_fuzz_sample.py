"""A small fixed part of the fuzz bench; the long one stands in results/bench/."""

import pytest
from bench.fuzz import PLANS, fuzz, kind_of
from bench.fuzz_meshes import PLANS as MESHES
from bench.fuzz_meshes import fuzz_meshes


@pytest.mark.slow
def test_spoiled_files_end_every_command_in_words(tmp_path):
    numbers = range(80)
    assert {kind_of(number) for number in numbers} == set(PLANS)
    bench = fuzz(numbers, 1, tmp_path)
    assert bench.faults == []
    assert set(bench.exits) <= {0, 1, 2}
    assert sum(bench.runs.values()) > 130


@pytest.mark.slow
def test_spoiled_bodies_end_meet_and_relieve_in_words(tmp_path):
    numbers = range(40)
    assert {kind_of(number, MESHES) for number in numbers} == set(MESHES)
    bench = fuzz_meshes(numbers, 1, tmp_path)
    assert bench.faults == []
    assert set(bench.exits) <= {0, 1, 2}
    assert bench.exits[0] > 0


@pytest.mark.slow
def test_the_bench_sees_what_it_is_there_to_see(tmp_path, monkeypatch):
    """A command that fails, writes outside and spoils what was typed has all its faults told."""
    import coupons.cli.check

    def bad(folder):
        (tmp_path / "outside.txt").write_text("out")
        (folder / "conditions.toml").write_text("lost")
        raise KeyError("a fault of ours")

    number = next(n for n in range(1, 99) if kind_of(n) == "entries" and n % 100)
    monkeypatch.setattr(coupons.cli.check, "survey_run", bad)
    told = "\n".join(fault.what for fault in fuzz([number], 1, tmp_path / "room").faults)
    assert "KeyError: 'a fault of ours'" in told
    assert "outside: " in told
    assert "a file that a person types was changed" in told
