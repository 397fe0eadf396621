"""The wall card: the gaps to draw for one machine and material, on one page to hang up."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from coupons.answering.offset import Answer, Feel
from coupons.answering.words.answers import NO_TRIALS, PRACTICE, REHEARSED
from coupons.answering.words.numbers import chance, minus, signed
from coupons.atomic import write_text
from coupons.learning.profile import Profile
from coupons.showing.joint_tables import USUAL_JOINTS, fit_answers
from coupons.showing.pages.page import render_page
from coupons.showing.words.differing import profile_differs
from coupons.terms import FITS, Direction, Form, Grade, Joint, MovingBody

SIZES_MM = (3.0, 5.0, 8.0, 12.0, 20.0, 50.0)
_SURE_FROM = 0.5  # a fit less likely than this is printed pale


@dataclass(frozen=True)
class CardRow:
    """The answers for one kind of joint that are the same from one size to another."""

    low_mm: float
    high_mm: float
    answers: dict[Grade, Answer]

    @property
    def sizes(self) -> str:
        """The sizes in words."""
        if self.low_mm == self.high_mm:
            return f"{self.low_mm:g} mm"
        return f"{self.low_mm:g} to {self.high_mm:g} mm"

    @property
    def gaps(self) -> tuple[tuple[Grade, float], ...]:
        """The gap to draw for each fit, in mm."""
        return tuple((fit, found.gap_mm) for fit, found in self.answers.items())


@dataclass(frozen=True)
class CardJoint:
    """The rows for one pair of forms in one or several directions."""

    internal: Form
    external: Form
    directions: tuple[Direction, ...]
    rows: tuple[CardRow, ...]

    @property
    def name(self) -> str:
        """The pair of forms in words."""
        return f"{self.external.capitalize()} in {self.internal}"

    @property
    def way(self) -> str:
        """The directions in words."""
        way = "axis along" if self.internal is Form.HOLE else "across"
        return f"{way} {' or '.join(self.directions)}"


def write_wall_card(path: Path, profile: Profile) -> Path:
    """Write the gaps to draw on one page, for A4 or Letter paper.

    Returns
    -------
    Path
        ``path``. The same profile gives the same bytes.
    """
    joints = card_joints(profile)
    write_text(
        path,
        render_page(
            "card/card.html.j2",
            styles=("shared/bench.css", "card/card.css"),
            profile=profile,
            rehearsed=REHEARSED,
            differing=profile_differs(profile.differs_in),
            fits=FITS,
            joints=joints,
            caution=_caution(profile, joints),
            sure_from=_SURE_FROM,
            minus=minus,
            signed=signed,
            chance=chance,
        ),
    )
    return path


def _caution(profile: Profile, joints: Iterable[CardJoint]) -> str:
    """Say that some of the fits were not tried by hand; empty if all were."""
    if not profile.counts.trials:
        return NO_TRIALS
    found = [answer for joint in joints for row in joint.rows for answer in row.answers.values()]
    if all(answer.feel is Feel.HAND for answer in found):
        return ""
    return f"Pale gaps: the trials do not show where such a fit begins and ends, {PRACTICE}."


def card_joints(profile: Profile) -> tuple[CardJoint, ...]:
    """Answer every usual kind of joint that was measured; equal directions share rows."""
    found: list[CardJoint] = []
    for internal, external, direction in USUAL_JOINTS:
        rows = _rows(profile, internal, external, direction)
        twin = next(
            (j for j in found if (j.internal, _drawn(j.rows)) == (internal, _drawn(rows))), None
        )
        if twin:
            found[found.index(twin)] = replace(twin, directions=(*twin.directions, direction))
        elif rows:
            found.append(CardJoint(internal, external, (direction,), rows))
    return tuple(found)


def _drawn(rows: Iterable[CardRow]) -> list[tuple[str, tuple[tuple[Grade, float], ...]]]:
    return [(row.sizes, row.gaps) for row in rows]


def _rows(
    profile: Profile, internal: Form, external: Form, direction: Direction
) -> tuple[CardRow, ...]:
    """Answer one kind of joint at every usual size; neighbours with equal gaps are one row."""
    rows: list[CardRow] = []
    for size_mm in SIZES_MM:
        joint = Joint(internal, external, size_mm, direction)
        row = CardRow(size_mm, size_mm, fit_answers(profile, joint, MovingBody.EXTERNAL))
        if rows and row.gaps == rows[-1].gaps:
            rows[-1] = replace(rows[-1], high_mm=size_mm)
        elif row.answers:
            rows.append(row)
    return tuple(rows)
