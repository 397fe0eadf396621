"""What a fit does to the printed part: the strain of an answer against the material's limit."""

from dataclasses import dataclass

from coupons.answering.offset import Answer, printed_gap_mm
from coupons.answering.sanity import CORE_CAUTIONS, PRESS_CAUTIONS
from coupons.answering.words import percent
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import INTERNAL, ROUND, Form

_TIGHT_END_SDS = 1.645  # one print in twenty is tighter
_PARTS = {
    Form.HOLE: ("The printed ring around the pin is stretched", PRESS_CAUTIONS),
    Form.PIN: ("The printed pin is squeezed", CORE_CAUTIONS),
}


@dataclass(frozen=True)
class FitStrain:
    """Strain of the printed part if it alone gives way, as a share: 0.01 is 1 %.

    ``form`` is the printed part: a hole whose ring is stretched, or a pin that is squeezed in a
    bought one. Of two printed parts it is the hole, which splits where a pin only gives.
    ``expected`` is the strain at the expected printed gap, ``tight`` that which one print in twenty
    goes beyond. A gap that is open strains nothing.
    """

    form: Form
    expected: float
    tight: float
    limit: float


def fit_strain(profile: Profile, answer: Answer, limit: float) -> FitStrain:
    """Hold the interference of an answer against what the material is said to stand.

    Parameters
    ----------
    profile : Profile
    answer : Answer
        About a hole and a pin, one of them perhaps bought.
    limit : float
        Strain that the material stands, such as 0.01 for 1 %.

    Raises
    ------
    AnswerError
        If the joint is not round, or the limit no share.
    """
    joint = answer.question.joint
    if joint.internal not in ROUND:
        raise AnswerError("A strain check is about a pin in a hole: a flat joint is no ring.")
    if not 0 < limit < 1:
        raise AnswerError(f"A strain limit is a share, such as 0.01 for 1 %, not {limit:g}.")
    mean, sd = printed_gap_mm(profile, answer.question, answer.gap_mm)
    tight = mean - _TIGHT_END_SDS * sd
    size_mm = joint.size_mm
    form = answer.question.printed_forms[0]
    return FitStrain(form, max(0.0, -mean) / size_mm, max(0.0, -tight) / size_mm, limit)


def strain_sentences(strain: FitStrain) -> list[str]:
    """Say the strains, whether they are within the limit, and what the check leaves out."""
    verdict = (
        "within the limit even then"
        if strain.tight <= strain.limit
        else "within the limit as expected, beyond it when tight"
        if strain.expected <= strain.limit
        else "BEYOND THE LIMIT: take a looser fit"
        + (" or a stronger ring" if strain.form in INTERNAL else "")
    )
    part, cautions = _PARTS[strain.form]
    return [
        f"{part} by {percent(strain.expected, 2)} as expected, by "
        f"{percent(strain.tight, 2)} or more in one print of twenty; limit "
        f"{percent(strain.limit, 2)}: {verdict}.",
        *(f"Caution: {line}" for line in cautions),
    ]
