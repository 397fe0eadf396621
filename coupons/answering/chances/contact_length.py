"""How long the two bodies of a joint bear on each other, and what it costs not to say so.

The longer the contact, the more clearance a hand asks for: straight faces are never quite straight,
and a long pair feels it. How much more for each e-fold of the length is a term of the model,
``contact_loss``, with a prior of 0 ± 0.015 mm; a coupon with a long row teaches it. Where nobody
says how long the contact of a joint is, it is taken to be as long as usual on the coupon, within a
factor e with two thirds of the probability (common practice, no source).
"""

import math
from dataclasses import dataclass

from coupons.learning.effects import CONTACT_REFERENCE_MM, TERMS, prior_sd
from coupons.learning.profile import Profile

SHORTEST_MM, LONGEST_MM = 0.5, 2000.0
_UNSAID_FOLDS = 1.0
_FAR = 2.0  # times as long as the longest that was tried, or as short as the shortest
_TERM = TERMS.index("contact_loss")


@dataclass(frozen=True)
class ContactLength:
    """How long the bodies of a joint are taken to bear on each other, in mm.

    Parameters
    ----------
    length_mm : float
    said : bool
        Whether somebody said so.
    tried_mm : (float, float) or None
        Shortest and longest contact of the trials; None where the profile does not say.
    unsure_mm : float
        Standard deviation of the clearance from how the feel changes between the usual contact of
        the trials and this one; or, where it was not said, from how long it may be.
    """

    length_mm: float
    said: bool
    tried_mm: tuple[float, float] | None
    unsure_mm: float

    @property
    def is_far(self) -> bool:
        """Whether it lies far outside of what was tried."""
        low_mm, high_mm = self.tried_mm or (CONTACT_REFERENCE_MM, CONTACT_REFERENCE_MM)
        return self.said and not low_mm / _FAR <= self.length_mm <= high_mm * _FAR


def usual_contact_mm(profile: Profile) -> float:
    """Return the contact that trials usually had; the model's reference where it is not known."""
    return profile.contact_mm[1] if profile.contact_mm else CONTACT_REFERENCE_MM


def unsaid_variance(profile: Profile) -> float:
    """Return the variance in mm² of the clearance where the contact was not said."""
    mean = float(profile.mean_vector[_TERM])
    square = mean**2 + float(profile.covariance_matrix[_TERM, _TERM])
    return _UNSAID_FOLDS**2 * square


def contact_in(profile: Profile, contact_mm: float | None) -> ContactLength | None:
    """Return how long a joint's contact is taken to be; None if the model has no such effect."""
    if prior_sd(profile.prior_table)[_TERM] == 0:
        return None
    ends = profile.contact_mm
    tried_mm = (ends[0], ends[2]) if ends else None
    usual_mm = usual_contact_mm(profile)
    if contact_mm is None:
        return ContactLength(usual_mm, False, tried_mm, math.sqrt(unsaid_variance(profile)))
    sd = math.sqrt(profile.covariance_matrix[_TERM, _TERM])
    return ContactLength(contact_mm, True, tried_mm, sd * abs(math.log(contact_mm / usual_mm)))


def odd_contact(contact_mm: float | None) -> str:
    """Say why a length is no contact of a joint; empty if it can be, or was not said."""
    if contact_mm is None or SHORTEST_MM <= contact_mm <= LONGEST_MM:
        return ""
    return f"A contact must be {SHORTEST_MM:g} to {LONGEST_MM:g} mm long, not {contact_mm:g}."


def contact_sentence(contact: ContactLength | None) -> str:
    """Say how long a contact the answer is for; empty where the model has no such effect.

    Examples
    --------
    >>> contact_sentence(ContactLength(6.2, False, (2.8, 20.2), 0.015))
    'For a contact about 6.2 mm long, as usual on the coupon; say another with --contact.'
    >>> contact_sentence(ContactLength(100, True, (2.8, 20.2), 0.041))[:68]
    'EXTRAPOLATED: a contact of 100 mm is far from those tried, 2.8 to 20'
    """
    if contact is None:
        return ""
    if not contact.said:
        return (
            f"For a contact about {contact.length_mm:.2g} mm long, as usual on the coupon; say "
            "another with --contact."
        )
    if contact.is_far:
        tried_mm = contact.tried_mm or (CONTACT_REFERENCE_MM,)
        ends = " to ".join(dict.fromkeys(f"{mm:.3g}" for mm in tried_mm))
        return (
            f"EXTRAPOLATED: a contact of {contact.length_mm:g} mm is far from those tried, {ends} "
            f"mm; the added uncertainty, ±{contact.unsure_mm:.3f} mm (1 sd), is included."
        )
    return f"For a contact {contact.length_mm:g} mm long."
