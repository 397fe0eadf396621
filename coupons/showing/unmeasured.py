"""What was not measured for a profile, and which coupon to print to measure it."""

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
_SHIFTS = {"rho": "first", "rho_z": "upright"}  # those that only a second one shows


def unmeasured(tables: Sequence[JointTable], profile: Profile) -> tuple[tuple[str, str], ...]:
    """Return what was not measured, each with what would measure it, joints first.

    Parameters
    ----------
    tables : sequence of JointTable
        The joints that were asked about; those without an answer are listed.
    profile : Profile
    """
    joints = [
        (joint_title(table.joint), _coupon(table.coupon)) for table in tables if not table.lines
    ]
    sds = prior_sd(profile.prior_table)
    unknown = [
        (unsaid_term(name, profile.covariance_matrix, sds), _coupon(COUPONS[name]))
        for name in EFFECTS
        if not is_learned(profile, name)
    ]
    unknown += [
        (unsaid(name), _coupon(coupon))
        for name, coupon in _SCATTERS.items()
        if not is_learned(profile, name)
    ]
    runs = zip(_SHIFTS.items(), profile.counts.runs_along, strict=True)
    unknown += [(unsaid(name), _prints(coupon, n)) for (name, coupon), n in runs if n < 2]
    return (*joints, *unknown)


def _prints(coupon: str, n: int) -> str:
    """Say which prints would show how far prints differ, after ``n`` that have such sizes."""
    return "a second print, fitted together" if n else f"two prints of {_coupon(coupon)}"


def _coupon(name: str) -> str:
    return f"coupon “{name}”" if name else "a coupon of your own"
