"""Rehearse a run: a virtual printer prints the coupon, virtual hands fill in its entries.

A rehearsed run is marked in its conditions, and everything learned from it says so.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupons.atomic import together, write_text
from coupons.errors import Problem, RunError
from coupons.making.record import Coupon, read_coupon
from coupons.measuring.run import conditions as conditions_file
from coupons.measuring.run import sheet
from coupons.measuring.run.conditions import (
    Conditions,
    load_conditions,
    parse_conditions,
    set_value,
    toml_text,
)
from coupons.measuring.run.entries import FitEntry, SizeEntry
from coupons.measuring.run.folder import RECORD_FILE, typed_entries
from coupons.measuring.virtual.machine import Machine, load_machine, shipped_machines
from coupons.measuring.virtual.person import (
    CONTACT_MM,
    asked_more_mm,
    decimals,
    grade_of,
    in_session,
    read_caliper,
    take_turns,
)
from coupons.measuring.virtual.printer import (
    PrintedSizes,
    Shapes,
    clearance_mm,
    print_once,
    shapes_of,
    wave_mm,
)
from coupons.measuring.virtual.squeeze import gives_per_mm
from coupons.reading import stands
from coupons.terms import GRADES, INTERNAL, ROUND, Direction, Grade, Jaws

BY = "rehearsal"
DEFAULT = "bench-1"


@dataclass(frozen=True)
class WorkList:
    """A coupon as arrays, for rehearsing it often: which piece goes into which, what is read."""

    coupon: Coupon
    shapes: Shapes
    hardware_mm: NDArray[np.floating]
    hardware_sd_mm: NDArray[np.floating]
    internal: NDArray[np.int_]
    external: NDArray[np.int_]
    contact_mm: NDArray[np.floating]
    read: NDArray[np.int_]
    read_on: NDArray[np.int_]
    inside: NDArray[np.bool_]
    in_bore: NDArray[np.bool_]
    gives_per_mm: NDArray[np.floating]


@dataclass(frozen=True)
class Found:
    """Results of trials and readings: a grade per trial, a number per reading, in order.

    ``hand`` tells who made each trial: 0 for the machine's person, then each of the others.
    """

    grades: NDArray[np.int_]
    readings_mm: NDArray[np.floating]
    hand: NDArray[np.int_]


_BOTH_AXES = 2


def work_list(coupon: Coupon) -> WorkList:
    """Turn a coupon into arrays, so that many machines can print and try it quickly."""
    forms = {part.id: part.form for part in coupon.features}
    forms |= {piece.id: piece.form for piece in coupon.hardware}
    at = {name: index for index, name in enumerate(forms)}
    pairs = [
        (trial.feature, trial.mate)
        if forms[trial.feature] in INTERNAL
        else (trial.mate, trial.feature)
        for trial in coupon.trials
    ]
    shapes = shapes_of(coupon.features)
    read = [at[reading.feature] for reading in coupon.readings]
    inside = np.array([reading.jaws is Jaws.INSIDE for reading in coupon.readings], dtype=bool)
    is_bore = [forms[reading.feature] in ROUND for reading in coupon.readings]
    return WorkList(
        coupon=coupon,
        shapes=shapes,
        hardware_mm=np.array([piece.size_mm for piece in coupon.hardware], dtype=float),
        hardware_sd_mm=np.array([piece.sd_mm for piece in coupon.hardware], dtype=float),
        internal=np.array([at[internal] for internal, _ in pairs], dtype=int),
        external=np.array([at[external] for _, external in pairs], dtype=int),
        contact_mm=contact_mm(coupon),
        read=np.array(read, dtype=int),
        read_on=np.array(
            [
                _read_on(shapes.axes[index], reading.along)
                for index, reading in zip(read, coupon.readings, strict=True)
            ],
            dtype=int,
        ),
        inside=inside,
        in_bore=inside & np.array(is_bore, dtype=bool),
        gives_per_mm=gives_per_mm(coupon)[np.array(read, dtype=int)],
    )


def contact_mm(coupon: Coupon) -> NDArray[np.floating]:
    """Return over which length the two bodies of each trial touch.

    Where the record does not say it, it is the thickness of the thinner body: upright where mates
    go in from above, the thinner of the level ones where they go in from the side.
    """
    extents = {body.id: body.extent_mm for body in coupon.bodies}
    features = {feature.id: feature for feature in coupon.features}

    def thickness_mm(id_: str) -> float:
        feature = features.get(id_)
        extent_mm = extents.get(feature.body) if feature else None
        if feature is None or extent_mm is None:  # a bought mate reaches through
            return np.inf
        from_above = (feature.form in ROUND) is (feature.direction is Direction.Z)
        return extent_mm[2] if from_above else min(extent_mm[:2])

    thinner_mm = [
        trial.contact_mm or min(thickness_mm(trial.feature), thickness_mm(trial.mate))
        for trial in coupon.trials
    ]
    lengths_mm = np.array(thinner_mm, dtype=float)
    return np.where(np.isfinite(lengths_mm), lengths_mm, CONTACT_MM)


def _read_on(axes: NDArray[np.int_], along: str | None) -> int:
    """Return which of a feature's two axes a reading is taken on, or both."""
    wanted = "xyz".find(along) if along else -1
    return int(np.flatnonzero(axes == wanted)[0]) if wanted in axes else _BOTH_AXES


def try_out(machine: Machine, work: WorkList, rng: np.random.Generator) -> Found:
    """Print the coupon once on a virtual machine and let its person try and measure everything."""
    sizes = _with_hardware(print_once(machine, work.shapes, rng), work, rng)
    person, of_session = machine.person, rng.spawn(1)[0]
    clearances_mm = clearance_mm(sizes.of(work.internal), sizes.of(work.external))
    hand = take_turns(person, len(clearances_mm))
    grades = grade_of(clearances_mm - asked_more_mm(person, work.contact_mm, hand), person, rng)
    met_mm = _met_by_jaws(machine, sizes, work) + _on_waves(machine, work, of_session)
    caliper = in_session(machine.caliper, of_session)
    return Found(grades, read_caliper(met_mm, work.in_bore, caliper, rng, work.inside), hand)


def _with_hardware(sizes: PrintedSizes, work: WorkList, rng: np.random.Generator) -> PrintedSizes:
    bought_mm = rng.normal(work.hardware_mm, work.hardware_sd_mm)[:, None] * np.ones(2)
    return PrintedSizes(
        np.concatenate([sizes.across_mm, bought_mm]),
        np.concatenate([sizes.felt_mm, bought_mm]),
        np.concatenate([sizes.top_mm, bought_mm[:, 1]]),
        np.concatenate([sizes.on_flat, np.zeros(len(bought_mm), dtype=bool)]),
    )


def _met_by_jaws(machine: Machine, sizes: PrintedSizes, work: WorkList) -> NDArray[np.floating]:
    """Return the size on the diameter that each reading is taken on, seam bump included.

    Jaws lie along the steps of a lying round and do not feel them as a mate does. They squeeze a
    rule, and push its notches apart.
    """
    three = np.column_stack([sizes.across_mm, sizes.mean_mm])[work.read, work.read_on]
    seam_axis = "xy".index(machine.bead.seam_along)
    on_seam = work.shapes.axes[work.read, np.minimum(work.read_on, 1)] == seam_axis
    on_seam &= (work.read_on < _BOTH_AXES) & work.shapes.has_bump[work.read]
    seam_mm = work.shapes.sign[work.read] * on_seam * machine.bead.seam_mm
    given_mm = work.gives_per_mm * machine.person.jaw_force_n / machine.plastic.modulus_mpa
    met: NDArray[np.floating] = three + seam_mm + given_mm
    return met


def _on_waves(machine: Machine, work: WorkList, rng: np.random.Generator) -> NDArray[np.floating]:
    """Return what waves along faces change in each reading.

    The edges of the jaws meet each of the two faces anywhere between trough and crest.
    """
    axes = work.shapes.axes[work.read]
    on_axis = np.take_along_axis(axes, np.minimum(work.read_on, 1)[:, None], axis=1)[:, 0]
    heights_mm = wave_mm(machine)
    both_mm = heights_mm[axes].mean(axis=1)
    height_mm = np.where(work.read_on < _BOTH_AXES, heights_mm[on_axis], both_mm)
    phases = np.cos(rng.uniform(0, 2 * np.pi, (2, len(height_mm)))).sum(axis=0)
    met: NDArray[np.floating] = height_mm * phases
    return met


def as_entries(work: WorkList, found: Found) -> tuple[tuple[SizeEntry, ...], tuple[FitEntry, ...]]:
    """Return the results as entries, without any file; each trial has one grade."""
    trials, readings = work.coupon.trials, work.coupon.readings
    fits = tuple(
        FitEntry(row, trial.feature, trial.mate, GRADES[grade], GRADES[grade], by(hand))
        for row, (trial, grade, hand) in enumerate(
            zip(trials, found.grades, found.hand, strict=True), start=2
        )
    )
    sizes = tuple(
        SizeEntry(row, reading.feature, float(value), reading.jaws, reading.along, BY)
        for row, (reading, value) in enumerate(
            zip(readings, found.readings_mm, strict=True), start=2 + len(trials)
        )
    )
    return sizes, fits


def by(hand: int) -> str:
    """Return the name under which a person's trials are entered: 0 is the machine's own.

    >>> by(0), by(1)
    ('rehearsal', 'rehearsal 2')
    """
    return BY if hand == 0 else f"{BY} {hand + 1}"


def rehearse(folder: Path, virtual_machine: str | Machine = DEFAULT, seed: int = 1) -> Found:
    """Fill in the entries of a run from a virtual machine and mark the run as rehearsed.

    The machine is a shipped one's name, the path of a TOML file, or a machine itself. Its hands use
    the layer height and the caliper that conditions.toml states; what that leaves blank is filled
    in from the machine. The same seed fills in the same entries.

    Raises
    ------
    RunError
        If anything was typed into the entries already, the machine is not known, or the run is of
        a part that exists already.
    ConditionsError
        If the conditions cannot be read.
    """
    coupon = read_coupon(folder / RECORD_FILE)
    if coupon.part is not None:
        got, todo = "a part that exists already", "Measure it, or rehearse one of the coupons"
        raise RunError([Problem(str(folder), "a coupon to print", got, todo)])
    given = virtual_machine
    machine = given if isinstance(given, Machine) else load_machine(given)
    typed = typed_entries(folder)
    if typed:
        raise RunError(typed)
    text = _marked(conditions_file.read_text(folder / conditions_file.FILE), machine, seed)
    machine = _as_stated(machine, parse_conditions(text))
    found = try_out(machine, work_list(coupon), np.random.default_rng(seed))
    with together():
        # Marked first: should the second write fail, no unmarked rehearsal is left behind.
        write_text(folder / conditions_file.FILE, text)
        sheet.write_rows(folder / sheet.FILE, _filled(coupon, found, machine))
    return found


def seed_of(folder: Path) -> int:
    """Return the number of a run's job, 1 without one, so that jobs made together differ.

    With one seed for all of them the virtual printer would print every job alike.

    Raises
    ------
    ConditionsError
        If the conditions cannot be read.
    """
    number = re.search(r"-([0-9]{1,3})$", str(_stated(folder).get("job", "")))
    return int(number[1]) if number else 1


def namesake(folder: Path) -> str:
    """Return the shipped machine that a run's conditions name, or the one to start with.

    Raises
    ------
    ConditionsError
        If the conditions cannot be read.
    """
    named = _stated(folder).get("machine")
    return named if named in shipped_machines() else DEFAULT


def _stated(folder: Path) -> Mapping[str, Any]:
    """Return what a run's conditions say; nothing if there is no run, which is told later."""
    path = folder / conditions_file.FILE
    return load_conditions(conditions_file.read_text(path)) if stands(path) else {}


def _filled(coupon: Coupon, found: Found, machine: Machine) -> list[sheet.Row]:
    places = decimals(machine.caliper.resolution_mm)
    results = [_word(GRADES[grade], machine.person.plain) for grade in found.grades]
    results += [f"{value:.{places}f}" for value in found.readings_mm]
    names = [*map(by, found.hand), *(BY for _ in found.readings_mm)]
    rows = sheet.blank_rows(coupon)
    # The virtual person does not close the jaws: what is learned is then held against a caliper
    # whose zero nobody knows.
    # Nor does it drive screws: how they hold is not in what is learned.
    asked = (row for row in rows if row.kind in ("fit", "size"))
    filled = [
        replace(row, result=result, by=name)
        for row, result, name in zip(asked, results, names, strict=True)
    ]
    return [*filled, *(row for row in rows if row.kind not in ("fit", "size"))]


def _word(grade: Grade, plain: bool) -> str:
    """Return what the person writes for a grade; a ``plain`` one writes only go or stop."""
    if not plain:
        return grade
    return "stop" if grade in (Grade.NO_GO, Grade.FORCE) else "go"


def _as_stated(machine: Machine, conditions: Conditions) -> Machine:
    """Return the machine with the layer height and caliper of the conditions."""
    caliper = machine.caliper.model_copy(update=conditions.caliper.model_dump())
    return machine.model_copy(
        update={"layer_height_mm": conditions.layer_height_mm, "caliper": caliper}
    )


def _marked(text: str, machine: Machine, seed: int) -> str:
    """Return the conditions marked as rehearsed, with what they leave blank filled in."""
    said = load_conditions(text)
    for key, value in (("machine", machine.name), ("material", machine.material)):
        if not str(said.get(key, "")).strip():
            text = set_value(text, "", key, toml_text(value))
    caliper: Mapping[str, object] = said.get("caliper", {})
    for key in ("resolution_mm", "jaw_land_mm"):
        if key not in caliper:
            text = set_value(text, "caliper", key, str(getattr(machine.caliper, key)))
    text = set_value(text, "", "rehearsed", "true")
    text = set_value(text, "rehearsal", "virtual_machine", toml_text(machine.name))
    return set_value(text, "rehearsal", "seed", str(seed))
