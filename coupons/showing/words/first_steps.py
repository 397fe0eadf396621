"""What to do first after a fit: one short list, the same on the page and on the terminal.

Each step is a head and a few sentences. Doubtful entries come first, since they would spoil the
rest; then what to draw, what to change on the machine, what to print next.
"""

from collections.abc import Callable, Sequence

from coupons.answering.next.coupon import WORTH_ANOTHER, best_coupon
from coupons.answering.offset import Feel
from coupons.answering.words.answers import ADJECTIVES, PRACTICE, VERBS
from coupons.answering.words.numbers import chance, minus, named, signed
from coupons.learning.causes import Cause, Causes, Place
from coupons.learning.checking.surprises import Surprise, Surprises
from coupons.learning.profile import Profile
from coupons.learning.without import row_name
from coupons.measuring.run.folder import Run
from coupons.showing.joint_tables import FitLine, JointTable, joint_title
from coupons.showing.words.half_filled import blank_entries, is_hardly_begun
from coupons.showing.words.unmeasured import unmeasured
from coupons.terms import Grade

Step = tuple[str, str]
MOST = 3

# An error of the machine is worth correcting there if its effect on sizes is this large.
_WORTH_FIXING_MM = 0.02
# Every machine can have these; only where all were measured is it said that none needs changing.
_SET_UP = frozenset({"growth_ext", "growth_int", "scale_x", "scale_y"})
# No caliper and no hand scatters as much as this: two to four prior sds above the usual.
_ABSURD_CALIPER_MM = 0.10
_ABSURD_HAND_MM = 0.25

_ONCE = (
    " Then print again. The offsets already correct for this, for everyone who uses the profile: "
    "change the machine or use the offsets, not both."
)
_TOO_LITTLE = "Too little was measured for any offset."
_AS_IT_WAS = " Then print again: this profile describes the machine before the change."


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
        What the profile answers; no gap is given first while entries are in doubt.
    doubted : sequence of Step
        What else puts the whole fit in doubt.
    """
    doubted = [*doubted, *_doubts(profile, runs)]
    drawn = [] if doubted else _draw_steps(tables)
    steps = [
        *doubted,
        *_surprise_steps(surprises, runs),
        *drawn,
        *_machine_steps(causes, bool(drawn)),
    ]
    if len(steps) < MOST:  # predicting what each coupon would teach takes a moment
        steps += _next_steps(profile, runs, tables)
    return tuple(steps[:MOST])


def _doubts(profile: Profile, runs: Sequence[Run]) -> list[Step]:
    """Say why the entries cannot be used for offsets yet, each with what to do."""
    caliper_mm = profile.scatters["sigma"].median_mm
    hand_mm = profile.scatters["omega"].median_mm
    grades = {grade for run in runs for e in run.fits for grade in (e.tightest, e.loosest)}
    found = []
    if caliper_mm > _ABSURD_CALIPER_MM:
        found.append(
            (
                f"The readings scatter by {caliper_mm:.2g} mm, so they count for little",
                "Run `coupons check`, correct units and rows, then fit again.",
            )
        )
    if hand_mm > _ABSURD_HAND_MM:
        found.append(
            (
                f"The grades contradict each other (they scatter by {hand_mm:.2g} mm)",
                "Run `coupons check` and try some of the pairs again.",
            )
        )
    if grades == {Grade.NO_GO}:
        todo = "The trials do not show where a slide begins: print wider gaps."
        found.append(("Every trial was no-go", todo))
    if grades == {Grade.LOOSE}:
        todo = "The trials do not show where a slide ends: print narrower gaps."
        found.append(("Every trial was loose", todo))
    return found


def _surprise_steps(surprises: Surprises, runs: Sequence[Run]) -> list[Step]:
    """Name the least probable entry and all others that are clearly slips."""
    if not surprises.found:
        return []
    first, *others = surprises.found
    text = (
        f"Row {row_name(runs, first.run, first.row)} says {first.result};"
        f" expected {first.expected}. {first.todo}."
    )
    slips = [_with_row(one, runs) for one in others if one.clear]
    if slips:
        text += f" Then look at {named(slips)}."
    if others:
        text += f" All {len(surprises.found)} unexpected entries are listed below."
    return [(f"Look at {first.place} again", text)]


def _with_row(surprise: Surprise, runs: Sequence[Run]) -> str:
    return f"{surprise.place} (row {row_name(runs, surprise.run, surprise.row)})"


def _draw_steps(tables: Sequence[JointTable]) -> list[Step]:
    table = next((table for table in tables if table.lines), None)
    if table is None:
        return []
    line = next((line for line in table.lines if line.fit is Grade.SLIDE), table.lines[0])
    head = f"For a {ADJECTIVES[line.fit]} fit, draw a gap of {minus(line.one.gap_mm)} mm"
    text = (
        f"{joint_title(table.joint)}: {_offset_words(line)}. It {VERBS[line.fit]} with "
        f"{chance(line.one.chance)} chance."
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
    """Say what to change on the machine, all at once for the errors that are worth the trouble.

    The offsets of the profile correct these errors already, for everyone who uses it: to change the
    machine as well would correct them twice.
    """
    found = [cause for cause in causes.found if _is_worth_fixing(cause)]
    if not found:
        settled = {cause.name for cause in causes.found} >= _SET_UP
        nothing = "None of its errors is both certain and large: use the offsets of this profile."
        return [("Nothing to change on the machine", nothing)] if drawn and settled else []
    text = " ".join(f"{todo}." for todo in todos(found))
    if any(cause.proven for cause in found):
        text += _ONCE if drawn else _AS_IT_WAS
    return [(f"On the machine: {named(_of_both_axes(found, lambda cause: cause.says))}", text)]


def todos(found: Sequence[Cause]) -> list[str]:
    """Return what to do about each error; the same for two axes is said once, of both."""
    return _of_both_axes(found, lambda cause: cause.todo)


def _of_both_axes(found: Sequence[Cause], words: Callable[[Cause], str]) -> list[str]:
    axes: dict[str, list[str]] = {}
    for cause in found:
        axis = cause.name.removeprefix("scale_")
        axes.setdefault(words(cause).replace(f"along {axis} ", "along {axes} "), []).append(axis)
    return [said.replace("{axes}", " and ".join(names)) for said, names in axes.items()]


def _is_worth_fixing(cause: Cause) -> bool:
    """Tell whether an error is certain and large enough to change the machine for."""
    is_large = cause.effect_mm >= _WORTH_FIXING_MM
    return cause.place is Place.SET_UP and cause.certain and is_large


def _next_steps(profile: Profile, runs: Sequence[Run], tables: Sequence[JointTable]) -> list[Step]:
    if not unmeasured(tables, profile):
        return []
    is_known = any(table.lines for table in tables)
    blank = [run for run in runs if is_hardly_begun(run)]
    if blank:
        return [_blank_step(blank[0], is_known=is_known)]
    printed = [run.coupon.spec.name for run in runs if run.parts is None]
    best = best_coupon(profile, printed)
    if best.narrower < WORTH_ANOTHER and is_known:
        text = (
            f"Coupon “{best.coupon}” would narrow the intervals of the sliding fits that you tried "
            f"most for its time, by only {chance(best.narrower)}. What was not measured is listed "
            "below: ask for it with `coupons next --joint`."
        )
        return [("No further print is worth it for these fits", text)]
    text = (
        "It narrows the intervals of the sliding fits that you tried most for its time, by "
        f"{chance(best.narrower)} on average. What was not measured is listed below: ask for it "
        "with `coupons next --joint`."
    )
    if not is_known:
        text = f"{_TOO_LITTLE} {text}"
    again = any(run.job and run.coupon.spec.name == best.coupon for run in runs)
    what = "the next job of coupon" if again else "coupon"
    return [(f"Next time, print {what} “{best.coupon}”", text)]


def _blank_step(run: Run, *, is_known: bool) -> Step:
    blank, asked = blank_entries([run])
    text = (
        f"{blank} of its {asked} trials and readings are blank. The entry page asks first for those"
        " that teach most."
    )
    if not is_known:
        text = f"{_TOO_LITTLE} {text}"
    return (f"Try and measure more of {run.folder.name}", text)
