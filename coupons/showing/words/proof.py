"""What came of proofs, in words and as data."""

from collections.abc import Sequence
from dataclasses import asdict

from coupons.answering.words.numbers import counted, percent
from coupons.measuring.checks.proof_score import ProofScore, all_proofs, proof_score
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES


def scores_of(runs: Sequence[Run]) -> tuple[ProofScore, ...]:
    """Return the score of every run that is a proof and has results."""
    return tuple(score for run in runs if (score := proof_score(run)) is not None)


def proof_sentences(scores: Sequence[ProofScore]) -> list[str]:
    """Say how each proof came out, then all together."""
    told = [_one(score) for score in scores]
    counted_ones = [score for score in scores if not score.refused]
    if len(counted_ones) > 1:
        whole = all_proofs(counted_ones)
        told.append(f"All {len(counted_ones)} proofs: {_hits(whole)}. {_grades(whole)}")
    return told


def _one(score: ProofScore) -> str:
    if score.refused:
        return f"Proof “{score.name}”: not scored, since {score.refused}. Its entries count as any."
    told = [f"Proof “{score.name}”: {_hits(score)}"]
    if score.usual_hits is not None:
        low, high = score.usual_hits
        told[0] += f" ({low} to {high} is usual on one print)"
        if low <= score.hits <= high:
            told.append("Nothing speaks against the stated chances")
        else:
            side = "Fewer" if score.hits < low else "More"
            told.append(
                f"{side} than the stated chances let expect: fit this run together with the others"
            )
    return ". ".join([*told, _grades(score)])


def _hits(score: ProofScore) -> str:
    if not score.answers:
        return "no trial of an answer's own gap says yet whether it fits as wanted"
    pairs = counted(score.answers, "pair")
    return (
        f"{score.hits} of {pairs} drawn by the answers fit as wanted; expected"
        f" {score.expected_hits:.1f}"
    )


def _grades(score: ProofScore) -> str:
    return (
        f"In {counted(score.trials, 'trial')} the grade that was found had a stated chance of"
        f" {percent(score.mean_chance)} on average; right chances would have"
        f" {percent(score.mean_chance_expected)}, guesses {percent(1 / len(GRADES))}."
    )


def proof_data(scores: Sequence[ProofScore]) -> dict[str, object]:
    """Return the scores as plain data: each proof, and all together."""
    whole = all_proofs(scores)
    return {
        "each": [_data(score) for score in scores],
        "together": {key: value for key, value in _data(whole).items() if key != "name"},
    }


def _data(score: ProofScore) -> dict[str, object]:
    means = {"mean_chance": score.mean_chance, "mean_chance_expected": score.mean_chance_expected}
    return asdict(score) | means
