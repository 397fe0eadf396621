"""What `coupons fit` says on the terminal: what to do first, what is wrong, how good the fit is."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from coupons.answering.words import NO_TRIALS, REHEARSED, named
from coupons.learning.causes import Cause, Causes, Place, find_causes
from coupons.learning.decisions import row_name
from coupons.learning.fit import Fitted
from coupons.learning.held_out import HeldOut, HeldOutReadings, HeldOutTrials, hold_out
from coupons.learning.profile import Profile
from coupons.learning.surprises import Surprise, Surprises, find_surprises
from coupons.measuring.finding import Finding
from coupons.measuring.run import Run
from coupons.showing.differing_words import runs_differ
from coupons.terms import INTERNAL, Grade

WIDTH = 80
_MOST_SURPRISES = 3
_MOST_TO_DO = 4
# A fault of the set-up is worth a screwdriver if it moves sizes by this much.
WORTH_CURING_MM = 0.02
# No caliper and no hand is as bad as this: two to four prior sds beyond the usual.
_ABSURD_CALIPER_MM = 0.10
_ABSURD_HAND_MM = 0.25
_PLACES = {Place.SET_UP: "set-up", Place.MODEL: "model", Place.NEITHER: "-"}


@dataclass(frozen=True)
class Learned:
    """Everything that a fit found out, as it is to be told.

    ``looks`` is how many further things `coupons check` would have a person look at.
    """

    profile: Profile
    runs: Sequence[Run]
    causes: Causes
    surprises: Surprises
    held_out: HeldOut
    looks: int


def learned_from(
    profile: Profile, fitted: Fitted, runs: Sequence[Run], findings: Sequence[Sequence[Finding]]
) -> Learned:
    """Gather what a fit found out.

    Parameters
    ----------
    profile : Profile
    fitted : Fitted
    runs : sequence of Run
        The runs that were fitted.
    findings : sequence of sequence of Finding
        What `coupons check` has to say about each of the runs.
    """
    surprises = find_surprises(fitted, runs, findings)
    told = {(one.run, one.where) for one in surprises.found}
    looks = sum((n, look.where) not in told for n, each in enumerate(findings) for look in each)
    held_out = hold_out(fitted.mixture)
    return Learned(profile, runs, find_causes(fitted), surprises, held_out, looks)


def summary_lines(learned: Learned, profile_path: Path) -> list[str]:
    """Return the lines for the terminal, none wider than 80 columns but for long paths.

    Parameters
    ----------
    learned : Learned
    profile_path : Path
        Where the profile was written.
    """
    lines = textwrap.wrap(REHEARSED, WIDTH) if learned.profile.rehearsed else []
    lines += textwrap.wrap(runs_differ(learned.runs), WIDTH)
    lines += textwrap.wrap(_counted(learned.profile), WIDTH)
    lines += ["", "Do first:", *_numbered(_to_do(learned, profile_path))]
    lines += ["", *_cause_lines(learned.causes)]
    lines += ["", *_surprise_lines(learned), *_quality_lines(learned.held_out), ""]
    question = _first_joint(learned.runs)
    if not question:
        return [*lines, *_no_fits(learned.profile)]
    return [*lines, "Ask it:", f"  coupons offset {profile_path} \\", f"    {question}"]


def _counted(profile: Profile) -> str:
    counts = profile.counts
    text = (
        f"{profile.machine}, {profile.material}: {_count(counts.trials, 'trial')} and"
        f" {_count(counts.readings, 'reading')} of {_count(counts.sizes, 'size')} in"
        f" {_count(counts.runs, 'run')}."
    )
    if profile.without:
        text += f" Left out by decision: row {', '.join(profile.without)}."
    return text


def _count(number: int, one: str) -> str:
    return f"{number} {one if number == 1 else one + 's'}"


def _numbered(sentences: Sequence[str]) -> Iterator[str]:
    for n, sentence in enumerate(sentences, start=1):
        yield from textwrap.wrap(
            f"{sentence}.", WIDTH, initial_indent=f"{n:>3}. ", subsequent_indent=" " * 5
        )


def _to_do(learned: Learned, profile_path: Path) -> list[str]:
    """Say what to do first: entries to check before a machine is touched, then the machine."""
    todo = [f"{what}: {_lower(how)}" for what, how in doubts(learned)]
    slips = clear_slips(learned)
    if slips:
        first, others = slips[0], [f"{one.place} (row {_row(learned, one)})" for one in slips[1:]]
        then = f"; then {named(others)}" if others else ""
        todo.append(f"{first.place}, row {_row(learned, first)}: {_lower(first.todo)}{then}")
    cures = worth_curing(learned)
    todo += dict.fromkeys(cause.cure for cause in cures)
    todo = todo[: _MOST_TO_DO - 1]
    if any(cause.proven for cause in cures):
        return [
            *todo,
            "After a change of the set-up print again: this profile is of the machine as it was",
        ]
    if cures or doubts(learned):
        return todo
    if any(cause.place is Place.SET_UP for cause in learned.causes.found):
        return [*todo, "Nothing to set on the machine: draw by this profile"]
    return [
        *todo,
        "Too little was measured to say what to set on the machine: what to print next is told by"
        f" `coupons next {profile_path}`",
    ]


def worth_curing(learned: Learned) -> list[Cause]:
    """Return the faults of the set-up that are sure and large enough to touch the machine for."""
    return [
        cause
        for cause in learned.causes.found
        if cause.place is Place.SET_UP and cause.certain and cause.effect_mm >= WORTH_CURING_MM
    ]


def clear_slips(learned: Learned) -> list[Surprise]:
    """Return the most improbable entry and all others that are clearly slips."""
    found = learned.surprises.found
    return [one for n, one in enumerate(found) if n == 0 or one.clear]


def doubts(learned: Learned) -> list[tuple[str, str]]:
    """Say why the entries cannot be drawn by yet, each with what to do."""
    caliper_mm = learned.profile.scatters["sigma"].median_mm
    hand_mm = learned.profile.scatters["omega"].median_mm
    grades = {grade for run in learned.runs for e in run.fits for grade in (e.tightest, e.loosest)}
    found = []
    if caliper_mm > _ABSURD_CALIPER_MM:
        found.append(
            (
                f"The readings scatter by {caliper_mm:.2g} mm and were hardly used",
                "See `coupons check`, look at units and rows, fit again",
            )
        )
    if hand_mm > _ABSURD_HAND_MM:
        found.append(
            (
                f"The grades contradict each other (as if the hand judged to {hand_mm:.2g} mm)",
                "See `coupons check`, try some again",
            )
        )
    if grades == {Grade.NO_GO}:
        todo = "Nothing says where a slide begins; print wider gaps"
        found.append(("Every trial was no-go", todo))
    if grades == {Grade.LOOSE}:
        todo = "Nothing says where a slide ends; print narrower gaps"
        found.append(("Every trial was loose", todo))
    return found


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _cause_lines(causes: Causes) -> list[str]:
    sure = [cause for cause in causes.found if cause.certain]
    unsure = [cause for cause in causes.found if not cause.certain]
    lines = []
    if sure:
        lines.append(f"{'What is wrong, largest first (± one sd)':<58}sizes move by  cure in")
        lines += map(_cause_line, sure)
    if unsure:
        told = ", ".join(cause.says for cause in unsure)
        lines += textwrap.wrap(f"Perhaps nothing: {told}.", WIDTH, subsequent_indent="  ")
    if causes.not_measured:
        told = ", ".join(causes.not_measured)
        lines += textwrap.wrap(f"Not measured: {told}.", WIDTH, subsequent_indent="  ")
    return lines


def _cause_line(cause: Cause) -> str:
    share = f" {100 * cause.share:>2.0f} %"
    return (
        f"  {cause.says:<34} {amount(cause):<21}{cause.effect_mm:>6.3f} mm"
        f"{share:<6} {_PLACES[cause.place]}"
    )


def amount(cause: Cause) -> str:
    """Write the size of a cause in its own unit, with one standard deviation."""
    if cause.unit == "ratio":
        return f"{100 * abs(cause.value):.2f} ± {100 * cause.sd:.2f} %"
    return f"{abs(cause.value):.3f} ± {cause.sd:.3f} {cause.unit.removeprefix('mm ')}"


def _surprise_lines(learned: Learned) -> list[str]:
    surprises = learned.surprises
    by_chance = f"{surprises.by_chance:.1f} would be by chance"
    head = f"Surprising: {len(surprises.found)} of {surprises.entries} entries ({by_chance})."
    lines = [head]
    for one in surprises.found[:_MOST_SURPRISES]:
        row = _row(learned, one)
        text = f"row {row} ({one.place}): {one.said}, where {one.expected} was expected"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if len(surprises.found) > _MOST_SURPRISES:
        lines.append(f"  and {len(surprises.found) - _MOST_SURPRISES} more, which --json lists")
    if surprises.found:
        option = f"--without {_row(learned, surprises.found[0])}"
        lines += textwrap.wrap(
            f"Nothing was left out. If you are sure that one is wrong: {option}.", WIDTH
        )
    if learned.looks:
        lines.append(f"`coupons check` has {_count(learned.looks, 'more thing')} to look at.")
    return lines


def _row(learned: Learned, surprise: Surprise) -> str:
    return row_name(learned.runs, surprise.run, surprise.row)


def _quality_lines(held_out: HeldOut) -> list[str]:
    return textwrap.wrap(quality_sentence(held_out), WIDTH)


def quality_sentence(held_out: HeldOut) -> str:
    """Say how well features are foretold that were left out of the fit."""
    told = []
    if held_out.readings is not None:
        told.append(_reading_quality(held_out.readings))
    if held_out.trials is not None:
        told.append(_trial_quality(held_out.trials))
    return f"Each feature foretold from all others: {'; '.join(told)}."


def _reading_quality(readings: HeldOutReadings) -> str:
    return (
        f"readings to {readings.rmse_mm:.3f} mm rms, half of them to"
        f" {readings.median_error_mm:.3f} mm, {100 * readings.inside:.0f} % inside their"
        f" 90 % interval"
    )


def _trial_quality(trials: HeldOutTrials) -> str:
    return (
        f"grades named right {100 * trials.named:.0f} %, {100 * trials.inside:.0f} % inside their"
        f" likely set ({100 * trials.expected_inside:.0f} % expected)"
    )


def _first_joint(runs: Sequence[Run]) -> str:
    """Return the options that ask about the first joint tried; empty if none was."""
    for run in runs:
        features = {feature.id: feature for feature in run.coupon.features}
        for entry in run.fits:
            tried = [features.get(entry.feature), features.get(entry.mate)]
            pair = sorted((f for f in tried if f), key=lambda f: f.form not in INTERNAL)
            if len(pair) == 2:
                internal, external = pair
                return (
                    f"--joint {internal.form}/{external.form}"
                    f" --size {external.size_mm:g} --along {external.direction}"
                )
    return ""


def _no_fits(profile: Profile) -> list[str]:
    bought = "No printed pair was tried, only bought pieces: ask about those with `--hardware`."
    return textwrap.wrap(bought if profile.counts.trials else NO_TRIALS, WIDTH)
