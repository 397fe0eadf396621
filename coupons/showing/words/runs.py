"""Sentences that compare each of several runs with the others."""

from collections.abc import Sequence

from coupons.answering.words.numbers import named, percent
from coupons.learning.causes import RATIOS, unit_of, unsaid
from coupons.learning.checking.odd_runs import DETECTED, EffectDifference, RunVerdict
from coupons.learning.checking.one_way import OneWayDrift
from coupons.learning.without import run_name
from coupons.measuring.run.folder import Run

_MOST_NAMED = 3


def odd_one_out(verdicts: Sequence[RunVerdict]) -> RunVerdict | None:
    """Return the run that is most unlike the others, None if all are alike.

    An odd run makes the others look unlike too, since they are compared with it: only one is named
    at a time.
    """
    unlike = [one for one in verdicts if one.unlike]
    return max(unlike, key=lambda one: one.sds / one.limit, default=None)


def doubted_run(runs: Sequence[Run], verdicts: Sequence[RunVerdict]) -> tuple[str, str] | None:
    """Say that a run looks like another machine's, and what to do; None if all are alike."""
    odd = odd_one_out(verdicts)
    if odd is None:
        return None
    what = named([_how_far(one, one.sd, abs(one.by)) for one in odd.unlike[:_MOST_NAMED]])
    if len(runs) == 2:
        both = " and ".join(run_name(runs, k) for k in range(2))
        return (
            f"{both} seem to come from two machines: they differ in {what}",
            "Fit each by itself, or give one of the machines another name in its conditions.toml",
        )
    return (
        f"{run_name(runs, odd.run)} seems to come from another machine: it differs from the other"
        f" runs in {what}",
        "Fit without it, or give its machine another name in its conditions.toml",
    )


def alike_sentence(verdicts: Sequence[RunVerdict]) -> str:
    """Say that the runs agree, and which difference would have been detected; empty if not."""
    if odd_one_out(verdicts) is not None or not any(one.differences for one in verdicts):
        return ""
    # What every run would show: the best known scale, and the best known of the others.
    shown = []
    for is_ratio in (False, True):
        worst: dict[str, EffectDifference] = {}
        for one in (a for verdict in verdicts for a in verdict.differences):
            if (one.name in RATIOS) is is_ratio and one.detectable > getattr(
                worst.get(one.name), "detectable", 0.0
            ):
                worst[one.name] = one
        if worst:
            best = min(worst.values(), key=lambda one: one.detectable)
            shown.append(_how_far(best, None, best.detectable))
    return (
        f"The runs agree. A run that differs in {' or in '.join(shown)} would be detected with"
        f" {percent(DETECTED)} chance."
    )


def drift_sentence(drifts: Sequence[OneWayDrift]) -> str:
    """Say along which axes sizes drift one way from print to print; empty if along none."""
    found = [one for one in drifts if one.is_found]
    if not found:
        return ""
    order = "in the order of their dates" if found[0].dated else "in the order given"
    told = named([f"those along {one.axis} by {_a_print(one)}" for one in found])
    return (
        f"The prints drift one way, {order}: outer sizes of about {_length(found)} change, {told}. "
        "The last print is nearest to the next one: look for what wears or slips, and fit the last "
        "prints alone until it is found."
    )


def _a_print(one: OneWayDrift) -> str:
    return f"{one.by_mm:+.3f} ± {one.sd_mm:.3f} mm a print".replace("-", "−")


def _length(found: Sequence[OneWayDrift]) -> str:
    return named([f"{one.length_mm:.0f} mm" for one in found])


def _how_far(one: EffectDifference, sd: float | None, by: float) -> str:
    """Name an effect with a difference in its own unit."""
    unit = unit_of(one.name)
    times, told, digits = (100.0, "%", 2) if unit == "ratio" else (1.0, unit, 3)
    spread = "" if sd is None else f" ± {times * sd:.{digits}f}"
    return f"{unsaid(one.name)} by {times * by:.{digits}f}{spread} {told}"
