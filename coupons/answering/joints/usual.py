"""The joints that are asked about where nobody lists any."""

from coupons.answering.chances.extrapolation import ranges_of
from coupons.answering.joints.listed import ListedJoint
from coupons.learning.profile import Profile
from coupons.terms import Direction, Form, Grade, Joint, MovingBody

_PAIRS = ((Form.SLOT, Form.TONGUE), (Form.HOLE, Form.PIN))
_SIZE_MM = 8.0


def usual_joints(profile: Profile) -> tuple[ListedJoint, ...]:
    """Return a sliding fit of each kind of joint of which both forms were tried by hand.

    Each at 8 mm, or the nearest size that was tried.
    """
    found = []
    for pair in _PAIRS:
        for direction in (Direction.X, Direction.Y, Direction.Z):
            tried = [each.tried_mm for each in ranges_of(profile, pair, direction)]
            if len(tried) < len(pair) or None in tried:
                continue
            low_mm = max(ends[0] for ends in tried if ends)
            high_mm = max(low_mm, min(ends[1] for ends in tried if ends))
            size_mm = float(round(min(max(_SIZE_MM, low_mm), high_mm)))
            joint = Joint(*pair, size_mm, direction)
            name = f"{pair[0]} {pair[1]} {direction}"
            found.append(ListedJoint(0, name, joint, Grade.SLIDE, None, MovingBody.EXTERNAL))
    return tuple(found)
