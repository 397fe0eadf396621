"""``report.html``: what a fit taught, for a desk, where a picture comes before a number."""

from collections.abc import Sequence
from pathlib import Path

from coupons.answering.words import REHEARSED, VERBS, chance, minus, signed
from coupons.atomic import write_text
from coupons.learning.fit import Fitted
from coupons.learning.profile import Profile
from coupons.measuring.finding import Finding
from coupons.measuring.run import Run
from coupons.showing.families import Family, families
from coupons.showing.fault_bars import fault_bars
from coupons.showing.faults import Fault, faults, unmeasured_terms
from coupons.showing.fit_plot import fit_plot
from coupons.showing.joint_tables import FitLine, JointTable, joint_tables, joint_title
from coupons.showing.left_over import largest_left_over
from coupons.showing.page import render_page
from coupons.showing.place_plot import place_plots
from coupons.showing.plot import plus_minus
from coupons.showing.size_plot import size_plots
from coupons.terms import Gives, Grade

FINDINGS_SHOWN = 12
LEFT_OVER_SHOWN = 6

_SCATTERS = {
    "tau": "two like features differ, in the layer plane",
    "tau_z": "two like features differ, across layers",
    "rho": "one print differs from the next, in the layer plane",
    "rho_z": "one print differs from the next, across layers",
    "sigma": "one caliper reading differs from the next",
    "omega": "one hand's grade differs from the next, as clearance",
}


def write_report(
    path: Path,
    profile: Profile,
    fitted: Fitted,
    runs: Sequence[Run],
    findings: Sequence[Finding] = (),
) -> Path:
    """Write what a fit taught as one page that needs nothing else.

    Parameters
    ----------
    path : Path
        Where to; by custom ``report.html`` beside the profile.
    profile : Profile
    fitted : Fitted
        The fit that the profile came from.
    runs : sequence of Run
        The runs that were fitted.
    findings : sequence of Finding
        Entries that deserve a second look.

    Returns
    -------
    Path
        ``path``. The same input gives the same bytes.
    """
    tried = families(runs)
    tables = joint_tables(profile, tried)
    wrong = faults(profile)
    left = largest_left_over(fitted, runs, profile)
    write_text(
        path,
        render_page(
            "report/report.html.j2",
            styles=("shared/bench.css", "shared/plot.css", "report/report.css"),
            profile=profile,
            rehearsed=REHEARSED,
            steps=first_steps(profile, tables, wrong, findings),
            tables=tables,
            size_plots=size_plots(fitted, runs, profile),
            fit_plots=[(_tried_title(family), fit_plot(profile, family)) for family in tried],
            faults=wrong,
            bars=fault_bars(wrong),
            scatters=[(_SCATTERS[n], s) for n, s in profile.scatters.items()],
            left_over=left[:LEFT_OVER_SHOWN],
            place_plots=place_plots(left),
            run_names=[run.folder.name for run in runs],
            findings=findings[:FINDINGS_SHOWN],
            more_findings=max(0, len(findings) - FINDINGS_SHOWN),
            unmeasured=unmeasured(tables, profile),
            conditions=conditions_table(runs),
            joint_title=joint_title,
            signed=signed,
            minus=minus,
            plus_minus=plus_minus,
            chance=chance,
        ),
    )
    return path


def _tried_title(family: Family) -> str:
    loose = family.joint.external if family.gives is Gives.INTERNAL else family.joint.internal
    return f"{joint_title(family.joint)}, the {loose} loose"


def first_steps(
    profile: Profile,
    tables: Sequence[JointTable],
    wrong: Sequence[Fault],
    findings: Sequence[Finding],
) -> tuple[tuple[str, str], ...]:
    """Return at most three things to do, each as a head and a sentence, first things first."""
    steps: list[tuple[str, str]] = []
    if findings:
        many = "one thing" if len(findings) == 1 else f"{len(findings)} things"
        steps.append((f"Look at {many} again", "What the checks found odd is listed below."))
    steps += [_draw_step(table) for table in tables if table.lines][:1]
    cured = [f for f in wrong if f.is_sure and f.name.startswith("scale")]
    if cured:
        steps.append(_scale_step(profile, cured[0]))
    missing = unmeasured(tables, profile)
    if missing:
        what, coupon = missing[0]
        steps.append((f"Print the coupon “{coupon}” next", f"Not measured so far: {what}."))
    return tuple(steps[:3])


def _draw_step(table: JointTable) -> tuple[str, str]:
    line = next((line for line in table.lines if line.fit is Grade.SLIDE), table.lines[0])
    head = f"Draw a gap of {minus(line.one.gap_mm)} mm where it {VERBS[line.fit]}"
    return head, (
        f"{joint_title(table.joint)}: {_offset_words(line)}. It {VERBS[line.fit]} with a chance of "
        f"{chance(line.one.chance)}."
    )


def _offset_words(line: FitLine) -> str:
    move = line.one.moves[0]
    if move.offset_mm == 0:
        return "leave both parts as they are"
    where = "each face" if move.faces == 2 else "one face"
    way = "into the material" if move.offset_mm < 0 else "out of the material"
    return f"move {where} of the {move.form} by {signed(move.offset_mm)} mm, {way}"


def _scale_step(profile: Profile, fault: Fault) -> tuple[str, str]:
    axis = fault.name.removeprefix("scale_")
    ratio = profile.means[fault.name]
    return (
        f"Set the machine's scale of {axis} to {1 / (1 + ratio):.4f} of now",
        f"It prints {abs(100 * ratio):.2f} % too {'long' if ratio > 0 else 'short'} along {axis}. "
        "Print and measure again after changing it: these offsets are for the machine as it was.",
    )


def unmeasured(tables: Sequence[JointTable], profile: Profile) -> tuple[tuple[str, str], ...]:
    """Return what the runs say nothing about, with the coupon that would, joints first."""
    joints = [(joint_title(table.joint), table.coupon) for table in tables if not table.lines]
    return (*joints, *unmeasured_terms(profile))


def conditions_table(runs: Sequence[Run]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return each condition with its value in every run; what nobody wrote down is a dash."""

    def row(name: str, unit: str = "") -> tuple[str, tuple[str, ...]]:
        label = name.removesuffix("_mm").removesuffix("_c").removesuffix("_mm_s").replace("_", " ")
        values = [getattr(run.conditions, name) for run in runs]
        return label, tuple("–" if v is None else f"{v} {unit}".strip() for v in values)

    return (
        ("run", tuple(run.folder.name for run in runs)),
        ("coupon", tuple(run.coupon.spec.title for run in runs)),
        row("printed_on"),
        row("nozzle_mm", "mm"),
        row("layer_height_mm", "mm"),
        row("nozzle_temp_c", "°C"),
        row("bed_temp_c", "°C"),
        row("speed_mm_s", "mm/s"),
        ("caliper step", tuple(f"{run.conditions.caliper.resolution_mm} mm" for run in runs)),
        ("jaw land", tuple(f"{run.conditions.caliper.jaw_land_mm} mm" for run in runs)),
        ("tried and read by", tuple(_hands(run) for run in runs)),
    )


def _hands(run: Run) -> str:
    names = {entry.by for entry in run.sizes} | {entry.by for entry in run.fits}
    return ", ".join(sorted(names - {""})) or "–"
