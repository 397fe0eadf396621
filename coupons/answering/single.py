"""A single size: what to draw so that it prints as wanted, and with what uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupons.answering.chances import next_print
from coupons.answering.chances.bed import bed_cases, odd_bed
from coupons.answering.chances.demand import Demand
from coupons.answering.chances.extrapolation import ranges_of, size_variance
from coupons.answering.chances.own_spread import OwnSpread, with_own
from coupons.answering.chances.prints import N_TERMS, Prints, prints_of
from coupons.answering.offset import NOTHING_LEARNED
from coupons.answering.origin import Origin, origin_of
from coupons.answering.question import LARGEST_MM, SMALLEST_MM
from coupons.answering.standards.hardware import Hardware
from coupons.answering.standards.iso286 import Limits
from coupons.answering.told import Told
from coupons.answering.ways import sizes_in, way
from coupons.answering.where_measured import advice
from coupons.errors import AnswerError, NotMeasuredError
from coupons.learning.effects import EFFECTS, effect_row, height_share, side
from coupons.learning.profile import MeasuredRange, Profile
from coupons.terms import Bed, Direction, Feature, Form

Array = NDArray[np.floating]

DRAWN_STEP_MM = 0.02  # over both faces: 0.01 mm a face is as fine as anybody draws


@dataclass(frozen=True)
class SizeQuestion:
    """What a designer asks of one feature.

    Parameters
    ----------
    form : Form
    printed_mm : float
        The size that it should print with.
    direction : Direction
        Printer axis across its faces, or along the axis of a round one.
    limits : Limits, optional
        Limits of size whose chance is asked for; offsets are then from their nominal size.
    drawn_mm : float, optional
        Ask what this drawn size prints as, instead of looking for one.
    hardware : Hardware, optional
        The piece whose standard gives the limits.
    bed : Bed, optional
        Which body of its joint stands on the bed; as in `coupons.answering.question.Question`.
    """

    form: Form
    printed_mm: float
    direction: Direction
    limits: Limits | None = None
    drawn_mm: float | None = None
    hardware: Hardware | None = None
    bed: Bed | None = None

    @property
    def nominal_mm(self) -> float:
        """Size from which offsets are counted."""
        return self.printed_mm if self.limits is None else self.limits.nominal_mm


@dataclass(frozen=True)
class SizeAnswer(Told):
    """What to draw, and what it prints as. Lengths in mm.

    ``low_mm`` to ``high_mm`` holds the next print's size with 90 % probability; ``chance`` is that
    of both limits, None if none were asked for. ``offset_mm`` is for each of ``faces`` faces,
    positive out of the material. ``layers`` is how many layers of ``layer_mm`` the drawn size is,
    where it is layers. ``sd_mm`` is the standard deviation of the printed size. ``beds`` holds what
    may stand on the bed where that was not said, and how wide the interval would be if it were.
    """

    question: SizeQuestion
    drawn_mm: float
    expected_mm: float
    low_mm: float
    high_mm: float
    sd_mm: float
    offset_mm: float
    faces: int
    chance: float | None
    measured: MeasuredRange | None
    extrapolated: bool
    rehearsed: bool
    layer_mm: float | None
    layers: int | None
    origin: Origin
    beds: tuple[tuple[Bed, float], ...] = ()

    def __repr__(self) -> str:
        """One line: what was asked, what to draw, what it prints as."""
        asked = self.question
        name = f"{asked.form} {asked.printed_mm:g} mm {way(asked.form, asked.direction)}"
        limits = f" within {asked.limits.code}" if asked.limits else ""
        prints = f"prints as {self.low_mm:.2f} to {self.high_mm:.2f} mm"
        if asked.drawn_mm is not None:
            return f"<SizeAnswer to {name} as drawn{limits}: {prints}>"
        return f"<SizeAnswer to {name}{limits}: draw {self.drawn_mm:g} mm; {prints}>"

    @property
    def error_mm(self) -> float:
        """Expected printed size less the drawn one."""
        return self.expected_mm - self.drawn_mm

    @property
    def unmeasured(self) -> tuple[Form, ...]:
        """The form asked for, if no size of it was measured in that direction."""
        return () if self.measured else (self.question.form,)


@dataclass(frozen=True)
class PrintedSize:
    """Distribution of the size that a drawn feature prints with next time.

    Parameters
    ----------
    profile : Profile
    feature : Feature
        With its drawn size.
    prints : Prints, optional
        All prints of its part; by default the one of ``profile`` that it comes from.
    at : int
        Place of the print that it comes from.
    """

    profile: Profile
    feature: Feature
    prints: Prints | None = None
    at: int = 0

    @property
    def row(self) -> Array:
        """Printed − drawn size as a row over the profile's terms, shape (n_terms,)."""
        row = np.zeros(len(self.profile.means))
        row[: len(EFFECTS)] = effect_row(self.feature)
        return row

    @property
    def mean_mm(self) -> float:
        """Expected printed size."""
        return self.feature.size_mm + float(self.row @ self.profile.mean_vector)

    @property
    def own(self) -> OwnSpread:
        """Spread of this feature alone; larger outside the measured sizes."""
        z = height_share(self.feature)
        feature = self.feature
        beyond = size_variance(self.profile, feature.form, feature.direction, feature.size_mm)
        return OwnSpread(1 - z, z, known_mm2=beyond)

    def variances(self) -> tuple[Array, Array]:
        """Variance of the printed size in mm², at nodes of what is known only roughly."""
        shared, weights = next_print.variances(self.profile, self.row[None, :])
        both, weights = with_own(shared, weights, self.own.variance_rule(self.profile))
        return both[:, 0], weights

    def chance_within(self, limits: Limits) -> float:
        """Chance that the next print lies between two limits."""
        variances, weights = self.variances()
        sds = np.sqrt(variances)
        below = ndtr((limits.upper_mm - self.mean_mm) / sds)
        return float(weights @ (below - ndtr((limits.lower_mm - self.mean_mm) / sds)))

    def demand(self, limits: Limits) -> Demand:
        """Return the demand that the size lies between two limits, next to others of one print."""
        prints = self.prints or prints_of(self.profile)
        blocks = np.zeros((len(prints.of), N_TERMS))
        blocks[self.at] = self.row
        row = prints.shared_row(blocks.ravel())
        counts = np.zeros((len(prints.profiles), len(self.own.counts)))
        counts[prints.of[self.at]] = self.own.counts
        return Demand(
            lower=(self.mean_mm - limits.lower_mm, row),
            upper=(self.mean_mm - limits.upper_mm, row),
            own_sd_mm=math.sqrt(self.own.known_mm2),
            counts=tuple(counts.ravel().tolist()),
        )


def printed_sizes(
    profile: Profile, question: SizeQuestion, drawn_mm: float
) -> tuple[PrintedSize, ...]:
    """Return what a size prints as in each case that an answer covers, as likely as one another."""
    form, direction = question.form, question.direction
    return tuple(
        PrintedSize(profile, Feature(form, drawn_mm, direction, on_bed=bed.holds(form)))
        for bed in bed_cases(profile, ((form, direction),), question.bed)
    )


def size_demand(
    profile: Profile,
    question: SizeQuestion,
    drawn_mm: float,
    limits: Limits,
    prints: Prints | None = None,
    at: int = 0,
) -> Demand:
    """Return the demand that a drawn size prints between two limits, next to its part's others.

    ``prints`` are all prints of the part, ``at`` the place among them of the one it comes from.
    """
    first, *others = (
        replace(one, prints=prints, at=at).demand(limits)
        for one in printed_sizes(profile, question, drawn_mm)
    )
    return replace(first, or_else=tuple(others))


def _mixture(cases: Sequence[PrintedSize]) -> tuple[Array, Array, Array]:
    """Return means, variances and weights of the normals that a printed size is a mixture of."""
    variances, weights = zip(*(one.variances() for one in cases), strict=True)
    means = [np.full(len(of), one.mean_mm) for one, of in zip(cases, variances, strict=True)]
    shares = np.concatenate(weights) / len(cases)
    return np.concatenate(means), np.concatenate(variances), shares


def draw_size(profile: Profile, question: SizeQuestion) -> SizeAnswer:
    """Say what to draw so that one feature prints with a wanted size.

    Raises
    ------
    AnswerError
        If the size makes no sense.
    NotMeasuredError
        If the profile has almost no data on such features.
    """
    if not SMALLEST_MM <= question.printed_mm <= LARGEST_MM:
        raise AnswerError(
            f"A size must be {SMALLEST_MM:g} to {LARGEST_MM:g} mm, not {question.printed_mm:g}."
        )
    odd = odd_bed(((question.form, question.direction),), question.bed)
    if odd:
        raise AnswerError(odd)
    exact_mm = _drawn_for(profile, question) if question.drawn_mm is None else question.drawn_mm
    drawn_mm, layers = _as_drawn(profile, question, exact_mm)
    cases = printed_sizes(profile, question, drawn_mm)
    if next_print.learned_share(profile, cases[0].row[None, :])[0] > NOTHING_LEARNED:
        raise NotMeasuredError(
            "Not measured: this profile has almost no data on "
            f"{sizes_in(question.form, question.direction)}. "
            f"{advice(question.form, question.direction)}"
        )
    means, variances, weights = _mixture(cases)
    mean = float(weights @ means)
    low_mm, high_mm = next_print.interval(means, variances, weights)
    limits = question.limits
    measured = next(iter(ranges_of(profile, [question.form], question.direction)), None)
    faces = 2 if layers is None else 1
    return SizeAnswer(
        question=question,
        drawn_mm=drawn_mm,
        expected_mm=mean,
        low_mm=low_mm,
        high_mm=high_mm,
        sd_mm=float(np.sqrt(weights @ (variances + (means - mean) ** 2))),
        offset_mm=round(side(question.form) * (drawn_mm - question.nominal_mm) / faces, 6) + 0.0,
        faces=faces,
        chance=float(np.mean([one.chance_within(limits) for one in cases])) if limits else None,
        measured=measured,
        extrapolated=measured is None
        or not measured.low_mm <= question.printed_mm <= measured.high_mm,
        rehearsed=profile.rehearsed,
        layer_mm=None if layers is None else profile.layer_height_mm,
        layers=layers,
        origin=origin_of(profile),
        beds=_beds(cases),
    )


def _beds(cases: Sequence[PrintedSize]) -> tuple[tuple[Bed, float], ...]:
    """Return the cases that an answer covers unsaid, with how wide each by itself would be."""
    if len(cases) == 1:
        return ()
    ends = ((one, next_print.interval(*_mixture([one]))) for one in cases)
    return tuple((_bed_of(one.feature), high - low) for one, (low, high) in ends)


def _bed_of(feature: Feature) -> Bed:
    """Say what stands on the bed where an external feature does, or does not."""
    return Bed.EXTERNAL if feature.on_bed else Bed.NONE


def draw_hole(
    profile: Profile, piece: Hardware, direction: Direction, bed: Bed | None = None
) -> SizeAnswer:
    """Say what to draw so that a hole prints within the limits that a screw's standard gives it.

    Raises
    ------
    AnswerError
        If the standard sets no limits for the printed side.
    NotMeasuredError
        If the profile has almost no data on such holes.
    """
    if piece.printed is None:
        raise AnswerError(
            f"No standard sets limits for the printed side of {piece.name}: ask for a fit."
        )
    form = next(form for form in piece.forms if form is not piece.form)
    question = SizeQuestion(
        form, piece.printed.middle_mm, direction, piece.printed, hardware=piece, bed=bed
    )
    return draw_size(profile, question)


def _drawn_for(profile: Profile, question: SizeQuestion) -> float:
    """Solve drawn + error(drawn) = printed; the error changes so slowly that stepping does it."""
    drawn_mm = question.printed_mm
    for _ in range(20):
        cases = printed_sizes(profile, question, drawn_mm)
        step = question.printed_mm - sum(one.mean_mm for one in cases) / len(cases)
        drawn_mm += step
        if abs(step) < 1e-6:
            break
    return drawn_mm


def _as_drawn(
    profile: Profile, question: SizeQuestion, drawn_mm: float
) -> tuple[float, int | None]:
    """Round to 0.01 mm a face, to whole layers across layers; keep what is drawn already."""
    if question.drawn_mm is not None:
        return drawn_mm, None
    if height_share(Feature(question.form, drawn_mm, question.direction)) == 1:
        layers = round(drawn_mm / profile.layer_height_mm)
        return round(layers * profile.layer_height_mm, 6), layers
    # Steps are counted from the nominal size, so that offsets come out in whole hundredths.
    steps = round((drawn_mm - question.nominal_mm) / DRAWN_STEP_MM)
    return round(question.nominal_mm + steps * DRAWN_STEP_MM, 6), None
