"""``report.html``: the results of a fit as one page, pictures before numbers."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from coupons.answering.compare.before_after import BeforeAfter
from coupons.answering.origin import leaning_sentence, origin_of
from coupons.answering.words.answers import NO_TRIALS, REHEARSED
from coupons.answering.words.before_after import RULE as BEFORE_RULE
from coupons.answering.words.before_after import cause_name, cause_notes, number
from coupons.answering.words.numbers import chance, counted, minus, signed, whole_percents
from coupons.atomic import write_text
from coupons.learning.checking.regressors import Yardstick
from coupons.learning.fit import Fitted
from coupons.learning.without import row_name
from coupons.measuring.run.differing import NAMES, value_of
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.folder import Run
from coupons.showing.families import Family, families
from coupons.showing.joint_tables import joint_title
from coupons.showing.learned import is_learned
from coupons.showing.pages.page import render_page
from coupons.showing.plots.before_after_bars import before_after_bars
from coupons.showing.plots.cause_bars import cause_bars
from coupons.showing.plots.fit_plot import fit_plot
from coupons.showing.plots.place_plot import place_plots
from coupons.showing.plots.plot import plus_minus
from coupons.showing.plots.residuals import largest_left_over
from coupons.showing.plots.size_plot import size_plots
from coupons.showing.words.differing import runs_differ
from coupons.showing.words.fit_summary import Learned, amount, quality_sentence, shared_slips
from coupons.showing.words.half_filled import blank_sentence, coarse_sentence
from coupons.showing.words.runs import drift_sentence
from coupons.showing.words.unmeasured import unmeasured
from coupons.terms import MovingBody

FINDINGS_SHOWN = 12
LEFT_OVER_SHOWN = 6

_SCATTERS = {
    "tau": "two like features differ, in the layer plane",
    "tau_z": "two like features differ, across layers",
    "rho": "one print differs from the next, in the layer plane",
    "rho_z": "one print differs from the next, across layers",
    "rho_scale": "the scale of one print differs from the next, in the layer plane",
    "rho_scale_z": "the scale of one print differs from the next, across layers",
    "rho_bed": "heights above the bed differ from one print to the next",
    "rho_roof": "bridged roofs differ from one print to the next",
    "sigma": "one caliper reading differs from the next",
    "omega": "one hand's grade differs from the next, as clearance",
}


def write_report(
    path: Path,
    learned: Learned,
    fitted: Fitted,
    findings: Sequence[Sequence[Finding]] = (),
    yardsticks: Sequence[Yardstick] = (),
    before: BeforeAfter | None = None,
) -> Path:
    """Write the results of a fit as one self-contained page.

    Parameters
    ----------
    path : Path
        Where to; usually ``report.html`` beside the profile.
    learned : Learned
        The profile, its runs and everything found about them.
    fitted : Fitted
        The fit that the profile came from.
    findings : sequence of sequence of Finding
        What the checks found in each of the runs.
    yardsticks : sequence of Yardstick
        Cross-validation errors of this model and of others, if that was worked out.
    before : BeforeAfter, optional
        What became of each cause since an earlier profile.

    Returns
    -------
    Path
        ``path``. The same input gives the same bytes.
    """
    write_text(
        path,
        render_page(
            "report/report.html.j2",
            styles=(
                "shared/bench.css",
                "shared/plot.css",
                "report/report.css",
                *(["shared/before_after.css"] if before else []),
            ),
            profile=learned.profile,
            rehearsed=REHEARSED,
            differing=runs_differ(learned.runs),
            blank=blank_sentence(learned.runs),
            leans=leaning_sentence(origin_of(learned.profile)),
            drift=drift_sentence(learned.drifts),
            coarse=coarse_sentence(learned.runs),
            no_trials=NO_TRIALS,
            conditions=conditions_table(learned.runs),
            scatters=[
                (_SCATTERS[name], scatter, is_learned(learned.profile, name))
                for name, scatter in learned.profile.scatters.items()
            ],
            quality=quality_sentence(learned.held_out),
            yardsticks=yardsticks,
            joint_title=joint_title,
            signed=signed,
            minus=minus,
            plus_minus=plus_minus,
            chance=chance,
            counted=counted,
            **_before(before),
            **_answers(learned),
            **_causes(learned),
            **_entries(learned, findings),
            **_plots(learned, fitted),
        ),
    )
    return path


def _before(found: BeforeAfter | None) -> dict[str, Any]:
    pairs = () if found is None else zip(found.causes, before_after_bars(found.causes), strict=True)
    return {
        "before": None if found is None else list(pairs),
        "before_notes": [] if found is None else [*cause_notes(found), BEFORE_RULE],
        "cause_name": cause_name,
        "number": number,
    }


def _answers(learned: Learned) -> dict[str, Any]:
    return {
        "steps": learned.steps,
        "tables": learned.tables,
        "unmeasured": unmeasured(learned.tables, learned.profile),
    }


def _causes(learned: Learned) -> dict[str, Any]:
    found = learned.causes.found
    percents = whole_percents([one.share for one in found])
    amounts = [amount(one) for one in found]
    return {
        "causes": list(zip(found, amounts, percents, cause_bars(found), strict=True)),
        "total_mm": learned.causes.total_mm,
    }


def _entries(learned: Learned, findings: Sequence[Sequence[Finding]]) -> dict[str, Any]:
    """Gather what to look at again: unexpected entries, then what the checks found."""
    surprises = learned.surprises
    told = {(one.run, one.where) for one in surprises.found}
    several = len(learned.runs) > 1
    looks = [replace(one, where=where) for where, one in shared_slips(learned)]
    looks += [
        replace(look, where=f"{learned.runs[n].folder.name}: {look.where}") if several else look
        for n, each in enumerate(findings)
        for look in each
        if (n, look.where) not in told
    ]
    return {
        "surprises": [
            (row_name(learned.runs, one.run, one.row), one)
            for one in surprises.found[:FINDINGS_SHOWN]
        ],
        "entries": surprises.entries,
        "improbable": len(surprises.found),
        "by_chance": surprises.by_chance,
        "findings": looks[:FINDINGS_SHOWN],
        "more_findings": max(0, len(looks) - FINDINGS_SHOWN),
    }


def _plots(learned: Learned, fitted: Fitted) -> dict[str, Any]:
    profile, runs = learned.profile, learned.runs
    left = largest_left_over(fitted, runs, profile)
    return {
        "fit_plots": [(_tried_title(one), fit_plot(profile, one)) for one in families(runs)],
        "size_plots": size_plots(fitted, runs, profile),
        "left_over": left[:LEFT_OVER_SHOWN],
        "place_plots": place_plots(left),
        "run_names": [run.folder.name for run in runs],
    }


def _tried_title(family: Family) -> str:
    loose = family.joint.external if family.move is MovingBody.INTERNAL else family.joint.internal
    return f"{joint_title(family.joint)}, the {loose} loose"


def conditions_table(runs: Sequence[Run]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return each condition with its value in every run; a dash where it was not filled in."""

    def row(name: str) -> tuple[str, tuple[str, ...]]:
        label, unit = NAMES[name]
        values = [value_of(run.conditions, name) for run in runs]
        return label, tuple("–" if v is None else f"{v} {unit}".strip() for v in values)

    return (
        ("run", tuple(run.folder.name for run in runs)),
        ("coupon", tuple(run.coupon.spec.title for run in runs)),
        ("printed on", tuple(str(run.conditions.printed_on or "–") for run in runs)),
        *(row(name) for name in NAMES),
        ("caliper resolution", tuple(f"{run.conditions.caliper.resolution_mm} mm" for run in runs)),
        *_uncertainty(runs),
        ("flat of inside jaws", tuple(f"{run.conditions.caliper.jaw_land_mm} mm" for run in runs)),
        ("tried and measured by", tuple(_hands(run) for run in runs)),
    )


def _uncertainty(runs: Sequence[Run]) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield the standard uncertainty of the instruments, if any is known."""
    stated = [run.conditions.caliper.uncertainty_mm for run in runs]
    if any(stated):
        yield "standard uncertainty", tuple(f"{mm:g} mm" if mm else "–" for mm in stated)


def _hands(run: Run) -> str:
    names = {entry.by for entry in run.sizes} | {entry.by for entry in run.fits}
    return ", ".join(sorted(names - {""})) or "–"
