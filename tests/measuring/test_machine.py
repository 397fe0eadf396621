import tomllib
from importlib.resources import files

import numpy as np
import pytest

from coupons.errors import RunError
from coupons.measuring.virtual.machine import (
    Machine,
    load_machine,
    random_machine,
    shipped_machines,
)

MACHINES = files("coupons.measuring.virtual") / "machines"
BENCH = (MACHINES / "bench-1.toml").read_text(encoding="utf-8")
RANGES = tomllib.loads((MACHINES / "ranges.toml").read_text(encoding="utf-8"))


def test_the_shipped_machines_load_under_their_names():
    assert shipped_machines() == ("attic-1", "bench-1", "bench-2")
    assert [load_machine(name).name for name in shipped_machines()] == list(shipped_machines())


def test_every_value_of_the_first_machine_is_explained():
    values = [line for line in BENCH.splitlines() if " = " in line and not line.startswith("#")]
    unexplained = [line for line in values if "#" not in line]
    # x, then y and z in the same way; a vernier's step needs no words.
    assert [line.split(" =")[0] for line in unexplained] == [
        "material",
        "lost_y_mm",
        "shrink_x",
        "shrink_y",
        "shrink_z",
        "resolution_mm",
    ]


def test_random_machines_lie_in_their_ranges_and_are_valid():
    rng = np.random.default_rng(5)
    for _ in range(200):
        machine = random_machine(rng)
        assert Machine.model_validate(machine.model_dump()) == machine
        for table, ranges in RANGES.items():
            for key, (low, high) in ranges.items():
                assert low <= getattr(getattr(machine, table), key) <= high


def test_a_random_machine_is_the_same_for_the_same_seed():
    one, again, other = (random_machine(np.random.default_rng(seed)) for seed in (1, 1, 2))
    assert one == again
    assert one != other


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            BENCH.replace("drag_mm = 0.75", "drag_mm = -0.75"),
            "mine.toml at bead.drag_mm: expected a number greater than or equal to 0, got -0.75."
            " Correct the value.",
        ),
        (
            BENCH.replace("slide_mm = 0.11", "slide_mm = 0.50"),
            "mine.toml at person: expected force_mm < push_mm < slide_mm < loose_mm."
            " Correct the values.",
        ),
        (
            BENCH.replace("seam_mm", "sean_mm"),
            "mine.toml at bead.seam_mm: expected a value, got none."
            " Add a line seam_mm = …\n"
            "mine.toml at bead.sean_mm: expected one of planned_mm, laid_mm, drag_mm, support,"
            " seam_mm, seam_along, got sean_mm. Did you mean seam_mm?",
        ),
        (
            "[bead",
            "mine.toml line 1: expected key = value, got [bead."
            " Put text in double quotes, but not numbers.",
        ),
    ],
)
def test_a_faulty_file_is_told(tmp_path, text, message):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RunError) as caught:
        load_machine(str(path))
    assert caught.value.message == message


def test_a_name_that_is_none_of_the_shipped_is_told():
    with pytest.raises(RunError, match="expected one of attic-1, bench-1, bench-2, got bench-9"):
        load_machine("bench-9")
