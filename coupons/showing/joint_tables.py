"""What to draw for each kind of joint and each fit, where a profile can answer."""

from collections.abc import Sequence
from dataclasses import dataclass

from coupons.answering.offset import Answer, answer
from coupons.answering.question import Question
from coupons.answering.where_measured import coupons_with
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.showing.families import Family
from coupons.terms import FITS, Direction, Form, Grade, Joint, MovingBody

USUAL_SIZE_MM = 10.0
# The joints that a designer may ask of any machine, whether or not this coupon had them.
USUAL_JOINTS = (
    *((Form.SLOT, Form.TONGUE, d) for d in (Direction.X, Direction.Y, Direction.Z)),
    *((Form.HOLE, Form.PIN, d) for d in (Direction.Z, Direction.X, Direction.Y)),
)


def joint_title(joint: Joint) -> str:
    """Return a joint in words."""
    way = "axis along" if joint.internal is Form.HOLE else "across"
    return (
        f"{joint.external.capitalize()} in {joint.internal}, {joint.size_mm:g} mm, "
        f"{way} {joint.direction}"
    )


@dataclass(frozen=True)
class FitLine:
    """One fit of one joint: what to draw if one part is moved, and if both are."""

    fit: Grade
    one: Answer
    both: Answer


@dataclass(frozen=True)
class JointTable:
    """One kind of joint with a line for every fit that can be answered at its size."""

    joint: Joint
    lines: tuple[FitLine, ...]

    @property
    def coupon(self) -> str:
        """The first shipped coupon on which such a joint is tried; empty if there is none."""
        return next(iter(coupons_with(self.joint.internal, self.joint.direction)), "")


def joint_tables(profile: Profile, tried: Sequence[Family] = ()) -> tuple[JointTable, ...]:
    """Answer every fit of the joints that were tried, then of the usual ones that were not.

    Parameters
    ----------
    profile : Profile
    tried : sequence of Family
        Joints to put first, at the sizes at which they were tried.
    """
    joints = list(dict.fromkeys(family.joint for family in tried))
    known = {(joint.internal, joint.external, joint.direction) for joint in joints}
    joints += [
        Joint(internal, external, _size_mm(profile, internal, direction), direction)
        for internal, external, direction in USUAL_JOINTS
        if (internal, external, direction) not in known
    ]
    return tuple(JointTable(joint, _lines(profile, joint)) for joint in joints)


def _size_mm(profile: Profile, internal: Form, direction: Direction) -> float:
    """Return the usual size, or the nearest one that was measured."""
    for found in profile.measured:
        if (found.form, found.direction) == (internal, direction):
            return min(max(USUAL_SIZE_MM, round(found.low_mm)), round(found.high_mm))
    return USUAL_SIZE_MM


def _lines(profile: Profile, joint: Joint) -> tuple[FitLine, ...]:
    one = fit_answers(profile, joint, MovingBody.EXTERNAL)
    both = fit_answers(profile, joint, MovingBody.BOTH)
    return tuple(FitLine(fit, one[fit], both[fit]) for fit in FITS if fit in one and fit in both)


def fit_answers(profile: Profile, joint: Joint, move: MovingBody) -> dict[Grade, Answer]:
    """Answer every fit of a joint; those not measured at its size are left out."""
    answers = {}
    for fit in FITS:
        try:
            found = answer(profile, Question(joint, fit, move))
        except AnswerError:  # not measured, or no gap has such a chance
            continue
        if not found.extrapolated:
            answers[fit] = found
    return answers
