"""The guide of a run that is not a machine's first: it starts from what earlier prints taught."""

from pathlib import Path

import numpy as np

from coupons.answering.next.guide import Guide, guide_of
from coupons.answering.next.row_information import believed
from coupons.learning.posterior.latent import Scatters
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Profile
from coupons.learning.profile_file import read_profile
from coupons.making.record import Coupon
from coupons.reading import stands

EARLIER_FILE = "earlier.profile"
"""In a run folder, the profile of earlier prints. It chooses what to try next; no fit reads it."""


def guide_after(coupon: Coupon, earlier: Profile | None) -> Guide | None:
    """Build the guide of a coupon for a machine of which there is a profile.

    What the model of the profile does not know of is as before any print.

    Parameters
    ----------
    coupon : Coupon
    earlier : Profile or None
        Of the same machine and material.
    """
    if earlier is None:
        return guide_of(coupon)
    mean, covariance = believed(earlier)
    spreads = {
        name: earlier.scatters.get(name, prior) for name, prior in EXTRUSION.scatters.items()
    }
    sds = {name: float(np.sqrt(one.mean_square)) for name, one in spreads.items()}
    return guide_of(coupon, mean=mean, covariance=covariance, scatters=Scatters(**sds))


def guide_in(folder: Path, coupon: Coupon) -> Guide | None:
    """Build the guide of a run folder, from its earlier prints' profile if it holds one.

    Raises
    ------
    ProfileError
        If that profile cannot be read.
    """
    return guide_after(coupon, read_profile(folder / EARLIER_FILE) if has_earlier(folder) else None)


def has_earlier(folder: Path) -> bool:
    """Tell whether a run folder holds the profile of earlier prints."""
    return stands(folder / EARLIER_FILE)
