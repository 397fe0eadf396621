"""Error budget: the sources of a printer's error, largest first, and where to fix each.

Every cause is a term of the model or one of its scatters. Its effect is the root mean square of
the error that it alone gives the printed sizes; its share is of the sum of all effects squared.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import CURL_REFERENCE_MM, EFFECTS, print_rows, prior_sd
from coupons.learning.fit import Fitted
from coupons.learning.identifiability import mixed_up_with
from coupons.learning.posterior.integrate import Mixture
from coupons.learning.prior_table import REFINEMENTS
from coupons.terms import SDS_OF_90

Array = NDArray[np.floating]

# A term is not measured if more of its prior variance than this is left.
_NOTHING_LEARNED = 0.5
# Over a shorter span a constant, such as a seam or lost motion, passes for a scale.
_LONG_SPAN_MM = 50.0


class Place(StrEnum):
    """Where to fix an error: at the printer, in what is drawn, or in neither."""

    SET_UP = "printer"
    MODEL = "drawing"
    NEITHER = "neither"


@dataclass(frozen=True)
class Cause:
    """One source of error: something that makes printed sizes differ from the drawn ones.

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
        Its effect on the printed sizes, as a root mean square, and the standard deviation of that.
    share : float
        Its share of the error budget, 0 to 1; all shares sum to one.
    certain : bool
        Its 90 % interval excludes zero. A scatter is never zero.
    place : Place
    todo : str
        What to do about it, as a sentence without its full stop.
    proven : bool
        The evidence is enough to change a machine's settings; for a scale, a long span was read.
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
    todo: str
    proven: bool = True


@dataclass(frozen=True)
class Causes:
    """All causes that were measured, largest first, and the terms that were not."""

    found: tuple[Cause, ...]
    not_measured: tuple[str, ...]

    @property
    def total_mm(self) -> float:
        """Root of the summed squares of all effects, as if no cause made up for another."""
        return sqrt(sum(cause.effect_mm**2 for cause in self.found))


@dataclass(frozen=True)
class _Kind:
    """Words for a term and what to do about it; ``{…}`` is filled from its value.

    ``unsaid`` names it where it was not measured.
    """

    says: str
    unsaid: str
    place: Place
    todo: str


_SCALE_TODO = (
    "Multiply the steps per mm of {axis} by {factor:.4f}, or set the shrinkage along {axis} to"
    " {shrink}"
)
_GROWTH_TODO = (
    "If single walls are wide too, lower the extrusion amount; correct the rest with offsets"
)
_DRAW = "Correct it with an offset of such faces"
_KINDS: Mapping[str, _Kind] = {
    **{
        f"scale_{axis}": _Kind(
            f"sizes along {axis} are too {{short}}",
            f"scale along {axis}",
            Place.SET_UP,
            _SCALE_TODO.replace("{axis}", axis),
        )
        for axis in "xyz"
    },
    "scale_int": _Kind(
        "openings shrink {less} than outsides", "scale of openings", Place.MODEL, _DRAW
    ),
    "lost_motion": _Kind(
        "all sizes are larger along {longer}",
        "lost motion",
        Place.SET_UP,
        "Tighten the belts: lost motion of an axis moves both sides of a size alike",
    ),
    "growth_ext_xy": _Kind(
        "outer faces are fatter across {longer}",
        "outsides, x less y",
        Place.MODEL,
        _DRAW,
    ),
    "growth_int_xy": _Kind(
        "openings are tighter across {longer}",
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
    "growth_ext": _Kind("outer sizes are too {fat}", "outer faces", Place.SET_UP, _GROWTH_TODO),
    "growth_int": _Kind("openings are too {tight}", "openings", Place.SET_UP, _GROWTH_TODO),
    "round_ext": _Kind("pins are {fatter} than tongues", "pins", Place.MODEL, _DRAW),
    "round_int": _Kind("holes are {tighter} than slots", "holes", Place.MODEL, _DRAW),
    "curl_ext": _Kind("small pins are too {thin}", "small pins", Place.MODEL, _DRAW),
    "curl_bend": _Kind(
        "very small holes close {more}",
        "closing of very small holes",
        Place.MODEL,
        "Draw small holes larger: `coupons offset` says by how much at each size",
    ),
    "curl_int": _Kind(
        "small holes {close} up",
        "closing of small holes",
        Place.MODEL,
        "Draw small holes larger: `coupons offset` says by how much at each size",
    ),
    "growth_ext_z": _Kind("steps along z are too {fat}", "steps along z", Place.MODEL, _DRAW),
    "growth_int_z": _Kind("openings are too {low} along z", "openings along z", Place.MODEL, _DRAW),
    "bed_height": _Kind(
        "heights on the bed are too {tall}",
        "heights above the bed",
        Place.SET_UP,
        "{gap_z} the height of the nozzle at the first layer",
    ),
    "first_layer": _Kind(
        "the first layer is too {wide}",
        "first layer",
        Place.SET_UP,
        "{gap} the gap between nozzle and bed a little, and draw a chamfer at the bed",
    ),
    "tau": _Kind(
        "like features differ",
        "scatter in the layer plane",
        Place.NEITHER,
        "Dry filament, tight belts and a seam kept away from the fits reduce it",
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
        "Set the height of the first layer the same way each time",
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
    """Return the name of a term or scatter that was not measured."""
    return _KINDS[name].unsaid


def unit_of(name: str) -> str:
    """Return the unit of a term: "ratio", "mm" of a size or "mm a face"."""
    if name in RATIOS:
        return "ratio"
    return "mm" if name in _OF_SIZES else "mm a face"


def unsaid_term(name: str, covariance: Array, sds: Array) -> str:
    """Return the name of a term, with the term that it cannot be separated from, if any."""
    other = mixed_up_with(name, covariance, sds, _NOTHING_LEARNED)
    return unsaid(name) + (f" (cannot be separated from {unsaid(other)})" if other else "")


def find_causes(fitted: Fitted) -> Causes:
    """Return the sources of the printer's error, largest first.

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
    """Yield a cause for each effect that acts on the sizes and was measured."""
    sds = np.sqrt(np.diag(fitted.covariance))
    unknown = _not_measured(fitted)
    for name, mean, sd, act in zip(EFFECTS, fitted.mean, sds, acts, strict=False):
        certain = bool(abs(mean) > SDS_OF_90 * sd)
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
            kind.todo.format_map(_words(mean)) if proven else _short_span(name, mean, reach_mm),
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
        else "print the coupon “spans”"
    )
    return (
        f"The sizes along {axis} were read over at most {reach_mm:.1f} mm, where a seam or backlash"
        f" could also make them too {_words(mean)['short']}: {longer} before you change the steps"
        " per mm"
    )


def _words(mean: float) -> dict[str, str | float]:
    """Return the words and numbers that the sentences use for a term of this size and sign."""
    positive = mean > 0
    return {
        "short": "long" if positive else "short",
        "fat": "large" if positive else "small",
        "fatter": "larger" if positive else "smaller",
        "tight": "small" if positive else "large",
        "tighter": "smaller" if positive else "larger",
        "low": "low" if positive else "high",
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
            kind.todo,
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
    """Return the terms and scatters that the data hardly narrowed."""
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
    """Return the words for what was not measured."""
    sds = prior_sd(fitted.mixture.model.table)
    return tuple(
        unsaid_term(name, fitted.covariance, sds) if name in EFFECTS else unsaid(name)
        for name in _not_measured(fitted)
    )


def _is_learned(mixture: Mixture, name: str) -> bool:
    return not mixture.model.table.scatters[name].is_unmoved(mixture.log_sd_moments(name)[1])
