"""Error budget: the sources of a printer's error, largest first, and where to fix each.

Every cause is a term of the model or one of its scatters. Its effect is the root mean square of
the error that it alone gives the printed sizes; its share is of the sum of all effects squared.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from math import degrees, sqrt

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import CURL_REFERENCE_MM, EFFECTS, prior_sd
from coupons.learning.fit import Fitted
from coupons.learning.integrate import Mixture
from coupons.learning.lost_motion import mistaken_for_scale
from coupons.learning.told_apart import mixed_up_with

Array = NDArray[np.floating]

# A normal's 90 % interval reaches this many standard deviations to either side.
_SDS_90 = 1.645
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
        Its posterior mean and standard deviation, in ``unit``. That of a scale holds what lost
        motion may add (see `coupons.learning.lost_motion`).
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
    "curl_int": _Kind(
        "small holes {close} up",
        "closing of small holes",
        Place.MODEL,
        "Draw small holes larger: `coupons offset` says by how much at each size",
    ),
    "growth_ext_z": _Kind("steps along z are too {fat}", "steps along z", Place.MODEL, _DRAW),
    "growth_int_z": _Kind("openings are too {low} along z", "openings along z", Place.MODEL, _DRAW),
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
        "print to print",
        Place.NEITHER,
        "Heat the bed and clean the nozzle the same way each time; fit several runs together",
    ),
    "rho_z": _Kind(
        "prints differ along z",
        "print to print along z",
        Place.NEITHER,
        "Set the height of the first layer the same way each time",
    ),
}
# Of the scatters those are the printer's; caliper and judgement are the hands'.
_SCATTERS = ("tau", "tau_z", "rho", "rho_z")
_SCALES = ("scale_x", "scale_y", "scale_z")
RATIOS = (*_SCALES, "skew")


def unsaid(name: str) -> str:
    """Return the name of a term or scatter that was not measured."""
    return _KINDS[name].unsaid


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
    printed = np.isnan(sizes.fixed_sd)
    acts = np.sqrt((sizes.effects[printed] ** 2).mean(axis=0))
    found = [*_systematic(fitted, acts), *_scatters(fitted, sizes.z_share[printed])]
    budget = sum(cause.effect_mm**2 for cause in found)
    ranked = sorted(found, key=lambda cause: -cause.effect_mm)
    return Causes(
        tuple(replace(cause, share=cause.effect_mm**2 / budget) for cause in ranked),
        _unsaid(fitted),
    )


def _systematic(fitted: Fitted, acts: Array) -> Iterator[Cause]:
    """Yield a cause for each effect that acts on the sizes and was measured."""
    sds = np.sqrt(np.diag(fitted.covariance))
    sds[: len(EFFECTS)] = np.hypot(sds[: len(EFFECTS)], mistaken_for_scale(fitted))
    unknown = _not_measured(fitted)
    for name, mean, sd, act in zip(EFFECTS, fitted.mean, sds, acts, strict=False):
        if name in unknown:
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
            unit or ("ratio" if name in RATIOS else "mm a face"),
            float(abs(mean) * act),
            float(sd * act),
            0.0,
            bool(abs(mean) > _SDS_90 * sd),
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
        else "print the coupon `spans`"
    )
    return (
        f"Sizes along {axis} read too {_words(mean)['short']} over at most {reach_mm:.1f} mm, which"
        f" a seam or backlash could also cause: {longer} before you change the steps per mm"
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
        "factor": 1 / (1 + mean),
        "shrink": f"{-100 * mean:.2f} %".replace("-", "−"),
        "per_100": 100 * abs(mean),
        "angle": degrees(abs(mean)),
    }


def _scatters(fitted: Fitted, z_share: Array) -> Iterator[Cause]:
    """Yield a cause for each scatter that was measured."""
    mixture = fitted.mixture
    for name in _SCATTERS:
        if not _is_learned(mixture, name):
            continue
        kind = _KINDS[name]
        value, log_sd = sqrt(mixture.mean_square(name)), mixture.log_sd_moments(name)[1]
        act = sqrt(float(np.mean(z_share if name.endswith("_z") else 1 - z_share)))
        yield Cause(
            name,
            kind.says,
            value,
            value * log_sd,
            "mm",
            value * act,
            value * log_sd * act,
            0.0,
            True,
            kind.place,
            kind.todo,
        )


def _not_measured(fitted: Fitted) -> tuple[str, ...]:
    """Return the terms and scatters that the data hardly narrowed."""
    mixture = fitted.mixture
    left = np.diag(fitted.covariance) / prior_sd(mixture.model.table) ** 2
    terms = (name for name, share in zip(EFFECTS, left, strict=False) if share > _NOTHING_LEARNED)
    return (*terms, *(name for name in _SCATTERS if not _is_learned(mixture, name)))


def _unsaid(fitted: Fitted) -> tuple[str, ...]:
    """Return the words for what was not measured."""
    sds = prior_sd(fitted.mixture.model.table)
    return tuple(
        unsaid_term(name, fitted.covariance, sds) if name in EFFECTS else unsaid(name)
        for name in _not_measured(fitted)
    )


def _is_learned(mixture: Mixture, name: str) -> bool:
    return not mixture.model.table.scatters[name].is_unmoved(mixture.log_sd_moments(name)[1])
