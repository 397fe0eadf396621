"""What all joints of some prints share: terms, what each print has of its own, and scatters.

How large own deviations, judgement and shifts are is shared too: an error in them affects every
joint.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from coupons.answering.chances.own_spread import own_scatters
from coupons.answering.chances.prints import Prints, prints_of
from coupons.learning.print_effects import TaughtShift
from coupons.learning.profile import LogSpread, Profile


@dataclass(frozen=True)
class Shared:
    """What all joints of some prints share, in mm.

    Parameters
    ----------
    terms : TaughtShift
        What is not known of the printers' terms; part of it goes with how large shifts are.
    prints : tuple of LogSpread
        Scatters of what a print has of its own; known only roughly themselves. As many as ``terms``
        was taken apart by.
    draws : tuple of int
        By place among ``prints``, what is drawn anew for the next prints: of two prints of one
        printer each has a draw. One draw of each if not given.
    scatter_of : tuple of int
        By place among the scatters between prints, on which one each of them goes: whoever is
        mistaken about a scatter is so about all that go with it. Each on its own if not given.
    own : tuple of LogSpread
        Scatters of what each joint has to itself; known only roughly as well.
    """

    terms: TaughtShift
    prints: tuple[LogSpread, ...] = ()
    scatter_of: tuple[int, ...] | None = None
    own: tuple[LogSpread, ...] = ()
    draws: tuple[int, ...] | None = None


def shared_of(made: Profile | Prints) -> Shared:
    """Return what the joints of some prints share: terms, what each has of its own, scatters.

    Terms come in the order of the profiles, what is drawn anew after them: print by print, those
    of the first profile first. A profile stands for one print of its printer.
    """
    prints = prints_of(made)
    names = [
        (at, effect.scatter)
        for at, profile in enumerate(prints.profiles)
        for effect in profile.prior_table.prints
    ]
    scatters = list(dict.fromkeys(names))
    of_profile = [
        tuple(n for n, (of, _) in enumerate(names) if of == at)
        for at in range(len(prints.profiles))
    ]
    return Shared(
        _beside_one_another([profile.taught_shift for profile in prints.profiles]),
        tuple(spread for profile in prints.profiles for spread in profile.print_spreads),
        tuple(scatters.index(name) for name in names),
        own_scatters(prints),
        tuple(n for of in sorted(prints.of) for n in of_profile[of]),
    )


def _beside_one_another(taught: Sequence[TaughtShift]) -> TaughtShift:
    """Return what is known of several printers, none of which tells of another."""
    if len(taught) == 1:
        return taught[0]
    return TaughtShift(
        block_diag(*(one.root for one in taught)),
        block_diag(*(one.slope for one in taught)),
        block_diag(*(one.information for one in taught)),
        np.concatenate([one.runs for one in taught]),
    )
