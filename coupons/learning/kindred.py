"""What a profile can lean on: other machines of its kind, and itself before a change.

A *kind* is a material with a nozzle and a layer height. Profiles of other machines of the kind of
the one that is fitted tell how machines of it are. One profile of the machine itself, of another
kind, tells what carries over, as far as pairs show it: profiles of other machines, two of each, one
of either kind.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coupons.errors import Problem, ProfileError
from coupons.learning.profile import VERSION, Profile
from coupons.neutral import one_line

Kind = tuple[str, float, float]


@dataclass(frozen=True)
class Kindred:
    """What was given to lean on.

    Parameters
    ----------
    kin : tuple of Profile
        Of other machines of the same kind.
    before : Profile or None
        Of the same machine, of another kind.
    pairs : tuple of (Profile, Profile)
        Of other machines, of the kind of ``before`` and of that of the machine now.
    """

    kin: tuple[Profile, ...]
    before: Profile | None = None
    pairs: tuple[tuple[Profile, Profile], ...] = ()


def kind_of(profile: Profile) -> Kind:
    """Return the material, the nozzle and the layer height in mm."""
    return profile.material, profile.nozzle_mm, profile.layer_height_mm


def kind_words(profile: Profile) -> str:
    """Return the kind of a profile in words.

    Examples
    --------
    >>> from coupons import load_profile
    >>> kind_words(load_profile("results/filter-drawer/profile.json").profile)
    'grey, 0.4 mm nozzle, 0.2 mm layers'
    """
    material, nozzle_mm, layer_mm = kind_of(profile)
    return f"{one_line(material)}, {nozzle_mm:g} mm nozzle, {layer_mm:g} mm layers"


def corrections(profile: Profile, other: Profile) -> Iterator[tuple[str, object, object]]:
    """Yield the name and both values of all that a slicer may correct; None is not known."""
    yield (
        "first_layer_height_mm",
        profile.first_layer_height_mm,
        other.first_layer_height_mm,
    )
    ours = profile.slicing.model_dump() if profile.slicing else {}
    theirs = other.slicing.model_dump() if other.slicing else {}
    for key in sorted(ours.keys() | theirs.keys()):
        yield key, ours.get(key), theirs.get(key)


def sort_out(profile: Profile, others: Sequence[Profile]) -> Kindred:
    """Tell which of some profiles are of the machine's kind, which of itself, and which are pairs.

    Raises
    ------
    ProfileError
        With every profile that belongs to neither, or cannot be used.
    """
    given = [
        (f"--like profile {n} ({one_line(one.machine)}, {one_line(one.material)})", one)
        for n, one in enumerate(others, start=1)
    ]
    before = next((one for one in others if _is_itself_before(profile, one)), None)
    sides = {kind_of(profile): profile}
    if before is not None:
        sides[kind_of(before)] = before
    problems = [
        *_unfit(profile, given),
        *(
            found
            for where, one in given
            for found in _misplaced(profile, before, sides, where, one)
        ),
    ]
    machines = dict.fromkeys(one.machine for one in others if one.machine != profile.machine)
    by_side = {
        machine: {kind_of(one): one for one in others if one.machine == machine}
        for machine in machines
    }
    pairs = tuple(
        (of[kind_of(before)], of[kind_of(profile)])
        for of in by_side.values()
        if before is not None and {kind_of(before), kind_of(profile)} <= of.keys()
    )
    problems += _unpaired(profile, before, given, pairs)
    if problems:
        raise ProfileError(problems)
    paired = {id(one) for pair in pairs for one in pair}
    kin = tuple(one for one in others if one is not before and id(one) not in paired)
    return Kindred(kin, before, pairs)


def _is_itself_before(profile: Profile, other: Profile) -> bool:
    return other.machine == profile.machine and kind_of(other) != kind_of(profile)


def _unfit(profile: Profile, given: Sequence[tuple[str, Profile]]) -> Iterator[Problem]:
    """Yield what keeps profiles from being evidence, whatever they are of."""
    seen = {profile.entries_sha256: "this run"}
    for number, (where, other) in enumerate(given, start=1):
        if other.entries_sha256 in seen:
            todo = "Name each profile once"
            yield Problem(where, "other entries", f"those of {seen[other.entries_sha256]}", todo)
        seen[other.entries_sha256] = f"profile {number}"
        if other.like is not None or other.carried is not None:
            todo = "Fit that machine by itself, without --like: its entries would count twice"
            yield Problem(where, "a profile of one machine", "one that leans on others", todo)
        if other.version != VERSION:
            todo = "Fit its runs again with `coupons fit`"
            yield Problem(where, f"version {VERSION}", f"version {other.version}", todo)
        if other.rehearsed and not profile.rehearsed:
            todo = "A virtual printer tells nothing of a real one: leave it out"
            yield Problem(where, "a profile of a real printer", "a rehearsed one", todo)


def _misplaced(
    profile: Profile, before: Profile | None, sides: dict[Kind, Profile], where: str, other: Profile
) -> Iterator[Problem]:
    """Yield why a profile is neither of this kind nor of a side of the change."""
    if other is before:
        return
    if other.machine == profile.machine:
        if kind_of(other) == kind_of(profile):
            todo = "Fit the runs of one machine together: coupons fit RUN RUN"
        else:
            todo = "Name one profile of this machine from before the change"
        yield Problem(where, "another machine", "the same machine", todo)
        return
    side = sides.get(kind_of(other))
    if side is None:
        yield from _of_another_kind(profile, before, where, other)
    else:
        todo = "Faces come out elsewhere under other corrections: leave it out"
        for name, ours, theirs in corrections(side, other):
            if ours is not None and theirs is not None and ours != theirs:
                yield Problem(where, f"{name} {ours}", str(theirs), todo)


def _of_another_kind(
    profile: Profile, before: Profile | None, where: str, other: Profile
) -> Iterator[Problem]:
    if before is not None:
        todo = "It is of neither side of the change: leave it out"
        expected = f"{kind_words(profile)}, or {kind_words(before)}"
        yield Problem(where, expected, kind_words(other), todo)
        return
    todo = (
        "What carries over from one to the other is not known: leave it out, or add a profile of "
        f"{one_line(profile.machine)} of that kind and both profiles of other machines"
    )
    for key, unit in (("material", ""), ("nozzle_mm", " mm"), ("layer_height_mm", " mm")):
        ours, theirs = getattr(profile, key), getattr(other, key)
        if ours != theirs:
            yield Problem(where, f"{key} {ours}{unit}", f"{theirs}{unit}", todo)


def _unpaired(
    profile: Profile,
    before: Profile | None,
    given: Sequence[tuple[str, Profile]],
    pairs: Sequence[tuple[Profile, Profile]],
) -> Iterator[Problem]:
    """Yield what is missing to learn what the change does."""
    seen: set[tuple[str, Kind]] = set()
    paired = {one.machine for one, _ in pairs}
    for where, other in given:
        key = (other.machine, kind_of(other))
        if before is not None and key in seen and other.machine in paired:
            todo = "Fit the runs of one machine together, or name one of them"
            yield Problem(where, "one profile of a machine on each side", "a second one", todo)
        seen.add(key)
        if before is None or other is before:
            continue
        if kind_of(other) == kind_of(before) and other.machine not in paired:
            todo = f"Add its profile of {kind_words(profile)}, or leave it out"
            yield Problem(where, "both sides of the change", "one side", todo)
    if before is not None and not pairs:
        where = next(where for where, one in given if one is before)
        yield Problem(
            where,
            "pairs of profiles that show what the change does",
            "none",
            f"Add two profiles of each of some other machines: one of {kind_words(before)}, one of "
            f"{kind_words(profile)}",
        )
