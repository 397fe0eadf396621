"""What is said of each of several runs against the others."""

from collections.abc import Sequence

from coupons.answering.words import named
from coupons.learning.causes import RATIOS, unit_of, unsaid
from coupons.learning.decisions import run_name
from coupons.learning.unlike import Apart, RunVerdict
from coupons.measuring.run import Run

_MOST_NAMED = 3


def odd_one_out(verdicts: Sequence[RunVerdict]) -> RunVerdict | None:
    """Return the run that is most unlike the others, None if all are alike.

    An odd run makes the others look unlike too, since it is one of those that they are held
    against: one is named at a time.
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
            f"{both} look like two machines: they differ in {what}",
            "Fit one of them alone, or name the other's machine otherwise in its conditions.toml",
        )
    return (
        f"{run_name(runs, odd.run)} looks like another machine's: it differs from the other runs"
        f" in {what}",
        "Fit without it, or name its machine otherwise in its conditions.toml",
    )


def alike_sentence(verdicts: Sequence[RunVerdict]) -> str:
    """Say that the runs agree, and which difference would have shown; empty if there is none."""
    if odd_one_out(verdicts) is not None or not any(one.apart for one in verdicts):
        return ""
    # What every run would show: the best known scale, and the best known of the others.
    shown = []
    for is_ratio in (False, True):
        seen: dict[str, Apart] = {}
        for one in (a for verdict in verdicts for a in verdict.apart):
            if (one.name in RATIOS) is is_ratio and one.seen > getattr(
                seen.get(one.name), "seen", 0.0
            ):
                seen[one.name] = one
        if seen:
            best = min(seen.values(), key=lambda one: one.seen)
            shown.append(_how_far(best, None, best.seen))
    return (
        "The runs agree with one another; a run that differed in"
        f" {' or in '.join(shown)} would be found in four cases of five."
    )


def _how_far(one: Apart, sd: float | None, by: float) -> str:
    """Name an effect with a difference in its own unit."""
    unit = unit_of(one.name)
    times, told, digits = (100.0, "%", 2) if unit == "ratio" else (1.0, unit, 3)
    spread = "" if sd is None else f" ± {times * sd:.{digits}f}"
    return f"{unsaid(one.name)} by {times * by:.{digits}f}{spread} {told}"
