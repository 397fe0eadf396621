"""Partial pooling against the joint normal of all machines, written out whole."""

from dataclasses import dataclass
from itertools import product

import numpy as np
import pytest

from coupons.learning import pooling
from coupons.learning.pooling import Kin, MachineEvidence, evidence_of, kin_of, pool, widened
from coupons.terms import SDS_OF_90

SPREADS = (0.2, 0.5, 1.0)
FARTHER = 3.0  # where it is unlike the others, it differs by so many spreads, and by 1 at most
# Three terms: the first two differ together between machines; the last two are alike or not.
GROUPS, FAMILIES = np.array([0, 0, 1]), np.array([0, 1, 1])
SHARE = 0.3


def machine(seed, information=4.0):
    """What was seen of one machine: a normal likelihood in which terms hang together."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(3, 3)) * np.sqrt(information)
    precision = root @ root.T
    return MachineEvidence(precision, precision @ rng.normal(size=3))


@dataclass
class Whole:
    """All machines at once, the one asked about first: θ ~ N(0, covariance)."""

    covariance: np.ndarray
    seen: list

    def posterior(self):
        """Log evidence, and moments of the first machine."""
        n = len(self.covariance)
        information, shift = np.zeros((n, n)), np.zeros(n)
        for at, one in enumerate(self.seen):
            block = slice(3 * at, 3 * at + 3)
            information[block, block], shift[block] = one.information, one.shift
        after = np.linalg.inv(np.linalg.inv(self.covariance) + information)
        mean = after @ shift
        log_evidence = shift @ mean / 2
        log_evidence -= np.linalg.slogdet(np.eye(n) + self.covariance @ information)[1] / 2
        return log_evidence, mean[:3], after[:3, :3]


def together(count, spreads, unlike):
    """Covariance of machines that have 1 − r² in common; the first may differ by more."""
    spread = np.array(spreads)[GROUPS]
    covariance = np.kron(np.ones((count, count)), np.diag(1 - spread**2))
    covariance += np.kron(np.eye(count), np.diag(spread**2))
    mine = np.where(np.array(unlike)[FAMILIES], np.minimum(FARTHER * spread, 1), spread)
    covariance[:3, :3] += np.diag(mine**2 - spread**2)
    return covariance


def averaged(parts):
    """Average over (log weight, mean, covariance, spreads, unlike, new)."""
    logs = np.array([part[0] for part in parts])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    means = np.array([part[1] for part in parts])
    mean = weights @ means
    covariance = sum(w * part[2] for w, part in zip(weights, parts, strict=True))
    covariance += (weights * (means - mean).T) @ (means - mean)
    told = [weights @ np.array([part[k] for part in parts], float) for k in (3, 4, 5)]
    return mean, covariance, *told


def share_of(chosen):
    return sum(np.log(SHARE) if one else np.log(1 - SHARE) for one in chosen)


@pytest.fixture(autouse=True)
def _few_choices(monkeypatch):
    monkeypatch.setattr(pooling, "SPREADS", SPREADS)
    monkeypatch.setattr(pooling, "UNLIKE_SHARE", SHARE)
    monkeypatch.setattr(pooling, "UNLIKE_SPREADS", FARTHER)
    monkeypatch.setattr(pooling, "ANEW_SHARE", SHARE)
    monkeypatch.setattr(pooling, "_LIKELY", 1e9)


def same(found, expected):
    mean, covariance, spreads, unlike, new = expected
    assert found.mean == pytest.approx(mean)
    assert found.covariance == pytest.approx(covariance)
    assert found.spreads == pytest.approx(spreads)
    assert found.unlike == pytest.approx(unlike)
    assert found.new == pytest.approx(new)


@pytest.mark.parametrize("count", [1, 3])
def test_a_machine_and_others_are_one_normal_for_each_choice(count):
    own, others = machine(1, 0.5), [machine(2 + n) for n in range(count)]
    parts = []
    for spreads in product(SPREADS, repeat=2):
        for unlike in product((False, True), repeat=2):
            whole = Whole(together(count + 1, spreads, unlike), [own, *others])
            log_evidence, mean, covariance = whole.posterior()
            weight = log_evidence + share_of(unlike)
            parts.append((weight, mean, covariance, spreads, unlike, (0, 0)))
    same(pool(own, others, GROUPS, FAMILIES), averaged(parts))


def test_what_a_machine_was_before_a_change_counts_as_far_as_it_is_not_new():
    own, others, before = machine(1, 0.5), [machine(2), machine(3)], machine(4, 1.0)
    parts = []
    for spreads in product(SPREADS, repeat=2):
        for unlike in product((False, True), repeat=2):
            log_over, mine, over = Whole(
                together(3, spreads, unlike), [before, *others]
            ).posterior()
            for new in product((False, True), repeat=2):
                # In a family that changed in its own way no term is surer than beforehand.
                own_way = np.array(new)[FAMILIES] * np.maximum(1 - np.diag(over), 0)
                spread = over + np.diag(own_way)
                after = np.linalg.inv(np.linalg.inv(spread) + own.information)
                start = own.shift - own.information @ mine
                height = own.shift @ mine - mine @ own.information @ mine / 2
                height += start @ after @ start / 2
                height -= np.linalg.slogdet(np.eye(3) + spread @ own.information)[1] / 2
                weight = log_over + share_of(unlike) + share_of(new) + height
                parts.append((weight, mine + after @ start, after, spreads, unlike, new))
    same(pool(own, others, GROUPS, FAMILIES, before), averaged(parts))


def test_without_others_there_is_the_general_prior_alone():
    own = machine(1, 0.5)
    found = pool(own, [], GROUPS, FAMILIES)
    covariance = np.linalg.inv(np.eye(3) + own.information)
    assert found.mean == pytest.approx(covariance @ own.shift)
    assert found.covariance == pytest.approx(covariance)
    assert found.spreads.tolist() == [1.0, 1.0]
    assert found.unlike.tolist() == [1.0, 1.0]
    assert found.new.tolist() == [0.0, 0.0]


def test_families_are_the_groups_where_none_are_given():
    own, others = machine(1, 0.5), [machine(2)]
    found, told = pool(own, others, GROUPS), pool(own, others, GROUPS, GROUPS)
    assert (found.mean == told.mean).all()
    assert (found.unlike == told.unlike).all()


def test_the_prior_is_taken_out_of_a_posterior():
    """A normal prior and likelihood, put together and taken apart again."""
    sd, center = np.array([0.1, 2.0, 5.0]), np.array([1.0, -3.0, 10.0])
    seen = machine(6)
    covariance = np.outer(sd, sd) * np.linalg.inv(np.eye(3) + seen.information)
    mean = center + covariance @ (seen.shift / sd)
    found = evidence_of(mean, covariance, center, sd)
    assert found.information == pytest.approx(seen.information)
    assert found.shift == pytest.approx(seen.shift)


def test_a_term_a_little_wider_than_its_prior_was_not_seen():
    found = evidence_of(np.ones(2), np.diag([1.02, 0.5]), np.zeros(2), np.ones(2))
    assert np.diag(found.information) == pytest.approx([0.0, 1.0])


def test_evidence_of_what_differs_is_that_of_a_wider_likelihood():
    seen, wide = machine(7), np.diag([0.5, 0.1, 2.0])
    found = widened(seen, wide)
    covariance = np.linalg.inv(seen.information) + wide
    assert np.linalg.inv(found.information) == pytest.approx(covariance)
    mean = np.linalg.solve(seen.information, seen.shift)
    assert np.linalg.solve(found.information, found.shift) == pytest.approx(mean)


def test_every_choice_of_the_spreads_is_tried():
    found = [one.spreads for one in kin_of([machine(2)], GROUPS)]
    assert sorted(found) == sorted(product(SPREADS, repeat=2))


def test_choices_that_are_a_thousand_times_less_likely_are_left_out(monkeypatch):
    """By e⁻⁷, 1 in 1097."""
    monkeypatch.undo()
    kin = [Kin(log, (), np.zeros(1), np.eye(1)) for log in (3.0, -3.9, -4.1)]
    assert [one.log_weight for one in pooling._likeliest(kin)] == [3.0, -3.9]
    nothing = pooling._priors([], GROUPS, FAMILIES)
    rows = pooling._joined(nothing, pooling._joined(nothing, nothing))
    logs = np.array([3.0, -3.9, -4.1])
    stack = pooling._Stack(logs, *(getattr(rows, name) for name in list(vars(rows))[1:]))
    assert pooling._likely(stack).log_weights.tolist() == [3.0, -3.9]


@pytest.mark.slow
@pytest.mark.parametrize(("off", "least"), [(0, 0.90), (3, 0.80)])
def test_few_entries_of_a_machine_are_held_be_it_like_the_others_or_not(monkeypatch, off, least):
    """Of 400 machines, off by so many spreads in each of three terms."""
    monkeypatch.undo()
    rng = np.random.default_rng(11)
    between, group = 0.25, np.zeros(3, int)

    def seen(terms, information):
        noise = np.sqrt(information) * rng.normal(size=3)
        return MachineEvidence(information * np.eye(3), information * terms + noise)

    held = []
    for _ in range(400):
        common = np.sqrt(1 - between**2) * rng.normal(size=3)
        kin = [seen(common + between * rng.normal(size=3), 100.0) for _ in range(4)]
        own = off * rng.choice([-1, 1], 3) if off else rng.normal(size=3)
        terms = common + between * own
        found = pool(seen(terms, 1.0), kin, group)
        sd = np.sqrt(np.diag(found.covariance))
        held.append(np.mean(np.abs(found.mean - terms) < SDS_OF_90 * sd))
    error = np.std(held) / np.sqrt(len(held))
    assert error < 0.014
    assert np.mean(held) > least + error
