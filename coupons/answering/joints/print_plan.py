"""The prints that the bodies of a part come from, as its list of joints says."""

from collections.abc import Sequence

from coupons.answering.chances.prints import MadeFrom, Prints, place_among
from coupons.answering.joints.listed import ListedJoint
from coupons.learning.profile import Profile


def plan_prints(
    profile: Profile, listed: Sequence[ListedJoint]
) -> tuple[Prints, tuple[MadeFrom, ...]]:
    """Return all prints of a part, and from which of them the bodies of each joint come.

    Bodies of one printer whose print is named alike come from one print, and so do those whose
    print is not named.
    """
    profiles, prints = [profile], [(0, "")]
    places: list[tuple[int, int]] = []
    for joint in listed:
        sides = (
            (joint.internal_profile or profile, joint.internal_print),
            (joint.external_profile or profile, joint.external_print),
        )
        if (
            joint.hardware is not None and joint.several is None
        ):  # is of no print: stands with its mate
            sides = (sides[joint.hardware.form is joint.joint.internal],) * 2
        named = [(place_among(profiles, maker), word) for maker, word in sides]
        prints += [one for one in dict.fromkeys(named) if one not in prints]
        inner, outer = map(prints.index, named)
        places.append((inner, outer))
    every = Prints(tuple(profiles), tuple(of for of, _ in prints))
    return every, tuple(MadeFrom(every, *at) for at in places)
