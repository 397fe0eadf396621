"""Whether an answer wanders over many runs: a control chart of individual values.

The rule: limits at three standard deviations from the mean of all runs, the standard deviation
taken from the mean difference between neighbouring runs (divided by 1.128, its expectation for
normal values of sd 1), so that a slow drift does not widen the limits that should catch it. A run
beyond a limit is a signal, and so is the last of eight runs in a row on one side of the mean.
Source: Shewhart's chart for individuals as in the NIST/SEMATECH e-Handbook of Statistical Methods,
section 6.3.2.2; eight in a row after the Western Electric rules (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from coupons.errors import AnswerError

FEWEST = 3
TRUSTED_FROM = 8
IN_A_ROW = 8
_SD_LIMITS = 3.0
_EXPECTED_RANGE = 1.128

RULE = (
    "A run signals beyond 3 standard deviations from the mean, the standard deviation taken from "
    "the differences between neighbouring runs; so does the last of 8 in a row on one side."
)


@dataclass(frozen=True)
class Signal:
    """A run (counted from 0) that breaks the rule, and how."""

    run: int
    why: str


@dataclass(frozen=True)
class Chart:
    """A control chart of one answer in mm over runs in the order of time.

    Parameters
    ----------
    values_mm : tuple of float
    center_mm, low_mm, high_mm : float
        Mean, and the limits around it.
    signals : tuple of Signal
    """

    values_mm: tuple[float, ...]
    center_mm: float
    low_mm: float
    high_mm: float
    signals: tuple[Signal, ...]

    @property
    def is_rough(self) -> bool:
        """Whether fewer than eight runs stand behind the limits, too few to trust them."""
        return len(self.values_mm) < TRUSTED_FROM


def individuals_chart(values_mm: Sequence[float]) -> Chart:
    """Chart one answer over runs.

    Parameters
    ----------
    values_mm : sequence of float
        In the order of time.

    Raises
    ------
    AnswerError
        If there are fewer than three runs.

    Examples
    --------
    >>> chart = individuals_chart([0.21, 0.22, 0.21, 0.22, 0.21, 0.22, 0.35, 0.22, 0.21])
    >>> [signal.run for signal in chart.signals]
    [6]
    """
    if len(values_mm) < FEWEST:
        raise AnswerError(f"A chart over runs takes at least {FEWEST} runs, got {len(values_mm)}.")
    values_mm = tuple(map(float, values_mm))
    center = fmean(values_mm)
    sd = fmean(abs(b - a) for a, b in pairwise(values_mm)) / _EXPECTED_RANGE
    low, high = center - _SD_LIMITS * sd, center + _SD_LIMITS * sd
    beyond = [
        Signal(run, f"beyond the limits {low:.3f} to {high:.3f} mm")
        for run, value in enumerate(values_mm)
        if not low <= value <= high
    ]
    signals = sorted(beyond + _one_sided(values_mm, center), key=lambda signal: signal.run)
    return Chart(values_mm, center, low, high, tuple(signals))


def _one_sided(values_mm: Sequence[float], center: float) -> list[Signal]:
    signals, length, side = [], 0, 0
    for run, value in enumerate(values_mm):
        new_side = 1 if value > center else -1 if value < center else 0
        length = length + 1 if new_side == side else 1
        side = new_side
        if side and length >= IN_A_ROW:
            word = "above" if side > 0 else "below"
            signals.append(Signal(run, f"{length} runs in a row {word} the mean"))
    return signals
