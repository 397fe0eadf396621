"""What was not measured for a profile, and which coupon to print to measure it."""

from collections.abc import Sequence

from coupons.learning.causes import between_prints_once, unsaid, unsaid_term
from coupons.learning.effects import EFFECTS, prior_sd
from coupons.learning.prior_table import REFINEMENTS
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
# Those that only a second one shows; small ones are not told.
_SHIFTS = {"rho": "first", "rho_scale_z": "upright", "rho_bed": "upright", "rho_z": "upright"}


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
        if name not in REFINEMENTS and not is_learned(profile, name)
    ]
    unknown += [
        (unsaid(name), _coupon(coupon))
        for name, coupon in _SCATTERS.items()
        if not is_learned(profile, name)
    ]
    prints = zip(profile.prior_table.prints, profile.counts.informing, strict=True)
    runs = {effect.scatter: n for effect, n in prints if effect.scatter in _SHIFTS}
    once = between_prints_once([name for name, n in runs.items() if n < 2])
    unknown += [(unsaid(name), _prints(_SHIFTS[name], runs[name])) for name in once]
    return (*joints, *unknown)


def _prints(coupon: str, n: int) -> str:
    """Say which prints would show how far prints differ, after ``n`` that have such sizes."""
    return "a second print, fitted together" if n else f"two prints of {_coupon(coupon)}"


def _coupon(name: str) -> str:
    return f"coupon “{name}”" if name else "a coupon of your own"
