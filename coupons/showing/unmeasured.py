"""What a profile says nothing about, and what to print to change that."""

from collections.abc import Sequence

from coupons.learning.causes import unsaid, unsaid_term
from coupons.learning.effects import EFFECTS, prior_sd
from coupons.learning.profile import Profile
from coupons.showing.joint_tables import JointTable, joint_title
from coupons.showing.learned import is_learned

# A shipped coupon with features on which a term acts; a test looks for them there.
COUPONS = {
    "scale_x": "spans",
    "scale_y": "spans",
    "scale_z": "upright",
    "skew": "spans",
    "growth_ext": "first",
    "growth_int": "first",
    "round_ext": "round",
    "round_int": "round",
    "curl_int": "round",
    "growth_ext_z": "upright",
    "growth_int_z": "upright",
    "first_layer": "upright",
}
_SCATTERS = {"tau": "first", "tau_z": "upright"}  # those that one print shows


def unmeasured(tables: Sequence[JointTable], profile: Profile) -> tuple[tuple[str, str], ...]:
    """Return what was not measured, each with what would measure it, joints first.

    Parameters
    ----------
    tables : sequence of JointTable
        The joints that were asked about; those without an answer are told.
    profile : Profile
    """
    joints = [
        (joint_title(table.joint), _coupon(table.coupon)) for table in tables if not table.lines
    ]
    sds = prior_sd(profile.prior_table)
    terms = [
        (unsaid_term(name, profile.covariance_matrix, sds), _coupon(COUPONS[name]))
        for name in EFFECTS
        if not is_learned(profile, name)
    ]
    terms += [
        (unsaid(name), _coupon(coupon))
        for name, coupon in _SCATTERS.items()
        if not is_learned(profile, name)
    ]
    again = "a second print, fitted together"
    runs = zip(("rho", "rho_z"), profile.counts.runs_along, strict=True)
    return (*joints, *terms, *((unsaid(name), again) for name, n in runs if n == 1))


def _coupon(name: str) -> str:
    return f"coupon “{name}”" if name else "a coupon of your own"
