"""The Python interface: load a profile, ask questions about it."""

from dataclasses import dataclass
from pathlib import Path

from coupons.answering.capability import LimitsAnswer, meet_limits
from coupons.answering.chances.prints import made_by
from coupons.answering.choices import answer_with_choices
from coupons.answering.joint_text import bed_of, hardware_joint, joint_of, parse_joint, side_limits
from coupons.answering.joints.joint_list import read_joints
from coupons.answering.joints.whole_part import PartAnswer, answer_part
from coupons.answering.number_arguments import takes
from coupons.answering.offset import Answer
from coupons.answering.question import Question
from coupons.answering.several.drawn_pairs import SeveralAnswer, answer_several
from coupons.answering.several.kinds import JointKind
from coupons.answering.several.typed_kinds import kind_of, several_of
from coupons.answering.single import SizeAnswer, SizeQuestion, draw_hole, draw_size
from coupons.answering.standards.hardware import Hardware
from coupons.answering.standards.hardware import hardware as read_hardware
from coupons.answering.standards.iso286 import fit_limits
from coupons.answering.told import sentences_of
from coupons.answering.typed_words import known
from coupons.answering.words.choices import sentences
from coupons.answering.words.joints import part_sentences
from coupons.answering.words.several import several_sentences
from coupons.answering.words.sizes import limits_sentences, size_sentences
from coupons.atomic import not_ours
from coupons.errors import AnswerError, ProfileError, WriteError
from coupons.learning.profile import Profile
from coupons.learning.profile_file import is_profile, read_profile, write_profile
from coupons.neutral import one_line
from coupons.terms import FITS, Direction, Form, MovingBody

sentences_of.register(Answer, sentences)
sentences_of.register(SizeAnswer, size_sentences)
sentences_of.register(LimitsAnswer, limits_sentences)
sentences_of.register(PartAnswer, part_sentences)
sentences_of.register(SeveralAnswer, several_sentences)


@dataclass(frozen=True)
class Printer:
    """A printer as described by its profile.

    Parameters
    ----------
    profile : Profile
    """

    profile: Profile

    def __repr__(self) -> str:
        """One line: machine, material, and how much was learned from."""
        known = self.profile
        counts = f"{known.counts.trials} trials, {known.counts.readings} readings"
        return f"<Printer {one_line(f'{known.machine}, {known.material}')}: {counts}>"

    @takes()
    def offset(
        self,
        joint: str | None = None,
        *,
        across: str,
        size_mm: float | None = None,
        fit: str = "slide",
        move: str | None = None,
        at_least: float | None = None,
        drawn_gap_mm: float | None = None,
        printed_gap_mm: float | None = None,
        hardware: str | None = None,
        bed: str | None = None,
        contact_mm: float | None = None,
        other: "Printer | None" = None,
        other_makes: str | None = None,
        two_prints: bool = False,
        slant_deg: float | None = None,
        choices: int = 1,
        loose_costs: float = 1.0,
    ) -> Answer:
        """Say how far to move which face of a joint.

        Parameters
        ----------
        joint : str, optional
            Internal and external form, such as ``"slot/tongue"`` or ``"hole/pin"``. With
            hardware it may be left out, and so may the size.
        across : str
            Printer axis across the faces of a flat joint; of a round one, along its axis. Where the
            two bodies are printed lying unlike, internal/external: ``"z/x"``.
        size_mm : float, optional
            Nominal size.
        fit : str
            ``"force"``, ``"push"``, ``"slide"`` or ``"loose"``.
        move : str, optional
            The body whose faces move: ``"internal"``, ``"external"`` (the default) or ``"both"``.
            With hardware it is the printed one.
        at_least : float, optional
            Ask for the smallest gap with this chance of the fit or a looser one. Use only one of
            this and the two gaps.
        drawn_gap_mm : float, optional
            Ask about a gap that is already drawn.
        printed_gap_mm : float, optional
            Ask what to draw so that this gap is printed, whatever the fit.
        hardware : str, optional
            Hardware as the mate, such as ``"pin 8 m6"``; see
            `coupons.answering.standards.hardware.hardware`.
        bed : str, optional
            Which body has its lower mating face on the bed: ``"external"``, ``"internal"``,
            ``"both"`` or ``"none"``. By default the answer covers none and external evenly.
        contact_mm : float, optional
            How long the bodies bear on each other: the longer of depth of engagement and width. By
            default as long as usual on the coupon, with the uncertainty of not knowing it.
        other : Printer, optional
            The printer that makes one body, where it is not this one. The hand that tries is still
            this profile's.
        other_makes : str, optional
            The body that it makes: ``"external"`` (the default) or ``"internal"``.
        two_prints : bool
            The bodies come from two prints of this printer, not from one.
        slant_deg : float, optional
            Angle between the faces and the way in which the bodies are pulled apart, of a wedge, a
            dovetail or a taper. Flat joints then have two directions, across and along the pull:
            ``"xz"``. Gaps are along the faces' normals.
        choices : int
            How many pieces of the moving body are printed to choose from. The answer's ``choices``
            then hold what to draw for each and the chance that at least one fits; all else is of
            the best single one.
        loose_costs : float
            What a joint that is too loose costs, where one that is too tight costs 1: the gap is
            that of the least expected cost.

        Raises
        ------
        AnswerError
            If a word is not known or the wish makes no sense.
        NotMeasuredError
            If the profile has almost no data on it.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> answer = printer.offset("slot/tongue", size_mm=12, across="x", fit="slide")
        >>> answer.moves[0].offset_mm < 0  # into the material of the tongue
        True
        >>> printer.offset(hardware="pin 8 m6", across="z").moves[0].form
        <Form.HOLE: 'hole'>
        >>> apart = printer.offset("slot/tongue", size_mm=12, across="x", two_prints=True)
        >>> apart.chance > answer.chance  # what one print has of its own counts for both bodies
        True
        """
        piece = None if hardware is None else read_hardware(hardware)
        moved = None if move is None else known(MovingBody, move, "body to move")
        if piece is not None and slant_deg is not None:
            raise AnswerError(f"{piece.name} has no faces that lean: leave the slant out.")
        question = Question(
            joint_of(joint, size_mm, across, slant_deg)
            if piece is None
            else hardware_joint(piece, across, joint, size_mm, moved),
            known(FITS, fit, "fit"),
            (moved or MovingBody.EXTERNAL) if piece is None else piece.move,
            at_least,
            drawn_gap_mm,
            printed_gap_mm,
            piece,
            bed_of(bed),
            contact_mm,
            *makers_of(other, other_makes or (piece.move if piece and other else None)),
            two_prints,
            choices,
            loose_costs,
        )
        return answer_with_choices(self.profile, question)

    @takes()
    def several(
        self,
        joint: str,
        *,
        across: str,
        size_mm: float | tuple[float, float] | None = None,
        fit: str = "slide",
        move: str | None = None,
        at_least: float | None = None,
        drawn_gap_mm: float | None = None,
        hardware: str | None = None,
        bed: str | None = None,
        pitch_mm: float | None = None,
        corners: str | None = None,
        leg: str | None = None,
        mouth_mm: float | None = None,
        strain_limit: float | None = None,
        other: "Printer | None" = None,
        other_makes: str | None = None,
        two_prints: bool = False,
    ) -> SeveralAnswer:
        """Say how far to move the faces of a joint that has more than one pair of them.

        Parameters
        ----------
        joint : str
            ``"pocket/plate"`` or ``"sleeve/bar"`` (two sizes at once), ``"holes/pins"`` (two at a
            pitch), ``"legs/bar"`` (two springy legs that clasp a bar).
        across : str
            Printer axes of both bodies, or internal/external: of a pocket or a sleeve across the
            first size and across the second, ``"xy"``; of holes along their axes and along the
            pitch, ``"zx"``; of legs across, ``"x"``.
        size_mm : float or (float, float), optional
            Nominal size, or both sizes; of legs the width of the bar. With hardware it may be left
            out.
        fit, move, at_least, drawn_gap_mm, hardware, bed, other, other_makes, two_prints
            As in `offset`; a gap is that of each pair. Hardware is two pieces for two holes, held
            by the external body.
        pitch_mm : float, optional
            Distance between the axes of the two holes.
        corners : str, optional
            Drawn radii of the corners, internal/external, ``"2/0.5"``; ``"relief/0.5"`` where the
            internal ones are cut free. By default both are sharp.
        leg : str, optional
            Free length x thickness of a leg at its root, ``"20x2"``.
        mouth_mm : float, optional
            Drawn opening between the lips of the legs.
        strain_limit : float, optional
            Of the legs' material, such as 0.02 for 2 %.

        Raises
        ------
        AnswerError
            With everything that makes no sense.
        NotMeasuredError
            If the profile has almost no data on one of the pairs.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> cover = printer.several("pocket/plate", size_mm=(40, 25), across="xy")
        >>> cover.chance < min(pair.alone.chance for pair in cover.pairs)
        True
        """
        kind = kind_of(joint)
        if kind is None:
            raise AnswerError(f"Expected one of {', '.join(JointKind)}, got {joint!r}.")
        piece = None if hardware is None else read_hardware(hardware)
        moved = None if move is None else known(MovingBody, move, "body to move")
        internal, external = makers_of(other, other_makes)
        question = several_of(
            kind,
            across=across,
            corners=corners,
            leg=leg,
            mouth=None if mouth_mm is None else f"{mouth_mm:g}",
            strain_limit=None if strain_limit is None else f"{strain_limit:g}",
            sizes_mm=_sizes_of(size_mm, piece),
            fit=known(FITS, fit, "fit"),
            move=(moved or MovingBody.EXTERNAL) if piece is None else piece.move,
            at_least=at_least,
            drawn_gap_mm=drawn_gap_mm,
            hardware=piece,
            bed=bed_of(bed),
            internal_profile=internal,
            external_profile=external,
            two_prints=two_prints,
            pitch_mm=pitch_mm,
        )
        return answer_several(self.profile, question)

    @takes()
    def size(
        self,
        form: str,
        *,
        across: str,
        prints_mm: float | None = None,
        drawn_mm: float | None = None,
        limits: str | None = None,
        bed: str | None = None,
    ) -> SizeAnswer:
        """Say what to draw so that one feature prints with a size, or what a drawn size prints as.

        Parameters
        ----------
        form : str
            ``"hole"``, ``"slot"``, ``"pin"`` or ``"tongue"``.
        across : str
            Printer axis across its faces; of a round one, along its axis.
        prints_mm : float, optional
            The size that it should have; by default the middle of its limits.
        drawn_mm : float, optional
            Ask what this drawn size prints as, instead of looking for one.
        limits : str, optional
            Limits of size, such as ``"8 H13"`` or ``"8 ±0.1"``, to get their chance.
        bed : str, optional
            Which body of a joint stands on the bed, as in `offset`.

        Raises
        ------
        AnswerError
            If a word is not known, the size makes no sense, or both sizes are given.
        NotMeasuredError
            If the profile has almost no data on it.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> tongue = printer.size("tongue", drawn_mm=60, across="x")
        >>> tongue.drawn_mm, tongue.low_mm < tongue.expected_mm < tongue.high_mm
        (60, True)
        >>> hole = printer.size("hole", prints_mm=8, across="z", limits="8 H13")
        >>> hole.drawn_mm > 8, 0 < hole.chance < 1
        (True, True)
        """
        side = known(Form, form, "form")
        band = None if limits is None else side_limits(limits, side)
        if prints_mm is not None and drawn_mm is not None:
            raise AnswerError("Give either the size that it should print with or the drawn one.")
        wanted = drawn_mm if prints_mm is None else prints_mm
        if wanted is None:
            if band is None:
                raise AnswerError("Give the size that it should print with, or limits of size.")
            wanted = band.middle_mm
        direction = known(Direction, across, "direction")
        question = SizeQuestion(side, wanted, direction, band, drawn_mm, bed=bed_of(bed))
        return draw_size(self.profile, question)

    @takes()
    def clearance_hole(self, screw: str, *, across: str, joint: str | None = None) -> SizeAnswer:
        """Say what to draw so that a hole prints within the limits of its standard for a screw.

        Parameters
        ----------
        screw : str
            Such as ``"screw M3 medium"``.
        across : str
            Printer axis along the screw.
        joint : str, optional
            May be left out; ``"hole/pin"`` is the only one.

        Raises
        ------
        AnswerError
            If there is no such screw, its series is missing, or it makes another joint.
        NotMeasuredError
            If the profile has almost no data on it.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> printer.clearance_hole("screw M3 medium", across="z").question.limits.code
        '3.4 H13'
        """
        piece = read_hardware(screw)
        return draw_hole(self.profile, piece, hardware_joint(piece, across, joint).direction)

    @takes()
    def limits(
        self,
        code: str,
        *,
        joint: str,
        across: str,
        other: "Printer | None" = None,
        other_makes: str | None = None,
        two_prints: bool = False,
    ) -> LimitsAnswer:
        """Say which drawn sizes come closest to limits such as ``"12 H9/d9"``, with their chance.

        Parameters
        ----------
        code : str
            Size, hole and shaft as ISO 286 writes them, or limits as numbers:
            ``"12 +0.1/0 / 12 -0.1/-0.2"``; a single band is used for both.
        joint : str
            Internal and external form, such as ``"slot/tongue"``.
        across : str
            Printer axis; ``"z/x"`` where the bodies are printed lying unlike.
        other, other_makes, two_prints : optional
            As in `offset`.

        Raises
        ------
        AnswerError
            If the code or a word is not known.
        NotMeasuredError
            If the profile has almost no data on it.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> found = printer.limits("12 H13/d13", joint="slot/tongue", across="x")
        >>> found.both.chance <= min(found.hole.chance, found.shaft.chance)
        True
        """
        fit = fit_limits(code)
        asked = parse_joint(joint, fit.hole.nominal_mm, across)
        makers = makers_of(other, other_makes)
        made = made_by(self.profile, *makers, two_prints=two_prints)
        return meet_limits(self.profile, fit, *asked.forms, *asked.directions, made)

    @takes()
    def part(self, path: str | Path) -> PartAnswer:
        """Answer a list of joints, with the chance that all of them fit on one print.

        Parameters
        ----------
        path : str or Path
            A CSV file as `coupons joints` takes it.

        Raises
        ------
        AnswerError
            With every problem of the file at once.

        Examples
        --------
        >>> printer = load_profile("results/filter-drawer/profile.json")
        >>> part = printer.part("results/filter-drawer/joints.csv")
        >>> part.joints[0].listed.name, part.together.chance < part.joints[0].chance
        ('drawer width', True)
        """
        return answer_part(self.profile, read_joints(Path(path)).joints)

    @takes(WriteError)
    def save(self, path: str | Path) -> Path:
        """Write the profile, in one step; answers from the file are the same.

        Parameters
        ----------
        path : str or Path
            Such as ``"results/my-run/profile.json"``. A profile that stands there is replaced.

        Returns
        -------
        Path
            The file.

        Raises
        ------
        WriteError
            If something else than a profile stands there, or it cannot be written.
        """
        target = Path(path)
        problems = not_ours(target, "a profile", is_profile)
        if problems:
            raise WriteError(problems)
        write_profile(self.profile, target)
        return target


@takes(ProfileError)
def load_profile(path: str | Path) -> Printer:
    """Load a profile to ask questions about it.

    Parameters
    ----------
    path : str or Path
        A ``profile.json``.

    Raises
    ------
    ProfileError
        If it cannot be read as a profile.
    """
    return Printer(read_profile(Path(path)))


def makers_of(
    other: Printer | None, other_makes: str | None
) -> tuple[Profile | None, Profile | None]:
    """Return the profiles of the internal and of the external body, None for the one asked.

    Raises
    ------
    AnswerError
        If a body is named that no other printer makes.
    """
    if other is None:
        if other_makes is not None:
            raise AnswerError(f"Say which other printer makes the {other_makes} body.")
        return None, None
    if not isinstance(other, Printer):
        raise AnswerError(f"other: expected a printer from load_profile, got {other!r}.")
    body = known((MovingBody.INTERNAL, MovingBody.EXTERNAL), other_makes or "external", "body")
    return (other.profile, None) if body is MovingBody.INTERNAL else (None, other.profile)


def _sizes_of(
    size_mm: float | tuple[float, float] | None, piece: Hardware | None
) -> tuple[float, ...]:
    """Return one size or two, that of the hardware if it is not given."""
    if size_mm is None:
        return () if piece is None else (piece.nominal_mm,)
    return tuple(size_mm) if isinstance(size_mm, list | tuple) else (size_mm,)
