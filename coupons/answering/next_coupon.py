"""Which coupon to print next: the one that would make what is asked known best."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupons.answering.clearance import Clearance
from coupons.answering.foresight import Belief, covariance_after
from coupons.answering.joint_list import ListedJoint
from coupons.answering.joints import question_of
from coupons.answering.next_print import learned_share
from coupons.answering.offset import NOTHING_LEARNED, Question, window_row
from coupons.learning.latent import Scatters
from coupons.learning.profile import Profile
from coupons.making.record import Coupon
from coupons.terms import Direction, Form, Grade, Joint

Array = NDArray[np.floating]

_HALF_WIDTH_SDS = 1.645  # of a 90 % interval

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

    ``known_to_mm`` is the half width of its 90 % interval now, from what is not known of the
    printer alone; ``measured`` says whether the profile learned enough to answer at all. ``pair``
    is printed, or one of it with a bought mate; a coupon that tries such a pair along ``direction``
    shows the joint itself.
    """

    name: str
    row: Array
    known_to_mm: float
    measured: bool
    pair: frozenset[Form]
    direction: Direction


@dataclass(frozen=True)
class Gain:
    """What one coupon would make of the questions: how well each would be known, in mm.

    ``tries`` says of each whether such a joint is on the coupon. ``narrower`` is the mean share by
    which their intervals shrink; a joint that is not on the coupon counts as unchanged, since what
    is foreseen of it rests on the model alone.
    """

    coupon: str
    known_to_mm: tuple[float, ...]
    tries: tuple[bool, ...]
    narrower: float


def ask_about(profile: Profile, question: Question) -> Asked:
    """Put a question as what has to be known of the printer."""
    # The row hardly depends on the gap: as drawn, before any offset, will do.
    clearance = Clearance(profile, question.joint, question.gives, np.zeros(1), question.bought)
    rows = window_row(clearance, question)
    row = rows[0]
    half_mm = _HALF_WIDTH_SDS * float(np.sqrt(row @ profile.covariance_matrix @ row))
    measured = bool(learned_share(profile, rows)[0] <= NOTHING_LEARNED)
    pair = frozenset(question.printed_forms)
    return Asked(question.name, row, half_mm, measured, pair, question.joint.direction)


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
        The one that makes the intervals narrowest of the joints that it has, on average, first.
        Where no coupon has any of them, the one from which the model would learn most.

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
    foreseen = []
    for name, coupon in coupons.items():
        after_mm = _known_to(asked, covariance_after(coupon, belief, profile.prior_table))
        shrunk = [
            1 - mm / question.known_to_mm for mm, question in zip(after_mm, asked, strict=True)
        ]
        tries = tuple(question.direction in _tried(coupon, question.pair) for question in asked)
        seen = float(np.mean(np.multiply(shrunk, tries)))
        foreseen.append((Gain(name, after_mm, tries, seen), float(np.mean(shrunk))))
    foreseen.sort(key=lambda one: (-one[0].narrower, -one[1]))
    return tuple(gain for gain, _ in foreseen)


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


def _known_to(asked: Sequence[Asked], covariance: Array) -> tuple[float, ...]:
    return tuple(
        _HALF_WIDTH_SDS * float(np.sqrt(question.row @ covariance @ question.row))
        for question in asked
    )


def _tried(coupon: Coupon, pair: frozenset[Form]) -> set[Direction]:
    """Return the directions in which a coupon tries a printed pair, or a form with any mate."""
    features = {feature.id: feature for feature in coupon.features}
    found = set()
    for trial in coupon.trials:
        printed = [features[one] for one in (trial.feature, trial.mate) if one in features]
        if pair <= {feature.form for feature in printed}:
            found.add(printed[0].direction)
    return found
