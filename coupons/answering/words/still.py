"""The answer to "is it still good?" as sentences, as a table and as data."""

import shlex
from collections.abc import Iterator

from coupons.answering.compare.likelihood_ratio import NO_FROM, WATCH_FROM
from coupons.answering.compare.side_by_side import Verdict
from coupons.answering.compare.still import JointStill, Still, StillGood
from coupons.answering.words.answers import REHEARSED
from coupons.answering.words.columns import cell
from coupons.answering.words.numbers import chance, minus, percent
from coupons.learning.causes import unit_of
from coupons.learning.profile import Profile
from coupons.making.spec.coupon_spec import shipped_specs

_NAME_WIDTH = 34
_LATEST = 2  # re-checks that show best what a steady change has come to

RULE = (
    "Every re-check since the full profile counts, and so does how far prints and hands differ. In "
    "a year of monthly re-checks at most 5\N{NO-BREAK SPACE}% of unchanged machines are told no."
)
# What a cause moves, and the words for more of it and for less.
_MOVED = {
    **{f"scale_{axis}": (f"sizes along {axis}", "longer", "shorter") for axis in "xyz"},
    "skew": ("squareness", "longer along x+y", "longer along x−y"),
    "lost_motion": ("sizes along x", "larger, and along y smaller", "smaller, and along y larger"),
    "growth_ext": ("outer sizes", "larger", "smaller"),
    "growth_int": ("openings", "smaller", "larger"),
    "round_ext": ("pins beside tongues", "larger", "smaller"),
    "round_int": ("holes beside slots", "smaller", "larger"),
    "curl_int": ("small holes", "smaller", "larger"),
    "growth_ext_z": ("steps along z", "larger", "smaller"),
    "growth_int_z": ("openings along z", "lower", "higher"),
    "bed_height": ("heights above the bed", "taller", "lower"),
    "first_layer": ("the first layer", "wider", "narrower"),
}
_LOOK_AT = {
    "extrusion": "the extrusion amount, the nozzle and its temperature",
    "lost_motion": "the belts",
    "skew": "the squareness of the frame",
    "scale_x": "the belt of x, and how parts cool",
    "scale_y": "the belt of y, and how parts cool",
    "scale_z": "the drive along z",
    "bed_height": "the height of the nozzle at the first layer",
    "first_layer": "the height of the nozzle at the first layer",
}


def moved_words(found: StillGood) -> str:
    """Name the likeliest cause with how far it moved, and which way in words."""
    evidence = found.evidence
    name = evidence.cause
    if name == "extrusion":
        way = "out of" if evidence.shift > 0 else "into"
        far = f"{abs(evidence.shift):.3f} ± {evidence.sd:.3f} mm"
        return f"all faces moved {far} {way} the material"
    unit = unit_of(name)
    times, told, digits = (100.0, "%", 2) if unit == "ratio" else (1.0, unit, 3)
    far = f"{times * abs(evidence.shift):.{digits}f} ± {times * evidence.sd:.{digits}f} {told}"
    what, more, less = _MOVED[name]
    return f"{what}: {far} {more if evidence.shift > 0 else less}"


def when_words(found: StillGood) -> str:
    """Say since when, as far as the evidence tells a step from a steady change."""
    if found.evidence.since is None:
        return "a little with each re-check"
    if found.since is None:
        return f"from re-check {found.evidence.since + 1} on"
    return f"from the re-check of {found.since} on"


def verdict_sentence(found: StillGood) -> str:
    """Say in one sentence whether the profile still holds."""
    base, n = found.base, len(found.dates)
    of = f" of {base.printed_on}" if base.printed_on else ""
    checks = f"{n} re-check{'' if n == 1 else 's'}"
    who = f"{base.machine}, {base.material}"
    if found.verdict is Still.YES:
        return f"YES: {who} is still as its profile{of} says, by {checks}."
    if found.verdict is Still.WATCH:
        return f"WATCH: {who} may no longer be as its profile{of} says, by {checks}."
    return f"NO: {who} is no longer as its profile{of} says, by {checks}."


def todo_sentence(found: StillGood) -> str:
    """Say what to do."""
    if found.verdict is Still.YES:
        goes_on = "Go on drawing with this profile"
        if any(one.verdict is Verdict.REDRAW for one in found.joints):
            goes_on = (
                "No change was found, but all prints together tell more of the machine than the "
                "first: fit them together (`coupons fit RUN RUN -o all.json`) and draw with that"
            )
        return f"{goes_on}, and print the next re-check in a month."
    if found.verdict is Still.WATCH:
        return (
            "Print the re-check once more before parts that matter: a single odd print looks like "
            "a changed machine."
        )
    look = _LOOK_AT.get(found.evidence.cause)
    first = f"Look at {look}. " if look else ""
    return f"{first}{_full_again(found.base)} {_until_then(found)}"


def _full_again(base: Profile) -> str:
    """Say which coupons to print for a profile that takes the place of the full one."""
    names = list(dict.fromkeys(base.coupons))
    count = len(base.coupons)
    shipped = all(name in shipped_specs() for name in names)
    if len(names) != 1 or not shipped:
        return f"Print the full coupon again ({', '.join(names)}) and draw with its profile."
    jobs = f" --jobs {count}" if count > 1 else ""
    where = f"--machine {shlex.quote(base.machine)} --material {shlex.quote(base.material)}"
    command = f"`coupons make {names[0]}{jobs} -o NEW {where}`"
    if count == 1:
        return f"Print the full coupon again ({command}) and draw with its profile."
    return (
        f"Print the full coupon again ({command}), fit its {count} jobs together and draw with "
        "that profile; one job alone says too little and counts as one more re-check."
    )


def _until_then(found: StillGood) -> str:
    """Say how to draw meanwhile: by the prints since the change, of which one alone is too few."""
    since = found.evidence.since
    runs = (found.runs or ("",) * len(found.dates))[-_LATEST if since is None else since :]
    named = " ".join(shlex.quote(run) if run else "RUN" for run in runs)
    if len(runs) == 1:
        return (
            "Until then print one more re-check, and draw with what both say: "
            f"`coupons fit {named} NEW-RUN -o since.json`."
        )
    return f"Until then draw with the prints since the change: `coupons fit {named} -o since.json`."


def still_sentences(found: StillGood) -> Iterator[str]:
    """Yield the answer, what moved, what to do, and what could have been found."""
    if found.base.rehearsed:
        yield REHEARSED
    yield verdict_sentence(found)
    if found.verdict is not Still.YES:
        share = percent(found.evidence.cause_share)
        what = f"{moved_words(found)}, {when_words(found)}"
        yield f"Likeliest of the changes weighed ({share}): {what}."
    yield f"What to do: {todo_sentence(found)}"


def limits_sentence(found: StillGood) -> str:
    """Say which change would have been found."""
    if found.detectable_mm is None:
        return "These re-checks say nothing of gaps: try printed pairs in the next one."
    more = (
        " Print the full coupon again and fit both prints together: after one print little can be "
        "told from how far prints differ."
        if found.base.counts.runs == 1
        else ""
    )
    return (
        f"A change of all gaps by {found.detectable_mm:.2f} mm that came with the last re-check "
        f"would be found by it with 80\N{NO-BREAK SPACE}% power; a smaller one by later ones.{more}"
    )


def still_lines(found: StillGood) -> Iterator[str]:
    """Yield the table of the joints drawn by the full profile, for 80 columns."""
    if found.joints:
        yield _line("joint as drawn", "gap, mm", "then", "now", "best now", "drawing")
    for one in found.joints:
        yield _joint_line(one)


def _joint_line(one: JointStill) -> str:
    best = f"{minus(one.best_gap_mm)} {_short(one.best_chance)}"
    then, now = _short(one.chance_then), _short(one.chance)
    return _line(one.name, minus(one.gap_mm), then, now, best, str(one.verdict))


def _short(p: float) -> str:
    """Write a chance for a narrow column; like `chance`, it never claims certainty."""
    return chance(p).replace("under ", "<").replace("over ", ">")


def _line(name: str, *cells: str) -> str:
    widths = (8, 8, 8, 12, 10)
    pairs = zip(cells, widths, strict=True)
    return cell(name, _NAME_WIDTH) + "".join(cell(text, n, right=True) for text, n in pairs)


def joints_sentence(found: StillGood) -> str:
    """Sum up the table."""
    works = sum(one.verdict is Verdict.WORKS for one in found.joints)
    text = (
        f"{works} of {len(found.joints)} joints drawn by the full profile still work."
        if found.joints
        else "No joint drawn by the full profile can be held against the re-checks."
    )
    if found.unanswered:
        text += f" Left out, as not measured or without a fit: {', '.join(found.unanswered)}."
    return text


def still_data(found: StillGood) -> dict[str, object]:
    """Return the answer as plain data, units in the names."""
    evidence = found.evidence
    return {
        "still": found.verdict,
        "evidence": evidence.value,
        "evidence_path": list(evidence.path),
        "no_from": NO_FROM,
        "watch_from": WATCH_FROM,
        "printed_on": [day and day.isoformat() for day in found.dates],
        "cause": evidence.cause,
        "cause_share": evidence.cause_share,
        "since": found.since and found.since.isoformat(),
        "steady": evidence.since is None,
        "shift": evidence.shift,
        "shift_sd": evidence.sd,
        "shift_unit": "mm a face" if evidence.cause == "extrusion" else unit_of(evidence.cause),
        "detectable_gap_mm": found.detectable_mm,
        "joints": [
            {
                "name": one.name,
                "gap_mm": one.gap_mm,
                "chance_then": one.chance_then,
                "chance": one.chance,
                "best_gap_mm": one.best_gap_mm,
                "best_chance": one.best_chance,
                "verdict": one.verdict,
            }
            for one in found.joints
        ],
        "unanswered": list(found.unanswered),
    }
