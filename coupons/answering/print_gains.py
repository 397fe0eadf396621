"""What each of several prints added, and what another one would add.

Where one machine was printed several times, the answers are worked out from the first print, from
the first two, and so on. Another print is foreseen by the expected information of the coupon that
was printed: the same features, tried and measured once more, on a print with effects of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from coupons.answering.next.coupon import CoveredQuestion, ask_about, gains, usual_of
from coupons.answering.question import Question
from coupons.learning.fit import Fitted, fit_runs
from coupons.learning.profile import Profile
from coupons.learning.profile_of_fit import profile_of
from coupons.making.record import Coupon
from coupons.measuring.run.folder import Run, prints_of

# Fits take time: beyond so many prints only the first and the last ones are taken again.
_MOST_STEPS = 4
_MOST_FITS = 4


@dataclass(frozen=True)
class Narrowed:
    """How well one fit was known after each print.

    Parameters
    ----------
    question : Question
    half_mm : tuple of (float or None)
        Half of the 90 % interval for the next print; None where too little was measured by then.
    another_mm : float or None
        The same after another print; None if no coupon was printed that could be printed again.
    """

    question: Question
    half_mm: tuple[float | None, ...]
    another_mm: float | None


@dataclass(frozen=True)
class PrintGains:
    """What several prints added.

    Parameters
    ----------
    after : tuple of int
        After how many prints each column of ``fits`` is.
    fits : tuple of Narrowed
    coupon : str
        The one that another print is foreseen of; empty if there is none.
    """

    after: tuple[int, ...]
    fits: tuple[Narrowed, ...]
    coupon: str

    @property
    def narrower(self) -> float | None:
        """Mean share by which another print narrows the intervals; None if it is not foreseen."""
        shares = [
            max(0.0, 1 - one.another_mm / one.half_mm[-1])
            for one in self.fits
            if one.another_mm is not None and one.half_mm[-1]
        ]
        return float(np.mean(shares)) if shares else None


def what_prints_added(
    runs: Sequence[Run], profile: Profile, first: Fitted | None = None
) -> PrintGains | None:
    """Work out what each print added to what is known; None if there is only one.

    None as well for a profile that leans on others: what these added is not the prints'.

    Parameters
    ----------
    runs : sequence of Run
        In the order of printing. Runs of one job are one print.
    profile : Profile
        Of all of them together.
    first : Fitted, optional
        The fit of the first run alone, where there is one already.
    """
    if profile.like is not None or profile.carried is not None:
        return None
    of_print = prints_of(runs)
    prints = list(dict.fromkeys(of_print))
    if len(prints) < 2:
        return None
    asked = [ask_about(profile, question) for question in usual_of(profile)]
    asked = [one for one in asked if one.measured]
    asked = asked[:_MOST_FITS]
    after = sorted({1, *range(max(1, len(prints) - _MOST_STEPS + 2), len(prints) + 1)})
    columns = []
    for count in after[:-1]:
        part = [run for run, at in zip(runs, of_print, strict=True) if at in prints[:count]]
        fitted = first if first is not None and len(part) == 1 else fit_runs(part)
        earlier = profile_of(fitted, part, entries_sha256=profile.entries_sha256)
        columns.append([_half_mm(ask_about(earlier, one.question)) for one in asked])
    columns.append([one.known_to_mm for one in asked])
    name, another = _another(runs, profile, asked)
    fits = tuple(
        Narrowed(one.question, tuple(column[n] for column in columns), another[n])
        for n, one in enumerate(asked)
    )
    return PrintGains(tuple(after), fits, name)


def _half_mm(asked: CoveredQuestion) -> float | None:
    return asked.known_to_mm if asked.measured else None


def _another(
    runs: Sequence[Run], profile: Profile, asked: Sequence[CoveredQuestion]
) -> tuple[str, tuple[float | None, ...]]:
    """Foresee one more print of the coupon with most entries."""
    coupons = [run.coupon for run in runs if run.parts is None]
    if not coupons or not asked:
        return "", (None,) * len(asked)
    coupon = max(coupons, key=_entries)
    (gain,) = gains(profile, asked, {coupon.spec.name: coupon})
    return coupon.spec.name, gain.known_to_mm


def _entries(coupon: Coupon) -> int:
    return len(coupon.trials) + len(coupon.readings)
