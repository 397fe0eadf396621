"""What to do first after a fit: at most three things, each as a head and a sentence."""

from collections.abc import Sequence

from coupons.answering.next_coupon import best_coupon
from coupons.answering.offset import Feel
from coupons.answering.words import PRACTICE, VERBS, chance, minus, named, signed
from coupons.learning.decisions import row_name
from coupons.showing.fit_summary import Learned, clear_slips, doubts, worth_curing
from coupons.showing.joint_tables import FitLine, JointTable, joint_title
from coupons.showing.unmeasured import unmeasured
from coupons.terms import Grade

Step = tuple[str, str]
MOST = 3


def first_steps(learned: Learned, tables: Sequence[JointTable]) -> tuple[Step, ...]:
    """Return entries to check, what to draw, what to set on the machine, what to print next."""
    doubted = [(head, f"{text}.") for head, text in doubts(learned)]
    steps = [
        *doubted,
        *_surprise_steps(learned),
        *([] if doubted else _draw_steps(tables)),
        *_cure_steps(learned),
    ]
    if len(steps) < MOST:  # to foresee what coupons would teach takes half a second
        steps += _next_steps(learned, tables)
    return tuple(steps[:MOST])


def _surprise_steps(learned: Learned) -> list[Step]:
    found, slips = learned.surprises.found, clear_slips(learned)
    if not found:
        return []
    first = found[0]
    row = row_name(learned.runs, first.run, first.row)
    text = f"Row {row} says {first.said}, where {first.expected} was expected. {first.todo}."
    if len(slips) > 1:
        text += f" Then look at {named([one.place for one in slips[1:]])}."
    if len(found) > 1:
        text += f" All {len(found)} surprises are listed below."
    return [(f"Look at {first.place} again", text)]


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
    if line.one.feel is not Feel.HAND:
        text += f" No trials show this fit: {PRACTICE}."
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
    after = " Then print again: this profile is of the machine as it was."
    return [
        (f"On the machine: {cause.says}", f"{cause.cure}.{after if cause.proven else ''}")
        for cause in worth_curing(learned)
    ][:1]


def _next_steps(learned: Learned, tables: Sequence[JointTable]) -> list[Step]:
    if not unmeasured(tables, learned.profile):
        return []
    best = best_coupon(learned.profile)
    text = (
        f"Of all coupons it narrows the gaps of sliding fits most, by {chance(best.narrower)} on "
        f"average. What was not measured is listed below."
    )
    return [(f"Next time, print coupon “{best.coupon}”", text)]
