"""A profile that leans on those of other machines of its kind; the statistics are in `pooling`."""

import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupons.errors import DoubtWarning, Problem, ProfileError
from coupons.learning.effects import EXTRUSION, SCATTERS, TERMS, prior_mean, prior_sd
from coupons.learning.pooling import Evidence, evidence_of, pool
from coupons.learning.profile import VERSION, Like, Profile, joined_ranges
from coupons.learning.profile_of_fit import with_posterior
from coupons.neutral import one_line

Array = NDArray[np.floating]

UNLIKE = 0.5
"""From this chance on a machine is named as unlike the others."""

_HEIGHTS = ("scale_z", "growth_ext_z", "growth_int_z", "bed_height", "first_layer", "lying_loss")
_PLANE, _ACROSS_LAYERS, _HANDS = range(3)


def _group(term: str) -> int:
    if term.startswith("from_") or term == "contact_loss":
        return _HANDS
    return _ACROSS_LAYERS if term in _HEIGHTS else _PLANE


_GROUPS = np.array([_group(term) for term in TERMS])
_ONE_GROUP = np.zeros(len(SCATTERS), dtype=np.intp)


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

    Parameters
    ----------
    profile : Profile
        Of the machine's own runs alone.
    others : sequence of Profile
        Of other machines, of the same material, nozzle and layer height.

    Raises
    ------
    ProfileError
        With every profile that does not belong to this kind, was printed under other corrections
        of the slicer or with another first layer, leans on others itself, or is there twice.

    Warns
    -----
    DoubtWarning
        If the machine is more likely unlike the others than like them, if there is only one other,
        or if it is not known whether they were printed with the same corrections.
    """
    problems = list(_odd(profile, others))
    if problems:
        raise ProfileError(problems)
    terms = pool(_of_terms(profile), [_of_terms(one) for one in others], _GROUPS)
    scatters = pool(_of_scatters(profile), [_of_scatters(one) for one in others], _ONE_GROUP)
    log_mean = _SCATTERS_PRIOR.mean + _SCATTERS_PRIOR.sd * scatters.mean
    log_sd = _SCATTERS_PRIOR.sd * np.sqrt(np.diag(scatters.covariance))
    machines = tuple(dict.fromkeys(one.machine for one in others))
    pooled = with_posterior(
        profile,
        _TERMS_PRIOR.mean + _TERMS_PRIOR.sd * terms.mean,
        terms.covariance * np.outer(_TERMS_PRIOR.sd, _TERMS_PRIOR.sd),
        dict(zip(SCATTERS, zip(log_mean, log_sd, strict=True), strict=True)),
        like=Like(machines=machines, unlike=round(terms.unlike, 4)),
        measured=joined_ranges(each for one in (profile, *others) for each in one.measured),
        counts=profile.counts.model_copy(
            update={"by_print_effect": _prints_behind((profile, *others))}
        ),
    )
    _doubt_aloud(profile, others, terms.unlike)
    return Profile.model_validate(pooled.model_dump())


def _of_terms(profile: Profile) -> Evidence:
    prior = _TERMS_PRIOR
    return evidence_of(profile.mean_vector, profile.covariance_matrix, prior.mean, prior.sd)


def _of_scatters(profile: Profile) -> Evidence:
    known = [profile.scatters[name] for name in SCATTERS]
    mean = np.log([one.median_mm for one in known])
    # A scatter that was not seen may have come out a little wider than its prior.
    sd = np.minimum([one.log_sd for one in known], _SCATTERS_PRIOR.sd)
    return evidence_of(mean, np.diag(sd**2), _SCATTERS_PRIOR.mean, _SCATTERS_PRIOR.sd)


def _prints_behind(profiles: Sequence[Profile]) -> tuple[int, ...]:
    """Count the prints that taught something of each print effect, on all machines."""
    return tuple(map(sum, zip(*(one.counts.informing for one in profiles), strict=True)))


def _odd(profile: Profile, others: Sequence[Profile]) -> Iterator[Problem]:
    seen = {profile.entries_sha256: "this run"}
    for number, other in enumerate(others, start=1):
        where = f"--like profile {number} ({one_line(other.machine)}, {one_line(other.material)})"
        yield from _of_another_kind(profile, other, where)
        if other.machine == profile.machine:
            todo = "Fit the runs of one machine together: coupons fit RUN RUN"
            yield Problem(where, "another machine", "the same machine", todo)
        if other.entries_sha256 in seen:
            todo = "Name each profile once"
            yield Problem(where, "other entries", f"those of {seen[other.entries_sha256]}", todo)
        seen[other.entries_sha256] = f"profile {number}"
        if other.like is not None:
            todo = "Fit that machine by itself, without --like: its entries would count twice"
            yield Problem(where, "a profile of one machine", "one that leans on others", todo)
        if other.version != VERSION:
            todo = "Fit its runs again with `coupons fit`"
            yield Problem(where, f"version {VERSION}", f"version {other.version}", todo)
        if other.rehearsed and not profile.rehearsed:
            todo = "A virtual printer tells nothing of a real one: leave it out"
            yield Problem(where, "a profile of a real printer", "a rehearsed one", todo)


def _of_another_kind(profile: Profile, other: Profile, where: str) -> Iterator[Problem]:
    todo = "What carries over from one to the other is not known: leave it out"
    for key, unit in (("material", ""), ("nozzle_mm", " mm"), ("layer_height_mm", " mm")):
        ours, theirs = getattr(profile, key), getattr(other, key)
        if ours != theirs:
            yield Problem(where, f"{key} {ours}{unit}", f"{theirs}{unit}", todo)
    todo = "Faces come out elsewhere under other corrections: leave it out"
    for name, ours, theirs in _corrections(profile, other):
        if ours is not None and theirs is not None and ours != theirs:
            yield Problem(where, f"{name} {ours}", str(theirs), todo)


def _corrections(profile: Profile, other: Profile) -> Iterator[tuple[str, object, object]]:
    yield (
        "first_layer_height_mm",
        profile.first_layer_height_mm,
        other.first_layer_height_mm,
    )
    ours = profile.slicing.model_dump() if profile.slicing else {}
    theirs = other.slicing.model_dump() if other.slicing else {}
    for key in sorted(ours.keys() | theirs.keys()):
        yield key, ours.get(key), theirs.get(key)


def _doubt_aloud(profile: Profile, others: Sequence[Profile], unlike: float) -> None:
    name = one_line(profile.machine)
    if unlike > UNLIKE:
        warnings.warn(
            f"{name} does not look like the other machines (chance {unlike:.0%} by its own "
            "entries), so little was taken from them. Fill in more of its coupon.",
            DoubtWarning,
            stacklevel=3,
        )
    if len(others) == 1:
        warnings.warn(
            "One other machine says little on how far machines of a kind differ; name more.",
            DoubtWarning,
            stacklevel=3,
        )
    unsaid = [
        one_line(other.machine)
        for other in others
        if any((a is None) != (b is None) for _, a, b in _corrections(profile, other))
    ]
    if unsaid:
        warnings.warn(
            f"It is not known whether {', '.join(unsaid)} printed with the same corrections of the "
            f"slicer as {name}: fill in [slicing] in conditions.toml.",
            DoubtWarning,
            stacklevel=3,
        )
