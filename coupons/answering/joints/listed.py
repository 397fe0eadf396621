"""Joints as a list has them, read and without problems."""

import re
from dataclasses import dataclass, replace

from coupons.answering.joints.lone_rows import ListedHole
from coupons.answering.several.kinds import Several
from coupons.answering.standards.hardware import Hardware
from coupons.learning.profile import Profile
from coupons.terms import Bed, Grade, Joint, MovingBody


@dataclass(frozen=True)
class ListedJoint:
    """One row of the list.

    Parameters
    ----------
    row : int
        As the spreadsheet numbers it.
    name : str
    joint : Joint
    fit : Grade or None
        The wanted grade; None if ``gap_mm`` or the standard of the hardware sets the gap.
    gap_mm : float or None
        A wanted printed gap.
    move : MovingBody
        Which body moves.
    hardware : Hardware or None
        The side of the joint that is not printed.
    at_least : float or None
        Chance with which it must go as wanted or more easily; None for the best chance of just the
        fit.
    bed : Bed or None
        Which body stands on the bed; None where nobody said.
    contact_mm : float or None
        How long the bodies bear on each other; None where nobody said.
    internal_profile, external_profile : Profile or None
        Of the printer of a body; None for the one that is asked.
    internal_print, external_print : str
        The print that a body comes from; empty where nobody said.
    several : Several or None
        The question about a joint of more than one pair of faces; ``joint`` is its first pair.
    choices : int
        How many pieces of the moving body are printed to choose from.
    loose_costs : float
        What too loose costs where too tight costs 1.
    off_axis_deg : float
        How far the bodies are drawn off the directions that are answered.
    """

    row: int
    name: str
    joint: Joint
    fit: Grade | None
    gap_mm: float | None
    move: MovingBody
    hardware: Hardware | None = None
    at_least: float | None = None
    bed: Bed | None = None
    contact_mm: float | None = None
    internal_profile: Profile | None = None
    external_profile: Profile | None = None
    internal_print: str = ""
    external_print: str = ""
    several: Several | None = None
    choices: int = 1
    loose_costs: float = 1.0
    off_axis_deg: float = 0.0

    @property
    def print_words(self) -> tuple[tuple[str, Profile | None], ...]:
        """Prints that were named, each with the profile of its printer; None is the one asked."""
        sides = (
            (self.internal_print, self.internal_profile),
            (self.external_print, self.external_profile),
        )
        return tuple((word, maker) for word, maker in sides if word)

    @property
    def key(self) -> tuple[object, ...]:
        """What is asked, as something that can be looked up: rows that ask the same are equal."""
        makers = self.internal_profile, self.external_profile
        several = self.several and replace(
            self.several, internal_profile=None, external_profile=None
        )
        alone = replace(
            self, row=0, name="", internal_profile=None, external_profile=None, several=several
        )
        return alone, *map(id, makers)


@dataclass(frozen=True)
class JointList:
    """The content of a list of joints.

    Parameters
    ----------
    joints : tuple of ListedJoint
    ignored : tuple of str
        Columns with content that are not used.
    holes : tuple of ListedHole
        Holes that meet no body and of which no joint is asked.
    """

    joints: tuple[ListedJoint, ...]
    ignored: tuple[str, ...]
    holes: tuple[ListedHole, ...] = ()


def label_of(name: str) -> str:
    """Write a name in letters, digits and underscores, as the name of a value in a model.

    Examples
    --------
    >>> label_of("Lid pin (2)"), label_of("2nd lid")
    ('Lid_pin_2', 'joint_2nd_lid')
    """
    words = re.sub(r"\W+", "_", name).strip("_")
    return words if words[:1].isalpha() else f"joint_{words}"
