"""The study's own arithmetic: worlds differ by one cause, and references are what they say."""

import numpy as np
import pytest
from bench.reality import Reality, realities
from bench.study_worlds_page import summary_of
from bench.worlds import ALL, DRAWN, ONE_BY_ONE, PLAIN, QUESTIONS, WORLDS, machine_of, on_bare_strip
from scipy.special import ndtr
from support.rehearsed import first_coupon

from coupons.measuring.virtual.machine import Machine, random_machine
from coupons.measuring.virtual.squeeze import gives_per_mm


def leaves(machine):
    return {
        (table, key): value
        for table, values in machine.model_dump().items()
        if isinstance(values, dict)
        for key, value in values.items()
    }


@pytest.mark.parametrize("world", ONE_BY_ONE, ids=lambda world: world.name)
def test_a_world_differs_from_the_plain_one_by_its_own_cause(world):
    plain, here = (leaves(machine_of(each, [1, 2])) for each in (PLAIN, world))
    differing = {key for key in plain if plain[key] != here[key]}
    assert differing == {(table, key) for table, keys in world.tables.items() for key in keys}
    assert bool(differing) != world.strip
    assert Machine.model_validate(machine_of(world, [1, 2]).model_dump())


def test_all_together_has_every_cause():
    here = leaves(machine_of(ALL, [1, 2]))
    for world in ONE_BY_ONE:
        alone = leaves(machine_of(world, [1, 2]))
        assert all(here[t, k] == alone[t, k] for t, keys in world.tables.items() for k in keys)
    assert ALL.strip


def test_the_last_world_leaves_machines_as_they_were_drawn():
    drawn = random_machine(np.random.default_rng([1, 2]))
    here = leaves(machine_of(DRAWN, [1, 2]))
    plain = leaves(machine_of(PLAIN, [1, 2]))
    assert here["scatter", "print_sag_mm"] > 0
    assert plain["scatter", "print_sag_mm"] == 0
    assert (
        here["axes", "shrink_x"] == plain["axes", "shrink_x"] != leaves(drawn)["axes", "shrink_x"]
    )


def test_a_bare_strip_bends_by_three_thousandths():
    """At 5 N and 2,000 MPa."""
    coupon = on_bare_strip(first_coupon())
    longest = max(coupon.features, key=lambda f: f.size_mm if f.row in "FG" else 0.0)
    gives = dict(zip([f.id for f in coupon.features], gives_per_mm(coupon), strict=True))
    assert -0.004 < gives[longest.id] * 5.0 / 2000.0 / longest.size_mm < -0.002


def normal_reality(print_sd_mm, window_mm):
    """A quantity that differs between prints alone, judged without doubt."""
    moved = print_sd_mm * np.random.default_rng(3).standard_normal(4000)
    grid = np.arange(-0.5, 0.5, 0.002)
    return Reality(0.0, moved, moved[::-1], -window_mm, window_mm, 1e-4, grid)


@pytest.mark.parametrize("n_prints", [1, 3])
def test_the_best_of_some_prints_is_what_normal_theory_says(n_prints):
    """4,000 prints for truth and 240 seen: three standard errors are about 0.03."""
    real = normal_reality(0.05, 0.08)
    found = real.best_of(n_prints, np.random.default_rng(4))
    wanted = 2 * ndtr(0.08 / (0.05 * np.sqrt(1 + 1 / n_prints))) - 1
    assert found == pytest.approx(wanted, abs=0.03)
    assert real.oracle == pytest.approx(2 * ndtr(0.08 / 0.05) - 1, abs=0.02)


def test_an_interval_holds_of_as_many_prints_as_a_normal_says():
    real = normal_reality(0.05, 0.08)
    assert real.held(-0.08224, 0.08224) == pytest.approx(0.90, abs=0.015)  # 1.6449 sds
    assert real.squared_miss(0.03) == pytest.approx(0.03**2 + 0.05**2, rel=0.1)


def test_nobody_does_better_than_who_knows_the_machine():
    machine = machine_of(PLAIN, [1, 3])
    real = realities(machine, QUESTIONS, 6.0, np.random.default_rng(1))
    for asked in QUESTIONS:
        best = real[asked].best_of(1, np.random.default_rng(2))
        assert 0.2 < best <= real[asked].oracle + 1e-9, asked.name


def test_a_cost_is_the_loss_beyond_that_in_the_plain_world():
    def row(world, machine, came):
        figures = {"held": 0.9, "square": 0.01, "sd": 0.1, "bias": 0.0, "stated": 0.8}
        figures |= {"came": came, "oracle": 0.95, "best": 0.9, "habit": 0.5, "told": True}
        names = {"set": "one print", "world": world, "machine": machine}
        return figures | names | {"asked": QUESTIONS[0].name}

    other = WORLDS[1].name
    rows = [row(PLAIN.name, 0, 0.85), row(PLAIN.name, 1, 0.75)]
    rows += [row(other, 0, 0.75), row(other, 1, 0.71)]
    found = {"machines": 2, "seed": 1, "sets": ["one print"], "out": "worlds", "rows": rows}
    summary = summary_of(found | {"worlds": [PLAIN.name, other]})
    (plain, here) = summary["by_kind"]
    assert plain["lost"] == pytest.approx(0.1)
    assert here["lost"] == pytest.approx(0.17)
    assert here["cost"] == pytest.approx(0.07)
    # Two machines, 0.10 and 0.04.
    assert here["cost_se"] == pytest.approx(0.03)
    # Of the oracle's 0.95: (0.85 + 0.75) / 2 = 0.80.
    share = summary["shares"][0]
    assert share["of_oracle"] == pytest.approx(0.80 / 0.95)
    # Two machines, 0.85 and 0.75 of which the mean is 0.80: the error of the mean is 0.05.
    assert share["of_oracle_se"] == pytest.approx(0.05 / 0.95)
