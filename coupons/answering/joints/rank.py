"""Which machine to print a job on: the chance, on each, that all joints of a list fit at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coupons.answering.chances.shared import shared_of
from coupons.answering.chances.together import chance_together
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.print_plan import plan_prints
from coupons.answering.joints.whole_part import Lack, answer_listed, demanding
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.progress import steps


@dataclass(frozen=True)
class JobChance:
    """How likely a whole job fits, printed by one profile.

    Parameters
    ----------
    profile : Profile
    chance : float or None
        That all joints fit at once, each drawn for this machine, on the prints that the list names
        (one, if it names none); None where one of them has no answer.
    sampling_error : float
        Half width of the 95 % confidence interval of the sampled chance.
    weakest : str
        The joint with the lowest chance by itself.
    missing : dict of Lack to tuple of str
        Joints without an answer, by what is missing.
    """

    profile: Profile
    chance: float | None
    sampling_error: float
    weakest: str
    missing: Mapping[Lack, tuple[str, ...]]


def rank(profiles: Sequence[Profile], listed: Sequence[ListedJoint]) -> tuple[JobChance, ...]:
    """Return the chance of a job on each profile, in the order given.

    A gap that is wanted as a number in mm has no chance and does not count.

    Raises
    ------
    AnswerError
        If no joint of the list is wanted with a fit.
    """
    fits = [one for one in listed if one.gap_mm is None]
    if not fits:
        raise AnswerError(
            "Machines are ranked by fits: give at least one joint a fit such as slide."
        )
    return tuple(_chance(profile, fits) for profile in steps(profiles, "machines ranked"))


def _chance(profile: Profile, listed: Sequence[ListedJoint]) -> JobChance:
    answers = [answer_listed(profile, one) for one in listed]
    missing = {
        lack: names
        for lack in Lack
        if (names := tuple(one.listed.name for one in answers if one.lacks is lack))
    }
    known = [(one.chance, one.listed.name) for one in answers if one.chance is not None]
    weakest = min(known, default=(0.0, ""))[1]
    if missing:
        return JobChance(profile, None, 0.0, weakest, missing)
    if len(answers) == 1:
        return JobChance(profile, answers[0].chance, 0.0, weakest, {})
    prints, places = plan_prints(profile, listed)
    demands = [demand for _, demand, _ in demanding(profile, answers, places)]
    together = chance_together(demands, shared_of(prints))
    return JobChance(profile, together.chance, together.sampling_error, weakest, {})
