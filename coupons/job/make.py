"""Making a coupon: once, as several jobs, as a proof, or a part that exists already."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from coupons.answering.number_arguments import takes
from coupons.errors import PlanError, Problem

if TYPE_CHECKING:
    from coupons.learning.profile import Profile
    from coupons.making.estimate import Estimate
    from coupons.making.plan import Plan
    from coupons.making.record import Coupon, CouponProof
    from coupons.making.spec.coupon_spec import Spec
    from coupons.making.spec.part_spec import PartSpec


@dataclass(frozen=True)
class MadeCoupon:
    """A coupon that was made.

    Parameters
    ----------
    folder : Path
        The run folder.
    coupon : Coupon
        Its record: features, mates and trials.
    cost : Estimate
        Plastic, time and bed, by a simple model; nothing for a part that exists already.
    rounded : tuple of str
        Rows of the spec whose heights or gaps across z were rounded to whole layers.
    left_out : tuple of (str, str)
        Of a proof: joints that have no row, each with the reason.
    """

    folder: Path
    coupon: "Coupon"
    cost: "Estimate"
    rounded: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    def __repr__(self) -> str:
        """One line: where it is, and what it holds."""
        features, trials = len(self.coupon.features), len(self.coupon.trials)
        return f"<Made {self.folder}: {features} features, {trials} trials>"


@takes(PlanError)
def make_coupon(
    spec: str | Path,
    folder: str | Path,
    *,
    machine: str = "",
    material: str = "",
    nozzle_mm: float | None = None,
    layer_height_mm: float | None = None,
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
    after: str | Path | None = None,
) -> MadeCoupon:
    """Make a coupon: print files, map, preview, entry sheets and conditions in one run folder.

    Parameters
    ----------
    spec : str or Path
        A shipped coupon by name, such as ``"first"``, or the path of a .toml file. A file of
        ``kind = "part"`` lists the sizes of a part that exists already: nothing is made to print.
    folder : str or Path
        Run folder to write. Neither typed entries nor files of your own are written over.
    machine, material : str
        Names that are kept with the run.
    nozzle_mm, layer_height_mm : float, optional
        What the coupon is laid out for; the spec's own if not given.
    speed_mm_s : float, optional
        Printing speed, from which the time is estimated; kept with the run.
    bed_mm : (float, float), optional
        Width and depth of the bed; the spec's own if not given. Not for a part.
    after : str or Path, optional
        Profile of earlier prints of this machine and material: what is asked first starts from what
        it knows, so that fewer entries are enough. Names, nozzle and layer height that are not
        given are those of the profile. Not for a part.

    Raises
    ------
    SpecError
        If there is no such spec, or with every problem in it.
    PlanError
        If it does not fit the bed, breaks a rule, or a solid does not come out as the record says;
        or if the profile is of another machine or material.
    ProfileError
        If the profile cannot be read.
    RunError
        If the folder holds typed entries or another coupon.
    WriteError
        If a file is in the way, or does not read back as what was meant.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     made = make_coupon("recheck", f"{folder}/run", machine="bench-1", material="grey")
    ...     sorted(path.name for path in made.folder.iterdir())[:4]
    ['conditions.toml', 'coupon.json', 'entries.csv', 'entry.html']
    """
    from coupons.making.spec.part_spec import PartSpec, load_asked

    loaded = load_asked(spec)
    asked = _Asked(machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm, after)
    if isinstance(loaded, PartSpec):
        return _made_part(loaded, Path(folder), asked)
    return _make(loaded, {Path(folder): ""}, asked)[0]


@takes(PlanError)
def make_jobs(
    spec: str | Path,
    folder: str | Path,
    jobs: int,
    *,
    machine: str = "",
    material: str = "",
    nozzle_mm: float | None = None,
    layer_height_mm: float | None = None,
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
    after: str | Path | None = None,
) -> tuple[MadeCoupon, ...]:
    """Make a coupon as several print jobs, each with a run folder of its own.

    Only prints from different jobs show how much one print differs from the next. Rows of a spec
    that say ``jobs`` take turns.

    Parameters
    ----------
    spec, machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm, after
        As of `make_coupon`.
    folder : str or Path
        In it the run folders job-1, job-2 … are written.
    jobs : int
        From 1 to 9.

    Raises
    ------
    SpecError, PlanError, ProfileError, RunError, WriteError
        As `make_coupon`; then none of the folders is written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     [made.folder.name for made in make_jobs("recheck", folder, 2)]
    ['job-1', 'job-2']
    """
    import secrets

    from coupons.making.spec.part_spec import PartSpec, load_asked
    from coupons.making.spec.row_kinds import MOST_JOBS

    # A caller may not use a type checker.
    if not isinstance(jobs, int) or not 1 <= jobs <= MOST_JOBS:
        raise PlanError([Problem("jobs", f"a number from 1 to {MOST_JOBS}", repr(jobs)[:60])])
    loaded = load_asked(spec)
    if isinstance(loaded, PartSpec):
        raise PlanError([Problem("jobs", "none for a part that exists already", f"{jobs} jobs")])
    asked = _Asked(machine, material, nozzle_mm, layer_height_mm, speed_mm_s, bed_mm, after)
    # No other set of jobs may have the same names: they may all be fitted together one day.
    name = secrets.token_hex(3)
    folders = {Path(folder) / f"job-{n}": f"{name}-{n}" for n in range(1, jobs + 1)}
    return _make(loaded, folders, asked)


@dataclass(frozen=True)
class _Asked:
    """The options of `make_coupon`."""

    machine: str
    material: str
    nozzle_mm: float | None
    layer_height_mm: float | None
    speed_mm_s: float | None
    bed_mm: tuple[float, float] | None
    after: str | Path | None = None


def _make(spec: "Spec", folders: dict[Path, str], asked: _Asked) -> tuple[MadeCoupon, ...]:
    """Plan and write the jobs of a coupon, all or none; each folder has the name of its job."""
    from coupons.making.plan import plan_coupon

    earlier = None if asked.after is None else _earlier(asked.after, asked.machine, asked.material)
    if earlier is not None:
        asked = _as_before(asked, earlier)
    sizes = (asked.bed_mm, asked.layer_height_mm, asked.nozzle_mm)
    jobs = [
        _Job(plan_coupon(spec, *sizes, job=number), folder, name)
        for number, (folder, name) in enumerate(folders.items(), start=1)
    ]
    return _written(jobs, asked.machine, asked.material, asked.speed_mm_s, earlier=earlier)


def _earlier(path: str | Path, machine: str, material: str) -> "Profile":
    """Read a profile that is to be of this machine and material, where these are given."""
    from coupons.learning.profile_file import read_profile

    known = read_profile(Path(path))
    todo = "Leave it out, or give the profile of that machine and material"
    problems = [
        Problem(what, f"{what} {mine!r} as in the profile", repr(given), todo)
        for what, given, mine in (
            ("machine", machine, known.machine),
            ("material", material, known.material),
        )
        if given not in ("", mine)
    ]
    if problems:
        raise PlanError(problems)
    return known


def _as_before(asked: _Asked, earlier: "Profile") -> _Asked:
    """Fill in what was not asked for from the profile of the earlier prints."""
    return replace(
        asked,
        machine=asked.machine or earlier.machine,
        material=asked.material or earlier.material,
        nozzle_mm=asked.nozzle_mm or earlier.nozzle_mm,
        layer_height_mm=asked.layer_height_mm or earlier.layer_height_mm,
    )


@dataclass(frozen=True)
class _Job:
    """A planned coupon, the run folder to write it to, and the name of its print job."""

    plan: "Plan"
    folder: Path
    name: str = ""


def _written(
    jobs: Sequence[_Job],
    machine: str,
    material: str,
    speed_mm_s: float | None,
    prove: "Callable[[Coupon], CouponProof] | None" = None,
    earlier: "Profile | None" = None,
) -> tuple[MadeCoupon, ...]:
    """Write planned coupons into their run folders, all or none."""
    from coupons.answering.next.earlier import EARLIER_FILE
    from coupons.atomic import together
    from coupons.learning.profile_file import write_profile
    from coupons.making.bodies.proportions import DEFAULT_SPEED_MM_S
    from coupons.making.estimate import estimate
    from coupons.making.output.run_files import checked_solids, write_coupon_files
    from coupons.making.plan import record
    from coupons.making.record import name_run
    from coupons.measuring.run.folder import start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    speed = DEFAULT_SPEED_MM_S if speed_mm_s is None else speed_mm_s
    solids = [checked_solids(job.plan) for job in jobs]
    coupons = [record(job.plan) for job in jobs]
    proofs = [None if prove is None else prove(coupon) for coupon in coupons]
    with together() as files:
        for job in jobs:
            refuse_foreign_pages(job.folder)
        for job, built, coupon, proof in zip(jobs, solids, coupons, proofs, strict=True):
            start_run(
                job.folder,
                coupon,
                machine=machine,
                material=material,
                speed_mm_s=speed_mm_s,
                job=job.name,
            )
            run = name_run(job.folder, job.plan.spec.digest, machine, material)
            write_coupon_files(job.plan, job.folder, built, run, proof)
            if earlier is not None:
                write_profile(earlier, job.folder / EARLIER_FILE)
        files.settle()  # the pages are made from what stands in the folders
        for job in jobs:
            write_run_pages(job.folder)
    return tuple(
        MadeCoupon(
            job.folder,
            coupon.model_copy(update={"proof": proof}),
            estimate(job.plan, speed),
            job.plan.rounded_rows(),
        )
        for job, coupon, proof in zip(jobs, coupons, proofs, strict=True)
    )


@takes(PlanError)
def prove_profile(
    profile: str | Path,
    folder: str | Path,
    *,
    joints: str | Path | None = None,
    machine: str = "",
    material: str = "",
    speed_mm_s: float | None = None,
    bed_mm: tuple[float, float] | None = None,
) -> MadeCoupon:
    """Make a coupon of your own joints, drawn as the profile answers them, to put it to the proof.

    Parameters
    ----------
    profile : str or Path
    folder : str or Path
        Run folder to write.
    joints : str or Path, optional
        A list of joints; by default a sliding fit of every usual joint that the profile measured.
    machine, material : str
        If given, they must be those of the profile.
    speed_mm_s : float, optional
    bed_mm : (float, float), optional

    Raises
    ------
    ProfileError, AnswerError
        If the profile or the list cannot be read.
    PlanError
        If the machine or material is another than the profile's, or no joint can be laid out.
    RunError, WriteError
        As `make_coupon`.
    """
    from coupons.answering.joints.joint_list import read_joints
    from coupons.answering.joints.usual import usual_joints
    from coupons.answering.proof import plan_proof, proof_of

    known = _earlier(profile, machine, material)
    listed = usual_joints(known) if joints is None else read_joints(Path(joints)).joints
    proof = plan_proof(known, listed, bed_mm)
    (made,) = _written(
        [_Job(proof.plan, Path(folder))],
        known.machine,
        known.material,
        speed_mm_s,
        lambda coupon: proof_of(known, proof, coupon),
    )
    return replace(made, left_out=proof.left_out)


def _made_part(spec: "PartSpec", folder: Path, asked: _Asked) -> MadeCoupon:
    """Write the run folder of a part that exists already."""
    from coupons.atomic import together
    from coupons.making.estimate import Estimate
    from coupons.making.own_part import part_record
    from coupons.making.record import name_run, write_coupon
    from coupons.measuring.run.folder import RECORD_FILE, start_run
    from coupons.showing.pages.run_pages import refuse_foreign_pages, write_run_pages

    todo = "Leave it out"
    if asked.bed_mm is not None:
        raise PlanError([Problem("bed", "none for a part that exists already", "one", todo)])
    if asked.after is not None:
        raise PlanError([Problem("after", "none for a part that exists already", "one", todo)])
    coupon = part_record(spec, asked.layer_height_mm, asked.nozzle_mm)
    with together() as files:
        refuse_foreign_pages(folder)
        start_run(
            folder,
            coupon,
            machine=asked.machine,
            material=asked.material,
            speed_mm_s=asked.speed_mm_s,
        )
        run = name_run(folder, coupon.spec.digest, asked.machine, asked.material)
        write_coupon(coupon.model_copy(update={"run": run}), folder / RECORD_FILE)
        files.settle()  # the pages are made from what stands in the folder
        write_run_pages(folder)
    nothing = Estimate(0.0, 0.0, 0.0, 0, 0, 0, len(coupon.features), len(coupon.trials), 0.0)
    return MadeCoupon(folder, coupon, nothing, ())
