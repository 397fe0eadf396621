"""Parts that somebody printed, as runs: each print job one, its bodies as the features of a coupon.

So all that knows runs knows parts: the fit, the checks, what is left out, what is unexpected.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from coupons.errors import EntriesError, Problem
from coupons.making.record import (
    Coupon,
    CouponAssumed,
    CouponFeature,
    CouponHardware,
    CouponSpecRef,
    CouponTrial,
)
from coupons.measuring.run import conditions as conditions_file
from coupons.measuring.run.conditions import Conditions, read_conditions
from coupons.measuring.run.entries import FitEntry
from coupons.measuring.run.findings import Finding
from coupons.measuring.run.folder import Run
from coupons.measuring.run.parts_list import FindHardware, TriedJoint, read_parts
from coupons.reading import stands
from coupons.terms import INTERNAL, Form, Seam

SPEC_NAME = "parts"
UNSAID = "one job"
# A pair with a gap beyond this is mostly two sizes in the wrong cells.
FAR_GAP_MM = 1.5


# For checks that ask for no conditions.
_UNKNOWN = Conditions(machine="unknown", material="unknown", nozzle_mm=0.4, layer_height_mm=0.2)


@dataclass(frozen=True)
class PartEntry(FitEntry):
    """A trial of two bodies of parts.

    Parameters
    ----------
    contact_mm : float, optional
        How long they touch, where it is known.
    """

    contact_mm: float | None = None


def with_parts(runs: Sequence[Run], path: Path, hardware: FindHardware) -> tuple[Run, ...]:
    """Read a list of parts as runs, one for each print job, and put them after other runs.

    Parameters
    ----------
    runs : sequence of Run
        Runs of the same machine, or none. A job that is named as the folder of one of them is the
        print of that run; both then name it. The conditions of the first hold for the parts too,
        where no conditions.toml stands beside the list.
    path : Path
    hardware : callable
        Looks bought pieces up.

    Raises
    ------
    EntriesError
        With every problem of the list at once.
    ConditionsError
        If conditions.toml beside it cannot be read.
    """
    joints, problems = read_parts(path, hardware)
    beside = path.parent / conditions_file.FILE
    conditions = None
    if stands(beside):
        conditions = read_conditions(beside)
    elif runs:
        conditions = runs[0].conditions.model_copy(update={"printed_on": None, "rehearsal": None})
    else:
        todo = "Copy that of a run of this machine beside the list, or fit a run with it"
        missing = Problem(str(beside), "the conditions of the print", "no such file", todo)
        problems = [missing, *problems]
    if problems or conditions is None:
        raise EntriesError(problems)
    parts = runs_of(path, joints, conditions)
    jobs = {part.job for part in parts if part.job}
    named = tuple(_named(run, jobs) for run in runs)
    prints = {run.job: run.conditions for run in named if run.job}
    return (
        *named,
        *(replace(part, conditions=prints.get(part.job, part.conditions)) for part in parts),
    )


def runs_of(
    path: Path, joints: Sequence[TriedJoint], conditions: Conditions = _UNKNOWN
) -> tuple[Run, ...]:
    """Return one run for each print job of a list, in the order of the list."""
    jobs = dict.fromkeys(joint.job for joint in joints)
    return tuple(
        _run(path, job, [joint for joint in joints if joint.job == job], conditions) for job in jobs
    )


def _named(run: Run, jobs: Collection[str]) -> Run:
    """Return a run with its job named, if parts were printed in it under the name of its folder."""
    name = run.folder.resolve().name
    return replace(run, job=name) if not run.job and name in jobs else run


def _run(path: Path, job: str, joints: Sequence[TriedJoint], conditions: Conditions) -> Run:
    features: dict[str, CouponFeature] = {}
    pieces: dict[str, CouponHardware] = {}
    met = Counter(key for pair in {_keys(joint) for joint in joints} for key in pair)
    entries: list[PartEntry] = []
    trials: dict[tuple[str, str], TriedJoint] = {}
    for joint in joints:
        for form in (joint.internal, joint.external):
            if joint.hardware is not None and joint.hardware.form is form:
                pieces[joint.hardware.id] = joint.hardware
            else:
                features.setdefault(joint.key(form), _feature(joint, form))
        entry = _entry(joint, met)
        entries.append(entry)
        trials.setdefault((entry.feature, entry.mate), joint)
    coupon = Coupon(
        spec=CouponSpecRef(name=SPEC_NAME, title="Parts of one's own", digest=SPEC_NAME),
        assumed=CouponAssumed(
            bed_mm=(1000.0, 1000.0),
            layer_height_mm=conditions.layer_height_mm,
            nozzle_mm=conditions.nozzle_mm,
        ),
        bodies=(),
        features=tuple(features.values()),
        hardware=tuple(pieces.values()),
        trials=tuple(
            CouponTrial(feature=feature, mate=mate, gap_mm=joint.gap_mm, deep_mm=joint.contact_mm)
            for (feature, mate), joint in trials.items()
        ),
        readings=(),
    )
    folder = path / (job or UNSAID)
    return Run(folder, coupon, conditions, (), tuple(entries), job=job, parts=path)


def _keys(joint: TriedJoint) -> tuple[str, str]:
    return joint.key(joint.internal), joint.key(joint.external)


def _feature(joint: TriedJoint, form: Form) -> CouponFeature:
    is_internal = form in INTERNAL
    return CouponFeature(
        id=joint.key(form),
        form=form,
        direction=joint.direction,
        size_mm=joint.internal_mm if is_internal else joint.external_mm,
        role="fit",
        row=joint.name,
        body=joint.key(form),
        plate=1,
        place_mm=(0.0, 0.0, 0.0),
        # A pin of a part has its seam somewhere.
        seam=Seam.SHOWN if form is Form.PIN else None,
        on_bed=joint.bed.holds(form),
    )


def _entry(joint: TriedJoint, met: Counter[str]) -> PartEntry:
    """Return the trial; the body that met more others is the mate, as a gauge is in a row."""
    internal, external = _keys(joint)
    is_hardware = joint.hardware is not None and joint.hardware.id == internal
    swap = is_hardware or (
        met[internal] > met[external]
        and not (joint.hardware is not None and joint.hardware.id == external)
    )
    feature, mate = (external, internal) if swap else (internal, external)
    return PartEntry(
        joint.row,
        feature,
        mate,
        joint.tightest,
        joint.loosest,
        joint.by,
        joint.note,
        joint.contact_mm,
    )


def odd_parts(runs: Sequence[Run]) -> Iterator[Finding]:
    """Yield what looks wrong in a list of parts beyond single trials that contradict each other."""
    for run in runs:
        if run.parts is None:
            continue
        file = run.parts.name
        if not run.job and len(run.fits) > 1:
            what = f"{len(run.fits)} rows name no job: their bodies are taken as one print"
            todo = "Fill in the column job where they were printed at different times"
            yield Finding("look", file, what, todo)
        gaps = {(trial.feature, trial.mate): trial.gap_mm for trial in run.coupon.trials}
        for fit in run.fits:
            gap_mm = gaps[fit.feature, fit.mate]
            if abs(gap_mm) > FAR_GAP_MM:
                what = f"the drawn gap is {gap_mm:+.2f} mm"
                todo = "Check that both sizes are as drawn and in their own cells"
                yield Finding("look", f"{file} row {fit.row} ({fit.feature})", what, todo)
