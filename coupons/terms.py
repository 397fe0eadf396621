"""The vocabulary, each word with one meaning. Frozen values, no logic.

All lengths are millimetres. *Drawn* is the size in the model file, *printed* the size of the part,
*error* = printed − drawn. A *gap* is internal − external size over both sides, so that a negative
gap is an interference. An *offset* moves a face: positive is outward from the material, negative
into it.
"""

from dataclasses import dataclass
from enum import StrEnum

SDS_OF_90 = 1.645
"""Half of the 90 % interval of a normal, in standard deviations."""


class Form(StrEnum):
    """What kind of feature: two external forms, two internal ones, round and flat."""

    PIN = "pin"
    TONGUE = "tongue"
    HOLE = "hole"
    SLOT = "slot"


INTERNAL = frozenset({Form.HOLE, Form.SLOT})
EXTERNAL = frozenset({Form.PIN, Form.TONGUE})
ROUND = frozenset({Form.HOLE, Form.PIN})
FLAT = frozenset({Form.SLOT, Form.TONGUE})


class Direction(StrEnum):
    """Printer axis: across the two faces of a flat feature, along the axis of a round one.

    ``x+y`` and ``x-y`` are the two diagonals in the layer plane, on which squareness shows.
    """

    X = "x"
    Y = "y"
    Z = "z"
    XY_PLUS = "x+y"
    XY_MINUS = "x-y"


class Grade(StrEnum):
    """What the hand finds, in order of growing clearance."""

    NO_GO = "no-go"
    FORCE = "force"
    PUSH = "push"
    SLIDE = "slide"
    LOOSE = "loose"


GRADES: tuple[Grade, ...] = tuple(Grade)
FITS: tuple[Grade, ...] = tuple(grade for grade in GRADES if grade is not Grade.NO_GO)

HAND_TESTS: dict[Grade, str] = {
    Grade.NO_GO: "does not start, or stops before full depth, under firm hand pressure",
    Grade.FORCE: "goes in only with a vice or a light mallet",
    Grade.PUSH: "goes in under the thumb and stays when turned upside down",
    Grade.SLIDE: "moves under a fingertip, no side play that can be felt",
    Grade.LOOSE: "falls through or rattles",
}


class Hold(StrEnum):
    """What is found of a piece that holds itself in a hole, in order of growing hole."""

    SPLITS = "splits"
    HARD = "hard"
    HOLDS = "holds"
    STRIPS = "strips"
    DROPS = "drops"


class Held(StrEnum):
    """By what a piece holds itself in a printed hole."""

    THREAD = "thread"
    INSERT = "insert"


HOLD_TESTS: dict[Held, dict[Hold, str]] = {
    Held.THREAD: {
        Hold.SPLITS: "the wall splits or whitens before the screw is in",
        Hold.HARD: "goes in only with all strength on a hand screwdriver",
        Hold.HOLDS: "cuts its thread in and stays when tightened firmly by hand",
        Hold.STRIPS: "turns on without end when tightened by hand",
        Hold.DROPS: "goes in without cutting",
    },
    Held.INSERT: {
        Hold.SPLITS: "the wall splits or bulges as the hot insert goes in",
        Hold.HARD: "plastic wells up over its rim",
        Hold.HOLDS: "sits flush and stays when a screw in it is tightened",
        Hold.STRIPS: "turns or comes out when a screw in it is tightened",
        Hold.DROPS: "drops in cold",
    },
}


class Jaws(StrEnum):
    """Which jaws of the caliper took a reading."""

    OUTSIDE = "outside"
    INSIDE = "inside"
    DEPTH = "depth"


class Seam(StrEnum):
    """Where the loops of a printed pin close: proud of it, or in a groove made for them."""

    SHOWN = "shown"
    HIDDEN = "hidden"


class MovingBody(StrEnum):
    """Which body of a joint has its faces moved."""

    INTERNAL = "internal"
    EXTERNAL = "external"
    BOTH = "both"


class Bed(StrEnum):
    """Which bodies of a joint across layers have their lower mating face on the bed."""

    NONE = "none"
    INTERNAL = "internal"
    EXTERNAL = "external"
    BOTH = "both"

    def holds(self, form: Form) -> bool:
        """Tell whether the body of a form stands on the bed."""
        own = Bed.INTERNAL if form in INTERNAL else Bed.EXTERNAL
        return self in (own, Bed.BOTH)


@dataclass(frozen=True)
class Feature:
    """A sized feature of a printed part.

    Parameters
    ----------
    form : Form
    size_mm : float
        Drawn size over both faces.
    direction : Direction
    at_bed : bool
        The size is met at the first layer with no lead-in chamfer to keep its swell out.
    on_bed : bool
        The lower of its two faces across layers is the first layer, so that the height of the
        nozzle above the bed is part of the size.
    """

    form: Form
    size_mm: float
    direction: Direction
    at_bed: bool = False
    on_bed: bool = False


@dataclass(frozen=True)
class Slant:
    """How the faces of a joint lean: a wedge, a dovetail, a taper.

    Parameters
    ----------
    angle_deg : float
        Between the faces and the way in which the bodies are pulled apart; half the angle of a
        wedge or a cone.
    pull : Direction
        That way in the print of the internal body, and of the external one unless that is given.
        Of round joints it is their axis.
    external_pull : Direction, optional
        In the print of the external body, where it is printed lying otherwise.
    """

    angle_deg: float
    pull: Direction
    external_pull: Direction | None = None

    @property
    def pulls(self) -> tuple[Direction, Direction]:
        """In the print of the internal body and in that of the external one."""
        return self.pull, self.external_pull or self.pull


@dataclass(frozen=True)
class Joint:
    """Two printed features that mate: an internal and an external one of the same nominal size.

    Parameters
    ----------
    internal, external : Form
    size_mm : float
        Nominal size of the joint.
    direction : Direction
        Of the internal feature as it is printed, and of the external one unless that is given.
    external_direction : Direction, optional
        Of the external feature, where it is printed lying otherwise.
    slant : Slant, optional
        Of faces that lean. The size is then across, in the middle of the contact, and gaps are
        along the normals of the faces, over both sides.
    """

    internal: Form
    external: Form
    size_mm: float
    direction: Direction
    external_direction: Direction | None = None
    slant: Slant | None = None

    @property
    def forms(self) -> tuple[Form, Form]:
        """The internal form and the external one."""
        return self.internal, self.external

    @property
    def directions(self) -> tuple[Direction, Direction]:
        """Of the internal feature and of the external one."""
        return self.direction, self.external_direction or self.direction

    def direction_of(self, form: Form) -> Direction:
        """Return how the body of a form lies as it is printed."""
        return self.directions[form in EXTERNAL]

    @property
    def lies_unlike(self) -> bool:
        """Whether the two bodies are printed lying in different directions."""
        return self.directions[0] != self.directions[1]
