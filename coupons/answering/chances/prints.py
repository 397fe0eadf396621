"""The prints that the bodies of joints come from, and the profiles of their printers.

Bodies of one print share what that print has of its own: in a gap it counts twice where it moves
outer and inner faces alike. Bodies of two prints have a draw each. Bodies of two printers, of which
each has a profile, share nothing at all.

A joint's margins are rows over the terms *of each print*, one block a print, so that every block
keeps the order of `coupons.learning.effects.TERMS`. With one print a row is what it would be over
the terms of its profile.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from coupons.learning.effects import TERMS
from coupons.learning.profile import Profile

Array = NDArray[np.floating]

N_TERMS = len(TERMS)


@dataclass(frozen=True)
class Prints:
    """Some prints, each of the printer of one profile.

    Parameters
    ----------
    profiles : tuple of Profile
        No two alike. The hand that tries, and what a pair loses to its form, are those of the
        first one.
    of : tuple of int
        By print, the place of its profile. The first print is of the first profile.
    """

    profiles: tuple[Profile, ...]
    of: tuple[int, ...] = (0,)

    @cached_property
    def mean_vector(self) -> Array:
        """Posterior means of the terms of each print, shape (n_prints · n_terms,)."""
        return np.concatenate([self.profiles[at].mean_vector for at in self.of])

    def by_profile(self, rows: Array) -> Iterator[tuple[Profile, Array, list[Array]]]:
        """Yield each profile, the rows over its terms, and how each of its prints acts.

        Parameters
        ----------
        rows : ndarray of shape (n, n_prints · n_terms)

        Yields
        ------
        profile : Profile
        terms : ndarray of shape (n, n_terms)
            Summed over the prints: they share what is not known of their printer.
        acts : list of ndarray of shape (n, n_print_effects)
            One a print.
        """
        blocks = rows.reshape(len(rows), len(self.of), -1).swapaxes(0, 1)
        for at, profile in enumerate(self.profiles):
            own = [block for block, of in zip(blocks, self.of, strict=True) if of == at]
            terms = own[0] if len(own) == 1 else np.sum(own, axis=0)
            yield profile, terms, [block @ profile.print_moves for block in own]

    def shared_row(self, row: Array) -> Array:
        """Return a row over all that joints share: terms of each profile, effects of each print.

        The order of both is that of `coupons.answering.chances.shared.shared_of`.
        """
        parts = list(self.by_profile(row[None, :]))
        terms = [terms[0] for _, terms, _ in parts]
        return np.concatenate([*terms, *(act[0] for _, _, acts in parts for act in acts)])


@dataclass(frozen=True)
class MadeFrom:
    """From which of some prints the two bodies of a joint come.

    Parameters
    ----------
    prints : Prints
    internal, external : int
        Places among the prints.
    """

    prints: Prints
    internal: int = 0
    external: int = 0

    def place_of(self, *, internal: bool) -> int:
        """Return the place of the print of one body."""
        return self.internal if internal else self.external

    def profile_of(self, *, internal: bool) -> Profile:
        """Return the profile of the printer of one body."""
        return self.prints.profiles[self.prints.of[self.place_of(internal=internal)]]


def place_among(profiles: list[Profile], maker: Profile) -> int:
    """Return the place of a profile in a list, to which it is added if it is not there yet.

    The same file read twice is one printer.
    """
    for at, known in enumerate(profiles):
        if known is maker or known.model_dump() == maker.model_dump():
            return at
    profiles.append(maker)
    return len(profiles) - 1


def prints_of(made: Profile | Prints) -> Prints:
    """Return prints as they are; a profile stands for one print of its printer."""
    return made if isinstance(made, Prints) else Prints((made,))


def made_by(
    profile: Profile,
    internal: Profile | None = None,
    external: Profile | None = None,
    *,
    two_prints: bool = False,
) -> MadeFrom:
    """Return where the bodies of a joint come from.

    Parameters
    ----------
    profile : Profile
        Whose hand tries, and which makes a body that no other one does.
    internal, external : Profile, optional
        Of the printer of one body, if another.
    two_prints : bool
        The bodies come from two prints also where one printer makes both.
    """
    profiles = [profile]
    prints = [0]
    places: list[int] = []
    for maker in (internal or profile, external or profile):
        at = place_among(profiles, maker)
        taken = places if two_prints else []
        free = [n for n, of in enumerate(prints) if of == at and n not in taken]
        if not free:
            prints.append(at)
            free = [len(prints) - 1]
        places.append(free[0])
    return MadeFrom(Prints(tuple(profiles), tuple(prints)), *places)
