"""What to do first after a fit: one short list, the same on the page and on the terminal.

Each step is a head and a few sentences. Entries to look at come before what they would spoil; then
what to draw, what to set on the machine, what to print next.
"""

from collections.abc import Sequence

from coupons.answering.next_coupon import best_coupon
from coupons.answering.offset import Feel
from coupons.answering.words import PRACTICE, VERBS, chance, minus, named, signed
from coupons.learning.causes import Cause, Causes, Place
from coupons.learning.decisions import row_name
from coupons.learning.profile import Profile
from coupons.learning.surprises import Surprise, Surprises
from coupons.measuring.run import Run
from coupons.showing.joint_tables import FitLine, JointTable, joint_title
from coupons.showing.unmeasured import unmeasured
from coupons.terms import Grade

Step = tuple[str, str]
MOST = 3

# A fault of the set-up is worth a screwdriver if it moves sizes by this much.
_WORTH_CURING_MM = 0.02
# Every machine can have these; only one on which they were measured needs nothing set.
_SET_UP = frozenset({"growth_ext", "growth_int", "scale_x", "scale_y"})
# No caliper and no hand is as bad as this: two to four prior sds beyond the usual.
_ABSURD_CALIPER_MM = 0.10
_ABSURD_HAND_MM = 0.25

_ONCE = (
    " Then print again. The profile counts this already, for all who share the machine: set the "
    "machine or draw by the profile, not both."
)


def first_steps(
    profile: Profile,
    runs: Sequence[Run],
    causes: Causes,
    surprises: Surprises,
    tables: Sequence[JointTable],
    doubted: Sequence[Step] = (),
) -> tuple[Step, ...]:
    """Return at most three things to do first.

    Parameters
    ----------
    profile : Profile
    runs : sequence of Run
        The runs that were fitted.
    causes : Causes
    surprises : Surprises
    tables : sequence of JointTable
        What the profile answers; nothing is drawn by answers that rest on doubtful entries.
    doubted : sequence of Step
        What else puts all that was learned in doubt.
    """
    doubted = [*doubted, *_doubts(profile, runs)]
    drawn = [] if doubted else _draw_steps(tables)
    steps = [
        *doubted,
        *_surprise_steps(surprises, runs),
        *drawn,
        *_machine_steps(causes, bool(drawn)),
    ]
    if len(steps) < MOST:  # to foresee what coupons would teach takes a moment
        steps += _next_steps(profile, tables)
    return tuple(steps[:MOST])


def _doubts(profile: Profile, runs: Sequence[Run]) -> list[Step]:
    """Say why the entries cannot be drawn by yet, each with what to do."""
    caliper_mm = profile.scatters["sigma"].median_mm
    hand_mm = profile.scatters["omega"].median_mm
    grades = {grade for run in runs for e in run.fits for grade in (e.tightest, e.loosest)}
    found = []
    if caliper_mm > _ABSURD_CALIPER_MM:
        found.append(
            (
                f"The readings scatter by {caliper_mm:.2g} mm and were hardly used",
                "See `coupons check`, look at units and rows, fit again.",
            )
        )
    if hand_mm > _ABSURD_HAND_MM:
        found.append(
            (
                f"The grades contradict each other (as if the hand judged to {hand_mm:.2g} mm)",
                "See `coupons check`, try some again.",
            )
        )
    if grades == {Grade.NO_GO}:
        todo = "Nothing says where a slide begins; print wider gaps."
        found.append(("Every trial was no-go", todo))
    if grades == {Grade.LOOSE}:
        todo = "Nothing says where a slide ends; print narrower gaps."
        found.append(("Every trial was loose", todo))
    return found


def _surprise_steps(surprises: Surprises, runs: Sequence[Run]) -> list[Step]:
    """Name the most improbable entry and all others that are clearly slips."""
    if not surprises.found:
        return []
    first, *others = surprises.found
    text = (
        f"Row {row_name(runs, first.run, first.row)} says {first.said}, where {first.expected} was "
        f"expected. {first.todo}."
    )
    slips = [_with_row(one, runs) for one in others if one.clear]
    if slips:
        text += f" Then look at {named(slips)}."
    if others:
        text += f" All {len(surprises.found)} surprises are listed below."
    return [(f"Look at {first.place} again", text)]


def _with_row(surprise: Surprise, runs: Sequence[Run]) -> str:
    return f"{surprise.place} (row {row_name(runs, surprise.run, surprise.row)})"


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


def _machine_steps(causes: Causes, drawn: bool) -> list[Step]:
    """Say what to set on the machine, once for all faults that are worth the trouble.

    Whoever draws by the profile has its faults counted already, and so have the others who draw for
    the machine: setting it and drawing by the profile would count them twice.
    """
    cures = [cause for cause in causes.found if _is_worth_curing(cause)]
    if not cures:
        settled = {cause.name for cause in causes.found} >= _SET_UP
        nothing = "No fault of its set-up is both sure and large: draw by this profile."
        return [("Nothing to set on the machine", nothing)] if drawn and settled else []
    text = " ".join(f"{cure}." for cure in dict.fromkeys(cause.cure for cause in cures))
    if any(cause.proven for cause in cures):
        text += _ONCE if drawn else " Then print again: this profile is of the machine as it was."
    return [(f"On the machine: {cures[0].says}", text)]


def _is_worth_curing(cause: Cause) -> bool:
    """Tell whether a fault of the set-up is sure and large enough to touch the machine for."""
    is_large = cause.effect_mm >= _WORTH_CURING_MM
    return cause.place is Place.SET_UP and cause.certain and is_large


def _next_steps(profile: Profile, tables: Sequence[JointTable]) -> list[Step]:
    if not unmeasured(tables, profile):
        return []
    best = best_coupon(profile)
    text = (
        f"Of all coupons it narrows the gaps of sliding fits most, by {chance(best.narrower)} on "
        f"average. What was not measured is listed below."
    )
    if not any(table.lines for table in tables):
        text = f"Too little was measured to draw by. {text}"
    return [(f"Next time, print coupon “{best.coupon}”", text)]
