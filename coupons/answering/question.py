"""A question about one joint, and whether it makes sense."""

from dataclasses import dataclass

from coupons.answering.chances.bed import odd_bed
from coupons.answering.chances.contact_length import odd_contact
from coupons.answering.chances.costs import odd_costs
from coupons.answering.chances.pairs import odd_pair
from coupons.answering.chances.pieces import odd_choices
from coupons.answering.chances.prints import MadeFrom, made_by
from coupons.answering.chances.slants import odd_slant
from coupons.answering.origin import Origin, origin_of
from coupons.answering.sides import odd_sides
from coupons.answering.standards.hardware import Hardware, two_holes
from coupons.answering.ways import joint_way
from coupons.errors import AnswerError
from coupons.learning.profile import Profile
from coupons.terms import Bed, Direction, Form, Grade, Joint, MovingBody

SMALLEST_MM, LARGEST_MM = 0.5, 500.0


@dataclass(frozen=True)
class Question:
    """What a designer asks of a joint.

    Parameters
    ----------
    joint : Joint
    fit : Grade
        The grade wanted, any but no-go.
    move : MovingBody
        The body whose faces may move.
    at_least : float, optional
        Ask for the smallest gap that goes at least this easily with this chance, instead of the gap
        with the best chance of exactly the grade.
    drawn_gap_mm : float, optional
        Ask about this gap instead of looking for one.
    printed_gap_mm : float, optional
        Ask for the gap to draw that prints as this one, whatever fit it makes. Only one of this and
        the two before can be asked.
    hardware : Hardware, optional
        Hardware as the mate; the printed body is the one that moves.
    bed : Bed, optional
        Which bodies have their lower mating face on the bed. Unsaid, the answer covers both usual
        cases; see `coupons.answering.chances.bed`.
    contact_mm : float, optional
        How long the bodies bear on each other: the longer of depth of engagement and width. Unsaid,
        as long as usual on the coupon, give or take: `coupons.answering.chances.contact_length`.
    internal_profile, external_profile : Profile, optional
        Of the printer of one body, where it is not the one that is asked.
    two_prints : bool
        The bodies come from two prints of one printer, not from one. Those of two printers do
        so anyhow.
    choices : int
        How many pieces of the body that moves are printed to choose from; see
        `coupons.answering.choices`.
    loose_costs : float
        What too loose costs where too tight costs 1; see `coupons.answering.chances.costs`.
    """

    joint: Joint
    fit: Grade
    move: MovingBody = MovingBody.EXTERNAL
    at_least: float | None = None
    drawn_gap_mm: float | None = None
    printed_gap_mm: float | None = None
    hardware: Hardware | None = None
    bed: Bed | None = None
    contact_mm: float | None = None
    internal_profile: Profile | None = None
    external_profile: Profile | None = None
    two_prints: bool = False
    choices: int = 1
    loose_costs: float = 1.0

    @property
    def name(self) -> str:
        """The question in a few words."""
        joint, mate = self.joint, f"{self.joint.internal}/{self.joint.external}"
        what = self.hardware.name if self.hardware else f"{mate} {joint.size_mm:g} mm"
        return f"{self.fit} {what} {joint_way(joint)}"

    @property
    def wish(self) -> str:
        """What is wanted of the joint, in a few words."""
        if self.drawn_gap_mm is not None:
            return f"drawn gap {self.drawn_gap_mm:g}"
        if self.printed_gap_mm is not None:
            return f"printed gap {self.printed_gap_mm:g}"
        return f"fit {self.fit}"

    @property
    def staying(self) -> Form | None:
        """The body whose faces are not moved; None if both move."""
        stays = {
            MovingBody.INTERNAL: self.joint.external,
            MovingBody.EXTERNAL: self.joint.internal,
        }
        return stays.get(self.move)

    @property
    def printed_forms(self) -> tuple[Form, ...]:
        """Forms that come from the printer: both, or the one that mates with hardware."""
        forms = self.joint.forms
        return tuple(form for form in forms if not self.hardware or form is not self.hardware.form)

    @property
    def ways(self) -> tuple[tuple[Form, Direction], ...]:
        """What comes from the printer, each form with how it lies."""
        return tuple((form, self.joint.direction_of(form)) for form in self.printed_forms)

    @property
    def makers(self) -> tuple[tuple[Form, Origin], ...]:
        """Bodies that another printer makes than the one that is asked, with what it is."""
        others = (self.internal_profile, self.external_profile)
        return tuple(
            (form, origin_of(maker))
            for form, maker in zip(self.joint.forms, others, strict=True)
            if maker is not None
        )

    def made(self, profile: Profile) -> MadeFrom:
        """Return the prints that the bodies come from, if this profile is asked."""
        internal, external = self.internal_profile, self.external_profile
        return made_by(profile, internal, external, two_prints=self.two_prints)


def check_question(question: Question) -> None:
    """Refuse questions that make no sense for any profile.

    Raises
    ------
    AnswerError
    """
    joint = question.joint
    wrong: list[str] = []
    unlike = odd_pair(joint.internal, joint.external)
    if unlike:
        wrong.append(unlike)
    series = question.hardware and two_holes(question.hardware, question.wish)
    if series:
        wrong.append(str(series))
    if not SMALLEST_MM <= joint.size_mm <= LARGEST_MM:
        wrong.append(
            f"A joint's size must be {SMALLEST_MM:g} to {LARGEST_MM:g} mm, not {joint.size_mm:g}."
        )
    if question.fit is Grade.NO_GO:
        wrong.append("Ask for force, push, slide or loose: no-go is not a fit.")
    if question.at_least is not None and not 0 < question.at_least < 1:
        wrong.append(f"A chance must be between 0 and 1, not {question.at_least:g}.")
    wishes = (question.at_least, question.drawn_gap_mm, question.printed_gap_mm)
    if sum(wish is not None for wish in wishes) > 1:
        wrong.append("Use only one of: a chance at least, a drawn gap, a printed gap.")
    wrong += _gaps_too_large(question)
    gap_is_set = any(wish is not None for wish in wishes)
    odd = odd_choices(question.choices, question.move, question.fit, gap_is_set=gap_is_set)
    odd_cost = odd_costs(question.loose_costs, question.fit, gap_is_set=gap_is_set)
    wrong += filter(None, [odd, odd_cost])
    wrong += filter(None, [odd_contact(question.contact_mm)])
    wrong += filter(None, [odd_bed(question.ways, question.bed)])
    wrong += odd_sides(question)
    wrong += filter(None, [odd_slant(joint)])
    if wrong:
        raise AnswerError("\n".join(wrong))


def _gaps_too_large(question: Question) -> list[str]:
    """No size may vanish: a gap of half the size is beyond every fit."""
    return [
        f"A gap must be under half of the joint's size, not {gap_mm:g} mm."
        for gap_mm in (question.drawn_gap_mm, question.printed_gap_mm)
        if gap_mm is not None and not abs(gap_mm) < question.joint.size_mm / 2
    ]
