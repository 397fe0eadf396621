"""Where an answer comes from: machine, material, layer height, and how old the print is."""

from dataclasses import dataclass
from datetime import date
from typing import Protocol

from coupons.learning.like import CHANGED_ELSE, UNLIKE
from coupons.learning.profile import VERSION, Carried, Hand, Like, Profile
from coupons.neutral import one_line

STALE_AFTER_DAYS = 90
"""Age from which a profile is stale (common practice, no source): a nozzle wears, belts slacken."""


class Dated(Protocol):
    """Anything with the date of its print."""

    @property
    def printed_on(self) -> date | None:
        """Day of the last print; None if unknown."""


@dataclass(frozen=True)
class Origin:
    """What an answer was learned from: the last print of the profile.

    ``hands`` is how many people tried, ``version`` that of the profile and so of its model,
    ``hand`` whose fits they are where that is one person who is named, ``like`` the other machines
    that they lean on, ``carried`` what they take over from before a change of the machine.
    """

    machine: str
    material: str
    layer_height_mm: float
    printed_on: date | None
    hands: int = 1
    version: int = VERSION
    hand: Hand | None = None
    like: Like | None = None
    carried: Carried | None = None


@dataclass(frozen=True)
class Age:
    """How old a profile is.

    Parameters
    ----------
    state : {"fresh", "stale", "undated", "future date"}
    since : str
        How long ago it was printed; empty if unknown.
    """

    state: str
    since: str = ""

    @property
    def is_fresh(self) -> bool:
        """Whether the profile is recent enough to use."""
        return self.state == "fresh"

    @property
    def words(self) -> str:
        """The age as part of a sentence."""
        return f"{self.state}, {self.since} old" if self.since else self.state


def origin_of(profile: Profile) -> Origin:
    """Return what the answers of a profile come from."""
    return Origin(
        profile.machine,
        profile.material,
        profile.layer_height_mm,
        profile.printed_on,
        profile.counts.hands,
        profile.version,
        profile.hand,
        profile.like,
        profile.carried,
    )


def is_old_model(version: int) -> bool:
    """Tell whether a profile of this version is of a model that today's fits no longer use."""
    return version < VERSION


def old_model_mark(version: int) -> str:
    """Say that a profile is of an older model; empty if it is not.

    Examples
    --------
    >>> old_model_mark(2)
    'OLD MODEL: a profile of version 2. Fit its runs again with `coupons fit`.'
    >>> old_model_mark(VERSION)
    ''
    """
    if not is_old_model(version):
        return ""
    return f"OLD MODEL: a profile of version {version}. Fit its runs again with `coupons fit`."


def hands_sentence(origin: Origin) -> str:
    """Say for whose hand a fit is answered; empty for one person without a name.

    Examples
    --------
    >>> hands_sentence(Origin("bench-1", "grey", 0.2, None, hand=Hand(by="Ada")))
    'The fit is for the hand of Ada, who made all trials.'
    >>> hands_sentence(Origin("bench-1", "grey", 0.2, None, hand=Hand(by="Bo", trials=8)))
    'The fit is for the hand of Bo, from 8 trials on a print that others had tried.'
    """
    if origin.hand is not None:
        by, trials = one_line(origin.hand.by), origin.hand.trials
        if trials is None:
            return f"The fit is for the hand of {by}, who made all trials."
        return (
            f"The fit is for the hand of {by}, from {trials} trials on a print that others had "
            "tried."
        )
    if origin.hands < 2:
        return ""
    return (
        f"{origin.hands} people tried: the fit is that of people at large, and how far one more "
        "person's hand differs is counted."
    )


def like_sentence(origin: Origin) -> str:
    """Say on which other machines an answer leans; empty if on none.

    Examples
    --------
    >>> like = Like(machines=("bench-1", "bench-2"), unlike=0.02)
    >>> like_sentence(Origin("bench-3", "grey", 0.2, None, like=like))
    'It leans on 2 machines like it (bench-1, bench-2), as far as its own entries agree.'
    """
    if origin.like is None:
        return ""
    names, count = origin.like.machines, len(origin.like.machines)
    shown = ", ".join(map(one_line, names[:4])) + (" …" if count > 4 else "")
    what = f"{count} machines like it" if count > 1 else "a machine like it"
    if origin.like.unlike > UNLIKE:
        return (
            f"It was to lean on {what} ({shown}), but its own entries do not look like theirs "
            f"(chance {origin.like.unlike:.0%}): little was taken from them."
        )
    return f"It leans on {what} ({shown}), as far as its own entries agree."


def carried_sentence(origin: Origin) -> str:
    """Say what carries over from before a change of the machine; empty if nothing was to.

    Examples
    --------
    >>> told = {"material": "grey", "nozzle_mm": 0.4, "layer_height_mm": 0.2, "unlike": 0.1}
    >>> terms = {"over": ("scale_x", "skew"), "moved": {"scale_x": -0.002}, "anew": ("growth_int",)}
    >>> carried = Carried(pairs=("bench-1", "bench-2"), **told, **terms)
    >>> said = carried_sentence(Origin("bench-3", "white", 0.2, None, carried=carried))
    >>> for sentence in said.split(". "):
    ...     print(sentence)
    From grey, 0.4 mm nozzle, 0.2 mm layers, as 2 machines changed (bench-1, bench-2)
    Carries over: scale_x (-0.002), skew; learned anew: growth_int.
    """
    told = origin.carried
    if told is None:
        return ""
    what = f"{one_line(told.material)}, {told.nozzle_mm:g} mm nozzle, {told.layer_height_mm:g} mm"
    count = len(told.pairs)
    shown = ", ".join(map(one_line, told.pairs[:4])) + (" …" if count > 4 else "")
    pairs = f"{count} machines changed" if count > 1 else "one machine changed"
    if told.unlike > CHANGED_ELSE:
        return (
            f"It was to take over from {what} layers, but did not change as {pairs} ({shown}; "
            f"chance {told.unlike:.0%}): little was carried over."
        )
    over = [f"{t} ({told.moved[t]:+g})" if t in told.moved else t for t in told.over]
    return (
        f"From {what} layers, as {pairs} ({shown}). Carries over: {', '.join(over) or 'nothing'}; "
        f"learned anew: {', '.join(told.anew) or 'nothing'}."
    )


def age_of(printed: Dated, today: date, stale_after_days: int = STALE_AFTER_DAYS) -> Age:
    """Say how old the print behind a profile or an answer is.

    Examples
    --------
    >>> printed = Origin("bench-1", "grey", 0.2, date(2026, 3, 1))
    >>> age_of(printed, date(2026, 3, 13)).words
    'fresh, 12 days old'
    """
    if printed.printed_on is None:
        return Age("undated")
    days = (today - printed.printed_on).days
    if days < 0:
        return Age("future date")
    state = "fresh" if days <= stale_after_days else "stale"
    return Age(state, "1 day" if days == 1 else f"{days} days")


def leaning_sentence(origin: Origin) -> str:
    """Say what a profile takes from others, of its kind or from before a change; else empty."""
    return " ".join(filter(None, (like_sentence(origin), carried_sentence(origin))))


def origin_sentence(origin: Origin, today: date | None = None) -> str:
    """Name the machine, material, layers and age behind an answer, and on which others it leans.

    Parameters
    ----------
    origin : Origin
    today : date, optional
        The day on which the age is counted; today unless given.

    Examples
    --------
    >>> origin_sentence(Origin("bench-1", "grey", 0.2, date(2026, 3, 1)), date(2026, 3, 13))
    'For bench-1, grey, 0.2 mm layers; printed 2026-03-01 (fresh, 12 days old).'
    >>> origin_sentence(Origin("bench-1", "grey", 0.2, None))
    'For bench-1, grey, 0.2 mm layers; no print date, so it may be stale.'
    """
    what = f"For {origin.machine}, {origin.material}, {origin.layer_height_mm:g} mm layers"
    leans = leaning_sentence(origin)
    if origin.printed_on is None:
        return f"{what}; no print date, so it may be stale. {leans}".rstrip()
    age = age_of(origin, today or date.today())
    return f"{what}; printed {origin.printed_on} ({age.words}). {leans}".rstrip()


def stale_mark(origin: Origin, today: date | None = None) -> str:
    """Say that an answer is from an old print; empty if it is not known to be.

    Examples
    --------
    >>> stale_mark(Origin("bench-1", "grey", 0.2, date(2026, 1, 1)), date(2026, 5, 1))
    'STALE: printed 120 days ago. Print the coupon again before you use it for parts.'
    """
    age = age_of(origin, today or date.today())
    if age.state != "stale":
        return ""
    return f"STALE: printed {age.since} ago. Print the coupon again before you use it for parts."


def origin_data(origin: Origin, today: date | None = None) -> dict[str, object]:
    """Return the origin of an answer as plain data; ``age_days`` is None without a date."""
    today = today or date.today()
    printed = origin.printed_on
    return {
        "machine": origin.machine,
        "material": origin.material,
        "layer_height_mm": origin.layer_height_mm,
        "printed_on": None if printed is None else printed.isoformat(),
        "age_days": None if printed is None else (today - printed).days,
        "state": age_of(origin, today).state,
        "hands": origin.hands,
        "hand": None if origin.hand is None else origin.hand.model_dump(),
        "old_model": is_old_model(origin.version),
    }
