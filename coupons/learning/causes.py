"""What a printer does wrong, in order of size, and where each fault is cured.

Every cause is a term of the model or one of its scatters. Its size is what it alone does to the
sizes that were printed, as a root mean square; its share is of the sum of their squares.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import CURL_REFERENCE_MM, EFFECTS, REFINEMENTS, print_rows, prior_sd
from coupons.learning.fit import Fitted
from coupons.learning.integrate import Mixture
from coupons.learning.told_apart import mixed_up_with

Array = NDArray[np.floating]

# A normal's 90 % interval reaches this many standard deviations to either side.
_SDS_90 = 1.645
# A term is not measured if more of its prior variance than this is left.
_NOTHING_LEARNED = 0.5
# Over a shorter span a constant, such as a seam or lost motion, passes for a scale.
_LONG_SPAN_MM = 50.0


class Place(StrEnum):
    """Where a fault is cured: in the machine's set-up, in the model drawn, or in neither."""

    SET_UP = "set-up"
    MODEL = "model"
    NEITHER = "neither"


@dataclass(frozen=True)
class Cause:
    """One thing that makes printed sizes miss the drawn ones.

    Parameters
    ----------
    name : str
        The term or scatter of the model.
    says : str
        What it is, in plain words.
    value, sd : float
        Its posterior mean and standard deviation, in ``unit``.
    unit : {"ratio", "mm a face", "mm at 5 mm", "mm"}
    effect_mm, effect_sd_mm : float
        Root mean square of what it does to the sizes printed, and the standard deviation of that.
    share : float
        Its share of the error budget, 0 to 1; all shares sum to one.
    certain : bool
        Its 90 % interval leaves zero out. A scatter is never zero.
    place : Place
    cure : str
        What to do about it, as a sentence without its full stop.
    proven : bool
        It is sure enough to set a machine by; a scale is where a long span was read.
    """

    name: str
    says: str
    value: float
    sd: float
    unit: str
    effect_mm: float
    effect_sd_mm: float
    share: float
    certain: bool
    place: Place
    cure: str
    proven: bool = True


@dataclass(frozen=True)
class Causes:
    """All causes that the data speak of, largest first, and the terms of which they say nothing."""

    found: tuple[Cause, ...]
    not_measured: tuple[str, ...]

    @property
    def total_mm(self) -> float:
        """Root of the error budget: all causes together, as if none made up for another."""
        return sqrt(sum(cause.effect_mm**2 for cause in self.found))


@dataclass(frozen=True)
class _Kind:
    """Words and cure of a term; ``{…}`` is filled from its value.

    ``unsaid`` names it where nothing was learned of it.
    """

    says: str
    unsaid: str
    place: Place
    cure: str


_SCALE_CURE = (
    "Multiply the steps of {axis} by {factor:.4f}, or set the shrinkage along {axis} to {shrink}"
)
_GROWTH_CURE = (
    "If single walls come out wide too, lower the extrusion amount; draw what is left as offsets"
)
_DRAW = "Draw it as an offset of such faces"
_KINDS: Mapping[str, _Kind] = {
    **{
        f"scale_{axis}": _Kind(
            f"sizes along {axis} come out {{short}}",
            f"scale along {axis}",
            Place.SET_UP,
            _SCALE_CURE.replace("{axis}", axis),
        )
        for axis in "xyz"
    },
    "scale_int": _Kind(
        "openings shrink {less} than outsides", "scale of openings", Place.MODEL, _DRAW
    ),
    "lost_motion": _Kind(
        "sizes longer along {longer}, in and out",
        "lost motion",
        Place.SET_UP,
        "Tighten the belts: lost motion of an axis moves both sides of a size alike",
    ),
    "growth_ext_xy": _Kind(
        "outsides fatter across {longer}",
        "outsides, x less y",
        Place.MODEL,
        _DRAW,
    ),
    "growth_int_xy": _Kind(
        "openings tighter across {longer}",
        "openings, x less y",
        Place.MODEL,
        _DRAW,
    ),
    "skew": _Kind(
        "x and y are not square",
        "squareness",
        Place.SET_UP,
        "Square the frame: {per_100:.2f} mm in 100 mm, {angle:.2f}°",
    ),
    "growth_ext": _Kind("outer faces come out {fat}", "outer faces", Place.SET_UP, _GROWTH_CURE),
    "growth_int": _Kind("openings come out {tight}", "openings", Place.SET_UP, _GROWTH_CURE),
    "round_ext": _Kind("pins come out {fatter} than tongues", "pins", Place.MODEL, _DRAW),
    "round_int": _Kind("holes come out {tighter} than slots", "holes", Place.MODEL, _DRAW),
    "curl_ext": _Kind("small pins come out {thin}", "small pins", Place.MODEL, _DRAW),
    "curl_bend": _Kind(
        "very small holes close {more}",
        "closing of very small holes",
        Place.MODEL,
        "Draw small holes wider: `coupons offset` knows by how much at each size",
    ),
    "curl_int": _Kind(
        "small holes {close} up",
        "closing of small holes",
        Place.MODEL,
        "Draw small holes wider: `coupons offset` knows by how much at each size",
    ),
    "growth_ext_z": _Kind("steps come out {fat} along z", "steps along z", Place.MODEL, _DRAW),
    "growth_int_z": _Kind("roofs come out {tight} along z", "roofs along z", Place.MODEL, _DRAW),
    "bed_height": _Kind(
        "heights above the bed come out {tall}",
        "heights above the bed",
        Place.SET_UP,
        "{gap_z} the height of the nozzle at the first layer",
    ),
    "first_layer": _Kind(
        "the first layer is {wide}",
        "first layer",
        Place.SET_UP,
        "{gap} the gap between nozzle and bed a little, and draw a chamfer at the bed",
    ),
    "tau": _Kind(
        "like features differ",
        "scatter in the layer plane",
        Place.NEITHER,
        "Dry filament, tight belts and a seam kept off the fits make it smaller",
    ),
    "tau_z": _Kind(
        "like features differ along z",
        "scatter along z",
        Place.NEITHER,
        "Draw z sizes in whole layers; a fit along z stays uncertain by this much",
    ),
    "rho": _Kind(
        "prints differ",
        "how far prints differ",
        Place.NEITHER,
        "Heat the bed and clean the nozzle the same way each time; fit several runs together",
    ),
    "rho_z": _Kind(
        "prints differ along z",
        "how far prints differ along z",
        Place.NEITHER,
        "Set the nozzle's first height the same way each time",
    ),
    "rho_scale": _Kind(
        "prints differ in scale, x and y",
        "how far prints differ in scale",
        Place.NEITHER,
        "Let parts cool on the bed the same way each time",
    ),
    "rho_scale_z": _Kind(
        "prints differ in scale along z",
        "how far prints differ in height",
        Place.NEITHER,
        "Look for a drive along z that slips or sticks",
    ),
    "rho_bed": _Kind(
        "prints differ in height on the bed",
        "how far prints differ on the bed",
        Place.NEITHER,
        "Set the nozzle's first height the same way each time",
    ),
    "rho_roof": _Kind(
        "prints differ in bridged roofs",
        "how far roofs of prints differ",
        Place.NEITHER,
        "Cool bridges the same way each time",
    ),
}
# Of the scatters those are the printer's; caliper and judgement are the hands'.
_SCATTERS = ("tau", "tau_z", "rho", "rho_scale", "rho_scale_z", "rho_bed", "rho_roof")
# What prints differ in; where nothing was learned of these they are told as one.
_BETWEEN_PRINTS = tuple(name for name in _SCATTERS if name.startswith("rho"))
_SCALES = ("scale_x", "scale_y", "scale_z")
RATIOS = (*_SCALES, "scale_int", "skew", "rho_scale", "rho_scale_z")
_OF_SIZES = ("lost_motion", "bed_height")
"""Terms that move a size as a whole; all others that are lengths are those of one face."""


def unsaid(name: str) -> str:
    """Return what a term or scatter is called where nothing was learned of it."""
    return _KINDS[name].unsaid


def unit_of(name: str) -> str:
    """Return the unit of a term: "ratio", "mm" of a size or "mm a face"."""
    if name in RATIOS:
        return "ratio"
    return "mm" if name in _OF_SIZES else "mm a face"


def unsaid_term(name: str, covariance: Array, sds: Array) -> str:
    """Return the same of a term, with what it is mixed up with if that is why it is not known."""
    other = mixed_up_with(name, covariance, sds, _NOTHING_LEARNED)
    return unsaid(name) + (f" (not told apart from {unsaid(other)})" if other else "")


def find_causes(fitted: Fitted) -> Causes:
    """Say what the printer does wrong, largest first.

    Parameters
    ----------
    fitted : Fitted
        A fit; its printed sizes are the ones whose errors are explained.
    """
    sizes = fitted.design.sizes
    printed = sizes.is_printed
    acts = np.sqrt((sizes.effects[printed] ** 2).mean(axis=0))
    found = [*_systematic(fitted, acts), *_scatters(fitted)]
    budget = sum(cause.effect_mm**2 for cause in found)
    ranked = sorted(found, key=lambda cause: -cause.effect_mm)
    return Causes(
        tuple(replace(cause, share=cause.effect_mm**2 / budget) for cause in ranked),
        _unsaid(fitted),
    )


def _systematic(fitted: Fitted, acts: Array) -> Iterator[Cause]:
    """Make causes of the terms that act on the sizes and of which something was learned."""
    sds = np.sqrt(np.diag(fitted.covariance))
    unknown = _not_measured(fitted)
    for name, mean, sd, act in zip(EFFECTS, fitted.mean, sds, acts, strict=False):
        certain = bool(abs(mean) > _SDS_90 * sd)
        if name in unknown or (name in REFINEMENTS and not certain):
            continue
        kind, reach_mm = _KINDS[name], _reach_mm(fitted, name)
        proven = name not in _SCALES or reach_mm >= _LONG_SPAN_MM
        # The closing is a term a face; said of a hole it is over both.
        times, unit = (2.0, f"mm at {CURL_REFERENCE_MM:g} mm") if name == "curl_int" else (1.0, "")
        yield Cause(
            name,
            kind.says.format_map(_words(mean)),
            float(times * mean),
            float(times * sd),
            unit or unit_of(name),
            float(abs(mean) * act),
            float(sd * act),
            0.0,
            certain,
            kind.place,
            kind.cure.format_map(_words(mean)) if proven else _short_span(name, mean, reach_mm),
            proven,
        )


def _reach_mm(fitted: Fitted, name: str) -> float:
    """Return the longest size that was read along the axis of a scale."""
    readings, sizes = fitted.design.readings, fitted.design.sizes
    rows = sizes.effects[readings.size] + readings.effects
    return float(rows[:, EFFECTS.index(name)].max(initial=0.0))


def _short_span(name: str, mean: float, reach_mm: float) -> str:
    axis = name[-1]
    longer = (
        f"measure something over {_LONG_SPAN_MM:g} mm tall"
        if axis == "z"
        else "print the coupon `spans`"
    )
    return (
        f"Sizes along {axis} look {_words(mean)['short']} over at most {reach_mm:.1f} mm, as a seam"
        f" or lost motion would make them look: {longer} before you change steps"
    )


def _words(mean: float) -> dict[str, str | float]:
    """Return what the sentences say of a term of this size and sign."""
    positive = mean > 0
    return {
        "short": "long" if positive else "short",
        "fat": "fat" if positive else "thin",
        "fatter": "fatter" if positive else "thinner",
        "tight": "tight" if positive else "wide",
        "tighter": "tighter" if positive else "wider",
        "close": "close" if positive else "open",
        "wide": "wide" if positive else "narrow",
        "gap": "Widen" if positive else "Narrow",
        "gap_z": "Lower" if positive else "Raise",
        "less": "less" if positive else "more",
        "more": "more" if positive else "less",
        "longer": "x" if positive else "y",
        "thin": "thin" if positive else "fat",
        "tall": "tall" if positive else "low",
        "factor": 1 / (1 + mean),
        "shrink": f"{-100 * mean:.2f} %".replace("-", "−"),
        "per_100": 100 * abs(mean),
        "angle": degrees(abs(mean)),
    }


def _scatters(fitted: Fitted) -> Iterator[Cause]:
    """Make causes of the scatters of which something was learned."""
    mixture = fitted.mixture
    acts = _acts_of_scatters(fitted)
    for name in _SCATTERS:
        if not _is_learned(mixture, name):
            continue
        kind = _KINDS[name]
        value, log_sd = sqrt(mixture.mean_square(name)), mixture.log_sd_moments(name)[1]
        yield Cause(
            name,
            kind.says,
            value,
            value * log_sd,
            "ratio" if name in RATIOS else "mm",
            value * acts[name],
            value * log_sd * acts[name],
            0.0,
            True,
            kind.place,
            kind.cure,
        )


def _acts_of_scatters(fitted: Fitted) -> dict[str, float]:
    """Return by how much each scatter moves the printed sizes, root mean square, in mm a unit."""
    sizes, table = fitted.design.sizes, fitted.mixture.model.table
    z_share = sizes.z_share[sizes.is_printed]
    squares = {"tau": float(np.mean(1 - z_share)), "tau_z": float(np.mean(z_share))}
    rows = print_rows(sizes.effects[sizes.is_printed], table)
    for effect, square in zip(table.prints, np.mean(rows**2, axis=0), strict=True):
        whole = squares.get(effect.scatter, 0.0)
        squares[effect.scatter] = whole + effect.share**2 * float(square)
    return {name: sqrt(square) for name, square in squares.items()}


def _not_measured(fitted: Fitted) -> tuple[str, ...]:
    """Name the terms and scatters that are as unknown as before."""
    mixture = fitted.mixture
    left = np.diag(fitted.covariance) / prior_sd(mixture.model.table) ** 2
    terms = (
        name
        for name, share in zip(EFFECTS, left, strict=False)
        if share > _NOTHING_LEARNED and name not in REFINEMENTS
    )
    scatters = [name for name in _SCATTERS if not _is_learned(mixture, name)]
    return (*terms, *between_prints_once(scatters))


def between_prints_once(unknown: Sequence[str]) -> tuple[str, ...]:
    """Return names of scatters with those between prints as the first of them alone.

    Examples
    --------
    >>> between_prints_once(["tau_z", "rho", "rho_scale", "rho_roof"])
    ('tau_z', 'rho')
    >>> between_prints_once(["rho_scale", "rho_scale_z", "rho_bed"])
    ('rho_scale',)
    """
    first = next((name for name in unknown if name in _BETWEEN_PRINTS), None)
    return tuple(n for n in unknown if n not in _BETWEEN_PRINTS or n == first)


def _unsaid(fitted: Fitted) -> tuple[str, ...]:
    """Say what is as unknown as before."""
    sds = prior_sd(fitted.mixture.model.table)
    return tuple(
        unsaid_term(name, fitted.covariance, sds) if name in EFFECTS else unsaid(name)
        for name in _not_measured(fitted)
    )


def _is_learned(mixture: Mixture, name: str) -> bool:
    return not mixture.model.table.scatters[name].is_unmoved(mixture.log_sd_moments(name)[1])
