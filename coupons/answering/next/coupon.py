"""Which coupon to print next: the one with the smallest expected uncertainty of the answers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.chances.clearance import Clearance
from coupons.answering.chances.extrapolation import ranges_of
from coupons.answering.chances.next_print import interval, learned_share
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.whole_part import questions_of
from coupons.answering.next.expected_information import Belief, covariance_after
from coupons.answering.next.row_information import believed
from coupons.answering.offset import NOTHING_LEARNED, clearances
from coupons.answering.question import Question, check_question
from coupons.answering.wanted_window import interval_mixture, window_row
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Profile
from coupons.making.record import Coupon
from coupons.terms import Direction, Form, Grade, Joint

Array = NDArray[np.floating]

WORTH_ANOTHER = 0.05
"""Another print is worth its time if it narrows the intervals by so much on average."""
# What may be asked where nothing in particular is: a sliding fit of each kind, in each direction.
USUAL = tuple(
    Question(Joint(internal, external, size_mm, direction), Grade.SLIDE)
    for internal, external, size_mm in (
        (Form.SLOT, Form.TONGUE, 12.0),
        (Form.HOLE, Form.PIN, 8.0),
    )
    for direction in (Direction.X, Direction.Y, Direction.Z)
)


@dataclass(frozen=True)
class CoveredQuestion:
    """A question with all cases that its answer covers: what has to be known to answer it.

    ``measured`` says whether the profile has enough data to answer at all.
    """

    name: str
    measured: bool
    question: Question
    cases: tuple[Clearance, ...]

    @property
    def known_to_mm(self) -> float:
        """Half width of the answer's 90 % interval, as `offset` gives it."""
        low_mm, high_mm = interval(*interval_mixture(self.cases, self.question))
        return (high_mm - low_mm) / 2

    def known_to_mm_after(self, covariance: Array) -> float:
        """Return the same, were the terms known with this covariance."""
        low_mm, high_mm = interval(*interval_mixture(self.cases, self.question, covariance))
        return (high_mm - low_mm) / 2

    @property
    def pair(self) -> frozenset[Form]:
        """The printed forms of the joint; a coupon that tries such a pair tests the joint."""
        return frozenset(self.question.printed_forms)

    @property
    def directions(self) -> frozenset[Direction]:
        """How its printed bodies lie; a coupon that tries the pair in one of them tells of it."""
        return frozenset(lies for _, lies in self.question.ways)


@dataclass(frozen=True)
class Gain:
    """The expected effect of one coupon: the half width of each answer's interval, in mm.

    ``tries`` says of each whether such a joint is on the coupon. ``narrower`` is the mean share by
    which their intervals shrink; a joint that is not on the coupon counts as unchanged, since its
    prediction rests on the model alone.
    """

    coupon: str
    known_to_mm: tuple[float, ...]
    tries: tuple[bool, ...]
    narrower: float


def usual_of(profile: Profile) -> tuple[Question, ...]:
    """Return the usual questions about joints of which both bodies were tried; all if none was.

    Whoever prints a coupon without joints across layers has not asked about such joints.
    """
    tried = [
        question
        for question in USUAL
        if all(
            any(one.tried_mm for one in ranges_of(profile, [form], lies))
            for form, lies in question.ways
        )
    ]
    return tuple(tried) or USUAL


def ask_about(profile: Profile, question: Question) -> CoveredQuestion:
    """Write a question as a combination of the printer's terms.

    Raises
    ------
    AnswerError
        If the question makes no sense.
    """
    check_question(question)
    # The row hardly depends on the gap: as drawn, before any offset, will do.
    cases = clearances(profile, question, np.zeros(1))
    rows = window_row(cases[0], question)
    measured = bool(learned_share(cases[0].prints, rows)[0] <= NOTHING_LEARNED)
    return CoveredQuestion(question.name, measured, question, cases)


def ask_about_listed(profile: Profile, listed: ListedJoint) -> tuple[CoveredQuestion, ...]:
    """Write a listed joint, each pair of its faces, as combinations of the printer's terms."""
    return tuple(
        replace(ask_about(profile, question), name=name)
        for name, question in questions_of(listed).items()
    )


def gains(
    profile: Profile, asked: Sequence[CoveredQuestion], coupons: Mapping[str, Coupon]
) -> tuple[Gain, ...]:
    """Predict the uncertainty after each coupon, printed once and filled in completely.

    Parameters
    ----------
    profile : Profile
    asked : sequence of CoveredQuestion
    coupons : mapping of str to Coupon
        By name.

    Returns
    -------
    tuple of Gain
        First the one that narrows the intervals of the joints on it most, on average. If no coupon
        has any of them, first the one from which the model would learn most.

    Examples
    --------
    >>> from coupons import load_profile
    >>> from coupons.making.plan import plan_coupon, record
    >>> from coupons.making.spec.coupon_spec import load_spec
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> shelf = Question(Joint(Form.SLOT, Form.TONGUE, 12, Direction.Z), Grade.SLIDE)
    >>> coupons = {name: record(plan_coupon(load_spec(name))) for name in ("upright", "spans")}
    >>> [gain.coupon for gain in gains(profile, [ask_about(profile, shelf)], coupons)]
    ['upright', 'spans']
    """
    belief = _belief(profile)
    predicted = []
    for name, coupon in coupons.items():
        covariance = covariance_after(coupon, belief)
        after_mm = tuple(question.known_to_mm_after(covariance) for question in asked)
        shrunk = [  # nothing that is tried makes an answer less known
            max(0.0, 1 - mm / question.known_to_mm)
            for mm, question in zip(after_mm, asked, strict=True)
        ]
        tries = tuple(
            any(lies in _tried(coupon, question.pair) for lies in question.directions)
            for question in asked
        )
        seen = float(np.mean(np.multiply(shrunk, tries)))
        predicted.append((Gain(name, after_mm, tries, seen), float(np.mean(shrunk))))
    predicted.sort(key=lambda one: (-one[0].narrower, -sum(one[0].tries), -one[1]))
    return tuple(gain for gain, _ in predicted)


def best_coupon(profile: Profile, printed: Sequence[str] = ()) -> Gain:
    """Return the shipped coupon that would narrow `usual_of` a profile most for its time.

    Parameters
    ----------
    profile : Profile
    printed : sequence of str
        Names of the coupons that were printed: of one whose rows take turns, the next job counts.
    """
    records, minutes = shipped_coupons(printed)
    found = gains(
        profile, [ask_about(profile, question) for question in usual_of(profile)], records
    )
    return most_for_its_time(found, minutes)


def most_for_its_time(found: Sequence[Gain], minutes: Mapping[str, float]) -> Gain:
    """Return the coupon that narrows the intervals of the joints on it most a minute.

    Coupons that are not worth a print at all (`WORTH_ANOTHER`) come after those that are.
    """
    return max(  # the first of equals
        found,
        key=lambda gain: (gain.narrower >= WORTH_ANOTHER, gain.narrower / minutes[gain.coupon]),
    )


def shipped_coupons(
    printed: Sequence[str] = (),
) -> tuple[dict[str, Coupon], dict[str, float]]:
    """Return the record of every shipped coupon, and its minutes of print and bench, by name."""
    # Seldom asked, and long to import.
    from coupons.making.bench_time import coupon_seconds
    from coupons.making.estimate import estimate
    from coupons.making.plan import plan_coupon, record
    from coupons.making.spec.coupon_spec import load_spec, shipped_specs

    plans = {
        name: plan_coupon(load_spec(name), job=1 + printed.count(name)) for name in shipped_specs()
    }
    records = {name: record(plan) for name, plan in plans.items()}
    return records, {
        name: estimate(plan).minutes + coupon_seconds(records[name]) / 60
        for name, plan in plans.items()
    }


def _belief(profile: Profile) -> Belief:
    """Return what is held of a printer; what its model does not know of, as before any print."""
    priors = EXTRUSION.scatters
    squares = {name: profile.scatters.get(name, priors[name]).mean_square for name in priors}
    mean, covariance = believed(profile)
    sds = {name: float(np.sqrt(square)) for name, square in squares.items()}
    return Belief(mean, covariance, Scatters(**sds))


def _tried(coupon: Coupon, pair: frozenset[Form]) -> set[Direction]:
    """Return the directions in which a coupon tries a printed pair, or a form with any mate."""
    features = {feature.id: feature for feature in coupon.features}
    found = set()
    for trial in coupon.trials:
        printed = [features[one] for one in (trial.feature, trial.mate) if one in features]
        if pair <= {feature.form for feature in printed}:
            found.add(printed[0].direction)
    return found
