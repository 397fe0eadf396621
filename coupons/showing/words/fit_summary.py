"""What `coupons fit` prints: what to do first, the error budget, how good the fit is."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from coupons.answering.origin import leaning_sentence, origin_of
from coupons.answering.print_gains import PrintGains, what_prints_added
from coupons.answering.words.answers import NO_TRIALS, REHEARSED
from coupons.answering.words.numbers import counted, percent, whole_percents
from coupons.learning.causes import Cause, Causes, Place, find_causes
from coupons.learning.checking.cross_validation import (
    HeldOut,
    HeldOutReadings,
    HeldOutTrials,
    hold_out,
)
from coupons.learning.checking.odd_runs import RunVerdict, verdicts_of
from coupons.learning.checking.one_way import OneWayDrift, one_way_drifts
from coupons.learning.checking.shared_slips import find_shared_slips
from coupons.learning.checking.surprises import Surprise, Surprises, find_surprises
from coupons.learning.fit import Fitted, fit_runs
from coupons.learning.profile import Profile
from coupons.learning.without import row_name
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.folder import Run
from coupons.measuring.run.holds import held_in
from coupons.showing.families import families
from coupons.showing.joint_tables import JointTable, joint_tables
from coupons.showing.words.differing import runs_differ
from coupons.showing.words.first_steps import Step, first_steps
from coupons.showing.words.held import held_sentences
from coupons.showing.words.print_gains import job_sentences, prints_lines
from coupons.showing.words.proof import proof_sentences, scores_of
from coupons.showing.words.runs import alike_sentence, doubted_run, drift_sentence
from coupons.terms import INTERNAL

WIDTH = 80
_MOST_SURPRISES = 3
_CAUSE_HEAD = f"{'Sources of error, largest first (± 1 sd)':<51} effect on sizes where to fix"


@dataclass(frozen=True)
class Learned:
    """Everything that a fit found.

    ``looks`` is how many more things `coupons check` lists to look at; ``verdicts`` compare each of
    several runs with the others; ``drifts`` tell how sizes change from print to print, and
    ``prints`` what each print added.
    """

    profile: Profile
    runs: Sequence[Run]
    causes: Causes
    surprises: Surprises
    held_out: HeldOut
    looks: int
    shared: tuple[tuple[Finding, ...], ...] = ()
    verdicts: tuple[RunVerdict, ...] = ()
    drifts: tuple[OneWayDrift, ...] = ()
    prints: PrintGains | None = None

    @cached_property
    def tables(self) -> tuple[JointTable, ...]:
        """What to draw for the joints that were tried, and for the usual ones."""
        return joint_tables(self.profile, families(self.runs))

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """What to do first, the same on the terminal and on the page."""
        return first_steps(
            self.profile,
            self.runs,
            self.causes,
            self.surprises,
            self.tables,
            self._doubted,
        )

    @property
    def _doubted(self) -> list[Step]:
        """Say what puts the whole fit in doubt: a run unlike the others, slips in many entries."""
        run = doubted_run(self.runs, self.verdicts)
        slips = [(f"Look at {where} again", _told(slip)) for where, slip in shared_slips(self)]
        return [*([(run[0], f"{run[1]}.")] if run else []), *slips]


def learned_from(
    profile: Profile, fitted: Fitted, runs: Sequence[Run], findings: Sequence[Sequence[Finding]]
) -> Learned:
    """Gather what a fit found.

    Parameters
    ----------
    profile : Profile
    fitted : Fitted
    runs : sequence of Run
        The runs that were fitted.
    findings : sequence of sequence of Finding
        What `coupons check` found in each of the runs.
    """
    surprises = find_surprises(fitted, runs, findings)
    told = {(one.run, one.where) for one in surprises.found}
    looks = sum((n, look.where) not in told for n, each in enumerate(findings) for look in each)
    held_out = hold_out(fitted.mixture)
    shared = find_shared_slips(fitted, runs)
    table = fitted.mixture.model.table
    singly = [fit_runs([run], table) for run in runs] if len(runs) > 1 else []
    apart = verdicts_of(singly, table) if singly else ()
    drifts = one_way_drifts(singly, [run.conditions.printed_on for run in runs])
    causes = find_causes(fitted)
    prints = what_prints_added(runs, profile, singly[0]) if singly else None
    return Learned(profile, runs, causes, surprises, held_out, looks, shared, apart, drifts, prints)


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
    lines += textwrap.wrap(leaning_sentence(origin_of(learned.profile)), WIDTH)
    if learned.steps:
        lines += ["", "Do first:", *_numbered(learned.steps)]
    lines += ["", *_cause_lines(learned.causes)]
    # Runs of a machine that drifts are not alike, though none is far from the others.
    agree = drift_sentence(learned.drifts) or alike_sentence(learned.verdicts)
    lines += textwrap.wrap(agree, WIDTH, subsequent_indent="  ")
    lines += _prints_lines(learned)
    for sentence in held_sentences(held_in(learned.runs)):
        lines += ["", *textwrap.wrap(sentence, WIDTH, subsequent_indent="  ")]
    lines += ["", *_surprise_lines(learned), *_quality_lines(learned.held_out)]
    for sentence in proof_sentences(scores_of(learned.runs)):
        lines += textwrap.wrap(sentence, WIDTH, subsequent_indent="  ")
    lines.append("")
    if not any(table.lines for table in learned.tables):
        ask = f"No offset is known yet. `coupons next {profile_path}` says what to print next."
        return [*lines, *textwrap.wrap(ask, WIDTH, break_on_hyphens=False)]
    question = _first_joint(learned.runs)
    if not question:
        return [*lines, *_no_fits(learned.profile)]
    return [*lines, "For an offset:", f"  coupons offset {profile_path} \\", f"    {question}"]


def _prints_lines(learned: Learned) -> Iterator[str]:
    """Yield what each print added, where there are several."""
    for sentence in job_sentences(learned.runs):
        yield from textwrap.wrap(sentence, WIDTH, subsequent_indent="  ")
    if learned.prints is not None:
        yield ""
        yield from prints_lines(learned.prints, learned.profile, WIDTH)


def _counted(profile: Profile) -> str:
    counts = profile.counts
    text = (
        f"{profile.machine}, {profile.material}: {counted(counts.trials, 'trial')} and"
        f" {counted(counts.readings, 'reading')} of {counted(counts.sizes, 'size')} in"
        f" {counted(counts.runs, 'run')}."
    )
    if profile.without:
        text += f" Left out by --without: row {', '.join(profile.without)}."
    return text


def _numbered(steps: Sequence[Step]) -> Iterator[str]:
    for n, (head, text) in enumerate(steps, start=1):
        yield from textwrap.wrap(
            f"{head}. {text}", WIDTH, initial_indent=f"{n:>3}. ", subsequent_indent=" " * 5
        )


def shared_slips(learned: Learned) -> list[tuple[str, Finding]]:
    """Return the slips that many entries seem to share, each with the rows concerned."""
    several = len(learned.runs) > 1
    return [
        (f"{learned.runs[n].folder.name}: {one.where}" if several else one.where, one)
        for n, of_run in enumerate(learned.shared)
        for one in of_run
    ]


def _told(slip: Finding) -> str:
    what = slip.what[:1].upper() + slip.what[1:]
    return f"{what}. {slip.todo}."


def _cause_lines(causes: Causes) -> list[str]:
    percents = whole_percents([cause.share for cause in causes.found])
    shares = list(zip(causes.found, percents, strict=True))
    sure = [(cause, share) for cause, share in shares if cause.certain]
    unsure = [(cause, share) for cause, share in shares if not cause.certain]
    lines = []
    if sure:
        lines.append(_CAUSE_HEAD)
        lines += [_cause_line(cause, share) for cause, share in sure]
    if unsure:
        together = percent(sum(share for _, share in unsure) / 100)
        told = ", ".join(cause.says for cause, _ in unsure)
        text = f"Not clearly different from zero ({together} together): {told}."
        lines += textwrap.wrap(text, WIDTH, subsequent_indent="  ")
    if causes.not_measured:
        told = ", ".join(causes.not_measured)
        lines += textwrap.wrap(f"Not measured: {told}.", WIDTH, subsequent_indent="  ")
    return lines


def _cause_line(cause: Cause, share: int) -> str:
    place = "-" if cause.place is Place.NEITHER else cause.place
    return f"  {cause.says:<29} {amount(cause):<21}{cause.effect_mm:>6.3f} mm {share:>2} % {place}"


def amount(cause: Cause) -> str:
    """Write the size of a cause in its own unit, with one standard deviation."""
    if cause.unit == "ratio":
        return f"{100 * abs(cause.value):.2f} ± {100 * cause.sd:.2f} %"
    return f"{abs(cause.value):.3f} ± {cause.sd:.3f} {cause.unit.removeprefix('mm ')}"


def _surprise_lines(learned: Learned) -> list[str]:
    surprises = learned.surprises
    by_chance = f"{surprises.by_chance:.1f} expected by chance"
    head = f"Unexpected entries: {len(surprises.found)} of {surprises.entries} ({by_chance})."
    lines = [head]
    for one in surprises.found[:_MOST_SURPRISES]:
        row = _row(learned, one)
        text = f"row {row} ({one.place}): {one.result}; expected {one.expected}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if len(surprises.found) > _MOST_SURPRISES:
        lines.append(f"  and {len(surprises.found) - _MOST_SURPRISES} more, which --json lists")
    if surprises.found:
        option = f"--without {_row(learned, surprises.found[0])}"
        lines += textwrap.wrap(
            f"No entry was left out. If you are sure that one is wrong: {option}.", WIDTH
        )
    for where, slip in shared_slips(learned):
        lines += textwrap.wrap(f"{where}: {slip.what}.", WIDTH, subsequent_indent="  ")
    if learned.looks:
        lines.append(f"`coupons check` lists {counted(learned.looks, 'more thing')} to look at.")
    return lines


def _row(learned: Learned, surprise: Surprise) -> str:
    return row_name(learned.runs, surprise.run, surprise.row)


def _quality_lines(held_out: HeldOut) -> list[str]:
    return textwrap.wrap(quality_sentence(held_out), WIDTH)


def quality_sentence(held_out: HeldOut) -> str:
    """Say how well the fit predicts features that were left out of it (cross-validation)."""
    told = []
    if held_out.readings is not None:
        told.append(_reading_quality(held_out.readings))
    if held_out.trials is not None:
        told.append(_trial_quality(held_out.trials))
    return f"Cross-check, each feature predicted from the others: {'; '.join(told)}."


def _reading_quality(readings: HeldOutReadings) -> str:
    return (
        f"readings within {readings.rmse_mm:.3f} mm RMS, half of them within"
        f" {readings.median_error_mm:.3f} mm, {100 * readings.inside:.0f} % inside their"
        f" 90 % interval"
    )


def _trial_quality(trials: HeldOutTrials) -> str:
    return (
        f"grades predicted exactly: {100 * trials.exact:.0f} %, inside the predicted set:"
        f" {100 * trials.inside:.0f} % ({100 * trials.expected_inside:.0f} % expected)"
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
                    f" --size {external.size_mm:g} --across {external.direction}"
                )
    return ""


def _no_fits(profile: Profile) -> list[str]:
    only = "Only hardware was tried, no printed pair: ask about it with `--hardware`."
    return textwrap.wrap(only if profile.counts.trials else NO_TRIALS, WIDTH)
