"""What of the two sides of a joint makes no sense together."""

from typing import TYPE_CHECKING

from coupons.errors import UntriedError
from coupons.learning.profile import Profile
from coupons.neutral import one_line
from coupons.terms import INTERNAL

if TYPE_CHECKING:  # which checks itself with this
    from coupons.answering.question import Question


def odd_sides(question: "Question") -> list[str]:
    """Say which of what was said of the two sides of a joint makes no sense."""
    if question.hardware is None:
        return []
    printed, piece = question.printed_forms[0], question.hardware
    wrong = []
    if question.joint.lies_unlike:
        wrong.append(f"Only the {printed} is printed with {piece.name}: give one direction.")
    if question.two_prints:
        wrong.append(f"Only the {printed} is printed with {piece.name}: it comes from one print.")
    bought = question.external_profile if printed in INTERNAL else question.internal_profile
    if bought is not None:
        wrong.append(f"{piece.name} comes from no printer: leave out its profile.")
    return wrong


def check_materials(profile: Profile, question: "Question") -> None:
    """Refuse profiles of another material than the one whose fits were tried.

    Raises
    ------
    UntriedError
    """
    makers = (("internal", question.internal_profile), ("external", question.external_profile))
    wrong = [
        f"The {side} body is of {one_line(maker.material)} ({one_line(maker.machine)}), the fits "
        f"were tried in {one_line(profile.material)} ({one_line(profile.machine)}): nobody tried "
        "the two together. Ask for the size of each body by itself, or fit a coupon of the "
        "same material."
        for side, maker in makers
        if maker is not None and maker.material.casefold() != profile.material.casefold()
    ]
    if wrong:
        raise UntriedError("\n".join(wrong))
