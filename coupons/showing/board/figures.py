"""What the board tells of a profile: gaps by fit and direction, scatter, capability."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from coupons.answering.capability import Reach, grades_reached
from coupons.answering.chances.extrapolation import NEAR_MM, lies_near, ranges_of
from coupons.answering.compare.side_by_side import gap_sd_mm
from coupons.answering.offset import answer
from coupons.answering.question import Question
from coupons.answering.standards.iso286 import tolerance_mm
from coupons.answering.words.numbers import chance
from coupons.errors import NotMeasuredError
from coupons.learning.profile import MeasuredRange, Profile
from coupons.showing.learned import is_learned
from coupons.terms import Direction, Form, Grade, Joint

SIZE_MM = 5.0
"""What every machine is asked at, if it measured that; otherwise at the nearest that it did."""
CAPABILITY_MM = 12.0
_MOST_SIZES = 4  # that are named one by one


@dataclass(frozen=True)
class Column:
    """One question that is asked of every profile, at `SIZE_MM` or as near to it as was measured.

    Parameters
    ----------
    key : str
        Its name in ``index.json``.
    fit : Grade
    short : str
        The joint in two words, below the fit in the matrix.
    joint : Joint
    """

    key: str
    fit: Grade
    short: str
    joint: Joint

    @property
    def question(self) -> Question:
        """The question; the external body moves."""
        return Question(self.joint, self.fit)

    @property
    def title(self) -> str:
        """The question in words."""
        return self.question.name


def _column(fit: Grade, form: Form, direction: Direction) -> Column:
    is_round = form is Form.HOLE
    mate = Form.PIN if is_round else Form.TONGUE
    shape = "round" if is_round else "flat"
    joint = Joint(form, mate, SIZE_MM, direction)
    return Column(f"{fit}_{shape}_{direction}", fit, f"{shape} {direction}", joint)


COLUMNS: tuple[Column, ...] = (
    _column(Grade.SLIDE, Form.SLOT, Direction.X),
    _column(Grade.SLIDE, Form.SLOT, Direction.Y),
    _column(Grade.SLIDE, Form.SLOT, Direction.Z),
    _column(Grade.SLIDE, Form.HOLE, Direction.Z),
    _column(Grade.PUSH, Form.SLOT, Direction.X),
    _column(Grade.PUSH, Form.HOLE, Direction.Z),
)


@dataclass(frozen=True)
class Gap:
    """The gap to draw, over both sides, with its 90 % interval and the chance of the fit.

    ``best_mm`` is the gap before rounding, ``sd_mm`` the standard deviation of it for this machine:
    what the charts over months compare. ``size_mm`` is the size of the joint.
    """

    gap_mm: float
    low_mm: float
    high_mm: float
    chance: float
    best_mm: float = 0.0
    sd_mm: float = 0.0
    size_mm: float = SIZE_MM

    @property
    def at(self) -> str:
        """The size, where it is another one than that of all machines; else empty."""
        return "" if self.size_mm == SIZE_MM else f"at {self.size_mm:g}"

    @property
    def words(self) -> str:
        """The gap with two decimals and a real minus; what rounds to zero has no sign."""
        return _mm(self.gap_mm)

    @property
    def interval(self) -> str:
        """The 90 % interval in mm."""
        return f"{_mm(self.low_mm)} to {_mm(self.high_mm)}"


def _mm(value: float) -> str:
    return f"{value:z.2f}".replace("-", "−")


def size_note(gaps: Iterable[Gap | None]) -> str:
    """Explain the sizes that stand beside gaps; empty if all are asked at the usual size.

    Examples
    --------
    >>> size_note([Gap(0.3, 0.2, 0.4, 0.7, size_mm=19.5), None, Gap(0.3, 0.2, 0.4, 0.7)])
    'at 19.5: the machine measured nothing nearer to 5 mm than joints of 19.5 mm.'
    >>> size_note([None])
    ''
    """
    sizes = sorted({gap.size_mm for gap in gaps if gap and gap.at})
    if not sizes:
        return ""
    at = ", ".join(f"at {size:g}" for size in sizes[:_MOST_SIZES])
    more = ", …" if len(sizes) > _MOST_SIZES else ""
    of = f"joints of {sizes[0]:g} mm" if len(sizes) == 1 else "joints of that size"
    return f"{at}{more}: the machine measured nothing nearer to {SIZE_MM:g} mm than {of}."


def gaps_of(profile: Profile) -> tuple[Gap | None, ...]:
    """Ask a profile every question; None where no joint of that kind was measured."""
    return tuple(_gap(profile, column.question) for column in COLUMNS)


def _gap(profile: Profile, asked: Question) -> Gap | None:
    size_mm = measured_size_mm(profile, asked.joint)
    if size_mm is None:
        return None
    question = replace(asked, joint=replace(asked.joint, size_mm=size_mm))
    try:
        found = answer(profile, question)
    except NotMeasuredError:
        return None
    sd_mm = gap_sd_mm(profile, question)
    drawn = (found.gap_mm, found.low_mm, found.high_mm)
    return Gap(*drawn, found.chance, found.best_gap_mm, sd_mm, size_mm)


def measured_size_mm(profile: Profile, joint: Joint) -> float | None:
    """Return the size of a joint if it was measured, or else the nearest that was.

    None if its two forms were not measured at sizes that mate.
    """
    (inner,) = ranges_of(profile, [joint.internal], joint.direction) or (None,)
    (outer,) = ranges_of(profile, [joint.external], joint.direction) or (None,)
    if inner is None or outer is None:
        return None
    if lies_near(joint.size_mm, inner) and lies_near(joint.size_mm, outer):
        return joint.size_mm
    # A joint is named by the size of its external body; the internal one is wider by the gap.
    low_mm = max(outer.low_mm, inner.low_mm - NEAR_MM)
    high_mm = min(outer.high_mm, inner.high_mm + NEAR_MM)
    return min(max(joint.size_mm, low_mm), high_mm) if low_mm <= high_mm else None


@dataclass(frozen=True)
class ScatterFigure:
    """How much like things differ, in mm; ``measured`` unless it is only what is usual."""

    name: str
    words: str
    mm: float
    measured: bool


_SCATTERS = {
    "tau": "like features on one print, in the plane",
    "tau_z": "like features on one print, across layers",
    "rho": "one size from print to print, in the plane",
}


def scatters_of(profile: Profile) -> tuple[ScatterFigure, ...]:
    """Return how much features and prints of a machine differ."""
    return tuple(
        ScatterFigure(name, words, profile.scatters[name].median_mm, is_learned(profile, name))
        for name, words in _SCATTERS.items()
    )


def scatter_words(scatters: Iterable[ScatterFigure]) -> str:
    """Say in a sentence how much things differ that are drawn alike; empty if nobody measured it.

    Examples
    --------
    >>> scatter_words([ScatterFigure("tau", "like features", 0.0204, True)])
    'Scatter (± 1 sd): like features 0.020 mm.'
    """
    told = [f"{one.words} {one.mm:.3f} mm" for one in scatters if one.measured]
    return f"Scatter (± 1 sd): {'; '.join(told)}." if told else ""


def capability_words(reach: Reach | None) -> str:
    """Say what tolerance grade the scatter of outer sizes reaches; empty if not measured."""
    if reach is None:
        return ""
    sizes = f"Outer sizes of {reach.high_mm:g} mm in the plane"
    if reach.grade is None:
        return f"{sizes} scatter more widely than the tolerance grade IT14."
    width_mm = tolerance_mm(reach.grade, reach.high_mm)
    return (
        f"{sizes} scatter within IT{reach.grade}, {width_mm:.2f} mm wide, with six standard "
        f"deviations ({chance(reach.confidence)} sure)."
    )


def capability_of(profile: Profile) -> Reach | None:
    """Return the tolerance grade of flat outer sizes in the plane, near the usual size.

    None if no outer size was measured there. How it is reckoned: `coupons.answering.capability`.
    """
    plane = (Direction.X, Direction.Y)
    for one in profile.measured:
        if one.form is Form.TONGUE and one.direction in plane:
            size_mm = min(max(CAPABILITY_MM, one.low_mm), one.high_mm)
            at = MeasuredRange(
                form=one.form, direction=one.direction, low_mm=size_mm, high_mm=size_mm
            )
            return grades_reached(profile, [at])[0]
    return None
