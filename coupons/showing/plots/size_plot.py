"""Size errors against the drawn size: what the caliper read, and what the model expects."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from coupons.answering.words.numbers import counted
from coupons.learning.effects import EFFECTS, effect_rows, height_share
from coupons.learning.fit import Fitted
from coupons.learning.profile import Profile
from coupons.making.record import CouponFeature
from coupons.measuring.run.folder import Run
from coupons.showing.plots.plot import Frame, axes, band, drawing, frame, line, mark
from coupons.terms import EXTERNAL, ROUND, SDS_OF_90, Direction, Feature, Form

Array = NDArray[np.floating]

_STEPS = 41
_LOG_FROM = 4.0  # sizes this many times apart are spread out by their ratio
_ORDER = tuple(Direction)


@dataclass(frozen=True)
class Reading:
    """A caliper reading minus the drawn size, corrected for the jaws; ``run`` counts from 0."""

    run: int
    feature: CouponFeature
    along: str | None
    error_mm: float


@dataclass(frozen=True, order=True)
class SizeKind:
    """One kind of size: flats by direction; rounds by axis, lying ones also by what was read."""

    is_round: bool
    direction: int
    along: str

    @property
    def title(self) -> str:
        """The kind in words."""
        way = _ORDER[self.direction]
        if not self.is_round:
            return f"Slots and tongues across {way}"
        read = f", read along {self.along}" if self.along else ""
        return f"Holes and pins, axis along {way}{read}"


@dataclass(frozen=True)
class SizePlot:
    """One panel: its title and its drawing."""

    title: str
    drawing: Markup


def readings_of(fitted: Fitted, runs: Sequence[Run]) -> tuple[Reading, ...]:
    """Return the readings of a fit with the features that they are of, in the order of the fit."""
    features = [{f.id: f for f in run.coupon.features} for run in runs]
    entries = ((n, entry) for n, run in enumerate(runs) for entry in run.sizes)
    design = fitted.design
    errors = design.readings.value - design.sizes.drawn[design.readings.size]
    return tuple(
        Reading(n, features[n][entry.feature], entry.along, float(error))
        for (n, entry), error in zip(entries, errors, strict=True)
    )


def size_plots(fitted: Fitted, runs: Sequence[Run], profile: Profile) -> tuple[SizePlot, ...]:
    """Draw a panel for each kind of size that was read."""
    panels: dict[SizeKind, list[Reading]] = {}
    for reading in readings_of(fitted, runs):
        if not reading.feature.at_bed:  # the swell of the first layer is an effect of its own
            panels.setdefault(_kind_of(reading), []).append(reading)
    return tuple(
        SizePlot(kind.title, _panel(panels[kind], kind, profile)) for kind in sorted(panels)
    )


def _kind_of(reading: Reading) -> SizeKind:
    feature = reading.feature
    # Standing rounds are alike along x and y; lying ones are not, one of their ways is the height.
    lies = feature.form in ROUND and feature.direction is not Direction.Z
    along = reading.along if lies and reading.along else ""
    return SizeKind(feature.form in ROUND, _ORDER.index(feature.direction), along)


def _panel(readings: Sequence[Reading], kind: SizeKind, profile: Profile) -> Markup:
    sizes = [reading.feature.size_mm for reading in readings]
    ends = 0.85 * min(sizes), 1.18 * max(sizes)
    is_log = ends[1] > _LOG_FROM * ends[0]
    grid = np.geomspace(*ends, _STEPS) if is_log else np.linspace(*ends, _STEPS)
    forms = sorted({reading.feature.form for reading in readings}, key=list(Form).index)
    curves = {form: _expected(profile, form, kind, grid) for form in forms}
    edges = [reading.error_mm for reading in readings]
    edges += [float(v) for mean, half in curves.values() for v in (*(mean - half), *(mean + half))]
    room = 0.06 * (max(edges) - min(edges)) + 0.01
    area = frame(ends, (min(edges) - room, max(edges) + room), log_x=is_log)
    return drawing(
        area,
        f"{kind.title}: printed minus drawn size of {counted(len(readings), 'reading')} against "
        "the drawn size",
        axes(area, "drawn size, mm", "printed − drawn, mm"),
        *(_curve(area, grid, *curves[form], _side(form)) for form in forms),
        *(_dot(area, reading) for reading in readings),
    )


def _side(form: Form) -> str:
    return "ext" if form in EXTERNAL else "int"


def _expected(profile: Profile, form: Form, kind: SizeKind, sizes_mm: Array) -> tuple[Array, Array]:
    """Return the expected error at each size, and half its 90 % interval on the next print."""
    feature = Feature(form, float(sizes_mm[0]), _ORDER[kind.direction])
    rows = effect_rows(feature, sizes_mm, kind.along or None)
    n = len(EFFECTS)
    mean = rows @ profile.mean_vector[:n]
    learned = np.einsum("ni,ij,nj->n", rows, profile.covariance_matrix[:n, :n], rows)
    z, scatters = height_share(feature), profile.scatters
    own = (1 - z) * scatters["tau"].mean_square + z * scatters["tau_z"].mean_square
    # What a print has of its own moves all its sizes together.
    of_print = (rows @ profile.print_moves[:n]) ** 2
    of_print = of_print @ profile.print_squares
    return mean, SDS_OF_90 * np.sqrt(learned + own + of_print)


def _curve(area: Frame, sizes_mm: Array, mean: Array, half: Array, kind: str) -> Markup:
    xs = [float(size) for size in sizes_mm]
    return band(area, xs, list(mean - half), list(mean + half), kind) + line(
        area, list(zip(xs, mean, strict=True)), kind
    )


def _dot(area: Frame, reading: Reading) -> Markup:
    feature = reading.feature
    words = f"{feature.id}: {feature.size_mm:g} drawn, {reading.error_mm:+.3f} mm"
    return mark(area, (feature.size_mm, reading.error_mm), _side(feature.form), words)
