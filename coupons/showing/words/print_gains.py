"""What each of several prints added, how far prints differ, and whether another would help."""

import math
import textwrap
from collections.abc import Sequence
from itertools import pairwise

from coupons.answering.next.coupon import WORTH_ANOTHER
from coupons.answering.print_gains import PrintGains
from coupons.answering.words.numbers import counted, named, percent
from coupons.learning.profile import LogSpread, Profile
from coupons.learning.without import run_name
from coupons.measuring.run.folder import Run, prints_of
from coupons.showing.learned import is_learned

_NAME = 34
# What differs between prints: words, factor to the unit, unit.
_SCATTERS = {
    "rho": ("faces by", 1.0, "mm each"),
    "rho_scale": ("lengths in the plane by", 1e5, "mm in 100 mm"),
    "rho_scale_z": ("heights by", 1e5, "mm in 100 mm"),
    "rho_bed": ("sizes on the bed by", 1.0, "mm"),
    "rho_roof": ("roofs by", 1.0, "mm"),
}
_ONE_IN_TEN_SDS = 1.2816  # of a normal: one case in ten lies beyond it on either side


def job_sentences(runs: Sequence[Run]) -> list[str]:
    """Say which runs are one print, and which may be without saying so."""
    of_print, told = prints_of(runs), []
    for first in dict.fromkeys(of_print):
        same = [run_name(runs, n) for n, at in enumerate(of_print) if at == first]
        if len(same) > 1:
            told.append(
                f"{named(same)} were printed in one job: they count as one print, which cannot show"
                " how far prints differ."
            )
    told += _same_day(runs, of_print)
    return told


def _same_day(runs: Sequence[Run], of_print: Sequence[int]) -> list[str]:
    unnamed = [n for n, run in enumerate(runs) if not run.job and run.parts is None]
    days = [runs[n].conditions.printed_on for n in unnamed]
    twice = [n for n, day in zip(unnamed, days, strict=True) if day and days.count(day) > 1]
    if not twice or len(set(of_print)) < 2:
        return []
    names = named([run_name(runs, n) for n in twice])
    return [
        f"{names} have the print date of another run. If they were printed in one job, write the"
        " same job in their conditions.toml: one job is one print."
    ]


def prints_lines(prints: PrintGains, profile: Profile, width: int) -> list[str]:
    """Return a table of what each print added, and what it says, for the terminal."""
    head = "".join(f"{_after(count):>9}" for count in prints.after)
    more = f"{'another':>10}" if prints.coupon else ""
    lines = [f"{'± mm on the next print, after':<{_NAME}}{head}{more}"]
    for one in prints.fits:
        cells = "".join(f"{_half(mm):>9}" for mm in one.half_mm)
        more = f"{_half(one.another_mm):>10}" if prints.coupon else ""
        lines.append(f"  {one.question.name:<{_NAME - 2}}{cells}{more}")
    told = [_widened_sentence(prints), differ_sentence(profile), another_sentence(prints)]
    for sentence in filter(None, told):
        lines += textwrap.wrap(sentence, width, subsequent_indent="  ")
    return lines


def _widened_sentence(prints: PrintGains) -> str:
    """Say why an interval can be wider after a further print; empty if none is."""
    shown = [[round(mm, 3) for mm in one.half_mm if mm is not None] for one in prints.fits]
    if not any(after > before for half in shown for before, after in pairwise(half)):
        return ""
    return "An interval that is wider after a print: that print lies further off than the others."


def _after(count: int) -> str:
    return counted(count, "print")


def _half(mm: float | None) -> str:
    return "-" if mm is None else f"{mm:.3f}"


def differ_sentence(profile: Profile) -> str:
    """Say how far prints of one machine differ, as far as these prints show it."""
    shown = [name for name in _SCATTERS if _was_told(profile, name)]
    if not shown:
        return "These prints do not show yet how far prints differ."
    told = [_spread(name, profile.scatters[name]) for name in shown]
    return f"Prints differ in {'; '.join(told)} (1 sd, 80{chr(0xA0)}% interval)."


def _was_told(profile: Profile, name: str) -> bool:
    counts = [
        count
        for effect, count in zip(profile.prior_table.prints, profile.counts.informing, strict=True)
        if effect.scatter == name
    ]
    return max(counts, default=0) > 1 and is_learned(profile, name)


def _spread(name: str, spread: LogSpread) -> str:
    what, factor, unit = _SCATTERS[name]
    middle = factor * spread.median_mm
    ends = [middle * math.exp(sds * spread.log_sd) for sds in (-_ONE_IN_TEN_SDS, _ONE_IN_TEN_SDS)]
    return f"{what} {middle:.3f} {unit}, {ends[0]:.3f} to {ends[1]:.3f}"


def another_sentence(prints: PrintGains) -> str:
    """Say whether another print is worth its time, by a stated rule; empty if not foreseen."""
    share = prints.narrower
    if share is None:
        return ""
    what = f"Another print of coupon “{prints.coupon}”, tried and measured in full,"
    rule = f"worth it from {percent(WORTH_ANOTHER)} on"
    if share >= WORTH_ANOTHER:
        return f"{what} would narrow these by {percent(share)} on average ({rule})."
    return (
        f"{what} would narrow these by only {percent(share)} ({rule}): what is left is how far one"
        " print differs from the next."
    )


def prints_data(prints: PrintGains) -> dict[str, object]:
    """Return what prints added as plain data."""
    return {
        "after_prints": list(prints.after),
        "fits": [
            {"name": one.question.name, "half_mm": list(one.half_mm), "another_mm": one.another_mm}
            for one in prints.fits
        ],
        "another": prints.coupon or None,
        "narrower": prints.narrower,
    }
