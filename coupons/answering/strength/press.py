"""The strain that a fit puts on the printed part, against the material's limit."""

from dataclasses import dataclass

from coupons.answering.offset import Answer, printed_gap_mm
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import ROUND, SDS_OF_90, Form


@dataclass(frozen=True)
class FitStrain:
    """Strain of the printed part if the mate is rigid, as a share: 0.01 is 1 %.

    ``form`` is the printed part: a hole whose ring is stretched, or a pin that is squeezed in
    hardware. Of two printed parts it is the hole, which splits where a pin is only squeezed.
    ``expected`` is the strain at the expected printed gap, ``tight`` the strain that one print in
    twenty exceeds. An open gap strains nothing.
    """

    form: Form
    expected: float
    tight: float
    limit: float


def fit_strain(profile: Profile, answer: Answer, limit: float) -> FitStrain:
    """Compare the strain of an answer with the limit of the material.

    Parameters
    ----------
    profile : Profile
    answer : Answer
        About a hole and a pin, one of which may be hardware.
    limit : float
        Strain that the material withstands, such as 0.01 for 1 %.

    Raises
    ------
    AnswerError
        If the joint is not round, or the limit no share.
    """
    joint = answer.question.joint
    if joint.internal not in ROUND:
        raise AnswerError("A strain check needs a pin in a hole, not a flat joint.")
    if not 0 < limit < 1:
        raise AnswerError(f"A strain limit is a number such as 0.01 for 1 %, not {limit:g}.")
    mean, sd = printed_gap_mm(profile, answer.question, answer.gap_mm)
    tight = mean - SDS_OF_90 * sd
    size_mm = joint.size_mm
    form = answer.question.printed_forms[0]
    return FitStrain(form, max(0.0, -mean) / size_mm, max(0.0, -tight) / size_mm, limit)
