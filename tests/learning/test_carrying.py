"""What carries over a change of material, nozzle or layers is what pairs show, and no more."""

import numpy as np
import pytest
from support.known_profile import known_profile

from coupons import DoubtWarning, ProfileError
from coupons.answering.origin import origin_of, origin_sentence
from coupons.learning import carrying
from coupons.learning.carrying import carried, change_of_pair, learn_change
from coupons.learning.effects import TERMS, prior_sd
from coupons.learning.like import lean_on
from coupons.learning.pooling import MachineEvidence, pool
from coupons.learning.profile_file import profile_text, read_profile

SDS = dict(zip(TERMS, prior_sd(), strict=True))
# The new material grows by 0.04 mm on every machine, and each opening by its own amount.
ALIKE_MM, OWN_MM = 0.04, (0.08, -0.09, 0.02, 0.1)


def machine(name, material, growths_mm, sd_share=0.1, **changes):
    means = dict(zip(("growth_ext", "growth_int"), growths_mm, strict=True))
    digest = f"{abs(hash((name, material, growths_mm))):064x}"
    fields = {"machine": name, "material": material, "entries_sha256": digest} | changes
    return known_profile(means, sd_share, **fields)


def pairs(n=4):
    for k, own in enumerate(OWN_MM[:n], start=1):
        before = 0.02 * k
        yield machine(f"bench-{k}", "grey", (before, 0.05))
        yield machine(f"bench-{k}", "white", (before + ALIKE_MM, 0.05 + own))


OLD = machine("bench-9", "grey", (0.0, 0.1))
NEW = machine("bench-9", "white", (0.04, 0.06), sd_share=0.9)


def sd_of(profile, term):
    return float(np.sqrt(profile.covariance_matrix[TERMS.index(term), TERMS.index(term)]))


def test_terms_that_change_alike_carry_over_and_others_are_learned_anew():
    found = lean_on(NEW, [OLD, *pairs()])
    assert found.like is None
    assert found.means["growth_ext"] == pytest.approx(0.0 + ALIKE_MM, abs=0.015)
    assert sd_of(found, "growth_ext") < 0.4 * SDS["growth_ext"]
    assert sd_of(found, "growth_int") > 0.6 * SDS["growth_int"]
    told = found.carried
    assert (told.material, told.pairs) == ("grey", ("bench-1", "bench-2", "bench-3", "bench-4"))
    assert {"scale_x", "growth_ext"} <= set(told.over)
    assert told.anew == ("growth_int",)
    assert told.moved == {"growth_ext": pytest.approx(ALIKE_MM, abs=0.01)}


def test_it_is_said_in_words_and_kept_in_the_file(tmp_path):
    found = lean_on(NEW, [OLD, *pairs()])
    said = origin_sentence(origin_of(found))
    assert "From grey, 0.4 mm nozzle, 0.2 mm layers, as 4 machines changed (bench-1, " in said
    assert "Carries over: scale_x, scale_y" in said
    assert said.endswith("; learned anew: growth_int.")
    (tmp_path / "profile.json").write_text(profile_text(found))
    assert read_profile(tmp_path) == found


def test_one_pair_says_little():
    with pytest.warns(DoubtWarning, match="One pair says little"):
        one = lean_on(NEW, [OLD, *pairs(1)])
    four = lean_on(NEW, [OLD, *pairs(4)])
    assert sd_of(one, "scale_x") > 1.15 * sd_of(four, "scale_x")
    assert sd_of(one, "growth_ext") > 1.5 * sd_of(four, "growth_ext")


def test_its_own_entries_tell_that_the_machine_changed_in_another_way():
    new = machine("bench-9", "white", (-0.2, 0.1), sd_share=0.1)
    with pytest.warns(DoubtWarning, match="did not change as the pairs did"):
        found = lean_on(new, [OLD, *pairs()])
    assert found.means["growth_ext"] == pytest.approx(-0.2, abs=0.01)


def test_another_layer_height_and_nozzle_carry_over_too():
    here = {"nozzle_mm": 0.6, "layer_height_mm": 0.3}
    others = [
        machine(f"bench-{k}", "grey", (0.02 * k + by, 0.05), **kind)
        for k in (1, 2, 3)
        for by, kind in ((0.0, {}), (0.05, here))
    ]
    found = lean_on(machine("bench-9", "grey", (0.04, 0.06), 0.9, **here), [OLD, *others])
    assert found.carried.nozzle_mm == 0.4
    assert "growth_ext" in found.carried.moved


def test_machines_of_the_new_kind_alone_are_leaned_on_besides():
    kin = [machine(f"attic-{k}", "white", (0.04, 0.05 + 0.01 * k)) for k in range(1, 4)]
    found = lean_on(NEW, [OLD, *pairs(2), *kin])
    assert found.like.machines == ("attic-1", "attic-2", "attic-3")
    assert found.carried.pairs == ("bench-1", "bench-2")


@pytest.mark.parametrize(
    ("others", "words"),
    [
        ([OLD], "expected pairs of profiles that show what the change does, got none"),
        ([OLD], "one of grey, 0.4 mm nozzle, 0.2 mm layers, one of white, 0.4 mm nozzle, 0.2"),
        ([OLD, *list(pairs(2))[:3]], "expected both sides of the change, got one side"),
        ([OLD, *pairs(1), machine("bench-5", "black", (0, 0))], "of neither side of the change"),
        (
            [OLD, *pairs(1), machine("bench-9", "black", (0, 0))],
            "Name one profile of this machine from before the change",
        ),
        (
            [OLD, *pairs(1), machine("bench-1", "grey", (0.03, 0.05))],
            "one profile of a machine on each side",
        ),
        (list(pairs(1)), "add a profile of bench-9 of that kind and both profiles"),
    ],
)
def test_what_is_missing_or_too_much_is_said(others, words):
    with pytest.raises(ProfileError) as told:
        lean_on(NEW, others)
    assert words in str(told.value)


def test_a_pair_tells_of_its_change_what_the_whole_normal_does():
    """Two sides of three terms: against the conditional of the six, worked out in full."""
    rng = np.random.default_rng(3)
    sides = []
    for _ in range(2):
        rows = rng.normal(size=(5, 3))
        sides.append(MachineEvidence(rows.T @ rows, rng.normal(size=3)))
    change = change_of_pair(*sides)
    spread = 0.3**2 * np.eye(3)
    # θ before ~ N(0, 1), after = before + Δ, Δ ~ N(0, 0.3²).
    prior = np.block([[np.eye(3), np.eye(3)], [np.eye(3), np.eye(3) + spread]])
    seen = np.zeros((6, 6))
    seen[:3, :3], seen[3:, 3:] = sides[0].information, sides[1].information
    covariance = np.linalg.inv(np.linalg.inv(prior) + seen)
    mean = covariance @ np.concatenate([one.shift for one in sides])
    to_change = np.hstack([-np.eye(3), np.eye(3)])
    alone = np.linalg.inv(np.linalg.inv(spread) + change.information)
    assert alone == pytest.approx(to_change @ covariance @ to_change.T)
    assert alone @ change.shift == pytest.approx(to_change @ mean)


def test_the_spread_of_a_term_is_averaged_over_all_that_it_may_be():
    """One term, against the sum over the grid in closed form."""
    from coupons.learning.carrying import SIZES

    seen, sd = np.array([0.5, 0.1, 0.3]), 0.1
    found = learn_change([MachineEvidence(np.eye(1) / sd**2, np.array([x / sd**2])) for x in seen])
    grid = [(g, s) for g in SIZES for s in SIZES]
    log_weights = []
    for g, s in grid:
        covariance = g**2 + np.diag(np.full(3, s**2 + sd**2))
        log_weights.append(
            -seen @ np.linalg.solve(covariance, seen) / 2 - np.linalg.slogdet(covariance)[1] / 2
        )
    weights = np.exp(np.array(log_weights) - np.logaddexp.reduce(log_weights))
    between = float(weights @ np.array([s**2 for _, s in grid]))
    alike = float(weights @ np.array([g**2 for g, _ in grid]))
    variance = 1 / (1 / alike + 3 / (between + sd**2))
    assert found.covariance[0, 0] == pytest.approx(between + variance, rel=1e-6)
    assert found.mean[0] == pytest.approx(variance * seen.sum() / (between + sd**2), rel=1e-6)


def test_a_change_that_is_not_known_leaves_nothing_of_what_was():
    before = MachineEvidence(np.eye(1) * 100, np.array([50.0]))
    wide = learn_change([MachineEvidence(np.zeros((1, 1)), np.zeros(1))])
    over = carried(before, wide)
    assert over.information[0, 0] < 0.011 * before.information[0, 0]


def test_what_moves_in_its_own_way_is_left_and_the_rest_carries_over():
    """Two families: pairs say that neither changes, the machine moved in the first alone."""
    alike = learn_change([MachineEvidence(np.eye(2) * 1e4, np.zeros(2))] * 8)
    before = carried(MachineEvidence(np.eye(2) * 1e4, np.array([5e3, 5e3])), alike)
    own = MachineEvidence(np.diag([40.0, 1.0]), np.array([-40.0, 0.5]))
    found = pool(own, [], np.arange(2), carried=before)
    # Its own entries alone, worked out by hand: precision 40 and 1 of the prior.
    assert found.new[0] > 0.99
    assert found.mean[0] == pytest.approx(-40 / 41, abs=0.05)
    assert found.new[1] < 0.5
    assert abs(found.mean[1] - 0.5) < 0.2


def test_terms_that_hang_together_are_each_weighed_given_the_others():
    """Three terms, against sixty sweeps over the grid in closed form."""
    from coupons.learning.carrying import SIZES

    rng = np.random.default_rng(8)
    seen = []
    for _ in range(3):
        root = rng.normal(size=(3, 3)) * 8
        seen.append(MachineEvidence(root @ root.T, root @ root.T @ (rng.normal(size=3) * 0.4)))
    squares = np.square(SIZES)
    alike, own = np.full(3, squares.mean()), np.full(3, squares.mean())
    for _ in range(60):
        # All of γ, ε₁, ε₂, ε₃ as one normal: 12 values; a pair sees γ + its own.
        prior = np.concatenate([alike, *[own] * 3])
        information, shift = np.zeros((12, 12)), np.zeros(12)
        for k, one in enumerate(seen, start=1):
            rows = np.hstack([np.eye(3)] + [np.eye(3) * (j == k) for j in (1, 2, 3)])
            information += rows.T @ one.information @ rows
            shift += rows.T @ one.shift
        covariance = np.linalg.inv(np.diag(1 / prior) + information)
        mean = covariance @ shift
        for term in range(3):
            at = term + 3 * np.arange(4)
            precision = np.linalg.inv(covariance[np.ix_(at, at)])
            towards = precision @ mean[at]
            said = precision - np.diag(1 / prior[at])
            heights = []
            for g in squares:
                for s in squares:
                    root = np.sqrt([g, s, s, s])
                    whole = np.eye(4) + said * np.outer(root, root)
                    pull = towards * root
                    height = pull @ np.linalg.solve(whole, pull) / 2
                    heights.append((height - np.linalg.slogdet(whole)[1] / 2, g, s))
            logs, g, s = np.array(heights).T
            weights = np.exp(logs - logs.max())
            weights /= weights.sum()
            alike[term], own[term] = weights @ g, weights @ s
    found = learn_change(seen)
    assert found.mean == pytest.approx(mean[:3], rel=0.01)
    assert found.mean_sd == pytest.approx(np.sqrt(np.diag(covariance)[:3]), rel=0.01)
    assert found.covariance == pytest.approx(covariance[:3, :3] + np.diag(own), rel=0.01, abs=1e-4)


def counted(monkeypatch, pairs):
    """How often the posterior was worked out: once a sweep, and once at the end."""
    calls, whole = [], carrying._posterior
    monkeypatch.setattr(carrying, "_posterior", lambda *given: calls.append(0) or whole(*given))
    return learn_change(pairs), len(calls)


def test_sweeps_end_where_nothing_moves_any_more_and_after_forty(monkeypatch):
    """The second sweep over a term by itself finds what the first found."""
    pairs = [MachineEvidence(np.eye(1) * 50, np.array([9.0]))] * 2
    assert counted(monkeypatch, pairs)[1] == 3
    monkeypatch.undo()
    restless = iter(range(99))
    size = len(carrying.SIZES) ** 2
    monkeypatch.setattr(
        carrying, "_weights", lambda *_: np.full((1, size), 1.0 + 0.002 * next(restless))
    )
    assert counted(monkeypatch, pairs)[1] == 41
    # Moved by a thousandth and no less.
    small = iter([1 / size + 0.0009])
    monkeypatch.setattr(carrying, "_weights", lambda *_: np.full((1, size), next(small)))
    assert counted(monkeypatch, pairs)[1] == 2


def test_before_any_sweep_all_sizes_are_as_likely(monkeypatch):
    monkeypatch.setattr(carrying, "_SWEEPS", 0)
    square = np.mean(np.square(carrying.SIZES))
    found = learn_change([MachineEvidence(np.eye(1) * 50, np.array([9.0]))])
    variance = 1 / (1 / square + 1 / (square + 1 / 50))
    assert found.mean_sd[0] ** 2 == pytest.approx(variance)
    assert found.covariance[0, 0] == pytest.approx(variance + square)


def test_evidence_of_any_strength_is_weighed():
    """A change of a whole prior sd read to a thousandth: its log evidence is half a million."""
    found = learn_change([MachineEvidence(np.eye(1) * 1e6, np.array([1e6]))] * 3)
    assert found.mean[0] == pytest.approx(1.0, abs=0.01)
