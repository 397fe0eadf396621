"""What came of a proof: entries against the chances that were stated before anything was printed.

The score is a proper one: nobody scores better on average by stating other chances than he holds.
A grade counts by the logarithm of the chance that was stated for it; where a hand left several
grades open, by that of all of them together. Whether a pair fits as wanted counts by the square of
what was missing from the truth (Brier's score).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coupons.making.record import CouponProof, ProofTrial
from coupons.measuring.run.entries import FitEntry
from coupons.measuring.run.folder import Run
from coupons.terms import GRADES

_LEAST = 1e-9


@dataclass(frozen=True)
class ProofScore:
    """The score of one proof, or of several together.

    Parameters
    ----------
    name : str
        Folder of the run; empty for several together.
    refused : str
        Why it is not scored; empty if it is.
    trials : int
        Trials with a result.
    answers, hits : int
        Trials of pairs drawn by the answers themselves whose result says whether the fit is the
        wanted one, and how many are.
    expected_hits : float
        The sum of their stated chances.
    usual_hits : tuple of (int, int), optional
        Between which the hits are with 90 % probability; None unless every such trial was done
        once.
    log_score, log_expected : float
        Sums of the logarithms of the stated chances of what was found, and what is expected of
        that if the chances are right.
    brier, brier_expected : float
        Sums of the squares over the trials whose result says whether the fit is the wanted one.
    told : int
        How many these are.
    """

    name: str
    refused: str = ""
    trials: int = 0
    answers: int = 0
    hits: int = 0
    expected_hits: float = 0.0
    usual_hits: tuple[int, int] | None = None
    log_score: float = 0.0
    log_expected: float = 0.0
    brier: float = 0.0
    brier_expected: float = 0.0
    told: int = 0

    @property
    def mean_chance(self) -> float:
        """Geometric mean of the chances that were stated for what was found."""
        return math.exp(self.log_score / self.trials) if self.trials else 0.0

    @property
    def mean_chance_expected(self) -> float:
        """What the mean chance is expected to be if the chances are right."""
        return math.exp(self.log_expected / self.trials) if self.trials else 0.0


def proof_score(run: Run) -> ProofScore | None:
    """Score the entries of a proof; None if the run proves nothing, or has no trial yet."""
    proof, name = run.coupon.proof, run.folder.resolve().name
    if proof is None:
        return None
    here = (run.conditions.machine, run.conditions.material)
    if here != (proof.machine, proof.material):
        proves, printed = (", ".join(pair) for pair in ((proof.machine, proof.material), here))
        return ProofScore(name, f"it proves the profile of {proves}, but is of {printed}")
    stated = {(trial.feature, trial.mate): trial for trial in proof.trials}
    pairs = [
        (fit, stated[fit.feature, fit.mate])
        for fit in run.fits
        if (fit.feature, fit.mate) in stated
    ]
    return _scored(name, proof, pairs) if pairs else None


def _scored(
    name: str, proof: CouponProof, pairs: Sequence[tuple[FitEntry, ProofTrial]]
) -> ProofScore:
    judged = [(fit, trial) for fit, trial in pairs if _is_hit(fit, trial) is not None]
    at_answer = [(fit, trial) for fit, trial in judged if trial.at_answer]
    planned = [(t.feature, t.mate) for t in proof.trials if t.at_answer]
    is_whole = sorted((t.feature, t.mate) for _, t in at_answer) == sorted(planned)
    wanted = [_wanted(trial) for _, trial in judged]
    return ProofScore(
        name,
        trials=len(pairs),
        answers=len(at_answer),
        hits=sum(bool(_is_hit(*pair)) for pair in at_answer),
        expected_hits=sum(_wanted(trial) for _, trial in at_answer),
        usual_hits=proof.usual_hits if is_whole else None,
        log_score=sum(math.log(max(_chance_of(*pair), _LEAST)) for pair in pairs),
        log_expected=sum(_expected_log(trial) for _, trial in pairs),
        brier=sum((p - bool(_is_hit(*pair))) ** 2 for p, pair in zip(wanted, judged, strict=True)),
        brier_expected=sum(p * (1 - p) for p in wanted),
        told=len(judged),
    )


def all_proofs(scores: Sequence[ProofScore]) -> ProofScore:
    """Add the scores of several proofs up; those that are not scored are left out."""
    counted = [one for one in scores if not one.refused]
    return ProofScore(
        "",
        trials=sum(one.trials for one in counted),
        answers=sum(one.answers for one in counted),
        hits=sum(one.hits for one in counted),
        expected_hits=sum(one.expected_hits for one in counted),
        log_score=sum(one.log_score for one in counted),
        log_expected=sum(one.log_expected for one in counted),
        brier=sum(one.brier for one in counted),
        brier_expected=sum(one.brier_expected for one in counted),
        told=sum(one.told for one in counted),
    )


def _wanted(trial: ProofTrial) -> float:
    return trial.chances[GRADES.index(trial.wanted)]


def _chance_of(fit: FitEntry, trial: ProofTrial) -> float:
    low, high = GRADES.index(fit.tightest), GRADES.index(fit.loosest)
    return sum(trial.chances[low : high + 1])


def _expected_log(trial: ProofTrial) -> float:
    """Mean logarithm of the chance of what is found, if the chances are right."""
    return sum(p * math.log(max(p, _LEAST)) for p in trial.chances)


def _is_hit(fit: FitEntry, trial: ProofTrial) -> bool | None:
    """Tell whether a pair fitted as wanted; None where the grades that were left open hide it."""
    low, high = GRADES.index(fit.tightest), GRADES.index(fit.loosest)
    rank = GRADES.index(trial.wanted)
    if low == high == rank:
        return True
    return False if not low <= rank <= high else None
