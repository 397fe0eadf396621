"""Which coupon to print next: the one that would make what is asked known best."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.clearance import Clearance
from coupons.answering.foresight import Belief, covariance_after
from coupons.answering.joint_list import ListedJoint
from coupons.answering.joints import question_of
from coupons.answering.next_print import half_width, learned_share
from coupons.answering.offset import (
    NOTHING_LEARNED,
    Question,
    check_question,
    interval_variances,
    window_row,
)
from coupons.learning.latent import Scatters
from coupons.learning.profile import Profile
from coupons.making.record import Coupon
from coupons.terms import Direction, Form, Grade, Joint

Array = NDArray[np.floating]

# What is asked where nothing in particular is: a sliding fit of each kind, in each direction.
USUAL = tuple(
    Question(Joint(internal, external, size_mm, direction), Grade.SLIDE)
    for internal, external, size_mm in (
        (Form.SLOT, Form.TONGUE, 12.0),
        (Form.HOLE, Form.PIN, 8.0),
    )
    for direction in (Direction.X, Direction.Y, Direction.Z)
)


@dataclass(frozen=True)
class Asked:
    """A question as a row over the profile's terms: what has to be known to answer it.

    ``measured`` says whether the profile learned enough to answer at all.
    """

    name: str
    row: Array
    measured: bool
    question: Question
    clearance: Clearance

    @property
    def known_to_mm(self) -> float:
        """Half width of the answer's 90 % interval, as `offset` gives it."""
        return half_width(*interval_variances(self.clearance, self.question, self.row[None, :]))

    def known_to_mm_after(self, covariance: Array) -> float:
        """Return the same, were the terms known with this covariance."""
        of_machine = float(self.row @ covariance @ self.row)
        row = self.row[None, :]
        return half_width(*interval_variances(self.clearance, self.question, row, of_machine))


@dataclass(frozen=True)
class Gain:
    """What one coupon would make of the questions: how well each would be known, in mm.

    ``narrower`` is the mean share by which their intervals shrink.
    """

    coupon: str
    known_to_mm: tuple[float, ...]
    narrower: float


def ask_about(profile: Profile, question: Question) -> Asked:
    """Put a question as what has to be known of the printer.

    Raises
    ------
    AnswerError
        If the question makes no sense.
    """
    check_question(question)
    # The row hardly depends on the gap: as drawn, before any offset, will do.
    clearance = Clearance(profile, question.joint, question.gives, np.zeros(1), question.bought)
    rows = window_row(clearance, question)
    row = rows[0]
    measured = bool(learned_share(profile, rows)[0] <= NOTHING_LEARNED)
    return Asked(question.name, row, measured, question, clearance)


def ask_about_listed(profile: Profile, listed: ListedJoint) -> Asked:
    """Put a listed joint as what has to be known of the printer."""
    return replace(ask_about(profile, question_of(listed)), name=listed.name)


def gains(
    profile: Profile, asked: Sequence[Asked], coupons: Mapping[str, Coupon]
) -> tuple[Gain, ...]:
    """Foresee what each coupon, printed once and filled in whole, would teach.

    Parameters
    ----------
    profile : Profile
    asked : sequence of Asked
    coupons : mapping of str to Coupon
        By name.

    Returns
    -------
    tuple of Gain
        The one that makes the questions' intervals narrowest on average first.

    Examples
    --------
    >>> from coupons import load_profile
    >>> from coupons.making.plan import plan_coupon, record
    >>> from coupons.making.spec import load_spec
    >>> profile = load_profile("results/filter-drawer/profile.json").profile
    >>> shelf = Question(Joint(Form.SLOT, Form.TONGUE, 12, Direction.Z), Grade.SLIDE)
    >>> coupons = {name: record(plan_coupon(load_spec(name))) for name in ("upright", "spans")}
    >>> [gain.coupon for gain in gains(profile, [ask_about(profile, shelf)], coupons)]
    ['upright', 'spans']
    """
    belief = _belief(profile)
    found = [
        _gain(name, asked, covariance_after(coupon, belief, profile.prior_table))
        for name, coupon in coupons.items()
    ]
    return tuple(sorted(found, key=lambda gain: -gain.narrower))


def best_coupon(profile: Profile) -> Gain:
    """Return the shipped coupon that would teach most about the usual questions."""
    records, _ = shipped_coupons()
    return gains(profile, [ask_about(profile, question) for question in USUAL], records)[0]


def shipped_coupons() -> tuple[dict[str, Coupon], dict[str, float]]:
    """Return the record and the minutes of every shipped coupon, by name."""
    # Seldom asked, and long to import.
    from coupons.making.estimate import estimate
    from coupons.making.plan import plan_coupon, record
    from coupons.making.spec import load_spec, shipped_specs

    plans = {name: plan_coupon(load_spec(name)) for name in shipped_specs()}
    records = {name: record(plan) for name, plan in plans.items()}
    return records, {name: estimate(plan).minutes for name, plan in plans.items()}


def _belief(profile: Profile) -> Belief:
    sds = {name: float(np.sqrt(spread.mean_square)) for name, spread in profile.scatters.items()}
    return Belief(profile.mean_vector, profile.covariance_matrix, Scatters(**sds))


def _gain(name: str, asked: Sequence[Asked], covariance: Array) -> Gain:
    after = [question.known_to_mm_after(covariance) for question in asked]
    shares = [new / question.known_to_mm for new, question in zip(after, asked, strict=True)]
    return Gain(name, tuple(after), 1 - float(np.mean(shares)))
