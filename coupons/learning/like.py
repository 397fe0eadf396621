"""A profile that leans on those of other machines, or on its own from before a change.

The statistics are in `pooling` and `carrying`; which profile is what, in `kindred`.
"""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.errors import DoubtWarning
from coupons.learning.carrying import MachineChange, carried, change_of_pair, learn_change
from coupons.learning.effects import SCATTERS, TERMS, prior_mean, prior_sd
from coupons.learning.kindred import Kindred, corrections, sort_out
from coupons.learning.pooling import MachineEvidence, evidence_of, pool, widened
from coupons.learning.prior_table import EXTRUSION
from coupons.learning.profile import Carried, Like, Profile, joined_ranges
from coupons.learning.profile_of_fit import with_posterior
from coupons.neutral import one_line
from coupons.terms import SDS_OF_90

Array = NDArray[np.floating]

UNLIKE = 2 / 3
"""From this chance on a machine is named as unlike the others: its entries must double the odds,
which are even beforehand (`UNLIKE_SHARE`)."""
CHANGED_ELSE = 0.5
"""From this chance on a machine is named as changed in another way: the same, from `ANEW_SHARE`."""
KNOWN = 0.5
"""A term carries over if this share of its prior variance, or less, is left after the change."""

_HEIGHTS = ("scale_z", "growth_ext_z", "growth_int_z", "bed_height", "first_layer", "lying_loss")
_AXES = ("scale_x", "scale_y", "scale_int", "skew", "lost_motion")
_PLANE, _ACROSS_LAYERS, _HANDS, _LENGTHS = range(4)


def _family(term: str) -> int:
    """Return what moves together where a machine is unlike others."""
    if term.startswith("from_") or term == "contact_loss":
        return _HANDS
    if term in _HEIGHTS:
        return _ACROSS_LAYERS
    return _LENGTHS if term in _AXES else _PLANE


FAMILIES = np.array([_family(term) for term in TERMS])
# How far machines differ is learned for faces and lengths in the plane together.
_GROUPS = np.where(FAMILIES == _LENGTHS, _PLANE, FAMILIES)
OF_MACHINES = [_PLANE, _ACROSS_LAYERS, _LENGTHS]
_ONE_GROUP = np.zeros(len(SCATTERS), dtype=np.intp)
_THRESHOLDS = np.array([term.startswith("from_") for term in TERMS], float)


@dataclass(frozen=True)
class _Prior:
    mean: Array
    sd: Array


_TERMS_PRIOR = _Prior(prior_mean(EXTRUSION), prior_sd(EXTRUSION))
_SCATTERS_PRIOR = _Prior(
    np.array([np.log(one.median) for one in EXTRUSION.scatters.values()]),
    np.array([one.log_sd for one in EXTRUSION.scatters.values()]),
)


def lean_on(profile: Profile, others: Sequence[Profile]) -> Profile:
    """Return what a machine's own entries say together with what others of its kind taught.

    How far machines of a kind differ is learned from the others, in the layer plane, across layers
    and of hands each by itself. What the machine's own entries say against them counts: the less
    they fit, the less is taken over.

    A profile of the machine itself from before a change (another material, nozzle or layer height)
    carries over as far as pairs show it: profiles of other machines on both sides of that change.

    Parameters
    ----------
    profile : Profile
        Of the machine's own runs alone.
    others : sequence of Profile
        Of other machines, of the same material, nozzle and layer height; or one of the machine
        itself and pairs, see `coupons.learning.kindred`.

    Raises
    ------
    ProfileError
        With every profile that does not belong to this kind, nor to a side of the change, was
        printed under other corrections of the slicer or with another first layer, leans on others
        itself, or is there twice; or if there are no pairs.

    Warns
    -----
    DoubtWarning
        If the machine is more likely unlike the others than like them, or changed in another way
        than they; if there is only one other, or only one pair; or if it is not known whether they
        were printed with the same corrections.
    """
    kindred = sort_out(profile, others)
    change = _change_of_terms(kindred)
    terms = pool(
        _of_terms(profile),
        [_of_terms(one) for one in kindred.kin],
        _GROUPS,
        FAMILIES,
        _carried_terms(profile, kindred, change),
    )
    scatters = pool(
        _of_scatters(profile),
        [_of_scatters(one) for one in kindred.kin],
        _ONE_GROUP,
        carried=_carried_scatters(kindred),
    )
    log_mean = _SCATTERS_PRIOR.mean + _SCATTERS_PRIOR.sd * scatters.mean
    log_sd = _SCATTERS_PRIOR.sd * np.sqrt(np.diag(scatters.covariance))
    behind = [one for one in (profile, kindred.before, *kindred.kin) if one is not None]
    found = with_posterior(
        profile,
        _TERMS_PRIOR.mean + _TERMS_PRIOR.sd * terms.mean,
        terms.covariance * np.outer(_TERMS_PRIOR.sd, _TERMS_PRIOR.sd),
        dict(zip(SCATTERS, zip(log_mean, log_sd, strict=True), strict=True)),
        like=_like(kindred, float(terms.unlike[OF_MACHINES].max())),
        carried=_told(kindred, change, float(terms.new[OF_MACHINES].max())),
        measured=joined_ranges(each for one in behind for each in one.measured),
        counts=profile.counts.model_copy(update={"by_print_effect": _prints_behind(behind)}),
    )
    _doubt_aloud(found, kindred)
    return found


def _of_terms(profile: Profile) -> MachineEvidence:
    prior = _TERMS_PRIOR
    return evidence_of(profile.mean_vector, profile.covariance_matrix, prior.mean, prior.sd)


def _of_scatters(profile: Profile) -> MachineEvidence:
    known = [profile.scatters[name] for name in SCATTERS]
    mean = np.log([one.median_mm for one in known])
    # A scatter that was not seen may have come out a little wider than its prior.
    sd = np.minimum([one.log_sd for one in known], _SCATTERS_PRIOR.sd)
    return evidence_of(mean, np.diag(sd**2), _SCATTERS_PRIOR.mean, _SCATTERS_PRIOR.sd)


def _change_of_terms(kindred: Kindred) -> MachineChange | None:
    """Learn from the pairs what the change does to the terms."""
    if not kindred.pairs:
        return None
    return learn_change(
        [
            change_of_pair(widened(_of_terms(first), _other_hand(first, second)), _of_terms(second))
            for first, second in kindred.pairs
        ]
    )


def _carried_terms(
    profile: Profile, kindred: Kindred, change: MachineChange | None
) -> MachineEvidence | None:
    if kindred.before is None or change is None:
        return None
    before = widened(_of_terms(kindred.before), _other_hand(kindred.before, profile))
    return carried(before, change)


def _carried_scatters(kindred: Kindred) -> MachineEvidence | None:
    if kindred.before is None:
        return None
    pairs = [
        change_of_pair(_of_scatters(first), _of_scatters(second)) for first, second in kindred.pairs
    ]
    return carried(_of_scatters(kindred.before), learn_change(pairs))


def _other_hand(first: Profile, second: Profile) -> Array:
    """Return what two people add to a change of the thresholds, if they are known to be two."""
    if first.hand is None or second.hand is None or first.hand.by == second.hand.by:
        return np.zeros((len(TERMS), len(TERMS)))
    apart = _THRESHOLDS * EXTRUSION.hand.sd / _TERMS_PRIOR.sd
    return 2 * np.outer(apart, apart)


def _like(kindred: Kindred, unlike: float) -> Like | None:
    if not kindred.kin:
        return None
    machines = tuple(dict.fromkeys(one.machine for one in kindred.kin))
    return Like(machines=machines, unlike=round(unlike, 4))


def _told(kindred: Kindred, change: MachineChange | None, new: float) -> Carried | None:
    """Say which terms carry over: those that are still known when the change is counted."""
    before = kindred.before
    if before is None or change is None:
        return None
    known = np.diag(before.covariance_matrix) / _TERMS_PRIOR.sd**2
    left = known + np.diag(change.covariance)
    moved = np.abs(change.mean) > SDS_OF_90 * change.mean_sd
    by = change.mean * _TERMS_PRIOR.sd
    over = [name for name, share in zip(TERMS, left, strict=True) if share < KNOWN]
    return Carried(
        material=before.material,
        nozzle_mm=before.nozzle_mm,
        layer_height_mm=before.layer_height_mm,
        pairs=tuple(first.machine for first, _ in kindred.pairs),
        over=tuple(over),
        moved={TERMS[t]: float(f"{by[t]:.2g}") for t in np.flatnonzero(moved) if TERMS[t] in over},
        anew=tuple(
            name
            for name, was, share in zip(TERMS, known, left, strict=True)
            if was < KNOWN <= share
        ),
        unlike=round(new, 4),
    )


def _prints_behind(profiles: Sequence[Profile]) -> tuple[int, ...]:
    """Count the prints that taught something of each print effect, on all machines."""
    return tuple(map(sum, zip(*(one.counts.informing for one in profiles), strict=True)))


def _doubt_aloud(profile: Profile, kindred: Kindred) -> None:
    for doubt in _doubts(profile, kindred):
        warnings.warn(doubt, DoubtWarning, stacklevel=4)


def _doubts(profile: Profile, kindred: Kindred) -> Iterator[str]:
    name = one_line(profile.machine)
    if profile.like is not None and profile.like.unlike > UNLIKE:
        yield (
            f"{name} does not look like the other machines (chance {profile.like.unlike:.0%} by "
            "its own entries), so little was taken from them. Fill in more of its coupon."
        )
    if profile.carried is not None and profile.carried.unlike > CHANGED_ELSE:
        yield (
            f"{name} did not change as the pairs did (chance {profile.carried.unlike:.0%} by its "
            "own entries), so little was carried over. Fill in more of its coupon."
        )
    if len(kindred.kin) == 1:
        yield "One other machine says little on how far machines of a kind differ; name more."
    if len(kindred.pairs) == 1:
        yield "One pair says little on how far machines differ in such a change; name more pairs."
    sides = [(profile, one) for one in kindred.kin]
    sides += [(profile, second) for _, second in kindred.pairs]
    sides += [(kindred.before, first) for first, _ in kindred.pairs if kindred.before]
    unsaid = [
        one_line(other.machine)
        for ours, other in sides
        if any((a is None) != (b is None) for _, a, b in corrections(ours, other))
    ]
    if unsaid:
        yield (
            f"It is not known whether {', '.join(dict.fromkeys(unsaid))} printed with the same "
            f"corrections of the slicer as {name}: fill in [slicing] in conditions.toml."
        )
