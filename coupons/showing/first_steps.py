"""What to do first after a fit: at most three things, each as a head and a sentence."""

from collections.abc import Sequence

from coupons.answering.words import VERBS, chance, minus, signed
from coupons.learning.causes import Place
from coupons.learning.decisions import row_name
from coupons.showing.fit_summary import WORTH_CURING_MM, Learned
from coupons.showing.joint_tables import FitLine, JointTable, joint_title
from coupons.showing.unmeasured import unmeasured
from coupons.terms import Grade

Step = tuple[str, str]
MOST = 3


def first_steps(learned: Learned, tables: Sequence[JointTable]) -> tuple[Step, ...]:
    """Return entries to check, what to draw, what to set on the machine, what to print next."""
    steps = [
        *_surprise_steps(learned),
        *_draw_steps(tables),
        *_cure_steps(learned),
        *_next_steps(learned, tables),
    ]
    return tuple(steps[:MOST])


def _surprise_steps(learned: Learned) -> list[Step]:
    found = learned.surprises.found
    if not found:
        return []
    first = found[0]
    row = row_name(learned.runs, first.run, first.row)
    others = f" {len(found) - 1} more are listed below." if len(found) > 1 else ""
    return [
        (
            f"Look at {first.place} again",
            f"Row {row} says {first.said}, where {first.expected} was expected. {first.todo}."
            + others,
        )
    ]


def _draw_steps(tables: Sequence[JointTable]) -> list[Step]:
    table = next((table for table in tables if table.lines), None)
    if table is None:
        return []
    line = next((line for line in table.lines if line.fit is Grade.SLIDE), table.lines[0])
    head = f"Draw a gap of {minus(line.one.gap_mm)} mm where it {VERBS[line.fit]}"
    text = (
        f"{joint_title(table.joint)}: {_offset_words(line)}. It {VERBS[line.fit]} with a chance of "
        f"{chance(line.one.chance)}."
    )
    return [(head, text)]


def _offset_words(line: FitLine) -> str:
    move = line.one.moves[0]
    if move.offset_mm == 0:
        return "leave both parts as they are"
    where = "each face" if move.faces == 2 else "one face"
    way = "into the material" if move.offset_mm < 0 else "out of the material"
    return f"move {where} of the {move.form} by {signed(move.offset_mm)} mm, {way}"


def _cure_steps(learned: Learned) -> list[Step]:
    """Return the largest fault that a setting of the machine cures, if it is worth the trouble."""
    worth = (
        cause
        for cause in learned.causes.found
        if cause.place is Place.SET_UP and cause.certain and cause.effect_mm >= WORTH_CURING_MM
    )
    after = "Then print again: this profile is of the machine as it was."
    return [(f"On the machine: {cause.says}", f"{cause.cure}. {after}") for cause in worth][:1]


def _next_steps(learned: Learned, tables: Sequence[JointTable]) -> list[Step]:
    missing = unmeasured(tables, learned.profile)
    if not missing:
        return []
    what, how = missing[0]
    return [(f"Next time, print {how}", f"Not measured so far: {what}.")]
