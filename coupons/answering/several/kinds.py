"""What can be asked of a joint with more than one pair of faces, and what makes no sense."""

from dataclasses import dataclass
from enum import StrEnum

from coupons.answering.chances.bed import crosses_layers
from coupons.answering.chances.prints import MadeFrom, made_by
from coupons.answering.question import Question, check_question
from coupons.answering.standards.hardware import Hardware
from coupons.answering.typed_words import Sides
from coupons.answering.ways import written_across
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import Bed, Form, Grade, Joint, MovingBody


class JointKind(StrEnum):
    """Internal and external body of a joint with more than one pair of faces."""

    POCKET = "pocket/plate"
    SLEEVE = "sleeve/bar"
    HOLES = "holes/pins"
    LEGS = "legs/bar"

    @property
    def bodies(self) -> tuple[str, str]:
        """What the internal and the external body are called."""
        internal, external = self.value.split("/")
        return internal, external


_ACROSS_BOTH = ("across the first size", "across the second")
AXES: dict[JointKind, tuple[str, ...]] = {
    JointKind.POCKET: _ACROSS_BOTH,
    JointKind.SLEEVE: _ACROSS_BOTH,
    JointKind.HOLES: ("along the axes", "along the pitch"),
    JointKind.LEGS: ("across",),
}
"""What each direction of a body is."""
TWO_SIZES = frozenset({JointKind.POCKET, JointKind.SLEEVE})


@dataclass(frozen=True)
class Corners:
    """Drawn radii of the corners of a pocket or sleeve and of what goes in, in mm.

    ``internal_mm`` is None where the inner corners are cut free.
    """

    internal_mm: float | None = 0.0
    external_mm: float = 0.0

    @property
    def excess_mm(self) -> float:
        """By how much the inner radius exceeds the outer one; not above 0 if faces meet first."""
        return 0.0 if self.internal_mm is None else self.internal_mm - self.external_mm


@dataclass(frozen=True)
class Legs:
    """Two springy legs: free length and thickness at the root in mm, and the lips at the mouth.

    ``mouth_mm`` is the drawn opening between the lips, None without any; ``strain_limit`` that of
    the material, None where it is not known.
    """

    length_mm: float
    thickness_mm: float
    mouth_mm: float | None = None
    strain_limit: float | None = None


@dataclass(frozen=True)
class Several:
    """What a designer asks of a joint with more than one pair of faces.

    Parameters
    ----------
    kind : JointKind
    sizes_mm : tuple of float
        Nominal sizes: two of a pocket or sleeve, one of the others.
    sides : tuple of (tuple of Direction, tuple of Direction)
        Directions of the internal and of the external body, as `AXES` lists them.
    fit, move, at_least, drawn_gap_mm, bed, internal_profile, external_profile, two_prints
        As in `coupons.answering.question.Question`; a gap is that of each pair.
    hardware : Hardware, optional
        Of holes: two such pieces, which the external body holds.
    pitch_mm : float, optional
        Of holes: the distance of their axes.
    corners : Corners
    legs : Legs, optional
    """

    kind: JointKind
    sizes_mm: tuple[float, ...]
    sides: Sides
    fit: Grade = Grade.SLIDE
    move: MovingBody = MovingBody.EXTERNAL
    at_least: float | None = None
    drawn_gap_mm: float | None = None
    hardware: Hardware | None = None
    bed: Bed | None = None
    internal_profile: Profile | None = None
    external_profile: Profile | None = None
    two_prints: bool = False
    pitch_mm: float | None = None
    corners: Corners = Corners()
    legs: Legs | None = None

    @property
    def name(self) -> str:
        """The question in a few words."""
        sizes = "x".join(f"{mm:g}" for mm in self.sizes_mm)
        what = f"{self.hardware.name} twice" if self.hardware else f"{self.kind} {sizes} mm"
        pitch = "" if self.pitch_mm is None else f" at {self.pitch_mm:g} mm"
        return f"{self.fit} {what}{pitch} {written_across(self.sides)}"

    @property
    def pairs(self) -> tuple[Question, ...]:
        """Each pair of faces as a question of its own; of two holes one, which stands for both."""
        forms = (Form.HOLE, Form.PIN) if self.kind is JointKind.HOLES else (Form.SLOT, Form.TONGUE)
        return tuple(
            self._pair(Joint(*forms, size_mm, inner, outer if outer is not inner else None))
            for size_mm, inner, outer in zip(self.sizes_mm, *self.sides, strict=False)
        )

    def _pair(self, joint: Joint) -> Question:
        common = (joint, self.fit, self.move, self.at_least, self.drawn_gap_mm, None)
        looks_down = any(map(crosses_layers, joint.forms, joint.directions))
        bed = self.bed if looks_down else None
        if self.hardware is not None:  # the external body is none of the pair
            joint = Joint(*joint.forms, joint.size_mm, joint.direction)
            return Question(
                joint, *common[1:], self.hardware, bed, internal_profile=self.internal_profile
            )
        makers = (self.internal_profile, self.external_profile, self.two_prints)
        return Question(*common, None, bed, None, *makers)

    def made(self, profile: Profile) -> MadeFrom:
        """Return the prints that the bodies come from, if this profile is asked."""
        makers = self.internal_profile, self.external_profile
        return made_by(profile, *makers, two_prints=self.two_prints)


def check_several(asked: Several) -> None:
    """Refuse questions that make no sense for any profile, with all that is wrong.

    Raises
    ------
    AnswerError
    """
    wrong = [*_odd_parts(asked), *_odd_pitch(asked), *_odd_corners(asked), *_odd_legs(asked)]
    for pair in asked.pairs if not _odd_sizes(asked) else ():
        try:
            check_question(pair)
        except AnswerError as error:
            wrong += error.message.split("\n")
    wrong += _odd_sizes(asked)
    if asked.bed is not None and all(pair.bed is None for pair in asked.pairs):
        wrong.append("What stands on the bed matters across z and for lying rounds alone.")
    if wrong:
        raise AnswerError("\n".join(dict.fromkeys(wrong)))


def _odd_sizes(asked: Several) -> list[str]:
    needed = 2 if asked.kind in TWO_SIZES else 1
    if len(asked.sizes_mm) == needed:
        return []
    such = "two sizes, such as 40x25" if needed == 2 else "one size, such as 8"
    return [f"A {asked.kind} joint has {such}, not {len(asked.sizes_mm)}."]


def _odd_parts(asked: Several) -> list[str]:
    """Say what was given that belongs to another kind of joint, or is missing."""
    kind, wrong = asked.kind, []
    if asked.hardware is not None:
        if kind is not JointKind.HOLES:
            wrong.append(f"Hardware goes into holes/pins, not into {kind}.")
        elif asked.hardware.form is not Form.PIN:
            wrong.append(f"{asked.hardware.name} does not go into a hole.")
    if asked.pitch_mm is not None and kind is not JointKind.HOLES:
        wrong.append(f"A pitch belongs to holes/pins, not to {kind}.")
    if asked.corners != Corners() and kind not in TWO_SIZES:
        wrong.append(f"Corner radii belong to pocket/plate and sleeve/bar, not to {kind}.")
    if asked.legs is not None and kind is not JointKind.LEGS:
        wrong.append(f"Leg, mouth and strain limit belong to legs/bar, not to {kind}.")
    return wrong


def _odd_pitch(asked: Several) -> list[str]:
    if asked.kind is not JointKind.HOLES:
        return []
    if asked.pitch_mm is None:
        return ["Give the pitch of the two holes: the distance of their axes in mm."]
    size_mm = max(asked.sizes_mm, default=0.0)
    if not size_mm < asked.pitch_mm <= 500:
        return [
            f"The pitch must be larger than the diameter, {size_mm:g} mm, and at most 500 mm, not "
            f"{asked.pitch_mm:g}: else the holes run into one another."
        ]
    return []


def _odd_corners(asked: Several) -> list[str]:
    half_mm = min(asked.sizes_mm, default=0.0) / 2
    return [
        f"A corner radius must be at least 0 and under half of the smaller size, {half_mm:g} mm, "
        f"not {mm:g}."
        for mm in (asked.corners.internal_mm, asked.corners.external_mm)
        if mm is not None and asked.kind in TWO_SIZES and not 0 <= mm < half_mm
    ]


def _odd_legs(asked: Several) -> list[str]:
    if asked.kind is not JointKind.LEGS:
        return []
    if asked.legs is None:
        return ["Give free length and thickness of a leg, such as 20x2."]
    legs, size_mm, wrong = asked.legs, max(asked.sizes_mm, default=0.0), []
    if not 0 < 2 * legs.thickness_mm < legs.length_mm <= 500:
        wrong.append(
            "A leg must be longer than twice its thickness, and at most 500 mm, not "
            f"{legs.length_mm:g} x {legs.thickness_mm:g}: else it does not bend like a beam."
        )
    if legs.mouth_mm is not None and not size_mm / 2 < legs.mouth_mm < size_mm:
        wrong.append(
            f"The mouth must be narrower than the bar, {size_mm:g} mm, and wider than half of it, "
            f"not {legs.mouth_mm:g}. Without lips leave it out."
        )
    if legs.strain_limit is not None and not 0 < legs.strain_limit < 1:
        wrong.append(f"A strain limit is a number such as 0.02 or 2 %, not {legs.strain_limit:g}.")
    if legs.strain_limit is not None and legs.mouth_mm is None:
        wrong.append("A strain limit needs the mouth that bends the legs.")
    return wrong
